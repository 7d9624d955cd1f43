package controller

import (
	"fmt"
	"math"
	"strings"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

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
func (c *Core) restoreDrawn(hourly map[string][]dosing.Volume) {
	pumps := c.settings.Safety.Pumps
	d := drawn{ever: make([]dosing.Volume, len(pumps))}
	most := 0
	for i := range pumps {
		most = max(most, len(hourly[pumps[i].Name]))
		d.ever[i] = c.pumps[i].before + c.totals.Ever(dosing.PumpID(i))
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
	c.drawn = d
}

// countHour notes what was drawn in the hour that ends now.
func (c *Core) countHour() {
	d := &c.drawn
	row := make([]dosing.Volume, len(d.ever))
	for i := range row {
		ever := c.pumps[i].before + c.totals.Ever(dosing.PumpID(i))
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

// stockView is a container with its forecast.
func (c *Core) stockView(id dosing.PumpID) StockView {
	v := StockView{Pump: c.settings.Safety.Pumps[id].Name, Left: c.contains(id)}
	if days := c.drawn.days[id]; len(days) > 0 {
		v.Lasting, v.Known = dosing.Lasts(max(v.Left, 0).Millilitres(), days), true
	}
	return v
}

// contains is what a container holds, by its level if that is measured.
func (c *Core) contains(id dosing.PumpID) dosing.Volume {
	for i := range c.settings.Safety.Inputs {
		in := &c.settings.Safety.Inputs[i]
		if in.Quantity != dosing.QuantityStockLevel || in.Pump != id {
			continue
		}
		if reading, quality, ok := c.watch.Input(dosing.InputID(i)); ok && quality.MayDose() {
			return dosing.FromMillilitres(reading.Value() * 1000)
		}
	}
	return c.left(id)
}

// stockLow names the containers of a tank that last less than the time of which a person
// is told; empty when none is known to.
func (c *Core) stockLow(id dosing.TankID) string {
	var low []string
	for i := range c.settings.Safety.Pumps {
		pump := &c.settings.Safety.Pumps[i]
		if !pump.ServesTank(id) || c.settings.StockWarn <= 0 {
			continue
		}
		if v := c.stockView(dosing.PumpID(i)); v.Known && v.Left >= 0 && v.Days < c.settings.StockWarn.Hours()/24 {
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

// stockViews are the containers from which a tank is dosed.
func (c *Core) stockViews(id dosing.TankID) (all []StockView) {
	for i := range c.settings.Safety.Pumps {
		if c.settings.Safety.Pumps[i].ServesTank(id) {
			all = append(all, c.stockView(dosing.PumpID(i)))
		}
	}
	return all
}

// lowEvery is how often the containers are looked at: days do not pass in seconds.
const lowEvery = time.Minute

// lookAtStocks notes which containers of a tank are low.
func (c *Core) lookAtStocks(now dosing.Instant) {
	if now.Up-c.stocked < lowEvery && c.stocked > 0 {
		return
	}
	c.stocked = now.Up
	for i := range c.tanks {
		c.tanks[i].low = c.stockLow(dosing.TankID(i))
	}
}
