package campaign

// faultRows is how many rows the table of faults has: those that the simulated farm
// injects (sim.Fault.Row) and those below.
const faultRows = 113

// elsewhere is a row that no fault of the farm injects: what happens, and where it is
// played, or why it cannot be and what the user must fit.
type elsewhere struct {
	row         int
	text, where string
}

var rowsElsewhere = []elsewhere{
	{12, "hypochlorite stands where the acid should", "not played: no reading shows it before it is too late: keyed couplings, labels, and a look before the container is connected"},
	{13, "two concentrates that must not meet are asked for together", "tested in safety: the gate refuses concentrates that must not meet, tried for each pair"},
	{22, "a node sends a stored reading again as if it were new", "tested in controller: a reading whose sequence does not advance"},
	{32, "an order arrives late", "tested in sim: a node judges each order by its tick; network-slow delays them here"},
	{33, "orders arrive in another sequence", "tested in sim: a node refuses a number below its last"},
	{36, "the broker has stored an order", "tested in sim: a node ignores what the broker kept, and of another boot"},
	{37, "the broker has stored a reading", "tested in safety: a retained reading is shown and never used"},
	{45, "the daemon is killed in a dose", "tested in app: the daemon is killed at each row that it writes"},
	{46, "the daemon hangs", "tested in sim: without a decision there is no lease, and the node stops"},
	{47, "the daemon crashes again and again", "tested in app: the fourth start in ten minutes observes"},
	{48, "two daemons run for one station", "tested in app: a second daemon refuses, on the same folder and on the same broker"},
	{49, "the disk is full", "tested in app and sim: a full disk holds"},
	{50, "a sync of the ledger fails", "tested in store: an fsync that failed is never tried again as if it had not"},
	{51, "the end of the ledger is torn", "tested in store: a torn tail is cut at each byte"},
	{52, "the middle of the ledger is damaged", "tested in store: a flipped bit refuses doses"},
	{53, "the ledger is lost or an older copy is put back", "tested in controller: a ledger behind its nodes is a lockout"},
	{54, "the wall clock jumps, or is decades off", "played in campaign: the same night under other wall clocks"},
	{55, "the wall clock is set at the start", "played in campaign: the same night under other wall clocks"},
	{57, "a message of 10 MB arrives", "tested in mqtt: the size is checked before anything is decoded"},
	{58, "ten thousand messages a second arrive", "tested in app: a flood on every topic"},
	{59, "a setpoint of pH 58 is asked for", "tested in controller: a setpoint beyond its bounds is refused"},
	{60, "a setpoint of pH 4.2 or EC 5 is asked for", "tested in controller: a setpoint beyond its bounds is refused"},
	{61, "somebody asks for a setpoint who may not", "tested in cmd: the broker's list of rights, with a real broker"},
	{63, "the configuration is read again in a dose", "tested in controller: a dose ends under the configuration that it began with"},
	{64, "a configuration is wrong or half written", "tested in config: a file cut at each byte"},
	{65, "a pump is calibrated while its tank is armed", "tested in controller: maintenance"},
	{66, "a pH probe is calibrated with its buffers exchanged", "not played: calibration is done at the probe's transmitter; its slope is entered and judged"},
	{70, "the system runs out of memory and kills the daemon", "tested in app: as a kill"},
	{95, "a thousand setpoints a second are asked for", "tested in app: a flood of requests"},
	{98, "the folder of stored data is deleted, moved or replaced under the daemon", "tested in store: a folder that was moved, deleted or replaced"},
	{99, "an entry by hand is ten times too large, made twice or for another pump", "played by leat rehearse -people"},
	{101, "another client takes the daemon's name at the broker", "tested in app: another client under the daemon's name"},
	{103, "half of the water or more stands in ponds or long channels", "played in the set ponds"},
	{104, "two stations on one broker have a tank of one name", "tested in app: the retained identity of the owner"},
	{105, "one person stops a tank while another arms it and the disk is slow", "tested in controller: requests in every order, with a slow disk"},
	{106, "a reload makes runs longer than the node allows", "tested in config: limits at the node that no longer fit are named at the reload"},
	{107, "after a restart at night every tank only observes", "tested in controller: was armed and observes"},
	{108, "plain water is filled in and confirmed", "tested in controller: a person says which water"},
	{113, "a healthy pH probe is so quiet that its line looks flat", "played in the set recorded"},
}
