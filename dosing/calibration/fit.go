package calibration

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"leat/dosing"
	"leat/dosing/chem"
)

// Point is what a probe read in one standard.
type Point struct {
	Standard string
	Celsius  float64 // of the standard
	Sent     float64 // by the probe, uncorrected
	Faithful float64 // what a probe without error would have sent
}

func (p Point) String() string {
	return fmt.Sprintf("%s at %.3g °C read %s", p.Standard, p.Celsius, reading(p.Sent))
}

// reading is a reading with the digits that count.
func reading(v float64) string {
	if math.Abs(v) >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.2f", v)
}

// How far a reading may lie beside its standard to be of it at all: more than the worst
// offset and slope that are accepted make of it, less than lies between two buffers.
const (
	farPH = 1.0
	farEC = 1.8 // times
	// nearPH and nearEC are how near a reading is to the standard that it looks like.
	nearPH = 0.6
	nearEC = 1.25
	// twoApart is how far two buffers must lie apart for a slope: 0.02 pH of error in
	// each then make 3 % of slope at most.
	twoApart = 1.5
	// cellsAgree is by how much the cell's factors in two standards may differ.
	cellsAgree = 0.06
)

// Read makes a point of what a probe sent in a standard, by what its transmitter makes of
// temperature. A reading that is of another standard is refused.
func Read(s Standard, c dosing.Compensation, celsius, sent float64) (Point, error) {
	p := Point{Standard: s.Name, Celsius: celsius, Sent: sent}
	if !(celsius >= 0 && celsius <= 50) {
		return p, errors.New("say how warm the standard is: from 0 to 50 °C, best near 25")
	}
	value, err := s.At(celsius)
	if err != nil {
		return p, err
	}
	if p.Faithful, err = faithful(s.Quantity, c, value, celsius); err != nil {
		return p, err
	}
	if !far(s.Quantity, sent, p.Faithful, farPH, farEC) {
		return p, nil
	}
	if other := looksLike(s.Quantity, c, celsius, sent); other != "" {
		return p, fmt.Errorf("it reads %s, which looks like the standard %s and not like %s: are two bottles swapped? Rinse the probe and take %s", reading(sent), other, s.Name, s.Name)
	}
	return p, fmt.Errorf("it reads %s and a sound probe would read %s in %s: look at the bottle, the cable and the probe's glass", reading(sent), reading(p.Faithful), s.Name)
}

// looksLike is the standard to which a reading is nearest; empty if it is near to none.
func looksLike(q dosing.Quantity, c dosing.Compensation, celsius, sent float64) (name string) {
	nearest := math.Inf(1)
	for _, s := range Standards(q) {
		value, err := s.At(celsius)
		if err != nil {
			continue
		}
		looks, err := faithful(q, c, value, celsius)
		if err != nil || far(q, sent, looks, nearPH, nearEC) {
			continue
		}
		if gap := math.Abs(sent - looks); gap < nearest {
			nearest, name = gap, s.Name
		}
	}
	return name
}

func far(q dosing.Quantity, a, b, apart, times float64) bool {
	if q == dosing.QuantityPH {
		return !(math.Abs(a-b) <= apart)
	}
	return !(a > 0 && b > 0 && a <= b*times && b <= a*times)
}

// faithful is what a probe without error would send in a solution of that pH or
// conductivity.
func faithful(q dosing.Quantity, c dosing.Compensation, value, celsius float64) (float64, error) {
	switch c.Method {
	case dosing.MethodNernst:
		return value, nil
	case dosing.MethodNone, dosing.MethodMeasured:
		if q == dosing.QuantityPH {
			return 7 + float64((value-7)*chem.NernstSlope(celsius))/chem.NernstSlope(25), nil
		}
		return value, nil
	case dosing.MethodLinear:
		return value / (1 + float64(c.PerKelvin*(celsius-25))), nil
	case dosing.MethodISO7888:
		if f25, ok := chem.ISO7888(celsius); ok {
			return value * f25, nil
		}
		return 0, fmt.Errorf("at %.3g °C the transmitter's compensation is not known: bring the standard nearer to 25 °C", celsius)
	}
	return 0, errors.New("the configuration does not state the probe's compensation")
}

// Fit finds by how much a probe is off. With one buffer its offset alone is found, and
// the slope is that of before.
func Fit(q dosing.Quantity, points []Point, before dosing.Correction) (dosing.Correction, error) {
	if len(points) == 0 {
		return dosing.Correction{}, errors.New("no standard was read yet")
	}
	if q == dosing.QuantityEC {
		return fitCell(points)
	}
	low, high := points[0], points[0]
	for _, p := range points {
		if p.Faithful < low.Faithful {
			low = p
		}
		if p.Faithful > high.Faithful {
			high = p
		}
	}
	slope := before.Slope
	if slope == 0 {
		slope = 1
	}
	if apart := high.Faithful - low.Faithful; len(points) > 1 && apart < twoApart {
		return dosing.Correction{}, fmt.Errorf("%s and %s lie only %.2f pH apart, too near for a slope: take two that lie about 3 apart", low.Standard, high.Standard, apart)
	} else if len(points) > 1 {
		slope = leastSquares(points)
	}
	if slope <= 0 {
		return dosing.Correction{}, fmt.Errorf("the probe read %s in %s and %s in %s: it went the wrong way, so the buffers were swapped; rinse and begin again", reading(low.Sent), low.Standard, reading(high.Sent), high.Standard)
	}
	offset := 0.0
	for _, p := range points {
		offset += (p.Sent - 7 - float64(slope*(p.Faithful-7))) / float64(len(points))
	}
	return dosing.Correction{Slope: slope, Offset: offset}, nil
}

func leastSquares(points []Point) float64 {
	n, x, y, xx, xy := float64(len(points)), 0.0, 0.0, 0.0, 0.0
	for _, p := range points {
		x, y = x+p.Faithful, y+p.Sent
		xx, xy = xx+float64(p.Faithful*p.Faithful), xy+float64(p.Faithful*p.Sent)
	}
	return (float64(n*xy) - float64(x*y)) / (float64(n*xx) - float64(x*x))
}

func fitCell(points []Point) (dosing.Correction, error) {
	sum, least, most := 0.0, math.Inf(1), 0.0
	for _, p := range points {
		if !(p.Sent > 0 && p.Faithful > 0) {
			return dosing.Correction{}, fmt.Errorf("the probe read %s in %s: look at its cable and at bubbles in the cell", reading(p.Sent), p.Standard)
		}
		factor := p.Sent / p.Faithful
		sum, least, most = sum+factor, min(least, factor), max(most, factor)
	}
	if most/least-1 > cellsAgree {
		return dosing.Correction{}, fmt.Errorf("the cell reads %.2f of the truth in one standard and %.2f in another: an old standard, dirt or a bubble; rinse and begin again", least, most)
	}
	return dosing.Correction{Slope: sum / float64(len(points))}, nil
}

// OffsetMV is the offset of a pH probe as people know it: the millivolts of its electrode
// at pH 7.
func OffsetMV(c dosing.Correction) float64 { return -c.Offset * chem.NernstSlope(25) }

// Words tells a correction.
func Words(q dosing.Quantity, c dosing.Correction) string {
	if q == dosing.QuantityPH {
		return fmt.Sprintf("slope %.1f %%, offset %s mV", 100*c.Slope, dosing.Signed(OffsetMV(c), 0))
	}
	return fmt.Sprintf("cell factor %.3f", c.Slope)
}

// ReadList reads what a probe that calibrates itself read in its standards: 7.00=7.02,
// 4.01=4.05. The names are those of Find.
func ReadList(q dosing.Quantity, c dosing.Compensation, celsius float64, list string) (points []Point, err error) {
	const most = 5
	entries := strings.FieldsFunc(list, func(r rune) bool { return r == ',' || r == ';' })
	if len(entries) == 0 || len(entries) > most {
		return nil, fmt.Errorf("say what it read in each standard, at most %d of them, such as 7.00=7.02, 4.01=4.05", most)
	}
	for _, entry := range entries {
		name, text, found := strings.Cut(entry, "=")
		var sent float64
		if _, scan := fmt.Sscanf(strings.TrimSpace(text), "%g", &sent); !found || scan != nil || math.IsNaN(sent) || math.IsInf(sent, 0) {
			return nil, fmt.Errorf("%.40q: want a standard and what was read in it, such as 7.00=7.02", strings.TrimSpace(entry))
		}
		s, err := Find(q, name)
		if err != nil {
			return nil, err
		}
		p, err := Read(s, c, celsius, sent)
		if err != nil {
			return nil, err
		}
		points = append(points, p)
	}
	return points, nil
}
