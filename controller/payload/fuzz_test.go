package payload

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"leat/dosing"
)

// seeds gives a fuzzer every sample and the rubbish of row 56.
func seeds(f *testing.F) {
	f.Helper()
	names, err := filepath.Glob(filepath.Join(samples, "*"))
	if err != nil || len(names) == 0 {
		f.Fatal("no samples", err)
	}
	for _, name := range names {
		body, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(body)
	}
	for _, body := range []string{"", "NaN", "null", "1e999", "6,02", "{", `{"":{"":[]}}`, `"\ud83d\ude00"`, `{"v":6,"t":1767233000,"n":1}`, "\xff"} {
		f.Add([]byte(body))
	}
}

func FuzzReading(f *testing.F) {
	seeds(f)
	formats := []struct {
		q      dosing.Quantity
		format Format
	}{
		{dosing.QuantityPH, Format{Kind: KindPlain, Unit: unit(f, dosing.QuantityPH, "")}},
		{dosing.QuantityEC, Format{Kind: KindPlain, Unit: unit(f, dosing.QuantityEC, "µS/cm")}},
		{dosing.QuantityLeak, Format{Kind: KindPlain, Unit: unit(f, dosing.QuantityLeak, "")}},
		{dosing.QuantityPH, Format{Kind: KindJSON, Unit: unit(f, dosing.QuantityPH, ""), Pointer: "/ph/value", TimePointer: "/at", SequencePointer: "/seq"}},
		{dosing.QuantityPH, Format{Kind: KindJSON, Unit: unit(f, dosing.QuantityPH, "")}},
		{dosing.QuantityLeak, Format{Kind: KindJSON, Unit: unit(f, dosing.QuantityLeak, ""), Pointer: "/0"}},
		{dosing.QuantityEC, Format{Kind: KindSenML, Unit: unit(f, dosing.QuantityEC, "S/m")}},
		{dosing.QuantityFlood, Format{Kind: KindSenML, Unit: unit(f, dosing.QuantityFlood, "")}},
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, c := range formats {
			r, err := c.format.Decode(1, c.q, sampleNow, body, false)
			if err == nil && (math.IsNaN(r.Value()) || math.IsInf(r.Value(), 0) || r.Quantity() != c.q) || err != nil && r != (dosing.Reading{}) {
				t.Errorf("%s %s of %q: %+v, %v", c.format.Kind, c.q, body, r, err)
			}
		}
	})
}

// What our scanner takes, encoding/json takes too: it is the independent reader.
func FuzzScannerIsStricterThanEncodingJSON(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		var s scanner
		root, err := s.scan(body)
		if err != nil {
			return
		}
		if !json.Valid(body) {
			t.Fatalf("%q is taken and is no JSON", body)
		}
		var theirs any
		if err := json.Unmarshal(body, &theirs); err != nil {
			return // numbers beyond float64
		}
		if object, ok := theirs.(map[string]any); ok {
			ours := 0
			for key := range root.members() {
				if _, there := object[string(key)]; !there {
					t.Errorf("%q: key %q is not there", body, key)
				}
				ours++
			}
			if ours != len(object) {
				t.Errorf("%q: %d members, want %d", body, ours, len(object))
			}
		}
		if array, ok := theirs.([]any); ok {
			ours := 0
			for range root.elements() {
				ours++
			}
			if ours != len(array) {
				t.Errorf("%q: %d elements, want %d", body, ours, len(array))
			}
		}
	})
}

// What a parser takes, it writes and takes again unchanged.
func FuzzReport(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		if r, err := ParseReport(body); err == nil {
			again, err := ParseReport(AppendReport(nil, r))
			if err != nil || again != r {
				t.Errorf("%+v became %+v, %v", r, again, err)
			}
		}
	})
}

func FuzzHeartbeat(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		if h, err := ParseHeartbeat(body); err == nil {
			again, err := ParseHeartbeat(new(HeartbeatWriter).Write(h))
			if err != nil || again.Boot != h.Boot || again.Tick != h.Tick || again.Idle != h.Idle || (again.Last == nil) != (h.Last == nil) ||
				h.Last != nil && *again.Last != *h.Last {
				t.Errorf("%+v became %+v, %v", h, again, err)
			}
		}
	})
}

func FuzzOrder(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		m, err := ParseOrder(body)
		if err != nil {
			return
		}
		if m.Volume <= 0 || m.Run <= 0 || m.Boot == "" {
			t.Errorf("%q is taken as %+v", body, m)
		}
		again, err := ParseOrder(m.Append(nil))
		m.Expires = m.Expires.UTC().Truncate(1e9)
		again.Expires = again.Expires.UTC()
		if err != nil || again != m {
			t.Errorf("%+v became %+v, %v", m, again, err)
		}
	})
}

func FuzzLeaseStopSupplyFit(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		if epoch, beat, err := ParseLease(body); err == nil {
			if e, b, err := ParseLease(AppendLease(nil, epoch, beat)); err != nil || e != epoch || b != beat || e == 0 {
				t.Errorf("lease %q: %d %d, %v", body, e, b, err)
			}
		}
		if instance, epoch, err := ParseOwner(body); err == nil {
			if i, e, err := ParseOwner(AppendOwner(nil, instance, epoch)); err != nil || i != instance || e != epoch || e == 0 || i == "" {
				t.Errorf("owner %q: %q %d, %v", body, i, e, err)
			}
		}
		if epoch, pump, err := ParseStop(body); err == nil {
			if e, p, err := ParseStop(AppendStop(nil, epoch, pump)); err != nil || e != epoch || p != pump || e == 0 {
				t.Errorf("stop %q: %d %q, %v", body, e, p, err)
			}
		}
		if epoch, err := ParseSupply(body); err == nil && epoch == 0 {
			t.Errorf("supply %q", body)
		}
		if fit, cause, err := ParseFit(body); err == nil {
			if g, c, err := ParseFit(AppendFit(nil, fit, cause)); err != nil || g != fit || c != cause {
				t.Errorf("fit %q: %t %q, %v", body, g, c, err)
			}
		}
	})
}

func FuzzAsk(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		if a, err := ParseAsk(body); err == nil && (math.IsNaN(a.Value) || math.IsInf(a.Value, 0)) {
			t.Errorf("%q is taken as %+v", body, a)
		}
	})
}

func FuzzUnit(f *testing.F) {
	for _, text := range []string{"mS/cm", "12 L", "°F", "", "ppm", "1e300 m3", "0.0000001 L"} {
		f.Add(uint8(dosing.QuantityEC), text)
		f.Add(uint8(dosing.QuantityLevel), text)
	}
	f.Fuzz(func(t *testing.T, q uint8, text string) {
		if u, err := ParseUnit(dosing.Quantity(q), text); (err == nil) != u.Stated() {
			t.Errorf("%q: %+v, %v", text, u, err)
		}
	})
}

func FuzzCalibration(f *testing.F) {
	f.Add([]byte(`{"probe":"ph","step":"read","standard":"4.01","celsius":21.5,"by":"Ada"}`))
	f.Add([]byte(`{"probe":"ec","step":"entered","celsius":22,"found":"1413=1.41"}`))
	f.Fuzz(func(t *testing.T, body []byte) {
		ask, err := ParseCalibration(body)
		if err != nil {
			return
		}
		if again, err := ParseCalibration(AppendCalibration(nil, ask)); err != nil || again.Probe != ask.Probe || again.Step != ask.Step || again.Found != ask.Found {
			t.Errorf("%s was read as %+v, and back as %+v (%v)", body, ask, again, err)
		}
	})
}
