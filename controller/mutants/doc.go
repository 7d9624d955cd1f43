// Command mutants breaks the daemon on purpose and says whether that is noticed. A test
// or a rule of the campaign that no fault sets off checks nothing; this is how that is
// found out.
//
//	go run ./controller/mutants planted             each planted bug against the test that must find it
//	go run ./controller/mutants planted -nights 40  the same bugs against nights of the rehearsal
//	go run ./controller/mutants safety -sample 200 -seed 1
//
// Planted bugs stand in a table: a file, a text that occurs in it exactly once, and what
// stands there instead. Nothing of them is in the daemon: the go command builds each from
// an overlay, a file that names another content for a path. A test sees to it that every
// replacement still applies, still compiles, and that its finder still exists; a change
// that moves the text moves the row with it.
//
// Mutants of safety are made by rule, from the syntax of its files: a comparison, a sum, a
// constant, a condition or a result is changed, or a statement left out. Those that do not
// compile are no mutants. Each package in safety is tried by its own tests, response by those of safety too, sizing by
// those of the configuration. Which change nothing that anyone could see stands in equivalent.go, each with its reason.
//
// # Decisions
//
// Overlays in place of flags: a bug behind a flag is code that a farm runs. In place of
// patches: a patch breaks with every line above it, a text only with its own line.
//
// A generator of our own: a seed says which few of thousands to try, and one build holds
// them all, switched by number. It is some three hundred lines. No library was compared.
package main
