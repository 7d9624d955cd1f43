package main

// Bugs of the law that says how much.
var lawBugs = []bug{
	{"the sign of acid and base is swapped", "9, 16", "dosing/loop/plan.go",
		[][2]string{{"	if ph.need < 0 {\n		pumps", "	if ph.need > 0 {\n		pumps"}},
		"dosing/loop", "TestHighPHAsksForAcidAndLowForBase"},
	{"what is on its way is dosed again", "5", "dosing/loop/loop.go",
		[][2]string{{"		t.known, t.at, t.changes = true, up, changes\n", "		t.acid, t.base, t.ec = 0, 0, 0\n		t.known, t.at, t.changes = true, up, changes\n"}},
		"dosing/loop", "TestWhatIsInTransitIsNotDosedAgain"},
	{"the rest of a blend is let go", "32", "dosing/loop/plan.go",
		[][2]string{{"		l.blend.owed[d.Pump] -= d.Volume\n", "		l.blend.owed[d.Pump] = 0\n"}},
		"dosing/loop", "TestWhatADoseLeavesOfABlendIsOwed"},
	{"stocks go out in the order of a map", "30, 43", "dosing/loop/owed.go",
		[][2]string{{"	for _, id := range b.stocks {\n		p := &b.pumps[id]\n		v := min", "	order := map[dosing.PumpID]bool{}\n	for _, id := range b.stocks {\n		order[id] = true\n	}\n	last = dosing.GroupNeutral\n	for id := range order {\n		if found {\n			break\n		}\n		p := &b.pumps[id]\n		v := min"}},
		"dosing/loop", "TestOneGroupIsFinishedBeforeAnotherStarts"},
	{"a dose runs longer than its volume takes", "11", "dosing/units.go",
		[][2]string{{"(int64(v)*1000+int64(perSecond)-1)/int64(perSecond)) * time.Millisecond", "(int64(v)*1250+int64(perSecond)-1)/int64(perSecond)) * time.Millisecond"}},
		"dosing", "TestAPumpRunsAsLongAsItsVolumeTakesAndNoMillisecondLonger"},
	{"EC above its band is answered with stock", "9", "dosing/loop/plan.go",
		[][2]string{{"		if ec.need < 0 {\n			amount", "		if ec.need > 0 {\n			amount"}},
		"dosing/loop", "TestAboveTheBandThereIsNoPlanForEC"},
	{"a micronutrient may reach twice its target", "39", "dosing/blend/law.go",
		[][2]string{{"	microMiss  = 0.20\n", "	microMiss  = 1.00\n"}},
		"dosing/blend", "TestATraceOfItsOwnStockMayMissItsTargetByAFifthAndNoMore"},
}
