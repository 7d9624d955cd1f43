package sim

// lineFaults are the rows of what is only watched around a tank.
var lineFaults = []Fault{
	{Name: "film-stopped", stays: true, Row: 74, Text: "the film in the channels stops",
		begin: onTank(func(t *trouble) { t.filmOff = true }), end: onTank(func(t *trouble) { t.filmOff = false })},
	{Name: "flood-does-not-drain", stays: true, Row: 75, Text: "a flood bench keeps most of its water",
		begin: onTank(func(t *trouble) { t.noDrain = true }), end: onTank(func(t *trouble) { t.noDrain = false })},
	{Name: "aeration-off", stays: true, Row: 76, Text: "the air pump stops: oxygen falls",
		begin: onTank(func(t *trouble) { t.airOff = true }), end: onTank(func(t *trouble) { t.airOff = false })},
	{Name: "filter-clogs", stays: true, Row: 90, Text: "the filter clogs: 20 kPa more each hour",
		begin: onTank(func(t *trouble) { t.clogs = 20 }), end: onTank(func(t *trouble) { t.clogs, t.clogged = 0, 0 })},
	{Name: "uv-lamp-out", stays: true, Row: 91, Text: "the UV lamp goes out",
		begin: onTank(func(t *trouble) { t.lampWeak = 1 }), end: onTank(func(t *trouble) { t.lampWeak = 0 })},
	{Name: "uv-lamp-old", stays: true, Row: 91, Text: "the UV lamp is at its end and has lost six tenths of its light",
		begin: onTank(func(t *trouble) { t.lampWeak = 0.6 }), end: onTank(func(t *trouble) { t.lampWeak = 0 })},
}
