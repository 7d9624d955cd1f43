//go:build unix

package app

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/zap"

	"leat/controller/app/apptest"
)

// "bind: invalid argument" sends nobody to a shorter folder.
func TestStateFolderWhosePathIsTooLongForASocketIsRefusedInWords(t *testing.T) {
	path := apptest.Config(t, "mqtt://127.0.0.1:"+apptest.Port(t))
	state := filepath.Join(filepath.Dir(apptest.State(path)), strings.Repeat("deep", 30))
	apptest.Edit(t, path, apptest.State(path), state)
	a, err := New(apptest.Load(t, path), Options{Log: zap.NewNop()})
	if err == nil {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		err = a.Run(ctx)
	}
	socket := filepath.Join(state, SocketName)
	for _, want := range []string{socket, fmt.Sprintf("has %d bytes", len(socket)), "name a shorter folder in [storage]"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: does not say %q", err, want)
		}
	}
}
