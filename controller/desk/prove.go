package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"leat/controller/config"
	"leat/controller/prove"
	"leat/controller/store"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// Proof tries a node's obedience in place of the daemon.
type Proof struct {
	Config, Node string
	Client       Client
	Weekly, JSON bool
}

// Client is how the node signs in at the broker; what is empty is its name, and this
// program's own user.
type Client struct{ ID, User, PasswordFile string }

// Run proves, keeps the sheet in the state folder and its verdict in the ledger.
func (c *Proof) Run(in io.Reader, out, told io.Writer) error {
	file, err := config.Load(c.Config)
	if err != nil {
		return err
	}
	station, err := ProveStation(file, c.Node)
	if err != nil {
		return err
	}
	release, err := store.Lock(file.State)
	if err != nil {
		return fmt.Errorf("%w (leat prove stands in for the daemon: stop that first)", err)
	}
	defer release()
	book, err := openBook(file, &station)
	if err != nil {
		return err
	}
	defer func() { _ = book.db.Close() }() // every row was written through
	world, err := openWorld(file, &station, c.Client, in, told)
	if err != nil {
		return err
	}
	sheet, err := prove.Run(world, station, c.Weekly)
	world.close()
	if err != nil {
		return err
	}
	sheet.At, sheet.By = time.Now().In(file.Zone).Round(time.Second), WhoAmI()
	if err := book.enter(&sheet); err != nil {
		return err
	}
	if err := keepSheet(file.State, &sheet); err != nil {
		return err
	}
	if c.JSON {
		err = WriteJSON(out, sheet)
	} else {
		_, err = fmt.Fprint(out, "\n"+sheet.Text())
	}
	if err == nil && !sheet.Holds {
		err = fmt.Errorf("node %s is not proved: %s", sheet.Node, strings.Join(sheet.Lacking(), "; "))
	}
	return err
}

// ProveStation is what of a configuration is proved: one node, its pumps, and the probes.
func ProveStation(file *config.File, node string) (prove.Station, error) {
	s := &file.Settings.Safety
	var names []string
	id := -1
	for i := range s.Nodes {
		names = append(names, s.Nodes[i].Name)
		if s.Nodes[i].Name == node || node == "" && len(s.Nodes) == 1 {
			id = i
		}
	}
	switch {
	case id < 0:
		return prove.Station{}, Misuse("name the node: %s", strings.Join(names, ", "))
	case !s.Nodes[id].FullContract:
		return prove.Station{}, fmt.Errorf("node %s is of the class timed pulse: it acknowledges nothing, so there is nothing to prove; its caps are half for that", s.Nodes[id].Name)
	}
	station := prove.Station{Name: s.Station, Topics: file.Topics, Node: s.Nodes[id].Name, Knows: func(ledger.OrderID) bool { return false }}
	for p := range s.Pumps {
		if s.PumpNode[p] == safety.NodeID(id) {
			station.Pumps = append(station.Pumps, prove.Pump{Name: s.Pumps[p].Name, PerSecond: s.Pumps[p].PerSecond, Longest: s.Caps[p].OnTime.Truncate(time.Millisecond), Outlet: outletOf(file, &s.Pumps[p])})
		}
	}
	if len(station.Pumps) == 0 {
		return prove.Station{}, fmt.Errorf("node %s drives no pump of the file", station.Node)
	}
	for i := range file.InputTopics {
		if probe, ok := probeOf(file, &file.InputTopics[i]); ok {
			station.Probes = append(station.Probes, probe)
		}
	}
	return station, nil
}

// outletOf is the outlet of the first tank that a pump serves.
func outletOf(file *config.File, pump *dosing.Pump) string {
	tanks := file.Settings.Safety.Tanks
	if len(tanks) == 1 {
		return ""
	}
	for id := range tanks {
		if pump.ServesTank(dosing.TankID(id)) {
			return tanks[id].Name
		}
	}
	return ""
}

// fine is the shift of a probe that matters to nobody.
var fine = map[dosing.Quantity]float64{dosing.QuantityPH: 0.02, dosing.QuantityEC: 0.02, dosing.QuantityTemperature: 0.2}

func probeOf(file *config.File, in *config.InputTopic) (prove.Probe, bool) {
	set := &file.Settings.Safety.Inputs[in.Input]
	shift, disturbed := fine[set.Quantity]
	if !disturbed {
		return prove.Probe{}, false
	}
	name := set.Name
	if set.Tank != dosing.AllTanks && len(file.Settings.Tanks) > 1 {
		name = file.Settings.Safety.Tanks[set.Tank].Name + "/" + name
	}
	return prove.Probe{Name: name, Topic: in.Topic, Unit: set.Quantity.Unit(), Fine: shift, Read: func(body []byte) (float64, bool) {
		r, err := in.Format.Decode(in.Input, set.Quantity, dosing.Instant{}, body, false)
		return r.Value(), err == nil
	}}, true
}

// book is the ledger of the state folder, in which a proof begins an epoch of its own.
type book struct {
	db    *store.DB
	rows  *ledger.Ledger
	epoch uint32
	began time.Time
}

// openBook begins the epoch of the proof, two at least, so that there is one before it.
func openBook(file *config.File, station *prove.Station) (*book, error) {
	db, err := store.Open(file.State)
	if err != nil {
		return nil, err
	}
	b := &book{db: db, began: time.Now()}
	if b.rows, err = ledger.Open(db); err == nil {
		err = b.begin(file, station)
	}
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return b, nil
}

func (b *book) begin(file *config.File, station *prove.Station) error {
	state, err := ledger.Replay(b.db, b.now(), false)
	if err != nil {
		return err
	}
	last := map[uint32]uint32{}
	_, _, err = ledger.Verify(b.db, func(e ledger.Entry) error {
		last[e.Order.Epoch] = max(last[e.Order.Epoch], e.Order.Number)
		return nil
	})
	if err != nil {
		return err
	}
	station.Knows = func(o ledger.OrderID) bool { return o.Epoch < state.Answered || o.Number <= last[o.Epoch] }
	b.epoch = max(state.LastEpoch+1, 2)
	station.Epoch = b.epoch
	return b.rows.Append(ledger.Start(b.epoch, file.Settings.Version, b.now(), false))
}

func (b *book) now() dosing.Instant {
	now := time.Now()
	return dosing.Instant{Wall: now.Round(0), Up: now.Sub(b.began)}
}

// enter writes the verdict down, and answers for the orders of the proof. A weekly proof has
// liquid in the lines: what was given in it nobody answers for, so the daemon asks.
func (b *book) enter(sheet *prove.Sheet) error {
	note := "proof of node " + sheet.Node + ": " + sheet.Verdict()
	if sheet.Weekly {
		note = "weekly " + note
	}
	mark := ledger.Change{Kind: ledger.ChangeMark, At: b.now(), Note: note, By: sheet.By, From: "prove"}
	if err := b.rows.Append(mark); err != nil {
		return err
	}
	if sheet.Weekly && sheet.Given > 0 {
		return nil
	}
	return b.rows.Append(ledger.Change{Kind: ledger.ChangeEpoch, At: b.now(), Old: float64(b.epoch), Value: float64(b.epoch + 1), By: sheet.By, From: "prove",
		Note: fmt.Sprintf("the orders of epoch %d were those of leat prove at node %s, with water in its lines and into a cylinder", b.epoch, sheet.Node)})
}

// keepSheet puts the sheet where leat run reads it, and beside it the text to print.
func keepSheet(folder string, sheet *prove.Sheet) error {
	text, err := json.MarshalIndent(sheet, "", "  ")
	if err != nil {
		return err
	}
	path := filepath.Join(folder, prove.FileName(sheet.Node, sheet.Weekly))
	return errors.Join(os.WriteFile(path+".json", append(text, '\n'), 0o600), os.WriteFile(path+".txt", []byte(sheet.Text()), 0o600), store.HandOver(folder))
}
