package notify

import (
	"context"
	"crypto/rand"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// Options are who is told, and how.
type Options struct {
	Station string
	Page    string // where the phone finds the page; empty = no links
	Folder  string // where it is kept what was told
	Webhook *Webhook
	Mail    *Mail
	Log     *zap.Logger
	Count   func(way, outcome string) // sent, failed, dropped; nil = nobody counts
	Pause   time.Duration             // after a first failure; 0 = two seconds
}

// Outcomes of a letter, as counted.
var Outcomes = []string{"sent", "failed", "dropped"}

// Desk tells people of alarms. Its methods may be called from any goroutine and wait for
// nothing but one another.
type Desk struct {
	options  Options
	couriers []*courier

	mu    sync.Mutex
	book  book
	key   []byte
	dirty chan struct{} // has room for one
}

// New makes a desk, or nil where nobody is to be told.
func New(options Options) *Desk {
	var doors []door
	if options.Webhook != nil {
		doors = append(doors, newWebhook(*options.Webhook))
	}
	if options.Mail != nil {
		doors = append(doors, &post{*options.Mail})
	}
	if len(doors) == 0 {
		return nil
	}
	if options.Log == nil {
		options.Log = zap.NewNop()
	}
	if options.Count == nil {
		options.Count = func(string, string) {}
	}
	if options.Pause == 0 {
		options.Pause = firstPause
	}
	d := &Desk{options: options, dirty: make(chan struct{}, 1)}
	kept := readKept(options.Folder)
	d.key = kept.Key
	d.book.load(kept.Rings, 0)
	for _, way := range doors {
		d.couriers = append(d.couriers, &courier{door: way, log: options.Log, count: options.Count, took: d.took, first: options.Pause, woken: make(chan struct{}, 1)})
	}
	return d
}

// Ways are the names of the doors.
func (d *Desk) Ways() (names []string) {
	if d == nil {
		return nil
	}
	for _, c := range d.couriers {
		names = append(names, c.name())
	}
	return names
}

// Run carries letters until ctx ends.
func (d *Desk) Run(ctx context.Context) {
	if d == nil {
		return
	}
	var group sync.WaitGroup
	for _, c := range d.couriers {
		group.Go(func() { c.run(ctx) })
	}
	d.keep()
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-d.dirty:
			d.keep()
		}
	}
	group.Wait()
	d.keep()
}

func (d *Desk) keep() {
	d.mu.Lock()
	k := keptFile{Key: d.key, Rings: d.book.kept()}
	d.mu.Unlock()
	if err := k.write(d.options.Folder); err != nil {
		d.options.Log.Error("notifications", zap.Error(err))
	}
}

func (d *Desk) soil() {
	select {
	case d.dirty <- struct{}{}:
	default:
	}
}

// Follow takes what the view says now. The loop calls it each second and after each change.
func (d *Desk) Follow(now dosing.Instant, view *controller.View) {
	if d == nil || view == nil {
		return
	}
	d.mu.Lock()
	letters := d.book.follow(now, view)
	d.mu.Unlock()
	for _, l := range letters {
		l.link(d.options.Page, func(id string) string { return sealPass(d.key, d.options.Station, id) })
		d.options.Log.Info("notify", zap.String("event", l.Event.String()), zap.String("cause", l.Cause), zap.String("text", l.Summary()))
		for _, c := range d.couriers {
			c.hand(l)
		}
		d.soil()
	}
}

func (d *Desk) took(l *Letter) {
	d.mu.Lock()
	changed := d.book.delivered(l)
	d.mu.Unlock()
	if changed {
		d.soil()
	}
}

// tryWithin bounds a test: a person waits for it.
const tryWithin = 8 * time.Second

// Try sends a test through each door and says what became of it, by the door's name.
func (d *Desk) Try(ctx context.Context) map[string]error {
	if d == nil {
		return nil
	}
	l := &Letter{ID: rand.Text(), Event: Test, Station: d.options.Station, At: time.Now(), Cause: "test", Priority: safety.PriorityNow,
		Advice: "Nothing to do. If this did not ring aloud, mend that before tonight."}
	ctx, done := context.WithTimeout(ctx, tryWithin)
	defer done()
	became := map[string]error{}
	var mu sync.Mutex
	var group sync.WaitGroup
	for _, c := range d.couriers {
		group.Go(func() {
			err := c.deliver(ctx, l)
			mu.Lock()
			defer mu.Unlock()
			became[c.name()] = err
		})
	}
	group.Wait()
	return became
}

// Claim is one alarm that the bearer of a link may acknowledge.
type Claim struct {
	Tank  dosing.TankID
	Cause safety.Cause
	Words string // the alarm, as the page shows it
	Why   string // why it cannot be acknowledged any more; empty = it can
	id    string
}

// Look is what a link is of; ok is false for what is no link of ours.
func (d *Desk) Look(pass string) (c Claim, ok bool) {
	if d == nil {
		return c, false
	}
	id, ok := openPass(d.key, d.options.Station, pass)
	if !ok {
		return c, false
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	r, why := d.book.claim(id)
	c = Claim{Why: why, id: id}
	if r != nil {
		c.Tank, c.Cause, c.Words = r.tank, r.cause, r.name()
	}
	return c, true
}

// Take spends a link: whoever comes second is told so. Ask is the request to the core; where
// it is refused the link can be used again.
func (d *Desk) Take(pass string, ask func(Claim) error) (Claim, error) {
	c, ok := d.Look(pass)
	if !ok || c.Why != "" {
		return c, nil
	}
	if !d.mark(c.id, true) {
		c, _ = d.Look(pass)
		return c, nil
	}
	err := ask(c)
	if err != nil {
		d.mark(c.id, false)
	}
	d.soil()
	return c, err
}

// mark notes whether a ring was acknowledged, and says whether that is new.
func (d *Desk) mark(id string, acknowledged bool) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	i := slices.IndexFunc(d.book.rings, func(r *ring) bool { return r.ID == id })
	if i < 0 || d.book.rings[i].Acknowledged == acknowledged {
		return false
	}
	d.book.rings[i].Acknowledged = acknowledged
	return true
}
