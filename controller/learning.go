package controller

import (
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// learning tells the gate what the loops learned, and the ledger, so that a restart does
// not forget it.
type learning struct {
	*station
	wishes   *wishes
	accounts *accounts
	stocks   *stocks
	recorded time.Duration
}

// learn tells the gate what the loops learned and, now and then, the ledger, so
// that a restart does not forget it.
func (l *learning) learn(now dosing.Instant) {
	for i := range l.tanks {
		e := &l.tanks[i].estimate
		l.watch.Learned(dosing.TankID(i), e.LnBuffer, e.LnBufferSpread, e.Answered)
		l.recordUnseen(now, dosing.TankID(i))
	}
	if now.Up-l.recorded >= learnedEvery {
		l.recorded = now.Up
		l.record(now)
		l.accounts.record(now)
		l.foresee(now)
		l.stocks.countHour()
	}
}

// record writes down what the loops have learned and how much water they
// learned it of, so that a restart neither forgets it nor believes it of another
// filling.
func (l *learning) record(now dosing.Instant) {
	for i := range l.tanks {
		// Behind the row of confirmed water it would bring back what that row forgets.
		if l.wishes.onWay[i][RequestConfirmWater].ticket == 0 {
			l.recordLearnedOf(now, dosing.TankID(i))
		}
	}
}

// recordUnseen writes down what the probes have shown meanwhile, so that a restart counts no
// more as unseen than a little. Until that is durable a restart finds more, never less.
func (l *learning) recordUnseen(now dosing.Instant, id dosing.TankID) {
	if u, due := l.watch.UnseenToRecord(now, id); due {
		l.change(ledger.Change{Kind: ledger.ChangeUnseen, At: now, Tank: l.tanks[id].plant.Name, Value: u.Acid, Old: u.Base, Spread: u.Stock})
	}
}
