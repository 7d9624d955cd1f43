// Package ledger keeps the record on which every cap rests: an intent is durable
// before its order leaves, what is uncertain counts in full, and rows are chained
// by hash so that an edited or missing one shows. It sees storage only as an
// injected Store.
//
// What was decided here, why, and what was rejected:
//
// # `Outcome` lives in `safety/ledger`
//
// A settlement cannot be written without it, and the ledger may not import the controller.
package ledger
