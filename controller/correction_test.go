package controller_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/blend"
)

// A laboratory finds potassium lacking. The plan says what the stocks give; the setpoint that
// is offered is approved as any change of it, and all that follows keeps within every cap.
func TestTheCorrectionOfAnAnalysisIsAPlanThatAPersonApprovesAndTheGateCarriesOut(t *testing.T) {
	st := newStage(t, &scenario{recipe: true, options: func(o *sim.Options) { o.StartPH, o.StartECShare = 5.8, 1 }})
	st.Arm()
	st.pass(20 * time.Minute)
	if v := st.view(north).Ions; v.Plan != nil || v.Offer != nil {
		t.Fatalf("before any analysis: %+v, %+v", v.Plan, v.Offer)
	}
	a := st.sample()
	for s := blend.NO3; s <= blend.S; s++ { // else as the recipe
		a.Content[s] = st.held(s.Symbol()).Target
	}
	gone := 0.2 * a.Content[blend.K]
	a.Content[blend.K] -= gone
	a.Content[blend.NO3] -= gone
	a.EC = 0
	if answer := st.analysis(a, controller.RoleEngineer); !answer.Accepted {
		t.Fatal(answer.Text)
	}
	st.pass(2 * time.Minute)
	v := st.view(north).Ions
	if v.Plan == nil || v.Offer == nil || math.Abs(v.Offer.EC-1.9) > 1e-9 || v.Offer.In >= v.Plan.In || !v.Offer.Until.After(st.Now().Wall.Add(5*time.Hour)) {
		t.Fatalf("plan %+v, offer %+v", v.Plan, v.Offer)
	}
	for _, ion := range v.Plan.Ions {
		if ion.Name == "K" && !(ion.Now < 0.9*ion.Target && ion.Then > ion.Now*1.05) {
			t.Errorf("potassium %+v", ion)
		}
	}
	wish := controller.Request{Kind: controller.RequestSetpoint, Tank: north, Quantity: dosing.QuantityEC, Value: v.Offer.EC, Until: v.Offer.Until.Format(time.RFC3339), By: "Ada", From: "page", Note: "correction"}
	viewer := wish
	viewer.Role = controller.RoleView
	if answer := st.Ask(viewer); answer.Accepted {
		t.Error("who may only look approved it")
	}
	orders := len(st.orders)
	wish.Role = controller.RoleOperate
	if answer := st.Ask(wish); !answer.Accepted || !strings.Contains(answer.Text, "1.9") {
		t.Fatalf("%+v", answer)
	}
	most := 0.0
	for range 6 * 60 {
		st.pass(time.Minute)
		for _, p := range st.Core.View(st.Now()).Pumps {
			if p.Hour > p.HourlyCap || p.Day > p.DailyCap {
				t.Fatalf("%s gave %v of %v this hour, %v of %v this day", p.Name, p.Hour, p.HourlyCap, p.Day, p.DailyCap)
			}
		}
		most = max(most, st.farm.Truth(north).EC)
	}
	if most < 1.84 || most > 1.9+0.1 {
		t.Errorf("EC came to %.2f", most)
	}
	if len(st.orders) == orders {
		t.Error("nothing was dosed")
	}
	if v := st.view(north); v.Ions.Offer != nil || v.EC.Final != 1.9 {
		t.Errorf("after the approval: setpoint %.2f, offered %+v", v.EC.Final, v.Ions.Offer)
	}
}
