package campaign

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os/exec"
	"slices"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/sim"
)

// A program of the user's may take the place of the simulated water. It reads one
// JSON object a line from stdin and answers each with one line on stdout:
//
//	→ {"start":{"seed":7,"litres":180,"dead_time_s":40,"lag_s":90,"ph":6.3,"ec":1.2,"ph_setpoint":5.8,"ec_setpoint":2.0,
//	            "pumps":[{"name":"acid","role":"acid","acid_meq_per_ml":0.5,"ec_ms_per_cm_per_ml_l":0.05},…]}}
//	← {"ph":6.3,"ec":1.2,"celsius":21,"litres":180,"flood":false,"top_up":false,"still":false}
//	→ {"seconds":5,"ml":{"acid":0.7}}
//	← the water after these seconds, with what entered in them
//
// ec is mS/cm at 25 °C; flood, top_up and still may be left out. An answer may add
// "seen":{"ph":…,"ec":…}, what reaches the probes where that is other water, and
// "twin":{"ph":…,"ec":…}, the water without the doses since a fault of the program's own
// began: doses are then judged by what they added to the distance from the setpoint. "ml" names only
// the pumps that delivered. End of input is the end of the night. A line that is no
// such object, or a minute without an answer, ends the rehearsal with an error.
type plantProgram struct {
	command *exec.Cmd
	in      io.WriteCloser
	lines   chan answer
	names   []string
}

type answer struct {
	line []byte
	err  error
}

// answerWithin is how long a plant may think about a step, in real time.
const answerWithin = time.Minute

type plantStart struct {
	Seed     uint64  `json:"seed"`
	Litres   float64 `json:"litres"`
	DeadTime float64 `json:"dead_time_s"`
	Lag      float64 `json:"lag_s"`
	PH       float64 `json:"ph"`
	EC       float64 `json:"ec"`
	SetPH    float64 `json:"ph_setpoint"`
	SetEC    float64 `json:"ec_setpoint"`
	Buffer   float64 `json:"buffer_meq_per_l_ph"` // as commissioned, at the setpoint
	TopUp    float64 `json:"top_up_alkalinity_meq_per_l"`
	TopUpEC  float64 `json:"top_up_ec_ms_per_cm"`
	// The share of the water in ponds, and the hours in which it is exchanged once, as they
	// truly are; left out where there are none.
	PondShare    float64     `json:"pond_share,omitempty"`
	PondExchange float64     `json:"pond_exchange_h,omitempty"`
	Pumps        []plantPump `json:"pumps"`
}

type plantPump struct {
	Name      string  `json:"name"`
	Role      string  `json:"role"`
	AcidPerML float64 `json:"acid_meq_per_ml"`
	ECPerML   float64 `json:"ec_ms_per_cm_per_ml_l"`
}

type plantStep struct {
	Seconds float64            `json:"seconds"`
	ML      map[string]float64 `json:"ml"`
}

type plantAnswer struct {
	PH      *float64 `json:"ph"`
	EC      *float64 `json:"ec"`
	Celsius *float64 `json:"celsius"`
	Litres  *float64 `json:"litres"`
	Flood   bool     `json:"flood"`
	TopUp   bool     `json:"top_up"`
	Still   bool     `json:"still"`

	Seen *plantSolution `json:"seen"`
	Twin *plantSolution `json:"twin"`
}

// plantSolution is the pH and EC of some water.
type plantSolution struct {
	PH *float64 `json:"ph"`
	EC *float64 `json:"ec"`
}

// solution is the same as the farm takes it, nil where there is none.
func (p *plantSolution) solution() (*sim.Solution, bool) {
	if p == nil {
		return nil, true
	}
	if p.PH == nil || p.EC == nil {
		return nil, false
	}
	return &sim.Solution{PH: *p.PH, EC25: *p.EC}, true
}

// startPlant starts the program for one night. The command is split at blanks; no
// shell reads it.
func startPlant(command string, stderr io.Writer, s *Scene) (*plantProgram, error) {
	words := strings.Fields(command)
	if len(words) == 0 {
		return nil, fmt.Errorf("-plant names no program")
	}
	p := &plantProgram{command: exec.Command(words[0], words[1:]...), lines: make(chan answer, 1)}
	p.command.Stderr = stderr
	var err error
	if p.in, err = p.command.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := p.command.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := p.command.Start(); err != nil {
		return nil, fmt.Errorf("plant %q: %w", command, err)
	}
	go func() {
		scan := bufio.NewScanner(out)
		scan.Buffer(make([]byte, 4096), 64<<10)
		for scan.Scan() {
			p.lines <- answer{line: append([]byte(nil), scan.Bytes()...)}
		}
		err := scan.Err()
		if err == nil {
			err = io.ErrUnexpectedEOF
		}
		p.lines <- answer{err: err}
		close(p.lines)
	}()
	for i := range s.Settings.Safety.Pumps {
		p.names = append(p.names, s.Settings.Safety.Pumps[i].Name)
	}
	if err := p.send(map[string]plantStart{"start": startOf(s)}); err != nil {
		p.end()
		return nil, err
	}
	return p, nil
}

func startOf(s *Scene) plantStart {
	t, set := &s.Settings.Safety.Tanks[0], &s.Settings.Tanks[0]
	start := plantStart{Seed: s.Seed, Litres: float64(t.Volume), DeadTime: t.DeadTime.Seconds(), Lag: t.TimeConstant.Seconds(),
		PH: s.Options.StartPH, EC: s.Options.StartECShare * set.EC.Value, SetPH: set.PH.Value, SetEC: set.EC.Value, Buffer: s.buffer(),
		TopUp: t.TopUp.Alkalinity, TopUpEC: float64(t.TopUp.EC)}
	if len(s.Options.Plants) > 0 {
		zones := slices.Clone(set.Zones)
		for i := range min(len(zones), len(s.Options.Plants[0].ZoneTurnover)) {
			zones[i].Exchange = s.Options.Plants[0].ZoneTurnover[i]
		}
		share, exchange := controller.SlowWater(t.Volume, 2*time.Minute, zones)
		start.PondShare, start.PondExchange = share, exchange.Hours()
	}
	for i := range s.Settings.Safety.Pumps {
		p := &s.Settings.Safety.Pumps[i]
		start.Pumps = append(start.Pumps, plantPump{p.Name, p.Role.String(), p.AcidPerML, p.ECPerML})
	}
	return start
}

func (p *plantProgram) send(v any) error {
	line, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("plant: %w", err)
	}
	if _, err := p.in.Write(append(line, '\n')); err != nil {
		return ended(err)
	}
	return nil
}

// ended says that the program left, which shows first in the writing or the reading.
func ended(err error) error {
	return fmt.Errorf("plant: the program ended without an answer (%w); it is to read a JSON line and write one back until its input ends, as deploy/plant.py does", err)
}

// Step is one step of the water; it satisfies sim.Water.
func (p *plantProgram) Step(seconds float64, millilitres []float64) (sim.WaterState, error) {
	if seconds > 0 {
		step := plantStep{Seconds: seconds, ML: map[string]float64{}}
		for i, ml := range millilitres {
			if ml != 0 {
				step.ML[p.names[i]] = ml
			}
		}
		if err := p.send(step); err != nil {
			return sim.WaterState{}, err
		}
	}
	late := time.NewTimer(answerWithin)
	defer late.Stop()
	select {
	case a, ok := <-p.lines:
		if !ok {
			a.err = io.ErrUnexpectedEOF
		}
		if a.err != nil {
			return sim.WaterState{}, ended(a.err)
		}
		return stateOf(a.line)
	case <-late.C:
		return sim.WaterState{}, fmt.Errorf("plant: no answer within %v; see that the program writes out each line at once", answerWithin)
	}
}

func stateOf(line []byte) (sim.WaterState, error) {
	var a plantAnswer
	if err := json.Unmarshal(line, &a); err != nil {
		return sim.WaterState{}, fmt.Errorf("plant: %.80q is no answer: %w", line, err)
	}
	if a.PH == nil || a.EC == nil || a.Celsius == nil || a.Litres == nil {
		return sim.WaterState{}, fmt.Errorf("plant: %.80q lacks ph, ec, celsius or litres", line)
	}
	seen, whole := a.Seen.solution()
	twin, both := a.Twin.solution()
	if !whole || !both {
		return sim.WaterState{}, fmt.Errorf("plant: %.80q has seen or twin without ph or ec", line)
	}
	return sim.WaterState{PH: *a.PH, EC25: *a.EC, Celsius: *a.Celsius, Litres: *a.Litres, Flood: a.Flood, TopUp: a.TopUp, Still: a.Still,
		Seen: seen, Twin: twin}, nil
}

// end closes the program's input and waits for it to leave.
func (p *plantProgram) end() {
	_ = p.in.Close() // it may have left already
	left := make(chan struct{})
	go func() {
		for range p.lines {
			continue
		}
		_ = p.command.Wait() // how it left is told where its answer was missed
		close(left)
	}()
	late := time.NewTimer(5 * time.Second)
	defer late.Stop()
	select {
	case <-left:
	case <-late.C:
		_ = p.command.Process.Kill() // or it has just left
		<-left
	}
}
