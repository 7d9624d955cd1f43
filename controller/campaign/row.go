package campaign

import "leat/controller/sim"

// faultRows is how many rows the table of faults has.
const faultRows = 113

// elsewhere says of a row that no fault of the farm injects where it is played, or why it
// cannot be and what the user must fit.
var elsewhere = map[int]string{
	12:  "no reading shows it before it is too late: keyed couplings, labels, and a look before the container is connected",
	13:  "safety: the gate refuses concentrates that must not meet, tried for each pair",
	22:  "controller: a reading whose sequence does not advance",
	32:  "sim: a node judges each order by its tick; network-slow delays them here",
	33:  "sim: a node refuses a number below its last",
	36:  "sim: a node ignores what the broker kept, and of another boot",
	37:  "safety: a retained reading is shown and never used",
	45:  "app: the daemon is killed at each row that it writes",
	46:  "sim: without a decision there is no lease, and the node stops",
	47:  "app: the fourth start in ten minutes observes",
	48:  "app: a second daemon refuses, on the same folder and on the same broker",
	49:  "app and sim: a full disk holds",
	50:  "store: an fsync that failed is never tried again as if it had not",
	51:  "store: a torn tail is cut at each byte",
	52:  "store: a flipped bit refuses doses",
	53:  "controller: a ledger behind its nodes is a lockout",
	54:  "metamorphic: the same night under other wall clocks",
	55:  "metamorphic: the same night under other wall clocks",
	57:  "mqtt: the size is checked before anything is decoded",
	58:  "app: a flood on every topic",
	59:  "controller: a setpoint beyond its bounds is refused",
	60:  "controller: a setpoint beyond its bounds is refused",
	61:  "cmd: the broker's list of rights, with a real broker",
	63:  "controller: a dose ends under the configuration that it began with",
	64:  "config: a file cut at each byte",
	65:  "controller: maintenance",
	66:  "none: calibration is done at the probe's transmitter; its slope is entered and judged",
	70:  "app: as a kill",
	76:  "none: dissolved oxygen is no input; fit a switch or meter with an alarm of its own",
	90:  "none: differential pressure is no input; the flow switch shows the end of it",
	91:  "none: the lamp is no input; fit one with an alarm of its own",
	95:  "app: a flood of wishes",
	98:  "store: a folder that was moved, deleted or replaced",
	99:  "people: leat rehearse -people",
	101: "app: another client under the daemon's name",
	103: "set ponds",
	104: "app: the retained identity of the owner",
	105: "controller: wishes in every order, with a slow disk",
	106: "config: limits at the node that no longer fit are named at the reload",
	107: "controller: was armed and observes",
	108: "controller: a person says which water",
	113: "set recorded",
}

// rowsOf are the rows that faults of the farm inject.
func rowsOf() map[int][]string {
	rows := map[int][]string{}
	for _, f := range sim.Faults() {
		if f.Row > 0 {
			rows[f.Row] = append(rows[f.Row], f.Name)
		}
	}
	return rows
}
