// Package cluster keeps a station's ledger on servers that several daemons reach, and
// says which daemon owns the station: a stream and a key-value bucket of NATS JetStream.
// It is the only importer of the NATS client.
//
// What was decided here, why, and what was rejected:
//
// # The ledger is the fence
//
// Each row is published with the sequence of the last message of the station's subject. The
// servers store it only if that is still the last, so of two daemons that both believe to own
// a station one can append and the other cannot, and what is not appended is not ordered. The
// lease only says who should try: no dose rests on a clock, on a timeout or on the lease.
//
// # A row in doubt is published again as it is
//
// An acknowledgement that does not come leaves it unknown whether the row is stored. The same
// row with the same expected sequence can be stored once at most, so it is published again until
// an answer comes, and any other row at its place is refused. Rejected: deduplication by message
// id, which the servers forget after two minutes.
//
// # The epoch is counted in the lease's entry, not its revision
//
// Every takeover writes the epoch one higher with the revision that it read, so that no two
// daemons ever hold the same. Revisions themselves count the renewals of every station of the
// bucket, thousands an hour, and pump nodes take a rise of 100 in ten minutes at most. Rejected too:
// the ledger's last epoch plus one, which an owner that was paused before its first row shares
// with its heir.
//
// # Nobody compares clocks
//
// An heir waits until the entry's revision has stood still for longer than a lease holds, by its own
// monotonic clock; an owner counts from the moment at which it asked for its last renewal. So
// the owner's time is over first, whatever their wall clocks say.
//
// # Durable means: acknowledged by servers that sync always
//
// A client cannot see how a server syncs. deploy/nats/leat-nats.conf sets sync_interval: always;
// without it, power lost on all servers at once may lose what was acknowledged. The entry of the
// lease holds number and hash of the newest row, so that an heir finds a record that lost its end.
package cluster
