package safety

// Priority says when a person must act. The zero priority is the most urgent.
type Priority uint8

// The priorities in the words the grower reads; p1 to p4 stand in data only.
const (
	PriorityNow Priority = iota
	PriorityTonight
	PriorityTomorrow
	PriorityRecord
	priorityCount
)

func (p Priority) String() string {
	return [...]string{"now", "tonight", "tomorrow", "record", "now"}[min(p, priorityCount)]
}

// Code is the priority as data: p1 to p4.
func (p Priority) Code() string {
	return [...]string{"p1", "p2", "p3", "p4", "p1"}[min(p, priorityCount)]
}

// AlarmState is a state of ISA-18.2 / IEC 62682.
type AlarmState uint8

// The states of an alarm.
const (
	AlarmNormal AlarmState = iota
	AlarmUnacknowledged
	AlarmAcknowledged
	AlarmReturnedUnacknowledged
	AlarmLatched
	AlarmShelved
	AlarmSuppressed
	AlarmOutOfService
	AlarmStateCount
)

var alarmStateNames = [AlarmStateCount]string{"normal", "unacknowledged", "acknowledged", "returned-unacknowledged",
	"latched", "shelved", "suppressed-by-design", "out-of-service"}

func (s AlarmState) String() string { return alarmStateNames[min(s, AlarmStateCount-1)] }
