package campaign

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"leat/controller/sim"
	"leat/dosing"
)

// Part is what is left of a night that broke a rule when all that it does not take is left
// out: tanks and stocks of a drawn station, faults, and what people did. Written down it is
// a small file that plays the same night again.
type Part struct {
	Set     string `json:"set,omitempty"`
	Config  string `json:"config,omitempty"` // in place of a set
	Seed    uint64 `json:"seed"`
	Faults  string `json:"faults"`
	Without string `json:"without,omitempty"`
	// Tanks of those that were drawn, from 1, and so many Stocks; nothing = all.
	Tanks  []int `json:"tanks,omitempty"`
	Stocks int   `json:"stocks,omitempty"`
	// People do the acts of theirs that are listed.
	People bool     `json:"people,omitempty"`
	Acts   []string `json:"acts,omitempty"`
	// Farm says what was drawn, Breaks what does not hold; both are for who reads it, and
	// Farm must still be what is drawn.
	Farm   []string `json:"farm"`
	Breaks string   `json:"breaks"`
}

// ReadPart reads what String wrote.
func ReadPart(r io.Reader) (*Part, error) {
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	p := &Part{}
	if err := d.Decode(p); err != nil {
		return nil, fmt.Errorf("no farm as leat rehearse prints one: %w", err)
	}
	if (p.Set == "") == (p.Config == "") || p.Stocks < 0 || !slices.IsSorted(p.Tanks) || len(p.Tanks) > 0 && p.Tanks[0] < 1 {
		return nil, errors.New("no farm as leat rehearse prints one: want set or config, tanks from 1 in their order, and stocks")
	}
	return p, nil
}

func (p *Part) String() string {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(p); err != nil {
		return err.Error() // strings and numbers alone
	}
	return out.String()
}

// Options are what plays the part.
func (p *Part) Options(o Options) Options {
	o.Set, o.Path, o.Seed, o.Nights, o.Faults, o.Without, o.People, o.Part = p.Set, p.Config, p.Seed, 1, p.Faults, p.Without, p.People, p
	if o.Set == "" {
		o.Set = standard.Name
	}
	return o
}

// errCut says that a night has not what is to be left of it.
var errCut = errors.New("this night is drawn in another way since the file was written")

// describe says what was drawn.
func (s *Scene) describe() (all []string) {
	for i := range s.Settings.Safety.Tanks {
		t := &s.Settings.Safety.Tanks[i]
		all = append(all, fmt.Sprintf("%s: %.0f L, dead time %v, lag %v, buffer %.2g of what is expected, top-up %.2f meq/L", t.Name, float64(t.Volume), t.DeadTime, t.TimeConstant, t.BufferScale, t.TopUp.Alkalinity))
	}
	for i := range s.Settings.Pumps() {
		p := &s.Settings.Pumps()[i]
		all = append(all, fmt.Sprintf("%s: %s, %.3g meq/mL, %.3g mS/cm per mL/L", p.Name, p.Reagent, p.AcidPerML, p.ECPerML))
	}
	return all
}

// act is something that people do in a night.
type act struct {
	words string
	tank  dosing.TankID
	pumps []dosing.PumpID
	keep  func(to *Scene, tank dosing.TankID)
}

// acts are all of a night's, in the order drawn.
func (s *Scene) acts() (all []act) {
	name := func(id dosing.TankID) string { return s.Settings.Safety.Tanks[id].Name }
	for _, x := range s.slips {
		what := fmt.Sprintf("%s of %s", x.volume, s.Settings.Pumps()[x.pump].Name)
		pumps := []dosing.PumpID{x.pump, x.wrong.pump}
		if x.kind == slipSetpoint {
			what, pumps = fmt.Sprintf("%s %.4g", x.quantity, x.value), nil
		}
		all = append(all, act{fmt.Sprintf("%s slip of %s in %s: %s", x.at, slipNames[x.kind], name(x.tank), what), x.tank, pumps, func(to *Scene, tank dosing.TankID) {
			if x.wrong.tank == x.tank {
				x.wrong.tank = tank
			} else {
				x.wrong.tank = (tank + 1) % dosing.TankID(len(to.Settings.Tanks))
			}
			x.tank = tank
			to.slips = append(to.slips, x)
		}})
	}
	for _, q := range s.quarrels {
		all = append(all, act{fmt.Sprintf("%s %d requests for more and less in %s", q.at, len(q.asks), name(q.tank)), q.tank, nil, func(to *Scene, tank dosing.TankID) {
			q.tank = tank
			to.quarrels = append(to.quarrels, q)
		}})
	}
	for _, x := range s.chores {
		var pumps []dosing.PumpID
		if x.kind == choreRefill {
			pumps = []dosing.PumpID{x.pump, x.other}
		}
		all = append(all, act{x.words(s), x.tank, pumps, func(to *Scene, tank dosing.TankID) {
			if x.tank = tank; x.kind == choreCalibrate {
				x.probe, _ = to.probeOf(tank, x.quantity) // the same inputs
			}
			to.chores = append(to.chores, x)
		}})
	}
	return all
}

// of is what is left of a night of which all was drawn.
func (p *Part) of(whole *Scene, set *Set, faults []sim.Injection) (*Scene, error) {
	left, all := *whole, whole.acts()
	if p.Config == "" && (len(p.Tanks) > 0 || p.Stocks > 0) {
		fewer := set.equipped(faults)
		fewer.kept, fewer.stocks = p.Tanks, p.Stocks
		s, err := fewer.Scene(whole.Seed)
		if err != nil {
			return nil, err
		}
		s.await(faults)
		left = *s
	}
	left.slips, left.quarrels, left.chores = nil, nil, nil
	for _, words := range p.Acts {
		i := slices.IndexFunc(all, func(a act) bool { return a.words == words })
		if i < 0 {
			return nil, fmt.Errorf("%w: nobody did %q", errCut, words)
		}
		tank := int(all[i].tank)
		if len(p.Tanks) > 0 {
			tank = slices.Index(p.Tanks, tank+1)
		}
		if tank < 0 || slices.ContainsFunc(all[i].pumps, func(id dosing.PumpID) bool { return int(id) >= len(left.Settings.Pumps()) }) {
			return nil, fmt.Errorf("%w: %q is of a tank or pump that is left out", errCut, words)
		}
		all[i].keep(&left, dosing.TankID(tank))
	}
	if is := left.describe(); p.Farm != nil && !slices.Equal(is, p.Farm) {
		return nil, fmt.Errorf("%w: the farm is %q", errCut, is)
	}
	return &left, nil
}

// shrink leaves out of a violation's night, one by one, what it breaks the rule without.
func (o *Options) shrink(set *Set, v *Violation) (*Part, error) {
	whole := *o
	whole.Part = nil
	s, _, err := whole.Night(set, v.Night)
	if err != nil {
		return nil, err
	}
	left := Part{Set: o.Set, Config: o.Path, Seed: s.Seed, Faults: orNone(list(s.Faults)), Without: o.Without, People: o.People, Breaks: v.String()}
	if o.Path != "" {
		left.Set = ""
	}
	if o.Part != nil {
		left.Tanks, left.Stocks, left.Acts = o.Part.Tanks, o.Part.Stocks, o.Part.Acts
	} else {
		for _, a := range s.acts() {
			left.Acts = append(left.Acts, a.words)
		}
	}
	fails := func(p Part) (bool, error) {
		found, err := o.only(&p).breaks(set, v)
		if err != nil {
			return false, err
		}
		if found {
			left = p
		}
		return found, nil
	}
	if err := left.fewer(set, s, fails); err != nil {
		return nil, err
	}
	if s, _, err = o.only(&left).Night(set, v.Night); err != nil {
		return nil, err
	}
	left.Farm = s.describe()
	return &left, nil
}

// only is what plays nights with no more than a part of them.
func (o *Options) only(p *Part) *Options {
	one := *o
	one.Faults, one.Part = p.Faults, p
	return &one
}

// fewer tries tanks, stocks, faults and acts in turn; fails keeps what still fails.
func (p *Part) fewer(set *Set, s *Scene, fails func(Part) (bool, error)) error {
	if set.whole && p.Config == "" && len(p.Tanks) == 0 && len(s.Settings.Tanks) > 1 {
		for i := range s.Settings.Tanks {
			one := *p
			one.Tanks, one.Acts = []int{i + 1}, ofTank(s, p.Acts, dosing.TankID(i))
			if found, err := fails(one); err != nil || found {
				if err != nil {
					return err
				}
				break
			}
		}
	}
	if stocks := len(s.Settings.Pumps()) - 2; set.whole && p.Config == "" {
		for n := 2; n < stocks; n++ {
			few := *p
			few.Stocks = n
			if found, err := fails(few); err != nil || found {
				if err != nil {
					return err
				}
				break
			}
		}
	}
	if _, err := smallest(s.Faults, func(faults []sim.Injection) (bool, error) {
		few := *p
		few.Faults = orNone(list(faults))
		return fails(few)
	}); err != nil {
		return err
	}
	_, err := smallest(p.Acts, func(acts []string) (bool, error) {
		few := *p
		few.Acts = acts
		return fails(few)
	})
	return err
}

// ofTank are the acts that are done in one tank.
func ofTank(s *Scene, words []string, id dosing.TankID) (all []string) {
	for _, a := range s.acts() {
		if a.tank == id && slices.Contains(words, a.words) {
			all = append(all, a.words)
		}
	}
	return all
}

// breaks plays the part and says whether it breaks the rule of a violation. What cannot
// be cut so does not.
func (o *Options) breaks(set *Set, v *Violation) (bool, error) {
	s, _, err := o.Night(set, v.Night)
	if errors.Is(err, errCut) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	p, err := s.run(nil)
	if err != nil {
		return false, err
	}
	found, err := s.judge(p, v.Night)
	return slices.ContainsFunc(found, func(w Violation) bool { return w.Invariant == v.Invariant }), err
}

// replay is the command that plays the part again: by itself where a night was drawn
// whole, else with the file as its input.
func (p *Part) replay(o *Options, night int) string {
	if p.People || len(p.Tanks) > 0 || p.Stocks > 0 {
		return "leat rehearse -farm - -trace <<'END'\n" + p.String() + "END"
	}
	command := "leat rehearse"
	if p.Config != "" {
		command += " -config " + p.Config
	} else {
		command += " -set " + p.Set
	}
	if o.From != "" {
		command += " -from " + o.From
	}
	if p.Without != "" {
		command += " -without " + p.Without
	}
	return fmt.Sprintf("%s -faults %s -seed %d -night %d -trace", command, p.Faults, o.Seed, night)
}
