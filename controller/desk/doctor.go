package desk

import (
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strconv"
	"strings"
	"time"

	"leat/controller/config"
	"leat/controller/metrics"
	"leat/controller/mqtt"
	"leat/controller/store"
)

// Finding is one thing that leat doctor looked at.
type Finding struct {
	What string `json:"what"`
	OK   bool   `json:"ok"`
	Says string `json:"says"`
	Do   string `json:"do,omitempty"`
}

// Doctor is what leat doctor is asked.
type Doctor struct {
	Path, Notify string // Notify is the address of an Alertmanager; empty = none is tried
	Ring, Rights bool   // through the daemon's own ways; the broker's rights
	JSON         bool
}

// patient is what the checks look at.
type patient struct {
	file     *config.File
	series   map[string]float64 // of the running daemon's metrics; nil where none answers
	findings []Finding
}

func (p *patient) note(what string, ok bool, do, says string, args ...any) {
	if ok {
		do = ""
	}
	p.findings = append(p.findings, Finding{what, ok, fmt.Sprintf(says, args...), do})
}

// Do looks at everything and says what it found; what is not in order is an error.
func (d *Doctor) Do(ctx context.Context, stdout io.Writer) error {
	report, err := config.CheckFile(d.Path)
	if err != nil {
		return err
	}
	p := &patient{}
	p.note("configuration", report.OK, "run leat check -config "+d.Path, "%d faults", len(report.Faults))
	if p.file, err = config.Look(d.Path); err == nil {
		p.daemon(ctx)
		p.broker()
		p.nodes()
		p.folder()
		p.certificates(time.Now())
		p.clock()
		if d.Notify != "" {
			p.notify(ctx, d.Notify)
		}
		if d.Rights {
			p.rights(ctx, d.Path)
		}
		if d.Ring {
			p.ring()
		}
	}
	return p.tell(d.JSON, stdout)
}

func (p *patient) tell(asJSON bool, stdout io.Writer) error {
	bad := 0
	for _, f := range p.findings {
		if !f.OK {
			bad++
		}
	}
	if asJSON {
		if err := WriteJSON(stdout, p.findings); err != nil {
			return err
		}
	} else {
		for _, f := range p.findings {
			fmt.Fprintf(stdout, "%-4s %-14s %s\n", map[bool]string{true: "ok", false: "NOT"}[f.OK], f.What, f.Says)
			if f.Do != "" {
				fmt.Fprintf(stdout, "     %-14s → %s\n", "", f.Do)
			}
		}
	}
	if bad > 0 {
		return fmt.Errorf("%d of %d things are not in order", bad, len(p.findings))
	}
	return nil
}

// patientFor bounds each look at something that may not answer.
const patientFor = 5 * time.Second

// daemon reads the metrics of the running daemon: what it sees counts more than what a
// second client would, which could throw it out.
func (p *patient) daemon(ctx context.Context) {
	listen, scheme := p.file.Metrics.Listen, "http"
	if listen == "" {
		if listen = p.file.Web.Listen; p.file.Web.Certificate != "" {
			scheme = "https"
		}
	}
	// The certificate is for the name that phones use, not for this machine's own address.
	client := http.Client{Timeout: patientFor, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}} //nolint:gosec // metrics of this machine are no secret
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, scheme+"://"+listen+"/metrics", nil)
	var answer *http.Response
	if err == nil {
		answer, err = client.Do(request)
	}
	const do = "start it: systemctl start leat; then its log says more"
	if err != nil {
		p.note("daemon", false, do, "%s does not answer: %v", listen, err)
		return
	}
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(io.LimitReader(answer.Body, 4<<20))
	if err != nil || answer.StatusCode != http.StatusOK {
		p.note("daemon", false, do, "%s answers %s", listen, answer.Status)
		return
	}
	p.series = seriesOf(string(text))
	age := time.Since(time.Unix(0, int64(p.one("leat_heartbeat_timestamp_seconds")*1e9))).Round(time.Second)
	p.note("daemon", age < 30*time.Second, "restart it and keep its log", "last decided %s ago", age)
}

// seriesOf reads Prometheus' text format: each series with its value.
func seriesOf(text string) map[string]float64 {
	series := map[string]float64{}
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if at := strings.LastIndexByte(line, ' '); at > 0 && line[0] != '#' {
			if value, err := strconv.ParseFloat(line[at+1:], 64); err == nil {
				series[line[:at]] = value
			}
		}
	}
	return series
}

// each calls back for the series of a name.
func (p *patient) each(name string, do func(labels string, value float64)) {
	for series, value := range p.series {
		if rest, found := strings.CutPrefix(series, name+"{"); found {
			do(rest, value)
		}
	}
}

func (p *patient) one(name string) (value float64) {
	p.each(name, func(_ string, v float64) { value = v })
	return value
}

// label is the value of a label in what each calls back with.
func label(labels, name string) string {
	_, rest, _ := strings.Cut(","+labels, ","+name+`="`)
	value, _, _ := strings.Cut(rest, `"`)
	return value
}

func (p *patient) broker() {
	if p.series != nil {
		p.note("broker", p.one("leat_broker_connected") == 1, "look at the broker's log: password, certificate, a second client of the daemon's user", "the daemon is %s", map[bool]string{true: "connected", false: "not connected"}[p.one("leat_broker_connected") == 1])
		return
	}
	address, _, err := mqtt.Address(p.file.Broker.URL)
	var conn net.Conn
	if err == nil {
		conn, err = net.DialTimeout("tcp", address, patientFor)
	}
	if err != nil {
		p.note("broker", false, "start the broker, or correct [broker] url", "%s cannot be reached: %v", p.file.Broker.URL, err)
		return
	}
	_ = conn.Close()
	p.note("broker", true, "", "%s takes connections; rights and password show when the daemon runs", address)
}

func (p *patient) nodes() {
	if p.series == nil {
		return
	}
	p.each("leat_node_age_seconds", func(labels string, age float64) {
		p.note("node "+label(labels, "node"), age < 10, "look at its supply, its network and its user at the broker (leat acl)", "last heard %.0f s ago", age)
	})
	p.each("leat_alarm_priority", func(labels string, priority float64) {
		if priority == 1 || priority == 2 {
			p.note("alarm", false, "see its card on the page, and deploy/RUNBOOK.md", "%s: %s", label(labels, "tank"), label(labels, "cause"))
		}
	})
}

// fullDisk is what is enough on a disk of any size, bytes: a record grows by less than 1 MB a tank and month.
const fullDisk = 5e9

func (p *patient) folder() {
	if _, err := os.Stat(p.file.State); err != nil {
		p.note("ledger", false, "start the daemon once, or correct [storage] folder", "%v", err)
		return
	}
	rows, hash, known := store.Head(p.file.State)
	p.note("ledger", known, "run leat ledger verify", "%d rows, head %x", rows, hash[:6])
	p.copies(time.Now())
	free, size := metrics.Space(p.file.State)
	p.note("disk", !(free < min(0.1*size, fullDisk)), "free some space: a full disk holds all doses", "%.1f of %.1f GB are free", free/1e9, size/1e9)
}

// oldCopy is when a nightly copy has been missed: the timer's day and what it may be late.
const oldCopy = 30 * time.Hour

func (p *patient) copies(now time.Time) {
	known, err := store.KnownCopies(p.file.State)
	age := now.Sub(known.Good).Round(time.Minute)
	switch {
	case err != nil:
		p.note("copy", false, "copy the ledger anew", "%v", err)
	case known.Failed != "":
		p.note("copy", false, "see journalctl -u leat-backup, then copy again: systemctl start leat-backup", "the last one failed: %s", known.Failed)
	case known.Good.IsZero():
		p.note("copy", false, "systemctl enable --now leat-backup.timer leat-backup.service", "the ledger was never copied")
	default:
		p.note("copy", age < oldCopy, "look whether the timer runs: systemctl list-timers leat-backup.timer", "%d rows, %s ago; carry it to another disk", known.Rows, age)
	}
}

// renewBefore is how long before its end a certificate should be renewed.
const renewBefore = 14 * 24 * time.Hour

func (p *patient) certificates(now time.Time) {
	for what, file := range map[string]string{"broker ca_file": p.file.Broker.CA, "broker certificate_file": p.file.Broker.Certificate, "page certificate_file": p.file.Web.Certificate} {
		if file == "" {
			continue
		}
		ends, ok := metrics.CertificateEnds(file)
		p.note(what, ok && ends.Sub(now) > renewBefore, "renew it and restart the daemon", "%s ends %s", file, ends.Format(time.DateOnly))
	}
}

func (p *patient) clock() {
	synchronised, known := clockSynchronised()
	if known {
		p.note("clock", synchronised, "start a time service such as systemd-timesyncd; doses do not depend on it, records and certificates do",
			"%s", map[bool]string{true: "synchronised", false: "not synchronised"}[synchronised])
	}
}
