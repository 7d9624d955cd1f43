package payload

import (
	"bytes"
	"reflect"
	"strconv"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
)

// agree says that readers with a memory take and refuse what the parsers do.
func agree(t *testing.T, hearts *Heartbeats, leases *Leases, body []byte) {
	t.Helper()
	h, err := hearts.Parse(body)
	want, wantErr := ParseHeartbeat(body)
	if (err == nil) != (wantErr == nil) || !reflect.DeepEqual(h, want) {
		t.Errorf("heartbeat %q: %+v, %v; the parser says %+v, %v", body, h, err, want, wantErr)
	}
	epoch, beat, err := leases.Parse(body)
	wantEpoch, wantBeat, wantErr := ParseLease(body)
	if (err == nil) != (wantErr == nil) || epoch != wantEpoch || beat != wantBeat {
		t.Errorf("lease %q: %d %d, %v; the parser says %d %d, %v", body, epoch, beat, err, wantEpoch, wantBeat, wantErr)
	}
}

// withNumber puts text in the place of the whole number that begins at or after at.
func withNumber(body []byte, at int, text string) []byte {
	for at < len(body) && digits(body, at) == 0 {
		at++
	}
	return append(append(bytes.Clone(body[:at]), text...), body[at+digits(body, at):]...)
}

// Each body is read, then with each of its numbers replaced, then itself again.
func FuzzRepeatedDocumentsReadLikeNewOnes(f *testing.F) {
	for _, body := range []string{`{"epoch":7,"beat":4711}`, `{"beat":1,"epoch":7}`, `{"epoch":7,"beat":4711,"of":{"beat":3}}`, `{"epoch":1,"beat":1e3}`,
		string(sample(f, "heartbeat.json")), `{"boot":"a1b2","tick_ms":120000,"idle":true}`, `{"tick_ms":120000,"idle":true,"boot":"120000"}`} {
		for _, number := range []string{"5", "0", "007", "", "-3", "1e5", "9007199254740993", "123456789012345678901234567890", "99999999999999"} {
			f.Add([]byte(body), number)
		}
	}
	f.Fuzz(func(t *testing.T, body []byte, number string) {
		var hearts Heartbeats
		var leases Leases
		agree(t, &hearts, &leases, body)
		for at := range min(len(body), 200) {
			if digits(body, at) > 0 && (at == 0 || digits(body, at-1) == 0) {
				agree(t, &hearts, &leases, withNumber(body, at, number))
				agree(t, &hearts, &leases, body)
			}
		}
	})
}

// A node says the same every two seconds, for years: it must leave nothing to the
// collector.
func TestARepeatedHeartbeatAndLeaseAllocateNothing(t *testing.T) {
	var hearts Heartbeats
	var leases Leases
	heart, lease := sample(t, "heartbeat.json"), []byte(`{"epoch":7,"beat":4711}`)
	if n := testing.AllocsPerRun(100, func() {
		if _, err := hearts.Parse(heart); err != nil {
			t.Error(err)
		}
		if _, _, err := leases.Parse(lease); err != nil {
			t.Error(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func TestVolumesAreWrittenToTheMicrolitre(t *testing.T) {
	for v, want := range map[int64]string{0: "0", 1: "0.001", 12_500: "12.5", 12_345: "12.345", 7_000: "7", 100: "0.1", -1_250: "-1.25", 9_999_999_999: "9999999.999"} {
		e := object(nil)
		e.volume("v", dosing.Volume(v))
		if got := string(e.end()); got != `{"v":`+want+`}` {
			t.Errorf("%s µL is written %s", strconv.FormatInt(v, 10), got)
		}
	}
}

func BenchmarkRepeatedHeartbeat(b *testing.B) {
	body := sample(b, "heartbeat.json")
	var hearts Heartbeats
	b.ReportAllocs()
	for b.Loop() {
		if _, err := hearts.Parse(body); err != nil {
			b.Fatal(err)
		}
	}
}

func TestANodeThatRepeatsItselfWritesWhatANewOneWrites(t *testing.T) {
	var w HeartbeatWriter
	idle, other, last := sampleBeat, sampleBeat, *sampleBeat.Last
	idle.Idle, other.Boot, last.Volume = !idle.Idle, "another", last.Volume+dosing.Millilitre
	stopped := sampleBeat
	stopped.Last = &last
	for i, h := range []controller.Heartbeat{sampleFirst, sampleBeat, sampleBeat, idle, other, sampleBeat, stopped, sampleFirst} {
		h.Tick += time.Duration(i) * time.Hour
		if got, want := w.Write(h), new(HeartbeatWriter).Write(h); !bytes.Equal(got, want) {
			t.Errorf("heartbeat %d: %s, a new node writes %s", i, got, want)
		}
	}
}
