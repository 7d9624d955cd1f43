package safety

// LedgerState is whether the ledger can be written. The zero state cannot.
type LedgerState uint8

// The states of the ledger.
const (
	LedgerUnknown LedgerState = iota
	LedgerFull                // the disk is full: hold, resumes after a verified append
	LedgerBehind              // the disk is slower than what there is to write: hold, resumes when it has caught up
	LedgerFailed              // a write or fsync failed: no dose until a restart has verified the chain
	LedgerReady
	LedgerUnreachable // a shared ledger's servers do not answer in a majority: hold, resumes when they do
	ledgerStateCount
)

func (s LedgerState) String() string {
	return [...]string{"unknown", "full", "behind", "failed", "ready", "unreachable", "unknown"}[min(s, ledgerStateCount)]
}
