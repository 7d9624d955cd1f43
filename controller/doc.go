// Package controller answers one question: what happens next? Core.Step takes an
// event and returns what to write, publish and show; it is the only place where
// the state of a station and its tanks changes. It touches nothing: whatever
// touches the world is a sub-package named after what it touches.
//
// What was decided here, why, and what was rejected:
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
// doubt. The cost is one mixing time after a refusal, which is rare.
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
