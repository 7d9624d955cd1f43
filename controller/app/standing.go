package app

import (
	"time"

	"leat/controller/config"
	"leat/controller/metrics"
	"leat/controller/store"
)

// standing is what a daemon of this configuration stands on, for whoever watches it.
func standing(file *config.File) metrics.Host {
	return metrics.Host{Folder: file.State,
		Certificates: map[string]string{"broker-authority": file.Broker.CA, "broker-own": file.Broker.Certificate, "page": file.Web.Certificate},
		Head:         func() (uint64, [32]byte, bool) { return store.Head(file.State) },
		Copies: func() (time.Time, bool, bool) {
			c, err := store.KnownCopies(file.State)
			return c.Good, c.Failed != "", err == nil
		}}
}
