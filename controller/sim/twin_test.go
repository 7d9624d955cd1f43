package sim

import (
	"testing"
	"time"
)

func TestATwinIsTheSameWaterUntilSomethingIsDosed(t *testing.T) {
	y := newYard(t, 1, Options{Seed: 7, StartPH: 6.2, Fault: "film-stopped", FaultAt: time.Minute})
	y.wait(30 * time.Second)
	if _, _, ok := y.farm.Twin(north); ok {
		t.Fatal("there is a twin before a fault")
	}
	y.wait(2 * time.Hour)
	ph, ec := y.farm.Bulk(north)
	twinPH, twinEC, ok := y.farm.Twin(north)
	if !ok || ph != twinPH || ec != twinEC {
		t.Fatalf("undosed water is at pH %v and EC %v, its twin at %v and %v", ph, ec, twinPH, twinEC)
	}
	y.dose(acid, north, 20)
	y.wait(time.Hour)
	ph, _ = y.farm.Bulk(north)
	twinPH, _, _ = y.farm.Twin(north)
	if !(ph < twinPH-0.01) {
		t.Errorf("acid took the water to pH %v; the twin, which got none, is at %v", ph, twinPH)
	}
}
