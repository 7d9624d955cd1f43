package report

import (
	"fmt"
	"time"

	"leat/controller/diary"
	"leat/safety/ledger"
)

// Record is where a past is read: a state folder.
type Record interface {
	Span() (first, last time.Time, station *diary.Station, err error)
	Past(from, to time.Time) (*diary.Past, error)
	EachEntry(each func(ledger.Entry) error) error // of the ledger, which is verified on the way
}

// Ask is what a person wants told: a period by name, or a time by its ends as typed.
type Ask struct{ Period, From, To string }

// Moment reads a time as it is typed, beside the end of the record.
type Moment func(text string, now time.Time, endOfDay bool) (time.Time, error)

// PeriodIn is the time that is asked for, in the zone of the farm, with a remark on that
// where there is one.
func PeriodIn(record Record, moment Moment, ask Ask) (Period, string, error) {
	first, last, station, err := record.Span()
	if err != nil {
		return Period{}, "", err
	}
	zone, remark := zoneOf(station)
	first, last = first.In(zone), last.In(zone).Add(time.Second) // what came last is in it
	if ask.From == "" && ask.To == "" {
		period, err := PeriodOf(ask.Period, first, last)
		return period, remark, err
	}
	from, err := moment(ask.From, last, false)
	if err != nil {
		return Period{}, "", unclear("-from %v", err)
	}
	to, err := moment(ask.To, last, true)
	if err != nil {
		return Period{}, "", unclear("-to %v", err)
	}
	if from.IsZero() {
		from = first
	}
	if to.IsZero() {
		to = last
	}
	if !from.Before(to) {
		return Period{}, "", unclear("-from %s is not before -to %s", from.In(zone).Format(time.RFC3339), to.In(zone).Format(time.RFC3339))
	}
	return Period{From: from.In(zone), To: to.In(zone), Words: "as asked"}, remark, nil
}

// Read makes the report of a record.
func Read(record Record, moment Moment, ask Ask) (*Report, error) {
	period, remark, err := PeriodIn(record, moment, ask)
	if err != nil {
		return nil, err
	}
	past, err := record.Past(period.From, period.To)
	if err != nil {
		return nil, err
	}
	r := Of(past, period.Words)
	if remark != "" {
		r.Remarks = append(r.Remarks, remark)
	}
	return r, nil
}

// spanOf is the station that wrote a record, and when the record begins and ends, in its zone.
func spanOf(record Record) (first, last time.Time, station *diary.Station, err error) {
	first, last, station, err = record.Span()
	if err != nil {
		return first, last, nil, err
	}
	if station == nil {
		return first, last, nil, fmt.Errorf("this record does not tell which tanks, pumps and probes there are: start the daemon once, which writes them down")
	}
	zone, _ := zoneOf(station)
	return first.In(zone), last.In(zone), station, nil
}

// lastDays are the last days of a record, what came last included.
func lastDays(record Record, days int) (*diary.Past, *diary.Station, error) {
	_, last, station, err := spanOf(record)
	if err != nil {
		return nil, nil, err
	}
	last = last.Add(time.Second)
	past, err := record.Past(last.AddDate(0, 0, -days), last)
	return past, station, err
}

// zoneOf is the zone of the farm that wrote a record.
func zoneOf(station *diary.Station) (*time.Location, string) {
	if station == nil {
		return time.Local, ""
	}
	zone, err := time.LoadLocation(station.Zone)
	if err != nil {
		return time.UTC, fmt.Sprintf("The farm's zone %s is not known to this machine: times are UTC.", station.Zone)
	}
	return zone, ""
}
