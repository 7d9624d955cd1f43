package metrics

import (
	"crypto/x509"
	"encoding/binary"
	"encoding/pem"
	"os"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Host is what the daemon stands on, beside its view: files that run out and a disk that
// fills.
type Host struct {
	Folder       string            // of all stored data
	Certificates map[string]string // what each vouches for, and its file; empty names are left out
	Head         func() (rows uint64, hash [32]byte, known bool)
	Copies       func() (newest time.Time, failed, known bool) // of the ledger
}

var (
	certificateEnds = prometheus.NewDesc("leat_certificate_expires_timestamp_seconds",
		"Unix time at which the first certificate of the file expires; NaN when it cannot be read.", []string{"certificate"}, nil)
	storageFree = prometheus.NewDesc("leat_storage_free_bytes", "Free on the disk that holds the ledger; NaN when not known.", nil, nil)
	storageSize = prometheus.NewDesc("leat_storage_size_bytes", "Size of the disk that holds the ledger; NaN when not known.", nil, nil)
	ledgerRows  = prometheus.NewDesc("leat_ledger_rows", "Rows of the ledger that are on the disk; NaN when not known.", nil, nil)
	ledgerHead  = prometheus.NewDesc("leat_ledger_head_bits", "First 52 bits of the newest row's hash, as a number. A tail that was written anew has another at the same count of rows.", nil, nil)
	copyMade    = prometheus.NewDesc("leat_ledger_copy_timestamp_seconds", "Unix time of the newest verified copy of the ledger; 0 when none was ever made.", nil, nil)
	copyGood    = prometheus.NewDesc("leat_ledger_copy_last_successful", "Whether the last copy of the ledger was written and verified; 1 when none was tried.", nil, nil)
)

// readEvery is how often such a file is read: a scrape must not wait for a disk.
const readEvery = 10 * time.Minute

// host collects it.
type host struct {
	of  Host
	now func() time.Time

	mu   sync.Mutex
	read time.Time
	ends map[string]float64
	copy [2]float64 // made, good
}

// Describe names every metric that Collect may send.
func (h *host) Describe(out chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{certificateEnds, storageFree, storageSize, ledgerRows, ledgerHead, copyMade, copyGood} {
		out <- d
	}
}

// Collect sends them.
func (h *host) Collect(out chan<- prometheus.Metric) {
	send := func(d *prometheus.Desc, value float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, value, labels...)
	}
	ends, copied := h.look()
	for name, ends := range ends {
		send(certificateEnds, ends, name)
	}
	free, size := Space(h.of.Folder)
	send(storageFree, free)
	send(storageSize, size)
	rows, head := unknown, unknown
	if h.of.Head != nil {
		if n, hash, known := h.of.Head(); known {
			rows, head = float64(n), float64(binary.BigEndian.Uint64(hash[:8])>>12) // a float64 counts to 2^53
		}
	}
	send(ledgerRows, rows)
	send(ledgerHead, head)
	if h.of.Copies != nil {
		send(copyMade, copied[0])
		send(copyGood, copied[1])
	}
}

// look reads what stands in files: when certificates end, and how the ledger's copies went.
func (h *host) look() (ends map[string]float64, copied [2]float64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.ends != nil && h.now().Sub(h.read) < readEvery {
		return h.ends, h.copy
	}
	h.read, h.ends = h.now(), map[string]float64{}
	for name, file := range h.of.Certificates {
		if file == "" {
			continue
		}
		h.ends[name] = unknown
		if ends, ok := CertificateEnds(file); ok {
			h.ends[name] = float64(ends.Unix())
		}
	}
	h.copy = [2]float64{unknown, unknown}
	if h.of.Copies == nil {
		return h.ends, h.copy
	}
	if newest, failed, known := h.of.Copies(); known {
		h.copy = [2]float64{0, number(!failed)}
		if !newest.IsZero() {
			h.copy[0] = float64(newest.Unix())
		}
	}
	return h.ends, h.copy
}

// CertificateEnds is when the first of a file's certificates (PEM) expires.
func CertificateEnds(file string) (ends time.Time, ok bool) {
	text, err := os.ReadFile(file)
	if err != nil {
		return ends, false
	}
	for {
		var block *pem.Block
		if block, text = pem.Decode(text); block == nil {
			return ends, ok
		}
		if c, err := x509.ParseCertificate(block.Bytes); err == nil && (!ok || c.NotAfter.Before(ends)) {
			ends, ok = c.NotAfter, true
		}
	}
}

// Stand adds what the daemon stands on.
func (m *Metrics) Stand(on Host) {
	m.register(&host{of: on, now: func() time.Time { return m.now() }})
}
