package prove

import (
	"strconv"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
)

// The checks in which a person does something.

// byHand is the shortest run in which a person can do something.
const byHand = 5 * time.Second

func (p *proof) yes(q Question, text string) bool {
	return strings.HasPrefix(strings.ToLower(p.answer(q, text+" (yes or no): ")), "y")
}

// cutout is something wired that ends every run.
type cutout struct {
	name, press, release string
	on, off              Act
}

func tryStopInput(p *proof) outcome {
	return p.cutBy(cutout{"a wired stop", "Press the stop, and leave it pressed.", "Release the stop.", ActStop, ActRelease})
}

func tryFloatSwitch(p *proof) outcome {
	return p.cutBy(cutout{"a float switch", "Lift the float switch, and hold it so.", "Let the float switch fall.", ActLift, ActLower})
}

func (p *proof) cutBy(c cutout) outcome {
	if !p.yes(AskFitted, "Is "+c.name+" fitted that cuts the pumps?") {
		return outcome{Waived, "not fitted: do not leave it unattended"}
	}
	p.permit()
	saw := p.cutInRun
	if p.weekly || p.long() < byHand {
		saw = p.cutBefore
	}
	found := saw(c)
	w := len(p.words)
	p.w.Do(c.off, c.release)
	p.answer(AskEnter, "Press Enter when that is done: ")
	beat, _ := p.nextBeat()
	for _, said := range p.words[w:] {
		if said.Phase == controller.PhaseRunning || said.Phase == controller.PhaseAccepted || !beat.Idle {
			p.stopAll()
			return failed("a run was resumed by the release")
		}
	}
	return found
}

// cutInRun has it happen in a run.
func (p *proof) cutInRun(c cutout) outcome {
	p.answer(AskEnter, "A run of "+p.long().String()+" comes. Press Enter, and in the run: "+c.press+" ")
	o := p.order(0, p.long(), nil)
	if !p.begun(o) {
		return notShown("the order did not run")
	}
	p.w.Do(c.on, c.press)
	p.until(o.run+slack, func() bool { return p.over(o) })
	if _, stopped := p.said(o, controller.PhaseStopped); stopped {
		return p.barred(c)
	}
	p.stopAll()
	return p.stood("the pump stood still by the wire alone; the node does not see " + c.name + ", and counts such a dose as given")
}

// cutBefore has it stand while an order comes.
func (p *proof) cutBefore(c cutout) outcome {
	p.w.Do(c.on, c.press)
	p.answer(AskEnter, "Press Enter when that is done: ")
	return p.barred(c)
}

// barred says whether an order is refused while it stands, or the pump stands still.
func (p *proof) barred(c cutout) outcome {
	o := p.order(0, min(time.Second, p.short()), nil)
	p.until(wordWithin, func() bool { return p.taken(o) || p.over(o) })
	refused, told := p.said(o, controller.PhaseRefused)
	switch {
	case told && refused.Cause == p.wants:
		return notShown("the order was refused for another reason: %s", refused.Cause)
	case told && !p.taken(o):
		return held("no order ran: %s", refused.Cause)
	}
	p.until(o.run+slack, func() bool { return p.over(o) }) // long enough to be seen
	p.stopAll()
	return p.stood("the pump stood still by the wire alone; the node does not see " + c.name)
}

func (p *proof) stood(words string) outcome {
	if p.yes(AskStill, "Did the pump stand still all the while?") {
		return held("%s", words)
	}
	return failed("the pump ran on")
}

func trySupply(p *proof) outcome {
	if !p.yes(AskFitted, "Is a second contactor fitted that the node opens?") {
		return outcome{Waived, "not fitted: a welded relay is ended by the plug alone"}
	}
	o := p.order(0, p.long(), nil)
	if !p.begun(o) {
		return notShown("the order did not run")
	}
	p.publish(p.s.Topics.Supply(), 1, false, payload.AppendSupply(nil, p.s.Epoch))
	p.until(min(slack, p.long()), func() bool { return p.over(o) })
	_, stopped := p.said(o, controller.PhaseStopped)
	saw := p.refuses(p.order(0, min(time.Second, p.short()), nil), "")
	p.w.Do(ActClose, "Close the second contactor by hand.")
	p.answer(AskEnter, "Press Enter when that is done: ")
	p.rest(slack)
	if !stopped {
		p.stopAll()
		return failed("the run went on")
	}
	return saw
}

func tryOffAtBoot(p *proof) outcome {
	boot := p.last().Boot
	p.answer(AskEnter, "Runs come one after the other. Press Enter, pull the plug of the node in the middle of one, count to three, and plug it in again: ")
	p.w.Do(ActPower, "Pull the plug of the node in a run, count to three, plug it in again.")
	newBoot := func() bool { return p.last().Boot != boot }
	for end := p.w.Now() + 3*aMinute; p.err == nil && !newBoot() && p.w.Now() < end; {
		p.cut = p.order(0, p.long(), nil)
		if p.begun(p.cut) {
			// Back from the loss it says that the order was stopped before it says its new boot.
			p.until(3*aMinute, func() bool {
				_, done := p.said(p.cut, controller.PhaseDone)
				return done || newBoot()
			})
		}
	}
	if !newBoot() {
		return failed("no new boot id came: either the node kept its power, or it keeps its boot id")
	}
	if _, done := p.said(p.cut, controller.PhaseDone); done || !p.taken(p.cut) {
		return notShown("power was lost between two runs")
	}
	for range 2 {
		beat, _ := p.nextBeat()
		if !beat.Idle {
			p.stopAll()
			return failed("after the boot a pump runs")
		}
	}
	if !p.yes(AskStill, "Has the pump stood still since the plug was pulled?") {
		return failed("the pump ran after the boot")
	}
	return held("a new boot id, and no pump runs")
}

func tryMemory(p *proof) outcome {
	beat := p.last()
	switch {
	case p.cut.id.Epoch == 0:
		return notShown("power was not lost in a run")
	case beat.Last == nil || beat.Last.Order != p.cut.id:
		return failed("after the boot the heartbeat does not name order %s, which was running", p.cut.id)
	case beat.Epoch < p.s.Epoch:
		return failed("after the boot the heartbeat names epoch %d, not %d", beat.Epoch, p.s.Epoch)
	}
	return held("the heartbeat names order %s and epoch %d", beat.Last.Order, beat.Epoch)
}

// A cylinder is read to this, and a rate that was never measured may be off by so much.
const (
	readTo  = dosing.Millilitre
	rateOff = 0.3
)

func tryCylinder(p *proof) outcome {
	told := dosing.Volume(0)
	for id, v := range p.given {
		if id != p.cut.id { // of that one nobody knows
			told += v
		}
	}
	ml, ok := p.millilitres("Read the cylinder: how many mL came in all so far? ")
	came := dosing.FromMillilitres(ml)
	switch {
	case !ok:
		return notShown("the cylinder was not read")
	case came > told+p.volume(p.cut)+dosing.Volume(rateOff*float64(told))+readTo:
		return failed("%s came, and the node told of %s", came, told)
	case came < told-dosing.Volume(rateOff*float64(told))-readTo:
		return notShown("%s came, and the node told of %s: measure the rates, look for air in the lines, and prove again", came, told)
	}
	return held("%s came, and the node told of %s", came, told)
}

// millilitres reads an amount that is typed; false = none was.
func (p *proof) millilitres(text string) (float64, bool) {
	for range 3 {
		line := strings.TrimSpace(strings.TrimSuffix(strings.ReplaceAll(p.answer(AskCylinder, text), ",", "."), "mL"))
		if line == "" {
			return 0, false
		}
		if ml, err := strconv.ParseFloat(line, 64); err == nil && ml >= 0 && ml < 50_000 {
			return ml, true
		}
		p.w.Say("Type a number in mL, such as 12.5, or nothing.")
	}
	return 0, false
}
