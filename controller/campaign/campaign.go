// Package campaign rehearses: it draws nights, plays them with the shipped core,
// gate, ledger code and parsers against the simulated farm, scores them by the
// definitions of the design, plays the same nights under three other laws for
// comparison, and checks the invariants on what truly happened.
package campaign
