package safety

// LedgerState is whether the ledger can be written. The zero state cannot.
type LedgerState uint8

// The states of the ledger.
const (
	LedgerUnknown LedgerState = iota
	LedgerFull                // the disk is full: hold, resumes after a verified append
	LedgerFailed              // a write or fsync failed: no dose until a restart has verified the chain
	LedgerBroken              // the chain does not verify: refuse to dose
	LedgerReady
	ledgerStateCount
)

func (s LedgerState) String() string {
	return [...]string{"unknown", "full", "failed", "broken", "ready", "unknown"}[min(s, ledgerStateCount)]
}
