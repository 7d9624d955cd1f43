package response

import (
	"fmt"
	"testing"
	"time"

	"leat/dosing"
)

// level tells a level and whether the top-up valve is open.
func (b *basin) level(litres float64, valve bool) {
	open := 0.0
	if valve {
		open = 1
	}
	b.responses.Read(b.now, dosing.QuantityTopUp, open)
	b.responses.Read(b.now, dosing.QuantityLevel, litres)
}

// The fit is arithmetic of a thousand steps, in which a sign that is wrong makes a healthy
// pump look weak by a tenth and no more. These are its figures for water that is always the
// same: what doses did ÷ what they should, how sure that is, what all others did, and how
// far one stands out beside them. Each lies within its doubt of what the water of its case
// truly did; beside a pond that is not there, a stock looks too strong.
func TestFiguresOfAFitAreThoseOfTheWater(t *testing.T) {
	acidWorth := func(b *basin, ml float64) float64 { return ml / float64(b.tank.Quick()) }
	for _, c := range []struct {
		name  string
		basin func() *basin
		play  func(*basin)
		pool  func(*Responses) *pool
		want  string
	}{
		{"acid that does nine tenths", newBasin, func(b *basin) {
			b.wait(30 * time.Minute)
			b.dose(nightAcid, tenthAcid, 0.9*acidWorth(b, tenthAcid), 0)
			b.wait(8 * time.Minute)
		}, func(r *Responses) *pool { return &r.pools[Acid] }, "predicted -0.0500, ratio 0.8885 ± 0.0877, others 1.0000, beside -0.6115 ± 1.2780"},
		{"acid in two doses, after base, while pH climbs", newBasin, func(b *basin) {
			b.slopePH = 0.15
			b.wait(20 * time.Minute)
			b.dose(nightBase, tenthAcid/2, -1.2*acidWorth(b, tenthAcid/2), 0)
			b.wait(11 * time.Minute)
			b.dose(nightAcid, tenthAcid/2, 0.8*acidWorth(b, tenthAcid/2), 0)
			b.wait(3 * time.Minute)
			b.dose(nightAcid, tenthAcid, 0.8*acidWorth(b, tenthAcid), 0)
			b.wait(6 * time.Minute)
		}, func(r *Responses) *pool { return &r.pools[Acid] }, "predicted -0.0500, ratio 0.7973 ± 0.0681, others 1.1836, beside -0.9781 ± 0.2707"},
		{"a stock of 1.3 beside one of 0.8", newBasin, func(b *basin) {
			b.wait(20 * time.Minute)
			worth := 0.02 * float64(b.tank.Quick()) / b.pumps[nightStockA].ECPerML
			b.dose(nightStockB, worth, 0, 0.8*0.02)
			b.wait(3 * time.Minute)
			b.dose(nightAcid, tenthAcid/4, acidWorth(b, tenthAcid/4), 0.03*acidWorth(b, tenthAcid/4))
			b.wait(4 * time.Minute)
			b.dose(nightStockA, worth, 0, 1.3*0.02)
			b.wait(8 * time.Minute)
		}, func(r *Responses) *pool { return &r.pools[Classes] }, "predicted +0.0200, ratio 1.2963 ± 0.0981, others 0.8788, beside -0.0219 ± 0.2813"},
		{"a stock of 1.5 beside one of 1.2 in a pond", pondBasin, func(b *basin) {
			b.wait(20 * time.Minute)
			worth := 0.02 * float64(b.tank.Quick()) / b.pumps[nightStockA].ECPerML
			b.dose(nightStockB, worth, 0, 1.2*0.02)
			b.wait(7 * time.Minute)
			b.dose(nightStockA, worth, 0, 1.5*0.02)
			b.wait(8 * time.Minute)
		}, func(r *Responses) *pool { return &r.pools[Classes] }, "predicted +0.0200, ratio 1.7104 ± 0.1058, others 1.1619, beside -0.0325 ± 0.3075"},
		{"acid while top-up comes in", func() *basin {
			b := newBasin()
			b.tank.TopUp = dosing.Water{Alkalinity: 2, EC: 0.3}
			b.responses = New(b.pumps, b.tank, evenBuffer(0.5))
			return b
		}, func(b *basin) {
			b.level(380, false)
			b.wait(20 * time.Minute)
			b.level(380, true)
			b.given = append(b.given, parcel{at: b.now.Up - b.tank.DeadTime, acid: -2 * 6.0 / 400})
			b.wait(time.Minute)
			b.level(386, true)
			b.dose(nightAcid, tenthAcid, 0.9*acidWorth(b, tenthAcid), 0)
			b.wait(8 * time.Minute)
		}, func(r *Responses) *pool { return &r.pools[Acid] }, "predicted -0.0500, ratio 0.8296 ± 0.2954, others 1.0000, beside -0.6704 ± 1.3088"},
		{"acid, and a probe that somebody moved", newBasin, func(b *basin) {
			b.wait(20 * time.Minute)
			b.dose(nightAcid, tenthAcid, 0.9*acidWorth(b, tenthAcid), 0)
			b.wait(30 * time.Second)
			b.given = append(b.given, parcel{at: b.now.Up - time.Hour, acid: 0.2}) // 0.4 pH at once
			b.wait(7*time.Minute + 30*time.Second)
		}, func(r *Responses) *pool { return &r.pools[Acid] }, "predicted -0.0500, ratio -0.1451 ± 0.7935, others 1.0000, beside -1.6451 ± 11.3947"},
	} {
		b := c.basin()
		c.play(b)
		p := c.pool(b.responses)
		f := b.responses.fit(b.now.Up, p, p.last+b.tank.DeadTime+2*b.tank.TimeConstant)
		got := fmt.Sprintf("predicted %+.4f, ratio %.4f ± %.4f, others %.4f, beside %+.4f ± %.4f", f.predicted, f.ratio, f.sd, f.others, f.beside, f.besideSD)
		if !f.ok || got != c.want {
			t.Errorf("%s: %v\n got %s\nwant %s", c.name, f.ok, got, c.want)
		}
	}
}
