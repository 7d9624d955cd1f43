package metrics

import (
	"bytes"
	"compress/gzip"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
)

// family is one metric: its name, what it means and which labels its samples have beside the station's.
type family struct {
	name, help, kind string
	labels           []string
}

const (
	gauge     = "gauge"
	counter   = "counter"
	histogram = "histogram"
)

// scrape is one answer in the making. The format wants all samples of a family in one block, in whatever order they come.
type scrape struct {
	station string            // label of every sample of leat's own; written once
	blocks  map[string]*block // by the family's name: stations of one process share them
	order   []string
}

// block is the samples of a family.
type block struct {
	bytes.Buffer
	labels []label // sorted by name, as readers of text expect
}

// label is its name and the place of its value among those that are sent.
type label struct {
	name string
	at   int
}

const ofStation = -1

// samples is the block of a family.
func (s *scrape) samples(f *family) *block {
	b := s.blocks[f.name]
	if b == nil {
		b = &block{}
		s.blocks[f.name], s.order = b, append(s.order, f.name)
		for i, name := range f.labels {
			b.labels = append(b.labels, label{name, i})
		}
		if strings.HasPrefix(f.name, "leat_") {
			b.labels = append(b.labels, label{"station", ofStation})
		}
		slices.SortFunc(b.labels, func(a, b label) int { return strings.Compare(a.name, b.name) })
		b.WriteString("# HELP " + f.name + " " + escapedHelp.Replace(f.help) + "\n# TYPE " + f.name + " " + f.kind + "\n")
	}
	return b
}

// send adds a sample with the values of the family's labels.
func (s *scrape) send(f *family, value float64, values ...string) {
	s.line(f, "", value, values, "")
}

// line adds one; ending and bound are those of a histogram's parts.
func (s *scrape) line(f *family, ending string, value float64, values []string, bound string) {
	b := s.samples(f)
	b.WriteString(f.name)
	b.WriteString(ending)
	between := byte('{')
	write := func(name, value string) {
		b.WriteByte(between)
		between = ','
		b.WriteString(name)
		b.WriteString(`="`)
		_, _ = escapedLabel.WriteString(b, strings.ToValidUTF8(value, "\ufffd"))
		b.WriteByte('"')
	}
	for _, l := range b.labels {
		if l.at == ofStation {
			write(l.name, s.station)
		} else {
			write(l.name, values[l.at])
		}
	}
	if bound != "" {
		write("le", bound)
	}
	if between == ',' {
		b.WriteByte('}')
	}
	b.WriteByte(' ')
	b.Write(strconv.AppendFloat(b.AvailableBuffer(), value, 'g', -1, 64)) // NaN and +Inf are the format's own words
	b.WriteByte('\n')
}

var (
	escapedHelp  = strings.NewReplacer("\\", `\\`, "\n", `\n`)
	escapedLabel = strings.NewReplacer("\\", `\\`, "\n", `\n`, `"`, `\"`)
)

// text is the whole answer.
func (s *scrape) text() []byte {
	var all bytes.Buffer
	for _, name := range s.order {
		all.Write(s.blocks[name].Bytes())
	}
	return all.Bytes()
}

// spread is how long something takes, counted in classes.
type spread struct {
	of     family
	bounds []float64 // upper, ascending
	counts []atomic.Uint64
	sum    atomic.Uint64 // nanoseconds
}

// newSpread has count classes, each so many times as wide as the one before.
func newSpread(name, help string, first, times float64, count int) *spread {
	s := &spread{of: family{name: name, help: help, kind: histogram}, counts: make([]atomic.Uint64, count+1)}
	for range count {
		s.bounds = append(s.bounds, first)
		first *= times
	}
	return s
}

// observe counts a duration in seconds.
func (s *spread) observe(seconds float64) {
	class := 0
	for class < len(s.bounds) && seconds > s.bounds[class] {
		class++
	}
	s.counts[class].Add(1)
	s.sum.Add(uint64(math.Max(seconds, 0) * 1e9))
}

func (s *spread) send(out *scrape) {
	total := 0.0
	for i := range s.counts {
		total += float64(s.counts[i].Load())
		bound := "+Inf"
		if i < len(s.bounds) {
			bound = strconv.FormatFloat(s.bounds[i], 'g', -1, 64)
		}
		out.line(&s.of, "_bucket", total, nil, bound)
	}
	out.line(&s.of, "_sum", float64(s.sum.Load())/1e9, nil, "")
	out.line(&s.of, "_count", total, nil, "") // of the same reading as the last class
}

// tally counts by the value of one label; every value exists from the start.
type tally struct {
	of     family
	values []string
	counts []atomic.Uint64
}

func newTally(name, help, label string, values []string) *tally {
	return &tally{family{name, help, counter, []string{label}}, values, make([]atomic.Uint64, len(values))}
}

// add counts one; a value that is not known counts as the last.
func (c *tally) add(value string) {
	at := 0
	for at < len(c.values)-1 && c.values[at] != value {
		at++
	}
	c.counts[at].Add(1)
}

func (c *tally) send(out *scrape) {
	for i, value := range c.values {
		out.send(&c.of, float64(c.counts[i].Load()), value)
	}
}

// mostScrapes may be answered at once: who asks without end must not starve the daemon.
const mostScrapes = 4

// Handler serves the metrics over HTTP in Prometheus' text format 0.0.4.
func (m *Metrics) Handler() http.Handler { return handler(m.scrape) }

// handler serves what a scrape returns.
func handler(scrape func() []byte) http.Handler {
	places := make(chan struct{}, mostScrapes)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		select {
		case places <- struct{}{}:
			defer func() { <-places }()
		default:
			http.Error(w, "too many scrapes at once", http.StatusServiceUnavailable)
			return
		}
		text := scrape()
		w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
		w.Header().Set("Vary", "Accept-Encoding")
		if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
			_, _ = w.Write(text) // who has gone needs no answer
			return
		}
		w.Header().Set("Content-Encoding", "gzip")
		packed, _ := gzip.NewWriterLevel(w, gzip.BestSpeed)
		_, _ = packed.Write(text)
		_ = packed.Close()
	})
}

// scrape asks everybody and returns the text.
func (m *Metrics) scrape() []byte {
	s := &scrape{blocks: map[string]*block{}}
	m.send(s)
	sendProcess(s)
	return s.text()
}

// send adds what a station tells of itself.
func (m *Metrics) send(s *scrape) {
	s.station = m.station
	m.mu.Lock()
	parts := slices.Clip(m.parts)
	m.mu.Unlock()
	for _, send := range parts {
		send(s)
	}
}
