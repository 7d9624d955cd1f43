package web

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"
)

// crowd are phones that follow pages of a house, each signed in for itself.
type crowd struct {
	house *house
	asks  []*http.Request
	feeds []*feed
	now   int
}

func newCrowd(t testing.TB, h *house, most int) *crowd {
	t.Helper()
	c := &crowd{house: h}
	pages := []string{"/", "/tank/north", "/tank/film", "/stocks"}
	for i := range most {
		r := httptest.NewRequest(http.MethodGet, "/live?page="+pages[i%len(pages)], nil)
		if i%2 > 0 {
			r.Header.Set("Accept-Language", "de")
		}
		p, _ := h.people.Load("mara")
		r.AddCookie(&http.Cookie{Name: cookieName, Value: h.sessions.begin(p.(Person), "10.0.0.1", "")})
		c.asks, c.feeds = append(c.asks, r), append(c.feeds, &feed{})
	}
	return c
}

// round is what all of them are sent once, of a view that is new.
func (c *crowd) round(t testing.TB) (bytes int) {
	c.now++
	v := fourTanks()
	v.At.Wall = v.At.Wall.Add(time.Duration(c.now) * liveEvery)
	v.Tanks[0].Inputs[0].Value += 0.01 * float64(c.now%7)
	c.house.show(v)
	for i, r := range c.asks {
		event, last := c.house.event(r, c.feeds[i])
		if last {
			t.Fatalf("phone %d is signed out: %s", i, event)
		}
		bytes += len(event)
	}
	return bytes
}

// What 200 phones cost in a second: "%core" of one core.
func BenchmarkTwoHundredPhonesFollow(b *testing.B) {
	h := newHouse(b)
	c := newCrowd(b, h, 200)
	for b.Loop() {
		c.round(b)
	}
	b.ReportMetric(100*b.Elapsed().Seconds()/float64(b.N)/liveEvery.Seconds(), "%core")
}

// Many phones cost little more than one: what a page says is made once for all of them. The
// bound is one of allocations, which no load on the machine changes.
func TestTwoHundredPhonesCostLittleMoreThanFour(t *testing.T) {
	h := newHouse(t)
	cost := func(phones int) float64 {
		c := newCrowd(t, h, phones)
		return testing.AllocsPerRun(5, func() { c.round(t) })
	}
	few, many := cost(4), cost(200)
	if each := (many - few) / 196; each > few/40 {
		t.Errorf("4 phones take %.0f allocations a round, 200 take %.0f: %.0f for each more", few, many, each)
	}
}
