package metrics

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"math"
	"math/big"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

func certificate(t *testing.T, dir string, ends ...time.Time) string {
	t.Helper()
	var text []byte
	for i, end := range ends {
		key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		made, err := x509.CreateCertificate(rand.Reader, &x509.Certificate{SerialNumber: big.NewInt(int64(i + 1)), NotAfter: end}, &x509.Certificate{}, &key.PublicKey, key)
		if err != nil {
			t.Fatal(err)
		}
		text = append(text, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: made})...)
	}
	path := filepath.Join(dir, "page.pem")
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestFirstCertificateToExpireIsShown(t *testing.T) {
	dir := t.TempDir()
	early, late := time.Unix(1_900_000_000, 0), time.Unix(2_000_000_000, 0)
	m := New("row", func() *controller.View { return nil })
	m.Stand(Host{Folder: dir, Certificates: map[string]string{"page": certificate(t, dir, late, early), "broker-own": "", "broker-authority": filepath.Join(dir, "none.pem")}})
	got := samples(t, m, "leat_certificate_expires_timestamp_seconds")
	if len(got) != 2 || got["page"] != 1_900_000_000 || !math.IsNaN(got["broker-authority"]) {
		t.Errorf("certificates %v, want page 1.9e9, the unreadable one NaN, and nothing of what is not used", got)
	}
	if free, size := samples(t, m, "leat_storage_free_bytes")[""], samples(t, m, "leat_storage_size_bytes")[""]; !(free > 0 && free <= size) {
		t.Errorf("%v of %v bytes are free", free, size)
	}
}

func TestHeadOfTheLedgerIsANumberThatCountsExactly(t *testing.T) {
	m := newTestMetrics(farmView())
	if got := samples(t, m, "leat_ledger_head_bits")[""]; got != 1<<52-1 {
		t.Errorf("head %v, want %v", got, 1<<52-1)
	}
	if got := samples(t, m, "leat_ledger_rows")[""]; got != 12 {
		t.Errorf("rows %v, want 12", got)
	}
}

func TestCopiesOfTheLedgerAreShownWithTheirAgeAndOutcome(t *testing.T) {
	made, failed, known := time.Time{}, false, true
	clock := time.Unix(1_800_000_000, 0)
	m := New("row", func() *controller.View { return nil })
	m.now = func() time.Time { return clock }
	m.Stand(Host{Copies: func() (time.Time, bool, bool) { return made, failed, known }})
	shown := func() [2]float64 {
		clock = clock.Add(readEvery)
		return [2]float64{samples(t, m, "leat_ledger_copy_timestamp_seconds")[""], samples(t, m, "leat_ledger_copy_last_successful")[""]}
	}
	if got := shown(); got != [2]float64{0, 1} {
		t.Errorf("no copy yet: %v", got)
	}
	made = time.Unix(1_799_990_000, 0)
	if got := shown(); got != [2]float64{1_799_990_000, 1} {
		t.Errorf("a copy: %v", got)
	}
	failed = true
	if got := shown(); got != [2]float64{1_799_990_000, 0} {
		t.Errorf("a later one that failed: %v", got)
	}
	known = false
	if got := shown(); !math.IsNaN(got[0]) || !math.IsNaN(got[1]) {
		t.Errorf("what cannot be read: %v", got)
	}
}

// tenTanks is a large farm on a bad night: ten tanks with three alarms each, four pumps a
// tank, recipes of eleven ions.
func tenTanks() *controller.View {
	v := farmView()
	tank, pump := v.Tanks[0], v.Pumps[0]
	v.Tanks, v.Pumps, v.Nodes = nil, nil, nil
	ions := &controller.IonsView{}
	for i := range 11 {
		ions.Ions = append(ions.Ions, controller.IonView{Name: fmt.Sprint("ion-", i), Amount: 1})
	}
	for i := range 10 {
		t := tank
		t.Name, t.Ions = fmt.Sprint("tank-", i), ions
		t.Inputs = append(t.Inputs[:len(t.Inputs):len(t.Inputs)], controller.InputView{Name: "leak", Quantity: dosing.QuantityLeak},
			controller.InputView{Name: "stop", Quantity: dosing.QuantityStop}, controller.InputView{Name: "ph-2", Quantity: dosing.QuantityPH})
		for _, c := range []safety.Cause{safety.CauseLeak, safety.CauseNodeOffline} {
			t.Alarms = append(t.Alarms[:len(t.Alarms):len(t.Alarms)], controller.AlarmView{Cause: c, State: 1})
		}
		for c := safety.CauseMixingWait; c < safety.CauseMixingWait+8 && c < safety.CauseCount; c++ {
			t.Withheld[c] = 1
		}
		v.Tanks = append(v.Tanks, t)
		for _, role := range []dosing.Role{dosing.RoleAcid, dosing.RoleBase} {
			p := pump
			p.Name, p.Role = fmt.Sprint(role, "-", i), role
			v.Pumps = append(v.Pumps, p)
		}
		v.Nodes = append(v.Nodes, controller.NodeView{Name: fmt.Sprint("node-", i)})
	}
	for i := range 9 {
		p := pump
		p.Name, p.Role = fmt.Sprint("stock-", i), dosing.RoleStock
		v.Pumps = append(v.Pumps, p)
	}
	return v
}

func count(t *testing.T, m *Metrics, tank string) (all, ofTank int) {
	t.Helper()
	families, err := m.registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range families {
		for _, s := range f.GetMetric() {
			all += max(1, len(s.GetHistogram().GetBucket()))
			for _, l := range s.GetLabel() {
				if l.GetName() == "tank" && l.GetValue() == tank {
					ofTank++
				}
			}
		}
	}
	return all, ofTank
}

func TestTenTanksAreAtMostTwoThousandSeries(t *testing.T) {
	all, tank := count(t, newTestMetrics(tenTanks()), "tank-3")
	t.Logf("%d series, %d of them a tank's", all, tank)
	if all > 2000 || tank > 150 {
		t.Errorf("%d series, %d of a tank; want at most 2000 and 150", all, tank)
	}
}

// The text is the same on any machine; the time stands in BenchmarkScrapeOfTenTanks: 10 ms at most.
func TestScrapeOfTenTanksIsSmall(t *testing.T) {
	answer := httptest.NewRecorder()
	newTestMetrics(tenTanks()).Handler().ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if size := answer.Body.Len(); size < 50_000 || size > 250_000 {
		t.Errorf("%d bytes, want at most 250 kB", size)
	}
}

func BenchmarkScrapeOfTenTanks(b *testing.B) {
	m := newTestMetrics(tenTanks())
	b.ReportAllocs()
	for b.Loop() {
		if _, err := m.registry.Gather(); err != nil {
			b.Fatal(err)
		}
	}
}
