package controller

import (
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// hands keeps what people say they poured in.
type hands struct {
	*station
	epochs   *epochs
	accounts *accounts
	entries  []handEntry // of the last day, the newest last
	count    uint32      // entries of this run
	offers   []handOffer // that need confirmation, by tank
}

// Beyond these an entry by hand needs confirmation, and more than this share of the
// tank's volume is a slip.
const (
	handStepPH = 0.3
	handStepEC = 0.2 // mS/cm
	handShare  = 50
	handKept   = 24 * time.Hour
	handMost   = 200 // entries that can be shown and voided
)

// handKey marks the keys of entries by hand; the numbers of orders never reach it.
const handKey = uint64(1) << 31

// handEntry is what a person said was poured in.
type handEntry struct {
	dose   dosing.Dose
	name   string
	at     dosing.Instant
	by     string
	voided bool // said to be a mistake
	given  bool // and its hour and day are given back, since that is durable
}

// handOffer is an entry that needs confirmation.
type handOffer struct {
	token  string
	pump   dosing.PumpID
	volume dosing.Volume
	ends   time.Duration
}

// ask counts what a person poured in like a dose. It only ever withholds doses.
func (hs *hands) ask(now dosing.Instant, r *Request) {
	t := &hs.tanks[r.Tank]
	if refused := hs.wrong(r); refused != "" {
		hs.refuse(r, refused)
		return
	}
	pump := &hs.settings.Safety.Pumps[r.Pump]
	ph, ec := hs.pourEffect(r.Tank, pump, r.Volume)
	what := fmt.Sprintf("%s of %s · %s into %s: expected pH %s, EC %s mS/cm", volumeText(r.Volume), pump.Name, pump.Liquid(), t.plant.Name, dosing.Signed(ph, 2), dosing.Signed(ec, 2))
	if math.Abs(ph) > handStepPH || math.Abs(ec) > handStepEC {
		if o := &hs.offers[r.Tank]; r.Confirm == "" || r.Confirm != o.token || r.Pump != o.pump || r.Volume != o.volume || now.Up > o.ends {
			hs.offer(now, r, what)
			return
		}
	}
	hs.offers[r.Tank] = handOffer{}
	hs.count++
	e := handEntry{name: fmt.Sprintf("H%d-%d", hs.epochs.epoch, hs.count), at: now, by: r.By,
		dose: dosing.Dose{Key: uint64(hs.epochs.epoch)<<32 | handKey | uint64(hs.count), Tank: r.Tank, Pump: r.Pump, Volume: r.Volume, Up: now.Up, Hand: true}}
	hs.watch.ByHand(e.dose)
	t.loops.Freeze(now, now.Up+t.plant.MixingTime())
	if t.titration != nil {
		t.titration.spoilt = "a dose by hand was entered"
	}
	t.dosedIons(&hs.settings.Safety, r.Pump, r.Volume)
	hs.keep(e)
	hs.change(ledger.Change{Kind: ledger.ChangeHandDose, At: now, Tank: t.plant.Name, Pump: pump.Name,
		Volume: r.Volume, Text: e.name, Note: r.Note, By: r.By, From: r.From})
	hs.accept(r, what+". It counts like a dose, holds back more of the same, and makes no pump dose. Entry "+e.name+" can be voided for a day")
}

// wrong is why an entry cannot be true.
func (hs *hands) wrong(r *Request) string {
	if int(r.Pump) < len(hs.settings.Safety.Pumps) && hs.settings.Safety.Pumps[r.Pump].Role == dosing.RoleWater {
		return "water that was let in by hand shows at the level; there is nothing to enter"
	}
	if int(r.Pump) >= len(hs.settings.Safety.Pumps) || r.Volume <= 0 {
		return "say which pump's liquid and how many millilitres, more than nothing"
	}
	pump, plant := &hs.settings.Safety.Pumps[r.Pump], &hs.tanks[r.Tank].plant
	if !pump.ServesTank(r.Tank) {
		return fmt.Sprintf("pump %s does not serve tank %s; choose one that does", pump.Name, plant.Name)
	}
	if most := dosing.FromMillilitres(float64(plant.Volume) * 1000 / handShare); r.Volume > most {
		return fmt.Sprintf("%s is more than %s, a fiftieth of the tank's volume; look at the number and its unit, mL", volumeText(r.Volume), volumeText(most))
	}
	return ""
}

func (hs *hands) offer(now dosing.Instant, r *Request, what string) {
	o := &hs.offers[r.Tank]
	h := fnv.New32a()
	fmt.Fprintf(h, "%d|%d|%d|%d", r.Tank, r.Pump, r.Volume, now.Up)
	*o = handOffer{token: fmt.Sprintf("%08x", h.Sum32()), pump: r.Pump, volume: r.Volume, ends: now.Up + offerHolds}
	hs.refuse(r, what+". That is much: if it is so, confirm within 2 minutes")
	hs.out.Answers[len(hs.out.Answers)-1].Confirm = o.token
}

// pourEffect is what a volume of a pump's liquid does to pH and EC of the quick water, by the commissioned
// buffer capacity, from the setpoint while no pH is known.
func (hs *hands) pourEffect(id dosing.TankID, pump *dosing.Pump, volume dosing.Volume) (ph, ec float64) {
	t := &hs.tanks[id]
	perLitre := volume.Millilitres() / float64(t.plant.Quick())
	from := t.ph.present
	if t.estimate.PHKnown {
		from = float64(t.estimate.MeasuredPH)
	}
	ph = t.curve.PHAfter(from, float64(perLitre*pump.AcidPerML)/t.plant.BufferScale) - from
	return ph, perLitre * pump.ECPerML
}

func (hs *hands) keep(e handEntry) {
	hs.entries = append(slices.DeleteFunc(hs.entries, func(old handEntry) bool { return e.dose.Up-old.dose.Up > handKept }), e)
	if extra := len(hs.entries) - handMost; extra > 0 {
		hs.entries = slices.Delete(hs.entries, 0, extra)
	}
}

// askVoid takes an entry by hand back: it was never poured, or into another tank. The
// counter-entry names it; what it counted in the hour and the day is given back once
// that is durable, what is on its way goes by the mixing law alone.
func (hs *hands) askVoid(now dosing.Instant, r *Request) {
	for i := range hs.entries {
		e := &hs.entries[i]
		if e.name != r.Entry || e.dose.Tank != r.Tank {
			continue
		}
		if e.voided {
			hs.refuse(r, fmt.Sprintf("entry %s is voided already", e.name))
			return
		}
		e.voided = true
		pump := &hs.settings.Safety.Pumps[e.dose.Pump]
		hs.change(ledger.Change{Kind: ledger.ChangeHandVoid, At: now, Tank: hs.tankName(r.Tank), Pump: pump.Name, Volume: e.dose.Volume,
			Text: e.name, Note: r.Note, By: r.By, From: r.From})
		hs.accept(r, fmt.Sprintf("entry %s, %s of %s, is voided: it leaves the hour and the day; its effect on what is expected ends with the mixing time",
			e.name, volumeText(e.dose.Volume), pump.Name))
		return
	}
	hs.refuse(r, fmt.Sprintf("there is no entry %.20q of this tank in the last day", r.Entry))
}

// voided is told that a counter-entry is durable.
func (hs *hands) voided(name string) {
	for i := range hs.entries {
		if e := &hs.entries[i]; e.name == name && !e.given {
			e.voided, e.given = true, true
			hs.watch.Voided(e.dose.Pump, e.dose.Key)
		}
	}
}

// restore counts an entry of an earlier run.
func (hs *hands) restore(d *ledger.ReplayedDose, id dosing.TankID, pump dosing.PumpID) {
	e := handEntry{name: d.Entry.Text, at: d.Entry.At, by: d.Entry.By,
		dose: dosing.Dose{Tank: id, Pump: pump, Volume: d.Volume, Up: d.SettledUp, Hand: true}}
	var epoch, number uint32
	if _, err := fmt.Sscanf(e.name, "H%d-%d", &epoch, &number); err == nil {
		e.dose.Key = uint64(epoch)<<32 | handKey | uint64(number)
	}
	hs.totals.Count(e.dose)
	if d.Voided {
		e.voided, e.given = true, true
		hs.totals.Void(pump, e.dose.Key)
	}
	if e.dose.Key != 0 {
		hs.keep(e)
	}
}

// pours are the pumps whose liquid a person may add to a tank.
func (hs *hands) pours(id dosing.TankID) (pours []PourView) {
	for i := range hs.settings.Safety.Pumps {
		if pump := &hs.settings.Safety.Pumps[i]; pump.ServesTank(id) && pump.Role != dosing.RoleWater {
			ph, ec := hs.pourEffect(id, pump, 10*dosing.Millilitre)
			pours = append(pours, PourView{Pump: pump.Name, Liquid: pump.Liquid(), PH: ph, EC: ec})
		}
	}
	return pours
}

func (hs *hands) views(id dosing.TankID) (views []HandView) {
	for i := len(hs.entries) - 1; i >= 0; i-- {
		if e := &hs.entries[i]; e.dose.Tank == id {
			pump := &hs.settings.Safety.Pumps[e.dose.Pump]
			views = append(views, HandView{Name: e.name, Pump: pump.Name, Liquid: pump.Liquid(), Volume: e.dose.Volume, At: e.at.Wall, By: e.by, Voided: e.voided})
		}
	}
	return views
}

// volumeText is a volume with three significant digits.
func volumeText(v dosing.Volume) string {
	if v >= 10*dosing.Litre {
		return fmt.Sprintf("%.3g L", v.Litres())
	}
	if ml := v.Millilitres(); ml < 100 {
		return fmt.Sprintf("%.3g mL", ml)
	}
	return fmt.Sprintf("%.0f mL", v.Millilitres())
}
