package blend

import "fmt"

// Refill is a tank of which a share is dumped and filled up again, and what is then added to
// bring it nearest to its recipe.
type Refill struct {
	Recipe    Recipe
	EC        float64 // mS/cm that the recipe is scaled to with the source water; 0 = as it stands
	PH, TempC float64
	MaxNH4    float64
	Stocks    []Stock
	Source    Content  // the source water, for which the recipe is scaled
	Water     Content  // that is filled in, closed
	Tank      Analysis // as it is before
	Share     float64  // of the tank that is dumped; 1 = all of it
}

// Refilled is what comes of it.
type Refilled struct {
	Before, Water Content
	Fresh         *Mix // the recipe made from the source water
	Mix           *Mix // what is added; its base is the tank after the refill, amounts are for each litre of tank
}

// Fill works out a refill. Errors are *Refusal or from the chemistry.
func Fill(r Refill) (*Refilled, error) {
	if !(r.Share > 0 && r.Share <= 1) {
		return nil, &Refusal{fmt.Sprintf("a dump of %s of the tank", percent(r.Share)), "dump more than nothing and at most all of it"}
	}
	if r.TempC == 0 {
		r.TempC = 25
	}
	tank, err := r.Tank.Tank(r.TempC)
	if err != nil {
		return nil, err
	}
	task := Task{Recipe: r.Recipe, Base: r.Source, Stocks: r.Stocks, EC: r.EC, PH: r.PH, TempC: r.TempC, MaxNH4: r.MaxNH4}
	out := &Refilled{Before: tank.Content, Water: r.Water}
	if out.Fresh, err = Solve(task); err != nil {
		return nil, err
	}
	task.EC, task.IsTank = 0, true
	task.Recipe.Wants, task.Recipe.Nitrogen = out.Fresh.Wants, out.Fresh.N
	task.Base = Content{}.Plus(tank.Content, 1-r.Share).Plus(r.Water, r.Share)
	task.refill, task.dumped = &r.Water, r.Share
	out.Mix, err = Solve(task)
	return out, err
}
