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
//
// # A raised epoch is the same run
//
// Its rows keep the run's uptimes, so the replay lets no time pass by it. A copy that is put back ends a run: `restored`
// begins an epoch 40 above any that the folder knows (nodes take 100), disarms every tank, and says when the copy ended.
// A second settlement of a dose may raise its volume; one that would lower it is kept as a row and counts nothing.
package ledger
