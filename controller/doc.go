// Package controller answers one question: what happens next? Core.Step takes an
// event and returns what to write, publish and show; it is the only place where
// the state of a station and its tanks changes. It touches nothing: whatever
// touches the world is a sub-package named after what it touches.
//
// What was decided here, why, and what was rejected:
//
// # The core is parts that know only the parts below them
//
// station (what all see) ← wishes, waits ← accounts, setpoints, stocks, interlocks ← modes ← calibrations, epochs ←
// hands, doses ← decisions, learning, snapshot ← Core, which passes on events. A part writes its own fields alone and
// asks a part below it by a method; what must not be dosed is judged the moment it changes, so interlocks stand below
// all that changes it. Rejected: events from part to part within a step, since the order of the ledger's rows would
// hang on who subscribed first; functions over one set of fields, which any of them may change.
//
// # What was learned ages while the daemon is away
//
// Scale and drift of both loops are recorded once an hour with their spread. After a restart the scale comes back
// with the spread that its walk would have gained meanwhile; the drift is weighed against knowing nothing, since
// plants keep hours. The level at rest is recorded too: a change of 30 % that nobody saw happen is a change of
// water, and water that a person has confirmed is learned anew. The mixing time is commissioned, never learned. On
// the sample farm's large tank the learned buffer (0.6 to 0.7 of the commissioned) and the learned effect of stock
// on EC (1.2 to 1.4 of the predicted) agree with one another for hours: part of its water answers late.
//
// # The core's event is a struct, not an interface
//
// A reading reaches the core a thousand times a second at most and must not allocate. Rejected: an interface of
// event types (one allocation each).
//
// # A refused order counts in full
//
// A node that refuses has most likely not run; but only `withdrawn`, which never left this process, is free of
// doubt. The cost is one mixing time after a refusal, which is rare. The account of the ions leaves it out: there too
// much is no safer than too little. What a repeat would not cure is not ordered again: the pump is held with the node's words.
//
// # A word that counts less needs two heartbeats
//
// Done counts at least the order at once; stopped, refused, or a word sooner than the run can be over waits for two
// heartbeats a second apart that repeat it, idle, of the same boot, and is compared with run time and clock. A dose
// that was truly stopped is settled some four seconds later for it. Rejected: to believe a report by itself (14 doses were run
// and none counted); one heartbeat (whoever forges a report can forge that one, but not keep the true one away for two
// periods); to close a dose on a word while its pump may run. What is more than a fifth off and not borne out counts in full
// and holds the pump, since a person must find out whether the node or somebody else lies.
//
// # A ledger behind its nodes is a lockout of the station
//
// Which doses are missing nobody knows, so every pump stands until a person raises the epoch. What the ledger lacks
// counts as spent by as much as the caps allow, since the last row, at most for a day; with no row at all for a day, so a lost
// ledger without a backup costs a day of dosing. Rejected: to take over the node's order as the last one and go on; to spread
// what is missing evenly over the day, which lets the caps be passed when it was all given last. A node is believed after
// two heartbeats, so one forged word locks nobody out. Raising goes to what the nodes say now, not to the highest ever
// heard: a forged epoch must not lead the daemon to where its own nodes cannot follow.
//
// # Whatever lets more happen waits for the disk
//
// Arming, clearing, confirming water and new setpoints take effect in the step that is told their record is
// durable; stops and pauses at once. Rejected: effect first, record later, since a crash between the two would dose
// without a trace of who allowed it.
//
// # What a blend still owes is written before the intent that pays it
//
// A crash between the two leaves a part undosed; the other order could dose it twice.
package controller
