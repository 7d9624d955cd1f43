//go:build !linux && !darwin

package store

import (
	"testing"

	"leat/safety/ledger"
)

var failWrites func(t *testing.T, store ledger.Store) (mend func())
