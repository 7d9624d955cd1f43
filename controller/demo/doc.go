// Package demo is a whole night on one machine: an embedded broker, a simulated
// farm that speaks MQTT like a real one, and the daemon itself, unchanged. A
// virtual clock moves only when all three are quiet, so any speed shows the same
// night. It is the only importer of the broker.
//
// What was decided here, why, and what was rejected:
//
// # The demo's clock waits for quiet by counting
//
// Broker hooks and link counters say how many messages each side sent and took; the clock moves when they agree,
// the loop is idle and no append is under way. Rejected: sleeping a fixed time per simulated second, which trips
// the daemon on a slow machine.
package demo
