// Package prove tries the rules of deploy/node.md on a node, one by one, and writes a
// sheet of what held. It is the misbehaving daemon: it sends orders twice, late, kept by
// the broker, for another boot, too long and of another epoch, lets the lease lapse, and
// has a person pull the plug, press the stop and lift the float switch.
//
// Decision: leat prove runs in place of the daemon, not through it. Its orders are those
// that the gate exists to forbid; a daemon that could send them on request would carry a
// way round its own gate for the rest of its life. So this is the one path to a pump that
// passes no gate, and it is fenced otherwise: it takes the lock of the state folder, so no
// daemon of it runs; it listens first, and gives up where another one gives leases; a
// person types that water is in every line, and reads a cylinder; its epoch is begun in the
// ledger before the first lease, and answered for there afterwards, so that the daemon finds
// nothing at the nodes that its record does not know. Of a run that was cut short nothing is
// answered for: the daemon then stays locked out until a person says what was given.
//
// Decision: what a check needs of the world (time, messages, a person) is the interface
// World, and checks are read from top to bottom. So the same checks play in a told time
// against the simulated node and against the C node with one rule left out, in a second
// for all of them. Rejected: a machine of states, which nobody can compare with the
// contract; and real time in tests.
//
// Decision: each check fails for one rule alone, so that a sheet tells what to mend; what
// could not be seen is "not shown" and no pass. A retained order can be told from a live
// one only by a node that subscribes anew while its lease holds: the prover connects under
// the node's own client id, which makes the broker throw the node out, and knows by being
// thrown out in its turn that the node came back. Rejected: a pulled network cable, behind
// which a TCP session may live on.
package prove
