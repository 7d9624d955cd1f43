package prove

import (
	"errors"
	"fmt"
	"time"

	"leat/controller/payload"
	"leat/dosing"
	"leat/safety/ledger"
)

// outcome is what a check saw.
type outcome struct{ verdict, words string }

func held(format string, args ...any) outcome   { return outcome{Held, fmt.Sprintf(format, args...)} }
func failed(format string, args ...any) outcome { return outcome{Failed, fmt.Sprintf(format, args...)} }
func notShown(format string, args ...any) outcome {
	return outcome{NotShown, fmt.Sprintf(format, args...)}
}

// check is one rule of the contract and how it is tried.
type check struct {
	rule, title, cure string
	weekly            bool
	try               func(*proof) outcome
}

// checks are in the order in which they are tried: what could leave a bad node unusable comes last.
var checks = []check{
	{"heartbeat", "A heartbeat comes every two seconds, with a clock that runs", "rule 3 at the node: heartbeat every 2 s, tick in milliseconds from a clock that never steps", true, tryHeartbeat},
	{"lease", "Without a lease no order is taken", "rule 4: compare the time of the last lease before an order is taken", true, tryLease},
	{"run", "An order runs once, as long as it says, and ends by the node's own clock", "rule 7: end the run by the node's own timer, not by a message", false, tryRun},
	{"repeat", "The same order again does not run again; the last report comes again", "rule 4: keep the id of the last order and answer a repeat of it with its report", false, tryRepeat},
	{"older-order", "A lower number is refused", "rule 4: take only an id above the last one that was taken", false, tryOlderOrder},
	{"late", "An order that comes too late is refused", "rule 4: compare before_tick_ms with the node's tick", false, tryLate},
	{"boot", "An order for another boot is refused", "rule 4: compare boot with the present boot id", false, tryBoot},
	{"incomplete", "An order that lacks a field is not run", "rule 4: take an order only with every field; never fill in one that is missing", false, tryIncomplete},
	{"busy", "A second order during a run is refused", "rule 4: one pump at a time", false, tryBusy},
	{"own-limit", "A run longer than the node's own limit is refused", "rule 11: a longest run for each pump, in the node, that no message changes", false, tryOwnLimit},
	{"hourly-limit", "A volume above the node's own hourly limit is refused", "rule 11: count the volume of each pump over an hour, in the node", false, tryHourlyLimit},
	{"outlet", "An order for an outlet that does not open is refused", "rule 6: see the outlet's end switch before the pump runs; refuse a name that is not known", false, tryOutlet},
	{"older-epoch", "An order of an older epoch is refused", "rule 4 and 13: keep the highest epoch that was seen and refuse what is below it", false, tryOlderEpoch},
	{"stop", "A stop ends a run at once", "rule 9: stop the named pump or all, whatever the epoch says", false, tryStop},
	{"unreadable-stop", "A stop that cannot be read stops all", "rule 9: what cannot be parsed on the stop topic stops all", false, tryUnreadableStop},
	{"lapse", "A run ends when the lease lapses", "rule 8: ten seconds after the last lease stop every pump", false, tryLapse},
	{"retained", "An order that the broker kept is not run", "rule 4: refuse what carries the retained flag; subscribe with a clean session", false, tryRetained},
	{"stop-input", "The wired stop ends a run, and its release resumes nothing", "wire the stop in series with the supply of all pumps, latching, and let the node see it", true, tryStopInput},
	{"float-switch", "The float switch ends a run, and when it falls nothing resumes", "wire the float switch in series with the supply of all pumps, and let the node see it", true, tryFloatSwitch},
	{"supply", "A cut supply stays cut until a hand closes it", "rule 10: open the second contactor, refuse orders, close it by hand alone", false, trySupply},
	{"off-at-boot", "After a loss of power in a run the pumps stay off", "rule 1: outputs off at boot, before anything else", false, tryOffAtBoot},
	{"memory", "After a loss of power the node knows its last order and epoch", "rule 5: write the id to non-volatile memory before the pump is switched on", false, tryMemory},
	{"cylinder", "No more came out than the node told of", "look for a pump that runs although its order was refused, and for a siphon; then measure the rate", false, tryCylinder},
	{"epoch-ahead", "An epoch far ahead is not taken", "rule 13: let the highest epoch rise by at most 100 in ten minutes; the node must now be reset by hand (rule 14)", false, tryEpochAhead},
}

// proof is a run through the checks.
type proof struct {
	*talk
	weekly bool
	began  time.Duration
	wants  string // cause of a refusal for want of a lease
	first  order  // that ran
	kept   order  // retained
	cut    order  // in which power was lost
}

// Run tries every rule, or those of every week, and returns the sheet. An error is of the
// world: what was tried until then stands in the sheet.
func Run(w World, s Station, weekly bool) (Sheet, error) {
	p := &proof{talk: &talk{w: w, s: &s, given: map[ledger.OrderID]dosing.Volume{}}, weekly: weekly, began: w.Now()}
	sheet := Sheet{Station: s.Name, Node: s.Node, Weekly: weekly, Epoch: s.Epoch}
	if err := p.begin(); err != nil {
		return sheet, err
	}
	defer p.leave()
	for _, c := range checks {
		if weekly && !c.weekly {
			continue
		}
		if c.rule == "epoch-ahead" { // which may leave the node unusable
			sheet.Pumps, sheet.Probes = measurePumps(p), measureProbes(p)
		}
		w.Say(c.title + " ...")
		saw := c.try(p)
		if p.err != nil {
			return sheet, p.err
		}
		f := Finding{Rule: c.rule, Title: c.title, Verdict: saw.verdict, Words: saw.words}
		if saw.verdict == Failed {
			f.Do = c.cure
		}
		w.Say("  " + f.Verdict + ": " + f.Words)
		sheet.Rules = append(sheet.Rules, f)
	}
	for _, v := range p.given {
		sheet.Given += v.Millilitres()
	}
	sheet.judge()
	return sheet, nil
}

// listens is how long a proof listens before it says anything: longer than a lease holds.
const listens = leaseHolds + 4*time.Second

func (p *proof) begin() error {
	s := p.s
	if p.weekly {
		p.w.Say(fmt.Sprintf("Weekly proof of node %s: stop, lease and float switch. A node that obeys runs nothing. One that does not may give a second of one pump's liquid: %s. Goggles and gloves.", s.Node, p.weeklyAmount()))
	} else {
		p.w.Say(fmt.Sprintf("Proof of node %s. Goggles and gloves. Every line of it must hold WATER, never acid, base or stock, and end in one empty measuring cylinder. The pumps run for some minutes in all.", s.Node))
		if p.answer(AskWater, `Type "water" when every line holds water and ends in the cylinder, not in a tank: `) != "water" {
			return errors.New("nothing was sent: it was not confirmed that water is in the lines")
		}
	}
	p.w.Say(fmt.Sprintf("Listening for %s ...", listens))
	p.rest(listens)
	switch {
	case p.err != nil:
		return p.err
	case p.foreign:
		return fmt.Errorf("somebody gives leases to station %s: stop the daemon that runs it, then begin again", s.Name)
	case len(p.beats) < 2:
		return fmt.Errorf("node %s was not heard on %s: is it on, is its name right, may this account listen there?", s.Node, s.Topics.Node(s.Node))
	case !p.last().Idle:
		return fmt.Errorf("node %s is busy: let it end, or reset it", s.Node)
	case p.last().Epoch >= s.Epoch:
		return fmt.Errorf("node %s has seen epoch %d, and the ledger is not so far: the record is behind the node; leat mode raise-epoch at the running daemon, or reset the node by hand (rule 14)", s.Node, p.last().Epoch)
	case p.last().Last != nil && !s.Knows(p.last().Last.Order):
		return fmt.Errorf("node %s took order %s last, of which the ledger knows nothing: leat mode raise-epoch at the running daemon, or reset the node by hand (rule 14)", s.Node, p.last().Last.Order)
	}
	return nil
}

func (p *proof) weeklyAmount() string {
	most := dosing.Volume(0)
	for i := range p.s.Pumps {
		most = max(most, p.s.Pumps[i].PerSecond)
	}
	return most.String()
}

// leave stops what runs, and clears what the broker keeps.
func (p *proof) leave() {
	p.publish(p.s.Topics.Stop(), 1, false, payload.AppendStop(nil, p.s.Epoch, ""))
	if p.kept.id.Epoch != 0 {
		p.publish(p.s.Topics.Order(p.s.Pumps[0].Name), 1, true, nil)
	}
}

// short and long are runs of the first pump, within what it may.
func (p *proof) short() time.Duration { return min(3*time.Second, p.s.Pumps[0].Longest) }
func (p *proof) long() time.Duration  { return min(20*time.Second, p.s.Pumps[0].Longest) }
