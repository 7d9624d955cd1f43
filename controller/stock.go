package controller

import (
	"fmt"
	"math"
	"strings"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// stocks keeps what each pump gave, and what its container holds.
type stocks struct {
	*station
	counts []pumpCounts // by pump
	drawn  drawn
	looked time.Duration // when the containers were last looked at
	lows   []string      // which containers are low then, by tank, for an alarm
}

type pumpCounts struct {
	doses  [ledger.OutcomeCount]uint64
	volume [ledger.OutcomeCount]dosing.Volume
	before dosing.Volume   // of earlier runs
	rate   ledger.PumpRate // as last measured
	tube   ledger.Tube
	refill ledger.Refill // the newest; At zero = none was entered
}

// StockView is what a container holds and how long that lasts.
type StockView struct {
	Pump string
	Left dosing.Volume // by its level or by ledger and refills; negative = unknown
	dosing.Lasting
	Known bool // whether the demand, and so Lasting, is
}

// drawn is what each pump gave in each hour of the last days, the newest last.
type drawn struct {
	hours [][]dosing.Volume // by hour, then pump
	ever  []dosing.Volume   // of each pump when the newest hour ended
	days  [][]float64       // by pump: mL on each day that tells of a demand
}

// restoreDrawn begins with the hours that the ledger tells of.
func (sk *stocks) restoreDrawn(hourly map[string][]dosing.Volume) {
	pumps := sk.settings.Safety.Pumps
	d := drawn{ever: make([]dosing.Volume, len(pumps))}
	most := 0
	for i := range pumps {
		most = max(most, len(hourly[pumps[i].Name]))
		d.ever[i] = sk.counts[i].before + sk.totals.Ever(dosing.PumpID(i))
	}
	for hour := range most {
		row := make([]dosing.Volume, len(pumps))
		for i := range pumps {
			if all := hourly[pumps[i].Name]; hour-most+len(all) >= 0 {
				row[i] = all[hour-most+len(all)]
			}
		}
		d.hours = append(d.hours, row)
	}
	d.sum()
	sk.drawn = d
}

// countHour notes what was drawn in the hour that ends now.
func (sk *stocks) countHour() {
	d := &sk.drawn
	row := make([]dosing.Volume, len(d.ever))
	for i := range row {
		ever := sk.counts[i].before + sk.totals.Ever(dosing.PumpID(i))
		row[i], d.ever[i] = ever-d.ever[i], ever
	}
	d.hours = append(d.hours, row)
	if extra := len(d.hours) - ledger.DemandHours; extra > 0 {
		d.hours = append(d.hours[:0], d.hours[extra:]...)
	}
	d.sum()
}

// sum adds up the days anew: a view asks for them every second, and they change by the hour.
func (d *drawn) sum() {
	d.days = d.days[:0]
	for pump := range d.ever {
		d.days = append(d.days, d.daysOf(dosing.PumpID(pump)))
	}
}

// daysOf is what a pump gave on each whole day on which anything was dosed at all: a day on
// which the station only observed tells of no demand.
func (d *drawn) daysOf(pump dosing.PumpID) (days []float64) {
	const day = 24
	for end := len(d.hours); end >= day; end -= day {
		ml, any := 0.0, false
		for _, row := range d.hours[end-day : end] {
			ml += row[pump].Millilitres()
			for _, v := range row {
				any = any || v > 0
			}
		}
		if any {
			days = append(days, ml)
		}
	}
	return days
}

// view is a container with its forecast.
func (sk *stocks) view(id dosing.PumpID) StockView {
	v := StockView{Pump: sk.settings.Safety.Pumps[id].Name, Left: sk.contains(id)}
	if days := sk.drawn.days[id]; len(days) > 0 {
		v.Lasting, v.Known = dosing.Lasts(max(v.Left, 0).Millilitres(), days), true
	}
	return v
}

// contains is what a container holds, by its level if that is measured.
func (sk *stocks) contains(id dosing.PumpID) dosing.Volume {
	for i := range sk.settings.Safety.Inputs {
		in := &sk.settings.Safety.Inputs[i]
		if in.Quantity != dosing.QuantityStockLevel || in.Pump != id {
			continue
		}
		if reading, quality, ok := sk.watch.Input(dosing.InputID(i)); ok && quality.MayDose() {
			return dosing.FromMillilitres(reading.Value() * 1000)
		}
	}
	return sk.left(id)
}

// low names the containers of a tank that last less than the time of which a person
// is told; empty when none is known to.
func (sk *stocks) low(id dosing.TankID) string {
	var low []string
	for i := range sk.settings.Safety.Pumps {
		pump := &sk.settings.Safety.Pumps[i]
		if !pump.ServesTank(id) || sk.settings.StockWarn <= 0 {
			continue
		}
		if v := sk.view(dosing.PumpID(i)); v.Known && v.Left >= 0 && v.Days < sk.settings.StockWarn.Hours()/24 {
			low = append(low, fmt.Sprintf("%s: %s left, %s", pump.Name, volumeText(v.Left), daysText(v.Lasting)))
		}
	}
	return strings.Join(low, "; ")
}

// daysText is for how long a container lasts.
func daysText(l dosing.Lasting) string {
	if math.IsInf(l.Days, 0) {
		return "nothing is drawn"
	}
	return fmt.Sprintf("lasts %.1f days (%.1f to %.1f)", l.Days, l.Low, l.High)
}

// views are the containers from which a tank is dosed.
func (sk *stocks) views(id dosing.TankID) (all []StockView) {
	for i := range sk.settings.Safety.Pumps {
		if sk.settings.Safety.Pumps[i].ServesTank(id) {
			all = append(all, sk.view(dosing.PumpID(i)))
		}
	}
	return all
}

// lowEvery is how often the containers are looked at: days do not pass in seconds.
const lowEvery = time.Minute

// look notes which containers of a tank are low.
func (sk *stocks) look(now dosing.Instant) {
	if now.Up-sk.looked < lowEvery && sk.looked > 0 {
		return
	}
	sk.looked = now.Up
	for i := range sk.tanks {
		sk.lows[i] = sk.low(dosing.TankID(i))
	}
}
