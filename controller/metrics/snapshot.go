package metrics

import (
	"math"
	"net/url"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

// staleAfter is the age beyond which no value is shown, whatever the probe's own
// limit: a line that goes on at its last value reads as a quiet tank.
const staleAfter = 120 * time.Second

// family is one metric of the snapshot.
type family struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
}

// snapshot collects the view. Everything is made at the scrape from one snapshot,
// so the numbers of a scrape belong together.
type snapshot struct {
	view     func() *controller.View
	families map[string]family
	under    string // path of the station's pages
}

// newSnapshot makes the collector of a station's view. Its metrics carry the station's label of
// themselves: to have the registry add it makes each description anew at each scrape, a third of
// its time.
func newSnapshot(station string, view func() *controller.View) *snapshot {
	of := prometheus.Labels{"station": station}
	s := &snapshot{view: view, families: map[string]family{}}
	for _, f := range gauges {
		s.families[f.name] = family{prometheus.NewDesc("leat_"+f.name, f.help, f.labels, of), prometheus.GaugeValue}
	}
	for _, f := range counters {
		s.families[f.name] = family{prometheus.NewDesc("leat_"+f.name, f.help, f.labels, of), prometheus.CounterValue}
	}
	return s
}

// listed is one line of the tables below.
type listed struct {
	name, help string
	labels     []string
}

var (
	byTank    = []string{"tank"}
	byCause   = []string{"tank", "cause"}
	byProbe   = []string{"tank", "probe"}
	byReading = []string{"tank", "probe", "quantity"}
	byIon     = []string{"tank", "ion"}
	byPump    = []string{"pump"}
	byOutcome = []string{"pump", "outcome"}
)

// gauges of the snapshot, without the prefix leat_. Units are in the names.
var gauges = []listed{
	{"reading_ph", "Last pH reading; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_millisiemens_per_centimetre", "Last EC reading at 25 °C; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_celsius", "Last temperature reading; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_litres", "Last level reading; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_milligrams_per_litre", "Last dissolved oxygen; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_litres_per_minute", "Last flow into a film zone or through the treatment line; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_kilopascals", "Last pressure lost across the filter; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_milliwatts_per_square_centimetre", "Last UV intensity; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_lamp_hours", "Hours that the UV lamp has burnt; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_percent", "Last UV transmittance of 1 cm of the water; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_millivolts", "Last redox reading; NaN when it is stale, invalid or never came.", byProbe},
	{"reading_switch", "Last reading of a switch, 1 or 0; NaN when it is stale, invalid or never came.", byReading},
	{"reading_age_seconds", "Age of the last reading; the daemon's uptime when none ever came.", byReading},
	{"reading_quality", "1 for the quality that the last reading has; no series for the others.", []string{"tank", "probe", "quantity", "quality"}},
	{"setpoint_working_ph", "pH setpoint in force, on its ramp.", byTank},
	{"setpoint_working_millisiemens_per_centimetre", "EC setpoint in force, on its ramp.", byTank},
	{"setpoint_final_ph", "pH setpoint at the end of the ramp.", byTank},
	{"setpoint_final_millisiemens_per_centimetre", "EC setpoint at the end of the ramp.", byTank},
	{"settled_ph", "pH at which the tank will come to rest with what is in transit; NaN when not known.", byTank},
	{"settled_millisiemens_per_centimetre", "EC at which the tank will come to rest with what is in transit; NaN when not known.", byTank},
	{"in_transit_ph", "Effect of acid (positive) or base that the probes have not seen yet, at the estimated buffer capacity.", byTank},
	{"in_transit_millisiemens_per_centimetre", "Effect on EC of doses that the probes have not seen yet.", byTank},
	{"unseen_ratio", "Acid, base or stock that no reading has shown yet, over the most that may be: at 1 no more goes out.", []string{"tank", "reagent"}},
	{"drift_ph_per_hour", "Estimated drift of pH without doses.", byTank},
	{"drift_millisiemens_per_centimetre_per_hour", "Estimated drift of EC without doses.", byTank},
	{"buffer_scale_ratio", "Learned buffer capacity over that of the expected solution.", byTank},
	{"ec_gain_ratio", "Learned effect of the stocks on EC over the predicted one.", byTank},
	{"leaves_warn_band_seconds", "Forecast until pH or EC leaves its warn band without doses, at the drift last seen: 0 outside now, +Inf not in sight, NaN before anything was read.", byTank},
	{"leaves_harm_band_seconds", "Forecast until pH or EC leaves its harm band without doses, at the drift last seen: 0 outside now, +Inf not in sight, NaN before anything was read.", byTank},
	{"mode", "1 for the mode that the tank is in, 0 for the others.", []string{"tank", "mode"}},
	{"interlock_active", "1 while the interlock is active; no series otherwise.", byCause},
	{"interlock_age_seconds", "How long the interlock has been active; no series when it is not.", byCause},
	{"alarm_state", "State of a raised alarm; no series is normal: 1 unacknowledged, 2 acknowledged, 3 returned unacknowledged, 4 latched, 5 shelved, 6 suppressed by design, 7 out of service.", byCause},
	{"alarm_priority", "Priority of a standing alarm: 1 now, 2 tonight, 3 tomorrow, 4 log; 0 when it is shelved; no series when none stands.", byCause},
	{"alarm_info", "Always 1; what a person reads of a standing alarm, the section of the runbook, and the path of its card on the page.", []string{"tank", "cause", "text", "advice", "runbook", "page"}},
	{"fit_for_plants", "Whether this water may go to plants.", byTank},
	{"dosed_hour_millilitres", "Dosed in the rolling hour, as the ledger counts it.", byPump},
	{"dosed_day_millilitres", "Dosed in the rolling day, as the ledger counts it.", byPump},
	{"hourly_cap_used_ratio", "Share of the hourly cap that is used; NaN without a cap.", byPump},
	{"daily_cap_used_ratio", "Share of the daily cap that is used; NaN without a cap.", byPump},
	{"container_left_millilitres", "Left in the container; NaN when not known.", byPump},
	{"tube_run_seconds", "How long the pump ran since its tube was replaced, by the ledger.", byPump},
	{"container_lasts_seconds", "How long the container lasts at the demand of the last days; +Inf when nothing is drawn, NaN when not known.", byPump},
	{"container_demand_day_millilitres", "Mean of the days on which anything was dosed; NaN before the first whole day.", byPump},
	{"calibration_due_seconds", "Time until the next calibration of the probe is due, negative when it is overdue; NaN when none was entered.", byProbe},
	{"ion_millimoles_per_litre", "What the tank is thought to hold; no series without a recipe.", byIon},
	{"ion_uncertainty_millimoles_per_litre", "Standard uncertainty of it; it grows until the next analysis.", byIon},
	{"ion_target_millimoles_per_litre", "What the recipe wants at the EC setpoint in force; 0 for an ion that it does not name.", byIon},
	{"blend_share_ratio", "Share of the stock in the blends that are begun now, by volume; no series without a recipe.", []string{"tank", "pump"}},
	{"ions_analysed_age_seconds", "Time since the last analysis; NaN when there was none.", byTank},
	{"node_seen", "Whether the node was heard since the start.", []string{"node"}},
	{"node_age_seconds", "Time since the node's last heartbeat; the daemon's uptime when none ever came.", []string{"node"}},
	{"broker_connected", "Whether the link to the broker is open.", nil},
	{"ledger_state", "1 for the state that the ledger is in, 0 for the others.", []string{"state"}},
	{"epoch", "Number of this run; it rises with every start.", nil},
}

// counters of the snapshot.
var counters = []listed{
	{"doses_total", "Doses by outcome.", byOutcome},
	{"dosed_millilitres_total", "Volume by outcome, as the ledger counts it.", byOutcome},
	{"withheld_total", "Decisions in which a needed dose was withheld; no series for a cause that never did.", byCause},
}

// Describe names every metric that Collect may send.
func (s *snapshot) Describe(out chan<- *prometheus.Desc) {
	for _, f := range s.families {
		out <- f.desc
	}
}

// Collect sends the newest view. Before there is one it sends nothing.
func (s *snapshot) Collect(out chan<- prometheus.Metric) {
	v := s.view()
	if v == nil {
		return
	}
	send := func(name string, value float64, labels ...string) {
		f := s.families[name]
		out <- prometheus.MustNewConstMetric(f.desc, f.kind, value, labels...)
	}
	send("broker_connected", number(v.LinkUp))
	send("epoch", float64(v.Epoch))
	for state := safety.LedgerUnknown; state <= safety.LedgerUnreachable; state++ {
		send("ledger_state", number(v.Ledger == state), state.String())
	}
	for i := range v.Tanks {
		sendTank(send, v, &v.Tanks[i], s.under)
	}
	for i := range v.Pumps {
		sendPump(send, &v.Pumps[i])
	}
	for i := range v.Nodes {
		n := &v.Nodes[i]
		send("node_seen", number(n.Seen), n.Name)
		send("node_age_seconds", age(n.Seen, n.Age, v), n.Name)
	}
}

// age is the uptime for what never came: then it is at least that old.
func age(came bool, age time.Duration, v *controller.View) float64 {
	if !came {
		age = v.At.Up
	}
	return age.Seconds()
}

// sender sends one sample.
type sender func(name string, value float64, labels ...string)

func sendTank(send sender, v *controller.View, t *controller.TankView, under string) {
	names := map[string]bool{}
	for i := range t.Inputs {
		// A name given twice would make the whole scrape fail; one lost line is better.
		if in := &t.Inputs[i]; in.NotFitted == "" && !names[in.Name] {
			names[in.Name] = true
			sendReading(send, v, t.Name, in)
		}
	}
	sendIons(send, v, t)
	send("setpoint_working_ph", t.PH.Working, t.Name)
	send("setpoint_working_millisiemens_per_centimetre", t.EC.Working, t.Name)
	send("setpoint_final_ph", t.PH.Final, t.Name)
	send("setpoint_final_millisiemens_per_centimetre", t.EC.Final, t.Name)
	known := func(value float64) float64 {
		if !t.Settled.Known {
			return unknown
		}
		return value
	}
	send("settled_ph", known(t.Settled.PH), t.Name)
	send("settled_millisiemens_per_centimetre", known(t.Settled.EC), t.Name)
	send("in_transit_ph", known(t.Settled.AcidInTransit), t.Name)
	send("in_transit_millisiemens_per_centimetre", known(t.Settled.ECInTransit), t.Name)
	for _, u := range t.Unseen {
		send("unseen_ratio", u.Share, t.Name, u.Role.String())
	}
	send("drift_ph_per_hour", known(t.Settled.DriftPH), t.Name)
	send("drift_millisiemens_per_centimetre_per_hour", known(t.Settled.DriftEC), t.Name)
	send("buffer_scale_ratio", known(t.Settled.BufferScale), t.Name)
	send("ec_gain_ratio", known(t.Settled.ECGain), t.Name)
	send("leaves_warn_band_seconds", forecast(t.LeavesWarn), t.Name)
	send("leaves_harm_band_seconds", forecast(t.LeavesHarm), t.Name)
	send("fit_for_plants", number(t.Fit), t.Name)
	for mode := safety.Mode(0); mode < safety.ModeCount; mode++ {
		send("mode", number(t.Mode == mode), t.Name, mode.String())
	}
	sendCauses(send, v, t, under)
}

func forecast(d time.Duration) float64 {
	switch {
	case d == alarm.Unforeseen:
		return math.NaN()
	case d < 0:
		return math.Inf(1)
	}
	return d.Seconds()
}

// sendCauses sends what is raised now and what has ever withheld a dose: of all causes
// of the closed set most are never met, and each would be five series a tank.
func sendCauses(send sender, v *controller.View, t *controller.TankView, under string) {
	for cause, since := range activeSince(v, t) {
		if since >= 0 {
			send("interlock_active", 1, t.Name, safety.Cause(cause).String())
			send("interlock_age_seconds", since.Seconds(), t.Name, safety.Cause(cause).String())
		}
	}
	var sent [safety.CauseCount]bool
	for i := range t.Alarms {
		if a := &t.Alarms[i]; a.Cause < safety.CauseCount && a.State != alarm.Normal && !sent[a.Cause] {
			sent[a.Cause] = true
			sendAlarm(send, t.Name, a, under)
		}
	}
	for c := safety.CauseNone + 1; c < safety.CauseCount; c++ {
		if t.Withheld[c] > 0 {
			send("withheld_total", float64(t.Withheld[c]), t.Name, c.String())
		}
	}
}

// activeSince is by cause how long its interlock has been active; negative = it is not.
func activeSince(v *controller.View, t *controller.TankView) (since [safety.CauseCount]time.Duration) {
	for c := range since {
		since[c] = -1
	}
	for i := range t.Holds {
		if h := &t.Holds[i]; h.Cause < safety.CauseCount {
			since[h.Cause] = max(since[h.Cause], v.At.Since(h.Since), 0)
		}
	}
	return since
}

// sendAlarm sends an alarm with what a person reads of it: the text of the table, whose
// words stay the same while it stands, since a changed label would be another alarm.
func sendAlarm(send sender, tank string, a *controller.AlarmView, under string) {
	cause, row := a.Cause.String(), safety.Of(a.Cause)
	send("alarm_state", float64(a.State), tank, cause)
	switch a.State {
	case alarm.Unacknowledged, alarm.Acknowledged, alarm.Latched:
		send("alarm_priority", float64(a.Priority)+1, tank, cause)
	case alarm.Shelved:
		send("alarm_priority", 0, tank, cause)
	default:
		return // over: nobody is to be called
	}
	send("alarm_info", 1, tank, cause, row.Text, row.Advice, cause, under+"/alarm/"+url.PathEscape(tank)+"/"+cause)
}

func sendIons(send sender, v *controller.View, t *controller.TankView) {
	if t.Ions == nil {
		return
	}
	for i := range t.Ions.Ions {
		ion := &t.Ions.Ions[i]
		send("ion_millimoles_per_litre", ion.Amount, t.Name, ion.Name)
		send("ion_uncertainty_millimoles_per_litre", ion.Off, t.Name, ion.Name)
		send("ion_target_millimoles_per_litre", ion.Target, t.Name, ion.Name)
	}
	shares := map[string]float64{}
	for _, s := range t.Ions.Shares {
		shares[s.Pump] = s.Share
	}
	for i := range v.Pumps {
		if p := &v.Pumps[i]; p.Role == dosing.RoleStock {
			send("blend_share_ratio", shares[p.Name], t.Name, p.Name)
		}
	}
	age := unknown
	if !t.Ions.Analysed.IsZero() {
		age = v.At.Wall.Sub(t.Ions.Analysed).Seconds()
	}
	send("ions_analysed_age_seconds", age, t.Name)
}

var readingNames = [dosing.QuantityCount]string{
	dosing.QuantityPH: "reading_ph", dosing.QuantityEC: "reading_millisiemens_per_centimetre", dosing.QuantityTemperature: "reading_celsius",
	dosing.QuantityLevel: "reading_litres", dosing.QuantityStockLevel: "reading_litres", dosing.QuantityRedox: "reading_millivolts",
	dosing.QuantityOxygen: "reading_milligrams_per_litre", dosing.QuantityZoneFlow: "reading_litres_per_minute", dosing.QuantityLineFlow: "reading_litres_per_minute",
	dosing.QuantityZoneLevel: "reading_litres", dosing.QuantityFilterPressure: "reading_kilopascals", dosing.QuantityUVIntensity: "reading_milliwatts_per_square_centimetre",
	dosing.QuantityLampHours: "reading_lamp_hours", dosing.QuantityUVTransmittance: "reading_percent",
}

func sendReading(send sender, v *controller.View, tank string, in *controller.InputView) {
	if in.Quantity == dosing.QuantityNone || in.Quantity >= dosing.QuantityCount {
		return
	}
	value := in.Value
	if !in.Present || in.Retained || in.Age > staleAfter || !in.Quality.MayDose() {
		value = unknown
	}
	quantity := in.Quantity.String()
	if name := readingNames[in.Quantity]; name != "" {
		send(name, value, tank, in.Name)
	} else {
		send("reading_switch", value, tank, in.Name, quantity)
	}
	if in.Quantity == dosing.QuantityPH || in.Quantity == dosing.QuantityEC {
		due := unknown
		if in.Calibration != nil && !in.Calibration.Due.IsZero() {
			due = in.Calibration.Due.Sub(v.At.Wall).Seconds()
		}
		send("calibration_due_seconds", due, tank, in.Name)
	}
	send("reading_age_seconds", age(in.Present, in.Age, v), tank, in.Name, quantity)
	send("reading_quality", 1, tank, in.Name, quantity, in.Quality.String())
}

func sendPump(send sender, p *controller.PumpView) {
	send("dosed_hour_millilitres", p.Hour.Millilitres(), p.Name)
	send("dosed_day_millilitres", p.Day.Millilitres(), p.Name)
	send("hourly_cap_used_ratio", share(p.Hour, p.HourlyCap), p.Name)
	send("daily_cap_used_ratio", share(p.Day, p.DailyCap), p.Name)
	left := unknown
	if p.Left >= 0 {
		left = p.Left.Millilitres()
	}
	send("container_left_millilitres", left, p.Name)
	demand, lasts := unknown, unknown
	if p.Lasts.Known {
		demand = p.Lasts.PerDay
		if p.Left >= 0 {
			lasts = p.Lasts.Days * 86400
		}
	}
	send("container_demand_day_millilitres", demand, p.Name)
	send("container_lasts_seconds", lasts, p.Name)
	send("tube_run_seconds", p.TubeRan.Seconds(), p.Name)
	for o := ledger.Outcome(0); o < ledger.OutcomeCount; o++ {
		send("doses_total", float64(p.Doses[o]), p.Name, o.String())
		send("dosed_millilitres_total", p.Volume[o].Millilitres(), p.Name, o.String())
	}
}

func share(used, cap dosing.Volume) float64 {
	if cap <= 0 {
		return unknown
	}
	return float64(used) / float64(cap)
}
