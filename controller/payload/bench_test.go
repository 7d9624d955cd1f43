package payload

import (
	"testing"

	"leat/dosing"
)

func benchmarkDecode(b *testing.B, f Format, q dosing.Quantity, body string) {
	if err := f.Check(q); err != nil {
		b.Fatal(err)
	}
	text := []byte(body)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := f.Decode(1, q, sampleNow, text, false); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecodePlain(b *testing.B) {
	benchmarkDecode(b, Format{Kind: KindPlain, Unit: unit(b, dosing.QuantityEC, "µS/cm")}, dosing.QuantityEC, "1812.5")
}

func BenchmarkDecodeSwitch(b *testing.B) {
	benchmarkDecode(b, Format{Kind: KindPlain, Unit: unit(b, dosing.QuantityLeak, "")}, dosing.QuantityLeak, "off")
}

func BenchmarkDecodeJSON(b *testing.B) {
	benchmarkDecode(b, Format{Kind: KindJSON, Unit: unit(b, dosing.QuantityPH, ""), Pointer: "/ph/value", TimePointer: "/at", SequencePointer: "/seq"},
		dosing.QuantityPH, string(sample(b, "reading_json.json")))
}

func BenchmarkDecodeSenML(b *testing.B) {
	benchmarkDecode(b, Format{Kind: KindSenML, SenMLName: "urn:dev:mac:0024befffe804ff1:ec"}, dosing.QuantityEC, string(sample(b, "reading_senml.json")))
}

func BenchmarkAppendOrder(b *testing.B) {
	dst := make([]byte, 0, 512)
	b.ReportAllocs()
	for b.Loop() {
		dst = sampleOrder.Append(dst[:0])
	}
}

func BenchmarkParseHeartbeat(b *testing.B) {
	body := sample(b, "heartbeat.json")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ParseHeartbeat(body); err != nil {
			b.Fatal(err)
		}
	}
}

// A plain number is what most probes send, a thousand times a second on a large
// farm: it must leave nothing to the collector.
func TestPlainNumberAllocatesNothing(t *testing.T) {
	f := Format{Kind: KindPlain, Unit: unit(t, dosing.QuantityEC, "µS/cm")}
	body := []byte("1812.5")
	if n := testing.AllocsPerRun(100, func() {
		if _, err := f.Decode(1, dosing.QuantityEC, sampleNow, body, false); err != nil {
			t.Error(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
