package safety

import (
	"fmt"
	"math"
	"time"

	"leat/dosing"
	"leat/safety/response"
)

// The account of unconfirmed reagent. The cap on what is in transit is a limit of rate: it
// lets go of a dose when the mixing law says that it has arrived. A probe in held water,
// half-blocked circulation or swapped lines show nothing of it and get dose after dose.
// So every dose enters this account in full, and only evidence that the probe is alive in
// this water takes something out; time, restart, reload and acknowledgement never do.
const (
	accountPH = transitPH // limit at the weakest credible buffer, pH
	accountEC = transitEC // limit, mS/cm
	// Once the tank has answered often the buffer is known, and what may be unseen is half as much
	// again: a probe that dies then costs less than the doubt about the buffer did before.
	answeredPH   = 1.25 * accountPH
	answeredEnow = 3 // answers

	// Before anything was answered the buffer is believed to be weaker than the commissioned by
	// three quarters of its spread, two thirds of it where nobody measured it; with each answer the
	// limit may double, up to what was learned less one of its own spreads, which no answer makes
	// smaller than this, unless it was measured.
	unseenSpreads = 0.74
	leastSpread   = 0.3

	// At the limit a tank that has rested for long makes a test: one small dose, and another;
	// then a person is asked. A tank at rest off its setpoint would otherwise wait for ever.
	testPH   = 0.05
	testEC   = 0.05 // mS/cm
	maxTests = 2

	// From here on the account is full, and from there on more may follow: doses that
	// trickle in as evidence does leave the water no rest in which it shows.
	fullFrom, openFrom = 0.9, 0.5

	// A dose judged a second time is taken out of the sum again, which rounds: so much of the limit is nothing.
	rounds = 1e-9

	startBand = 0.1 // pH about the setpoint in which a tank may stand
)

// account is what a tank was given of acid, base or stock that no reading has shown.
type account struct {
	class    response.Class
	given    float64       // meq/L, or mS/cm of stock; below zero is alkalinity that acid may meet
	open     float64       // of it the dose that is under way
	last     time.Duration // when something was given
	tests    int           // doses at the limit since the last evidence
	silent   bool          // they had their time and showed nothing
	full     bool
	met      float64 // alkalinity that took acid out since the last evidence, meq/L
	restored bool    // from the record, where nobody knew the buffer
	tastes   int     // first small doses that have had their time to show
	tasting  float64 // given of the one that has not

	evidence
	// mean and spread of ln(buffer scale) at the last answer: silence teaches a strong buffer
	lnBuffer, spread float64
	answers          int // times that a reading followed its doses

	// what a replay of the record would make of given, at most, and when that was written
	recorded   float64
	recordedAt when
}

func newAccount(class response.Class) account {
	return account{class: class, spread: dosing.UnmeasuredSpread}
}

// untrust forgets what the answers had taught; what was given stands, the next dose is a first
// one again, and a full account may make its tests once more.
func (a *account) untrust() {
	a.answers, a.lnBuffer, a.spread, a.tastes, a.tests = 0, 0, dosing.UnmeasuredSpread, 0, 0
}

// sign is the direction in which a dose moves its quantity.
func (a *account) sign() float64 {
	if a.class == response.Acid {
		return -1
	}
	return 1
}

// weakest is the weakest credible buffer by which the account is limited, ÷ the commissioned.
// It is the water's: what base has shown holds for acid too, once a first dose of acid was seen.
func (a *account) weakest(t *tankState) float64 {
	scale := math.Exp(-float64(unseenSpreads * t.startSpread()))
	if b := t.shown(a); b.answers > 0 {
		scale = min(math.Exp(b.lnBuffer-b.spread), float64(scale*math.Exp2(float64(b.answers))))
		for class := response.Acid; class <= response.Base; class++ {
			// The loop's scale is slow to follow a buffer that falls as carbonate leaves.
			if usual, answers := t.responses.Usual(class); answers > 0 {
				scale = min(scale, math.Exp(-usual))
			}
		}
	}
	// A weaker buffer than at the last answer is believed at once.
	return max(min(scale, math.Exp(t.lnBuffer-float64(unseenSpreads*t.spread)), floorMost), 0)
}

// shown is the account of pH that has been answered most often, this one before its equal.
func (t *tankState) shown(a *account) *account {
	for _, class := range [...]response.Class{response.Acid, response.Base} {
		if b := &t.accounts[class]; a.tried(t) && b.answers > a.answers {
			a = b
		}
	}
	return a
}

// limit is the most that may be unseen, in the account's unit; nothing while no buffer is
// known.
func (a *account) limit(t *tankState, commissioned float64) float64 {
	if a.class == response.Stock {
		return accountEC
	}
	most := accountPH
	if t.shown(a).answers >= answeredEnow {
		most = answeredPH
	}
	if t.swings {
		most *= turnsShare
	}
	if !(commissioned > 0) {
		return 0
	}
	return float64(min(float64(most*commissioned), t.along(float64(a.sign()*most))) * a.weakest(t))
}

// along is what moves the reading by so much pH on the commissioned curve, meq/L: below the setpoint water
// without carbonate buffers less and less.
func (t *tankState) along(by float64) float64 {
	from := t.group[dosing.QuantityPH].value
	return math.Abs(t.curve.AcidNeeded(from, from+by)) * t.plant.BufferScale
}

// fill judges whether the account is full.
func (a *account) fill(limit float64) {
	switch {
	case a.given > fullFrom*limit:
		a.full = true
	case a.given <= openFrom*limit:
		a.full = false
	}
}

// rests says that the account is full by this limit; by a lesser one, of a buffer that was believed weaker, it may have been.
func (a *account) rests(limit float64) bool { return a.full && a.given > openFrom*limit }

// test is what one dose at the limit may bring.
func (a *account) test(limit float64) float64 {
	if a.class == response.Stock {
		return testEC
	}
	return float64(limit * (testPH / accountPH))
}

// patience is how long a full account waits for a word of the probe before a test is made,
// and then for its answer: the reading must have had its time to move by itself, or a test
// that only meets a drift is taken for silence. Near the setpoint nothing is lost by waiting.
func (t *tankState) patience() time.Duration {
	if t.off() < startBand {
		return max(2*t.plant.MixingTime(), aloneLong)
	}
	return max(2*t.plant.MixingTime(), aloneWithin)
}

// room is what may still be given; a dose that is judged a second time does not count
// against itself.
func (a *account) room(t *tankState, limit float64, up time.Duration, own bool) float64 {
	full := a.rests(limit)
	switch {
	case !full && !a.tried(t):
		return a.taste(limit, own)
	case own && full && a.given-a.open > openFrom*limit:
		return max(limit-(a.given-a.open), a.test(limit)) + rounds*limit
	case own:
		return limit - (a.given - a.open) + rounds*limit
	case !full:
		return limit - a.given
	case a.tests < maxTests && up-a.last >= t.patience():
		return a.test(limit)
	}
	return 0
}

// words are the state of an account for a person.
func (a *account) words(limit float64) string {
	given := max(a.given, 0)
	switch {
	case a.class == response.Stock:
		return fmt.Sprintf("%.2f of %.2f mS/cm of stock not yet seen by the probe", given, limit)
	case !(limit > 0):
		return "no buffer capacity is known"
	}
	return fmt.Sprintf("%.2f of %.2f pH of %s not yet seen by the probe", float64(accountPH*given)/limit, accountPH, a.class)
}

// unproved is what is kept of the doses of a tank until readings have shown what they did.
type unproved struct {
	accounts   [response.Classes]account
	accounted  int64                       // bin of readings in which evidence was last looked for
	freed      [dosing.QuantityCount]freed // of pH and EC, by a hand meter
	responses  *response.Responses
	progressPH progress
	progressEC progress
	silence    silence
	turns      turns
	swings     bool // as of the last bin of readings
}

// accounts keeps what no reading has shown of what was given.
type accounts struct{ *state }

// amount is what a volume of a pump's liquid brings into its account of a tank. Below the least volume nothing is
// dosed, and what a person pours in there is in that much at least before anything is again; a gauge that fails low
// would count it many times over until a restart.
func (ac *accounts) amount(t *tankState, pump *dosing.Pump, volume dosing.Volume) (class response.Class, amount float64, ok bool) {
	litres := min(max(float64(ac.Volume(t.id)), float64(t.plant.MinVolume)), float64(t.plant.Volume))
	class, ok = response.ClassOf(pump.Role)
	if !ok || !(litres > 0) {
		return 0, 0, false
	}
	perML := math.Abs(pump.AcidPerML)
	if class == response.Stock {
		perML = pump.ECPerML
	}
	return class, float64(volume.Millilitres()*perML) / litres, true
}

// enter puts a dose into its account: in full, when it is ordered.
func (ac *accounts) enter(d dosing.Dose) {
	t := &ac.tanks[d.Tank]
	class, amount, ok := ac.amount(t, &ac.settings.Pumps[d.Pump], d.Volume)
	if !ok {
		return
	}
	a := &t.accounts[class]
	commissioned, _ := t.buffers()
	limit := a.limit(t, commissioned)
	if d.Open && a.given > fullFrom*limit {
		a.tests++ // below that it is an ordinary dose, and its silence means no more than theirs
	}
	a.give(t, amount, d.Up)
	if d.Open {
		a.open = amount
	}
	a.fill(limit)
}

// give enters an amount. What was measured before the first one is kept beside it.
func (a *account) give(t *tankState, amount float64, up time.Duration) {
	if a.given <= 0 {
		a.begun = false
	}
	if k := a.track(t); k != nil && !a.begun {
		if m := k.Over(k.Bin(up)-2*meanBins, k.Bin(up)); m.Ok {
			a.refer(m, up, max(a.given, 0))
		}
	}
	a.given += amount
	a.since += amount
	a.tasting += amount
	a.recorded += amount
	a.last = max(a.last, up)
}

// correct takes out of its account what was not delivered after all, or adds what was
// delivered beyond the order.
func (ac *accounts) correct(id dosing.TankID, pump dosing.PumpID, ordered, delivered dosing.Volume) {
	t := &ac.tanks[id]
	class, more, ok := ac.amount(t, &ac.settings.Pumps[pump], max(delivered-ordered, 0))
	if !ok || ordered <= 0 {
		return
	}
	a := &t.accounts[class]
	less := float64(a.open * (1 - min(1, float64(delivered)/float64(ordered))))
	a.given += more - less
	a.recorded += more
	if a.open = 0; delivered == 0 && a.tests > 0 {
		a.tests-- // it was never made
	}
}

// meet lets top-up's alkalinity take acid out of its account: it was told to come, and
// acid that meets it moves nothing. What it leaves open is no more than acid may meet
// within a mixing time; and between two words of the probe it meets no more than the
// account's limit, for water that is softer than told would let acid through for ever.
func (t *tankState) meet(alkalinity float64) {
	a := &t.accounts[response.Acid]
	commissioned, _ := t.buffers()
	met := max(min(alkalinity, a.limit(t, commissioned)-a.met), 0)
	a.given -= met
	a.met += met
}

// Unanswered says what of a class went into a tank, the tests at the limit among it, without a
// word of the probe; "" while none did. Silence is no proof: water that buffers far more than it
// was told to and plants that drink against the doses look like it too. So nothing is latched,
// no more is given, and a person is asked to look.
func (ac *accounts) Unanswered(id dosing.TankID) string {
	if int(id) >= len(ac.tanks) {
		return ""
	}
	t := &ac.tanks[id]
	commissioned, _ := t.buffers()
	for class := range t.accounts {
		if a := &t.accounts[class]; a.silent {
			return a.words(a.limit(t, commissioned))
		}
	}
	return ""
}
