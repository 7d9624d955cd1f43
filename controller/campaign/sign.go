package campaign

import (
	"math"
	"slices"
	"time"

	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
)

// sign is what should name a fault, or why nothing can.
type sign struct {
	// causes are those of which each names it; what else was said is no recall.
	causes []safety.Cause
	// hidden says why no reading shows it, in any night, by the table of faults; the causes
	// then count if they come, but nothing is asked of them.
	hidden string
	// needs are inputs without any of which it does not show.
	needs []dosing.Quantity
	// sensed says that it shows to nodes that sense the current of their pumps; to others by its harm.
	sensed bool
	// warms says that it shows by the warmth of a day.
	warms bool
	// role gives the doses whose answer shows it; worth is what must have been ordered of
	// them while it lasted and could still settle: pools of 0.05 pH or 0.05 mS/cm, which
	// is what the test of responses judges.
	role  dosing.Role
	worth float64
	// takes is how long it must last to be seen as designed: a flat line shows after ten
	// minutes.
	takes time.Duration
	// within is the time it is given, by a night that goes on for so long from its beginning; 0 = the rest of the night.
	within time.Duration
	// only is what the truth of the night must have been for it to show; nil = nothing.
	only *condition
}

// condition is what a fault needs of its night.
type condition struct {
	words string
	// unmet says why it could not show between two times; "" = it could.
	unmet func(t *Trace, from, until time.Duration) string
}

// Pools of doses that are asked for, in pH or mS/cm: one unanswered pool of acid trips,
// two of anything else.
const (
	onePool  = 0.05
	twoPools = 0.10
)

// days is what those faults are given that show by doses, top-ups or warmth: what comes of a pump in
// one quiet night is less than the error of a healthy one.
const days = 72 * time.Hour

// causes are what names a fault. Doses that went unseen to the last test name whatever silence of
// a pump or a probe does: no more is given, and a person is asked to look at both.
func causes(c ...safety.Cause) []safety.Cause {
	if slices.Contains(c, safety.CauseNoResponse) {
		c = append(c, safety.CauseUnconfirmedLong)
	}
	return c
}

// signs are by the name of the fault. Where another detection would be wanted than is
// built, the fault counts as missed.
var signs = withUnseen(map[string]sign{
	"circulation-off": {causes: causes(safety.CauseCirculationOff), needs: inputs(dosing.QuantityCirculation)},
	"probe-flat":      {causes: causes(safety.CauseProbeSilent, safety.CausePHInvalid, safety.CauseNoResponse), takes: 10 * time.Minute, within: days, only: &condition{"noise that is more than half a step of its resolution, or nine hours of it", tooQuiet}},
	"acid-empty":      {causes: causes(safety.CauseNoResponse, safety.CauseContainerEmpty), within: days, role: dosing.RoleAcid, worth: onePool},
	"node-reboot":     {causes: causes(safety.CauseNodeRebooted, safety.CauseDoseUncertain)},

	"pump-stuck-on":      {causes: causes(safety.CauseUncommandedRun, safety.CauseUnexplainedChange), sensed: true},
	"pump-dead":          {causes: causes(safety.CauseNoResponse), within: days, role: dosing.RoleAcid, worth: onePool},
	"stock-empty":        {causes: causes(safety.CauseOffBalance, safety.CauseNoResponse, safety.CauseContainerEmpty), within: days, role: dosing.RoleStock, worth: twoPools},
	"air-lock":           {causes: causes(safety.CauseNoResponse), role: dosing.RoleAcid, worth: onePool},
	"tube-worn":          {causes: causes(safety.CauseBufferScale), within: days, role: dosing.RoleAcid, worth: 20 * onePool},
	"over-delivery":      {causes: causes(safety.CauseContainerBalance, safety.CauseBufferScale, safety.CauseReagentStrong), within: days, needs: inputs(dosing.QuantityStockLevel), role: dosing.RoleAcid, worth: 20 * onePool},
	"siphon":             {causes: causes(safety.CauseUnexplainedChange, safety.CauseSolutionUnconfirmed), within: days, needs: inputs(dosing.QuantityStockLevel)},
	"stock-weak":         {causes: causes(safety.CauseOffBalance, safety.CauseNoResponse), within: days, role: dosing.RoleStock, worth: twoPools},
	"stock-strong":       {causes: causes(safety.CauseOffBalance, safety.CauseTooStrong), within: days, role: dosing.RoleStock, worth: onePool / 5},
	"acid-undiluted":     {causes: causes(safety.CauseReagentStrong, safety.CauseBufferScale, safety.CauseSolutionUnconfirmed, safety.CauseUnexplainedChange), within: days, role: dosing.RoleAcid, worth: onePool},
	"acid-base-swapped":  {causes: causes(safety.CauseWrongDirection, safety.CauseNoResponse), within: days, role: dosing.RoleAcid, worth: onePool},
	"stock-in-acid-line": {causes: causes(safety.CauseNoResponse), within: days, role: dosing.RoleAcid, worth: onePool},
	"line-burst":         {causes: causes(safety.CauseLeak), within: days, needs: inputs(dosing.QuantityLeak), role: dosing.RoleAcid, worth: 1e-6},
	"injection-clogged":  {causes: causes(safety.CauseNoResponse), within: days, role: dosing.RoleAcid, worth: onePool},
	"siphon-back":        {causes: causes(safety.CauseContainerBalance, safety.CauseNoResponse), within: days, needs: inputs(dosing.QuantityStockLevel)},
	"stock-cold":         {causes: causes(safety.CauseOffBalance, safety.CauseNoResponse), within: days, role: dosing.RoleStock, worth: 10 * onePool},
	"stock-biofilm":      {},
	"stock-made-wrong":   {causes: causes(safety.CauseOffBalance, safety.CauseNoResponse), within: days, role: dosing.RoleStock, worth: 10 * onePool},

	"ph-dry":               {causes: causes(safety.CauseProbeSilent, safety.CausePHInvalid, safety.CauseNoResponse)},
	"ph-coated":            {causes: causes(safety.CauseProbeSlow, safety.CauseMixingSlow, safety.CauseBufferScale, safety.CauseNoResponse), within: days, role: dosing.RoleAcid, worth: 3 * onePool},
	"ph-glass-broken":      {causes: causes(safety.CauseProbeSilent, safety.CausePHInvalid, safety.CauseNoResponse, safety.CauseSolutionUnconfirmed)},
	"ph-drift":             {causes: causes(safety.CauseProbesDisagree)},
	"ground-loop":          {causes: causes(safety.CauseGroundLoop), role: dosing.RoleAcid, worth: onePool},
	"ec-bubble":            {causes: causes(safety.CauseECInvalid)},
	"ec-compensated-twice": {warms: true, causes: causes(safety.CauseECInvalid, safety.CauseCompensation), within: days, takes: 6 * time.Hour, only: &condition{"water that warms or cools by 2 °C", tooEven}},
	"ph-input-open":        {causes: causes(safety.CauseProbeSilent, safety.CausePHInvalid, safety.CauseNoResponse, safety.CauseTemperatureInvalid)},
	"ph-dead-wanders":      {causes: causes(safety.CauseProbeSilent, safety.CausePHInvalid, safety.CauseNoResponse, safety.CauseWrongDirection, safety.CauseSolutionUnconfirmed, safety.CauseUnexplainedChange)},
	"temperature-failed":   {causes: causes(safety.CauseTemperatureInvalid)},
	"ph-unplugged":         {causes: causes(safety.CausePHInvalid)},
	"ph-silent":            {causes: causes(safety.CausePHStale)},
	"ph-not-a-number":      {causes: causes(safety.CausePHInvalid)},
	"ec-in-microsiemens":   {causes: causes(safety.CauseECInvalid)},
	"level-failed-high":    {causes: causes(safety.CauseLevelHigh, safety.CauseLevelUnknown, safety.CauseLevelStuck), within: days},
	"level-failed-low":     {causes: causes(safety.CauseLevelLow, safety.CauseLevelUnknown, safety.CauseTopUpHeld)},
	"wild-sample":          {},
	"sample-cell-closed":   {causes: causes(safety.CauseProbeSilent, safety.CauseSampleFlowOff, safety.CauseNoResponse), within: days},
	"probe-in-plume":       {},

	"circulation-half":     {causes: causes(safety.CauseMixingSlow, safety.CauseBufferScale), within: days, role: dosing.RoleAcid, worth: 3 * onePool},
	"mixing-fast":          {},
	"power-strip":          {causes: causes(safety.CauseCirculationOff), needs: inputs(dosing.QuantityCirculation)},
	"phosphate-run-down":   {causes: causes(safety.CauseReagentStrong, safety.CauseBufferScale), within: days, role: dosing.RoleAcid, worth: 2 * onePool},
	"valve-leak":           {},
	"top-up-stuck-open":    {causes: causes(safety.CauseLevelHigh, safety.CauseTopUpHeld)},
	"top-up-stuck-shut":    {causes: causes(safety.CauseLevelLow, safety.CauseTopUpHeld), within: days, only: &condition{"a level that falls below the least at which anything is dosed", neverLow}},
	"top-up-hard":          {causes: causes(safety.CauseSourceWater, safety.CauseOutOfBand), within: days, only: &condition{"a top-up by water that is 1 meq/L and half as much again harder than was told", noHardTopUp}},
	"top-up-salty":         {causes: causes(safety.CauseSourceWater, safety.CauseECHigh), within: days, only: &condition{"a top-up by water that has 0.3 mS/cm and half as much again more than was told", noSaltyTopUp}},
	"plant-shock":          {causes: causes(safety.CauseHourlyCap, safety.CauseDailyCap, safety.CauseOutOfBand, safety.CauseSolutionUnconfirmed, safety.CauseDosingBlockedLong), only: &condition{"pH outside its warn band for an hour", heldAllTheSame}},
	"acid-by-hand":         {},
	"water-change":         {causes: causes(safety.CauseSolutionUnconfirmed)},
	"stop-pressed":         {causes: causes(safety.CauseStopInput), needs: inputs(dosing.QuantityStop)},
	"disinfectant":         {causes: causes(safety.CauseSolutionUnconfirmed)},
	"film-stopped":         {causes: causes(safety.CauseFilmStopped), needs: inputs(dosing.QuantityZoneFlow)},
	"flood-does-not-drain": {causes: causes(safety.CauseLevelLow, safety.CauseFloodNotDrained), needs: inputs(dosing.QuantityZoneLevel)},
	"aeration-off":         {causes: causes(safety.CauseOxygenLow), needs: inputs(dosing.QuantityOxygen)},
	"filter-clogs":         {causes: causes(safety.CauseFilterClogged), within: days, needs: inputs(dosing.QuantityFilterPressure)},
	"uv-lamp-out":          {causes: causes(safety.CauseUVLampOut), needs: inputs(dosing.QuantityUVIntensity)},
	"uv-lamp-old":          {causes: causes(safety.CauseUVDoseLow, safety.CauseUVLampOld), needs: inputs(dosing.QuantityUVIntensity, dosing.QuantityLampHours, dosing.QuantityLineFlow)},
	"heater-stuck":         {causes: causes(safety.CauseTemperatureRange), within: days, only: &condition{"water that is beyond its limits of temperature for a minute", neverWarm}},
	"tank-leaks":           {causes: causes(safety.CauseLeak, safety.CauseLevelLow), needs: inputs(dosing.QuantityLeak, dosing.QuantityLevel)},
	"precipitate":          {},
	"outlet-stuck-shut":    {causes: causes(safety.CauseOutletUnproved), needs: inputs(dosing.QuantityOutlet)},

	"orders-duplicated":    {},
	"order-lost":           {causes: causes(safety.CauseDoseUncertain)},
	"reports-lost":         {causes: causes(safety.CauseDoseUncertain)},
	"report-thousandth":    {causes: causes(safety.CauseReportContradicts), within: days, role: dosing.RoleAcid, worth: 1e-6},
	"report-nothing":       {causes: causes(safety.CauseReportContradicts, safety.CauseDoseUncertain), within: days, role: dosing.RoleAcid, worth: 1e-6},
	"report-fivefold":      {causes: causes(safety.CauseReportContradicts), within: days, role: dosing.RoleAcid, worth: 1e-6},
	"reports-late":         {causes: causes(safety.CauseDoseUncertain)},
	"reports-twice":        {},
	"report-forged-stop":   {causes: causes(safety.CauseReportContradicts), within: days, role: dosing.RoleAcid, worth: 1e-6},
	"report-forged-second": {causes: causes(safety.CauseReportContradicts), within: days, role: dosing.RoleAcid, worth: 1e-6},
	"node-limit-lowered":   {causes: causes(safety.CauseNodeRefuses), within: days, role: dosing.RoleAcid, worth: 1e-6, only: &condition{"an order of acid that is longer than the node then allows", allShort}},
	"epoch-poisoned":       {},
	"epoch-stepped":        {causes: causes(safety.CauseLedgerBehindNode)},
	"network-cut":          {causes: causes(safety.CauseFarmSilent, safety.CausePHStale, safety.CauseNodeOffline, safety.CauseBrokerDisconnected)},
	"network-one-way":      {causes: causes(safety.CauseDoseUncertain, safety.CauseNodeOffline)},
	"network-slow":         {causes: causes(safety.CauseDoseUncertain, safety.CausePHStale, safety.CauseNodeOffline)},
	"node-reboots":         {causes: causes(safety.CauseNodeRebooted)},
	"node-offline":         {causes: causes(safety.CauseNodeOffline)},
	"node-clock-jump":      {causes: causes(safety.CauseNodeClock)},
	"node-clock-fast":      {causes: causes(safety.CauseNodeClock)},
	"power-cut":            {causes: causes(safety.CauseNodeRebooted, safety.CauseNodeOffline)},
})

// withUnseen takes from the table of faults what nothing need name.
func withUnseen(all map[string]sign) map[string]sign {
	for name, g := range all {
		g.hidden = nobodyCalled(name)
		all[name] = g
	}
	return all
}

func inputs(q ...dosing.Quantity) []dosing.Quantity { return q }

// tooQuiet: a probe whose noise does not show between the steps of its resolution is flat as a rule,
// and tested only when it has stood still for hours.
func tooQuiet(t *Trace, from, until time.Duration) string {
	for i := range t.Settings.Safety.Inputs {
		if in := &t.Settings.Safety.Inputs[i]; in.Quantity == dosing.QuantityPH && in.Noise > in.Step/2 {
			return ""
		}
	}
	if until-from > 9*time.Hour {
		return ""
	}
	return "the probe's noise is less than half a step of its resolution, and it was over before a test of it was due"
}

// tooEven: a wrong slope shows by the day's warmth alone.
func tooEven(t *Trace, from, until time.Duration) string {
	least, most := math.Inf(1), math.Inf(-1)
	for i := range t.Samples {
		if s := &t.Samples[i]; s.At >= from && s.At <= until {
			least, most = min(least, s.Celsius), max(most, s.Celsius)
		}
	}
	if most-least >= 2 {
		return ""
	}
	return "the water kept its temperature to within 2 °C"
}

// noHardTopUp and noSaltyTopUp: water shows only when it comes, and is mixed in.
func noHardTopUp(t *Trace, from, until time.Duration) string {
	told := max(t.Settings.Safety.Tanks[0].TopUp.Alkalinity, 0)
	if sim.HardTopUp.Alkalinity-told < max(1, told/2) {
		return "the water was told nearly as hard"
	}
	return t.noTopUp(from, until)
}

func noSaltyTopUp(t *Trace, from, until time.Duration) string {
	told := float64(t.Settings.Safety.Tanks[0].TopUp.EC)
	if sim.SaltyTopUp.EC-told < max(0.3, told/2) {
		return "the water was told nearly as salty"
	}
	return t.noTopUp(from, until)
}

// noTopUp: a top-up comes by two hundredths of the water, and one is enough.
func (t *Trace) noTopUp(from, until time.Duration) string {
	set := &t.Settings.Safety.Tanks[0]
	first, last := math.NaN(), math.NaN()
	for i := range t.Samples {
		if s := &t.Samples[i]; s.At >= from && s.At <= until-set.MixingTime() && s.Tank == 0 {
			if last = s.ToppedUp; math.IsNaN(first) {
				first = last
			}
		}
	}
	if last-first >= 0.015*float64(set.Volume) {
		return ""
	}
	return "no water came while it lasted"
}

// neverLow: a level that stays above the least harms nothing.
func neverLow(t *Trace, from, until time.Duration) string {
	return t.never(from, until, 0, "the level did not fall below the least at which anything is dosed", func(s *Sample) bool {
		return s.Litres < float64(t.Settings.Safety.Tanks[s.Tank].MinVolume)
	})
}

// neverWarm: a minute beyond the limits is what the alarm waits for.
func neverWarm(t *Trace, from, until time.Duration) string {
	return t.never(from, until, time.Minute, "the water stayed within its limits of temperature", func(s *Sample) bool {
		set := &t.Settings.Safety.Tanks[s.Tank]
		return s.Celsius < float64(set.MinTemperature) || s.Celsius > float64(set.MaxTemperature)
	})
}

// heldAllTheSame: what the loop holds against needs nobody. An hour outside the warn
// band is what the alarm of that waits for.
func heldAllTheSame(t *Trace, from, until time.Duration) string {
	return t.never(from, until, time.Hour, "the loop held pH within its warn band through it", func(s *Sample) bool {
		return math.Abs(s.PH-float64(s.Target.PH)) > dosing.WarnBand.PH
	})
}

// allShort: a node that allows a tenth of the run refuses only what is longer.
func allShort(t *Trace, from, until time.Duration) string {
	for i := range t.Orders {
		o := &t.Orders[i]
		if p := &t.Settings.Safety.Pumps[o.Pump]; p.Role == dosing.RoleAcid && o.At > from && o.At <= until && o.Run > t.Settings.Safety.Caps[o.Pump].OnTime/10 {
			return ""
		}
	}
	return "no order was longer than the node allows"
}

// never is why, unless the truth was so for longer than a time between from and until.
func (t *Trace) never(from, until, longer time.Duration, why string, so func(*Sample) bool) string {
	since := time.Duration(-1)
	for i := range t.Samples {
		s := &t.Samples[i]
		switch {
		case s.At < from || s.At > until || !so(s):
			since = -1
		case since < 0:
			since = s.At
		}
		if since >= 0 && s.At-since >= longer {
			return ""
		}
	}
	return why
}

// unshown says why a fault could not be named in this night; "" = it could.
func (g *sign) unshown(t *Trace, in *sim.Injection) string {
	from, until := t.lasts(in)
	tank := &t.Settings.Safety.Tanks[in.Tank]
	switch {
	case g.hidden != "":
		return g.hidden
	case len(g.needs) > 0 && !t.fitted(in.Tank, g.needs):
		return "no sensor of " + g.needs[0].String() + " is fitted"
	case until-from < g.takes:
		return "over within " + g.takes.String()
	}
	if g.worth > 0 {
		given := t.worth(in, g.role, from, until-tank.MixingTime())
		if given < g.worth {
			return "too little of that pump was ordered while it lasted"
		}
	}
	if g.only != nil {
		return g.only.unmet(t, from, until)
	}
	return ""
}

// lasts is from when to when a fault is there, by the daemon's uptime.
func (t *Trace) lasts(in *sim.Injection) (from, until time.Duration) {
	from, until = in.At+t.Begins, t.Ends
	if in.For > 0 && sim.Mends(in.Fault) {
		until = min(until, from+in.For)
	}
	return from, until
}

// fitted says whether a tank has an input of one of these quantities.
func (t *Trace) fitted(id dosing.TankID, any []dosing.Quantity) bool {
	for i := range t.Settings.Safety.Inputs {
		in := &t.Settings.Safety.Inputs[i]
		if in.NotFitted != "" || in.Tank != id && in.Tank != dosing.AllTanks {
			continue
		}
		if slices.Contains(any, in.Quantity) {
			return true
		}
	}
	return false
}

// worth is what orders of the pump that the fault is about are worth within a time, at
// the commissioned scale: pH of acid and base, mS/cm of a stock.
func (t *Trace) worth(in *sim.Injection, role dosing.Role, from, until time.Duration) float64 {
	set := t.Settings.Safety.Pumps
	pump := dosing.PumpID(0)
	if in.Pump != nil {
		pump = *in.Pump
	} else {
		for int(pump) < len(set) && (set[pump].Role != role || !set[pump].ServesTank(in.Tank)) {
			pump++
		}
	}
	if int(pump) >= len(set) {
		return 0
	}
	sum := 0.0
	for i := range t.Orders {
		if o := &t.Orders[i]; o.Pump == pump && o.Tank == in.Tank && o.At >= from && o.At <= until {
			sum += o.Volume.Millilitres()
		}
	}
	plant := &t.Settings.Safety.Tanks[in.Tank]
	sum /= float64(plant.Volume)
	if role == dosing.RoleStock {
		return sum * set[pump].ECPerML
	}
	scale := plant.BufferScale
	if !(scale > 0) {
		scale = 1
	}
	return sum * max(set[pump].AcidPerML, -set[pump].AcidPerML) / (t.Curves[in.Tank].Buffer(drawnPH) * scale)
}
