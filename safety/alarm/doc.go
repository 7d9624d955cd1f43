// Package alarm says what a person must know or do, and when: the states of ISA-18.2 for
// each cause, one root instead of its ten consequences, and when the bands will be left.
// It reads the trips of the watch and stops nothing.
//
// What was decided here, why, and what was rejected:
//
// # An alarm speaks of the moment in which it is shown
//
// Its forecast is computed then; what is over is told as over; figures are a minute old at most. What a person does
// on purpose (pause, stop, cleaning) raises no alarm of its own, a pressed stop or work not ended within half an hour
// is *tonight*; need that stays unmet still calls by `dosing-blocked-long` and `out-of-band`. When nothing at all arrives
// over an open link, that is `farm-silent`, and its dozen consequences are its own: two hours without a network in
// two nights of the sample farm gave twelve alarms, now two. Without readings the forecast runs on at the drift last
// seen, and is unforeseen, not calm, before anything was read.
//
// # What acid, base and stocks do apart names the cause
//
// `buffer-scale` blamed tube or probe whatever the cause. It says now what the evidence separates (`situationwords.go`):
// all reagents weak alike is pumps or water, acid weaker than base is carbonate, both weak beside good stocks is the
// water's buffer or a slow probe, all stronger at first is slow water. The probe's own response time is not measured.
//
// # A buffer that was told wrong is learned, one that changes is told
//
// Where nobody measured the buffer it may be three times what was commissioned, and the loop learns it within hours: as an
// alarm that was 44 calls of *tomorrow* in 60 healthy nights (`leat rehearse -seed 71000 -nights 60`), now 24, all of water
// that buffers 2.7 times and more. What doses usually do is learned for a day, up to a factor of 1.8; an alarm is what they do
// less than that. A measured buffer is held to its figure from the start. Price: where acid does a third, the call comes ten
// minutes to hours later. Not kept over a restart: the day begins anew, so that a tube that wears within it passes for usual.
package alarm
