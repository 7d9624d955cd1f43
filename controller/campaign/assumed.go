package campaign

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
)

// station makes the settings of one observing tank and its feeds, in the order of
// recordedQuantities and circulation behind them.
func (p *replay) station(farm *Farm) (*controller.Settings, []payload.Feed) {
	litres := p.most(dosing.QuantityLevel, 100)
	tank := safety.Tank{Tank: nominal, MinTemperature: 2, MaxTemperature: 45}
	tank.Name, tank.BufferScale, tank.DeadTime, tank.TimeConstant = "tank", 1, time.Minute, 2*time.Minute
	tank.Volume, tank.MinVolume, tank.MaxVolume = dosing.Litres(litres), dosing.Litres(litres/100), dosing.Litres(1.1*litres)
	target := controller.TankSettings{
		PH: controller.SetpointSettings{Value: p.middle(dosing.QuantityPH, 4.5, 7.5, drawnPH), Min: 4, Max: 8, AdvisedMin: 4, AdvisedMax: 8, Confirm: 0.3, RampPerHour: 0.3},
		EC: controller.SetpointSettings{Value: p.middle(dosing.QuantityEC, 0.1, 9, 1.5), Min: 0.05, Max: 10, AdvisedMin: 0.05, AdvisedMax: 10, Confirm: 0.4, RampPerHour: 0.3},
	}
	if farm != nil {
		tank, target = farm.Settings.Safety.Tanks[0], farm.Settings.Tanks[0]
	} else {
		p.assume("no configuration: setpoints are the medians of the recording (pH %.2f, EC %.2f mS/cm), and EC is what the probe sends, not brought to 25 °C", target.PH.Value, target.EC.Value)
	}
	s := &controller.Settings{Version: "replay", ControlPeriod: replayEvery, Tanks: []controller.TankSettings{target}}
	g := &s.Safety
	g.Station, g.Tanks, g.StartSettling = "recording", []safety.Tank{tank}, time.Minute
	var feeds []payload.Feed
	values := map[dosing.Quantity]float64{dosing.QuantityPH: target.PH.Value, dosing.QuantityEC: target.EC.Value, dosing.QuantityTemperature: 25, dosing.QuantityLevel: float64(tank.Volume), dosing.QuantityCirculation: 1}
	for slot, q := range append(slices.Clone(recordedQuantities), dosing.QuantityCirculation) {
		in := safety.Input{Name: q.String(), Quantity: q, Period: p.recording.interval()}
		feed := payload.Feed{Input: dosing.InputID(slot), Quantity: q, Compensation: dosing.Compensation{Method: dosing.MethodNone}}
		if q == dosing.QuantityPH {
			feed.Compensation.Method = dosing.MethodNernst
		}
		if farm != nil {
			p.asConfigured(farm, &in, &feed)
		}
		column := slices.IndexFunc(p.recording.columns, func(c recordedColumn) bool { return c.quantity == q })
		if column >= 0 {
			feed.Format = p.recording.columns[column].format
			p.inputs = append(p.inputs, &ReplayInput{Name: q.String(), unit: q.Unit(), Invalid: map[string]int{}, Holds: map[string]float64{}})
		} else {
			in.Period, in.Noise = replayEvery, 0
			unit, _ := payload.ParseUnit(q, q.Unit())
			feed.Format = payload.Format{Kind: payload.KindPlain, Unit: unit}
			p.inputs = append(p.inputs, nil)
			p.fill = append(p.fill, fill{slot, fmt.Appendf(nil, "%g", values[q])})
			if q != dosing.QuantityCirculation {
				p.assume("no %s in the recording: %g%s is taken throughout", q, values[q], strings.TrimRight(" "+q.Unit(), " "))
			}
		}
		g.Inputs, feeds = append(g.Inputs, in), append(feeds, feed)
	}
	for _, q := range []dosing.Quantity{dosing.QuantityLeak, dosing.QuantityFlood, dosing.QuantityTopUp, dosing.QuantitySampleFlow, dosing.QuantityRedox, dosing.QuantityOutlet} {
		g.Inputs = append(g.Inputs, safety.Input{Name: q.String(), Quantity: q, NotFitted: "not in the recording"})
	}
	g.Inputs = append(g.Inputs, safety.Input{Name: "stop", Tank: dosing.AllTanks, Quantity: dosing.QuantityStop, NotFitted: "not in the recording"})
	return s, feeds
}

// asConfigured takes the limits of the farm's own first input of this quantity.
func (p *replay) asConfigured(farm *Farm, in *safety.Input, feed *payload.Feed) {
	for i := range farm.Settings.Safety.Inputs {
		own := &farm.Settings.Safety.Inputs[i]
		if own.Tank != 0 || own.Quantity != in.Quantity || own.NotFitted != "" {
			continue
		}
		in.Noise, in.Step, in.Min, in.Max, in.Slope, in.Offset = own.Noise, own.Step, own.Min, own.Max, own.Slope, own.Offset
		for k := range farm.Feeds {
			if int(farm.Feeds[k].Input) == i {
				feed.Compensation = farm.Feeds[k].Compensation
			}
		}
		return
	}
}

func (p *replay) assume(format string, args ...any) {
	p.report.Assumed = append(p.report.Assumed, fmt.Sprintf(format, args...))
}

// numbers are a column's readable values.
func (p *replay) numbers(q dosing.Quantity) (all []float64) {
	for i := range p.recording.columns {
		c := &p.recording.columns[i]
		if c.quantity != q {
			continue
		}
		for k := range p.recording.rows {
			if r, err := c.format.Decode(0, q, dosing.Instant{}, []byte(strings.TrimSpace(p.recording.rows[k].cells[i])), false); err == nil {
				all = append(all, r.Value())
			}
		}
	}
	return all
}

func (p *replay) most(q dosing.Quantity, otherwise float64) float64 {
	all := p.numbers(q)
	slices.Sort(all)
	if high := quantile(all, 0.95); high > 0 {
		return high
	}
	return otherwise
}

func (p *replay) middle(q dosing.Quantity, low, high, otherwise float64) float64 {
	all := p.numbers(q)
	slices.Sort(all)
	if v := quantile(all, 0.5); v > low && v < high {
		return v
	}
	return otherwise
}

// counted is a number of things with their noun.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
