package payload

import (
	"fmt"
	"math"
	"testing"
	"time"

	"leat/dosing"
)

const (
	ecSlot = iota
	celsiusSlot
)

// bench is the intake of one tank whose EC probe sends what it measures.
type bench struct {
	t  *testing.T
	in *Intake
	at dosing.Instant
}

func newBench(t *testing.T) *bench {
	t.Helper()
	thermal, err := dosing.NewThermal(dosing.Tank{Phosphate: 1.5, Carbonate: 1}.Expected())
	if err != nil {
		t.Fatal(err)
	}
	plain := func(q dosing.Quantity) Format { return Format{Kind: KindPlain, Unit: unit(t, q, q.Unit())} }
	return &bench{t: t, at: sampleNow, in: NewIntake([]Feed{
		{Quantity: dosing.QuantityEC, Format: plain(dosing.QuantityEC), Compensation: dosing.Compensation{Method: dosing.MethodLinear, PerKelvin: 0}},
		{Input: 1, Quantity: dosing.QuantityTemperature, Format: plain(dosing.QuantityTemperature)},
	}, []*dosing.Thermal{thermal})}
}

func (b *bench) celsius(value float64, retained bool) {
	b.t.Helper()
	if _, err := b.in.Decode(celsiusSlot, b.at, fmt.Append(nil, value), retained); err != nil {
		b.t.Fatal(err)
	}
}

// ec is what a probe's 1.5 mS/cm are brought to.
func (b *bench) ec() (float64, error) {
	r, err := b.in.Decode(ecSlot, b.at, []byte("1.5"), false)
	return r.Value(), err
}

func (b *bench) want(what string, want float64) {
	b.t.Helper()
	if got, err := b.ec(); err != nil || math.Abs(got-want) > 1e-9 {
		b.t.Errorf("%s: EC %.4f (%v), want %.4f", what, got, err, want)
	}
}

func (b *bench) refused(what string) {
	b.t.Helper()
	if got, err := b.ec(); err == nil {
		b.t.Errorf("%s: EC is given as %.4f", what, got)
	}
}

func TestAStaleTemperatureCompensatesNothing(t *testing.T) {
	b := newBench(t)
	b.refused("no temperature yet")
	b.celsius(18, false)
	at18, err := b.ec()
	if err != nil || at18 < 1.6 {
		t.Fatalf("1.5 mS/cm at 18 °C are %.3f at 25 °C (%v)", at18, err)
	}
	b.at = b.at.Add(2 * time.Minute)
	b.want("two minutes old", at18)
	b.at = b.at.Add(time.Second)
	b.refused("older than two minutes")
	b.celsius(18, false)
	b.want("a new one", at18)
}

func TestTheBrokersStoredTemperatureCompensatesNothing(t *testing.T) {
	b := newBench(t)
	b.celsius(18, true)
	b.refused("only a retained temperature")
	b.celsius(18, false)
	at18, _ := b.ec()
	for range 3 {
		b.celsius(30, true)
	}
	b.want("retained ones after a live one", at18)
}

func TestOneWildTemperatureShiftsNoReadingOfEC(t *testing.T) {
	b := newBench(t)
	for range 3 {
		b.celsius(21, false)
		b.at = b.at.Add(10 * time.Second)
	}
	at21, _ := b.ec()
	for _, wild := range []float64{-12, 8, 45, 85} {
		b.celsius(wild, false)
		b.want("right after it", at21)
		b.at = b.at.Add(10 * time.Second)
		b.want("ten seconds later", at21)
		b.celsius(21, false)
		b.celsius(21, false)
	}
	b.celsius(24, false)
	b.celsius(24, false)
	if got, _ := b.ec(); got >= at21 {
		t.Error("water that has warmed is still taken for cold")
	}
	b.at = b.at.Add(3 * time.Minute)
	b.celsius(21, false)
	b.want("after a silence the old ones are forgotten", at21)
}
