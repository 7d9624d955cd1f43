package app

import "leat/safety/ledger"

// passing, where a test of this package sets it, is told of each point between an
// intent and its settlement, so that the test can end the process there. Nothing
// outside this package can set it.
var passing func(point string)

func pass(point string) {
	if passing != nil {
		passing(point)
	}
}

// slowing, where a test of this package sets it, stands between the ledger and its
// store, so that the test can make a disk slow or stall it.
var slowing func(ledger.Store) ledger.Store

func slowed(store ledger.Store) ledger.Store {
	if slowing == nil {
		return store
	}
	return slowing(store)
}
