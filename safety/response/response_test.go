package response

import (
	"math"
	"math/rand/v2"
	"time"

	"leat/dosing"
)

// evenBuffer is a titration curve of one buffer capacity: what is tested here is
// the test of responses, not the chemistry.
type evenBuffer float64

func (b evenBuffer) AcidNeeded(from, to float64) float64 { return (from - to) * float64(b) }
func (b evenBuffer) PHAfter(from, acid float64) float64  { return from - acid/float64(b) }
func (b evenBuffer) Buffer(float64) float64              { return float64(b) }

// The pumps of the nights below.
const (
	nightAcid dosing.PumpID = iota
	nightBase
	nightStockA
	nightStockB
)

func nightPumps() []dosing.Pump {
	return []dosing.Pump{
		{Name: "acid", Role: dosing.RoleAcid, AcidPerML: 1, ECPerML: 0.03},
		{Name: "base", Role: dosing.RoleBase, AcidPerML: -1, ECPerML: 0.03},
		{Name: "stock-a", Role: dosing.RoleStock, AcidPerML: 0.002, ECPerML: 0.1},
		{Name: "stock-b", Role: dosing.RoleStock, AcidPerML: 0.004, ECPerML: 0.1},
	}
}

// waterNight is ten hours of a tank: mixing lag, drift that wanders, carbonate that
// rebounds, top-up, noise, and a plain loop that keeps dosing. It is written from
// the control specification's set `standard`, apart from the simulator, so that
// both must be wrong alike to hide a mistake.
type waterNight struct {
	random    *rand.Rand
	tank      dosing.Tank
	pumps     []dosing.Pump
	responses *Responses
	now       dosing.Instant

	buffer     float64 // true, meq/L per pH
	commission float64
	error      [4]float64 // delivered ÷ ordered; negative = the reagent works the other way
	noise      float64
	flux       float64 // pH raised, meq/L/h
	uptake     float64 // mS/cm/h
	exchange   float64 // 1/h
	alkalinity float64

	pH, ec    float64 // well mixed
	rebound   float64 // meq/L of acid that carbonate will take back
	onTheWay  []parcel
	probePH   float64
	probeEC   float64
	level     float64
	lost      float64
	predicted [4]float64 // predicted effect ordered since the last call of mark
	key       uint64
	acidGiven []parcel // as ordered, for the loop's own sums
	learned   bool     // the scale is learned (else nothing is known of it)
	wrong     float64
	ecTarget  float64
	pHTarget  float64
}

type parcel struct {
	at       time.Duration
	acid, ec float64
}

func newWaterNight(seed uint64) *waterNight {
	r := rand.New(rand.NewPCG(seed, 7))
	log := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
	even := func(lo, hi float64) float64 { return lo + r.Float64()*(hi-lo) }
	n := &waterNight{random: r, pumps: nightPumps(), pHTarget: 5.8, ecTarget: even(0.8, 2.6)}
	n.commission = log(0.3, 2)
	n.wrong = log(1.0/3, 3)
	n.buffer = n.commission * n.wrong
	n.tank = dosing.Tank{Volume: 400, DeadTime: time.Duration(even(20, 180) * 1e9), TimeConstant: time.Duration(even(30, 300) * 1e9), BufferScale: 1,
		TopUp: dosing.Water{Alkalinity: log(0.2, 5)}}
	n.alkalinity = n.tank.TopUp.Alkalinity
	n.tank.TopUp.EC = dosing.Conductivity(0.1 * n.alkalinity)
	n.noise = even(0.005, 0.03)
	n.tank.PHNoise, n.tank.ECNoise = n.noise, 0.005
	n.flux, n.uptake, n.exchange = even(-0.03, 0.1), even(0, 0.03), log(0.05, 1)
	for i := range n.error {
		n.error[i] = even(0.85, 1.15)
	}
	n.pH, n.ec = even(5.4, 6.6), n.ecTarget*even(0.6, 1)
	n.probePH, n.probeEC = n.pH, n.ec
	n.level = 400
	n.lost = log(0.001, 0.02) * 400
	n.responses = New(n.pumps, n.tank, evenBuffer(n.commission))
	return n
}

const nightStep = 5 * time.Second

// step lives through five seconds.
func (n *waterNight) step() {
	hours := nightStep.Hours()
	n.now = n.now.Add(nightStep)
	n.flux += n.random.NormFloat64() * 0.02 * math.Sqrt(hours)
	back := n.rebound * (1 - math.Exp(-n.exchange*hours))
	n.rebound -= back
	n.pH += (n.flux*hours + back) / n.buffer
	n.ec -= n.uptake * hours
	n.level -= n.lost * hours
	n.ec *= 1 + n.lost*hours/400
	if n.level < 392 {
		n.level += 8
		n.onTheWay = append(n.onTheWay, parcel{at: n.now.Up, acid: -0.02 * n.alkalinity, ec: -0.02 * (n.ec - float64(n.tank.TopUp.EC))})
	}
	kept := n.onTheWay[:0]
	for _, p := range n.onTheWay {
		if n.now.Up-p.at < n.tank.DeadTime {
			kept = append(kept, p)
			continue
		}
		n.pH -= p.acid / n.buffer
		n.ec += p.ec
		if p.acid > 0 {
			n.rebound += 0.2 * p.acid
		}
	}
	n.onTheWay = kept
	share := 1 - math.Exp(-nightStep.Seconds()/n.tank.TimeConstant.Seconds())
	n.probePH += share * (n.pH - n.probePH)
	n.probeEC += share * (n.ec - n.probeEC)
	n.responses.Read(n.now, dosing.QuantityPH, math.Round((n.probePH+n.noise*n.random.NormFloat64())*100)/100)
	n.responses.Read(n.now, dosing.QuantityEC, math.Round((n.probeEC+0.005*n.random.NormFloat64())*100)/100)
	n.responses.Read(n.now, dosing.QuantityLevel, n.level+0.4*n.random.NormFloat64())
}

// dose orders ml of a pump.
func (n *waterNight) dose(pump dosing.PumpID, ml float64) {
	n.key++
	p := n.pumps[pump]
	n.responses.Dosed(dosing.Dose{Key: n.key, Pump: pump, Volume: dosing.FromMillilitres(ml), Up: n.now.Up, Open: true})
	n.responses.Dosed(dosing.Dose{Key: n.key, Pump: pump, Volume: dosing.FromMillilitres(ml), Up: n.now.Up})
	given := ml * n.error[pump]
	n.onTheWay = append(n.onTheWay, parcel{at: n.now.Up, acid: given * p.AcidPerML / 400, ec: given * p.ECPerML / 400})
	n.acidGiven = append(n.acidGiven, parcel{at: n.now.Up, acid: ml * p.AcidPerML / 400, ec: ml * p.ECPerML / 400})
	if p.Role == dosing.RoleStock {
		n.predicted[pump] += ml * p.ECPerML / 400
	} else {
		n.predicted[pump] += math.Abs(ml*p.AcidPerML) / 400 / n.commission
	}
}

// control is a plain loop: every ten seconds, with what it believes is in transit.
func (n *waterNight) control() {
	scale := n.commission
	if n.learned {
		scale = n.buffer
	}
	acid, ec := 0.0, 0.0
	kept := n.acidGiven[:0]
	for _, p := range n.acidGiven {
		age := n.now.Up - p.at
		if age > n.tank.DeadTime+7*n.tank.TimeConstant {
			continue
		}
		left := 1.0
		if age > n.tank.DeadTime {
			left = math.Exp(-float64(age-n.tank.DeadTime) / float64(n.tank.TimeConstant))
		}
		acid, ec = acid+left*p.acid, ec+left*p.ec
		kept = append(kept, p)
	}
	n.acidGiven = kept
	error := n.probePH - acid/scale - n.pHTarget
	ml := 0.6 * math.Min(math.Abs(error), 0.1) * scale * 400 * math.Exp(-0.3)
	switch {
	case error > 0.03 && acid < 0.3*scale:
		n.dose(nightAcid, ml)
	case error < -0.05 && acid > -0.3*scale && acid <= 0:
		n.dose(nightBase, ml)
	case n.probeEC+ec < n.ecTarget-0.015 && ec < 0.2:
		short := math.Min(n.ecTarget-n.probeEC-ec, 0.05)
		n.dose(nightStockA, 0.35*short/0.1*400)
		n.dose(nightStockB, 0.35*short/0.1*400)
	}
}

// live runs the night until an hour and calls found for each finding.
func (n *waterNight) live(until float64, found func(Finding) (goOn bool)) {
	for i := 0; n.now.Up.Hours() < until; i++ {
		n.step()
		if i%2 == 0 {
			n.control()
		}
		m, s := 0.0, dosing.UnmeasuredSpread
		if n.learned {
			m, s = math.Log(n.wrong)+0.15*math.Sin(n.now.Up.Hours()), 0.2
		}
		if f, ok := n.responses.Judge(n.now, m, s); ok && !found(f) {
			return
		}
	}
}
