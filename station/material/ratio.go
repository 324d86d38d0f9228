package material

import (
	"fmt"
	"math"
	"strconv"
)

// Ratio is the mix ratio A : B with its basis: by weight, by volume, or both, which then agree. BRange is for
// catalysed systems: parts of B per 100 of A within which B may be chosen.
type Ratio struct {
	Weight *Parts    `json:"weight,omitempty"`
	Volume *Parts    `json:"volume,omitempty"`
	BRange []float64 `json:"b_range,omitempty"`
}

// Parts are the figures of a ratio, A first.
type Parts struct {
	A Number `json:"a,omitempty"`
	B Number `json:"b,omitempty"`
}

// inForce is the ratio that is weighed by, and the basis it is in: weight where the card has it.
func (r Ratio) inForce() (p Parts, basis string) {
	if r.Weight != nil {
		return *r.Weight, "weight"
	}
	if r.Volume != nil {
		return *r.Volume, "volume"
	}
	return Parts{}, ""
}

// RatioText is the ratio as shown, `A 100 : B 50 by weight`.
func (c Card) RatioText() string {
	p, basis := c.Ratio.inForce()
	return fmt.Sprintf("A %s : B %s by %s", short(p.A.Float()), short(p.B.Float()), basis)
}

// Sentence is the ratio in words, so that it can't be read the wrong way round: "for every 100 g of A, 50 g of B: B is
// half of A". For a ratio by volume it goes on with the masses, where the densities are known.
func (c Card) Sentence() string {
	p, basis := c.Ratio.inForce()
	a, b := p.A.Float(), p.B.Float()
	unit, by := "g", ""
	if basis == "volume" {
		unit, by = "mL", " by volume"
	}
	text := fmt.Sprintf("for every %s %s of A, %s %s of B: B is %s%s", short(a), unit, short(b), unit, share(b/a), by)
	if r, err := c.BPerA(); basis == "volume" && err == nil {
		text += fmt.Sprintf("; on the scale, for every 100 g of A, %s g of B", fourDigits(100*r))
	}
	return text
}

// share is B as a part or a multiple of A.
func share(r float64) string {
	switch {
	case r == 0.5:
		return "half of A"
	case r == 1:
		return "as much as A"
	case r == 2:
		return "twice A"
	case r < 1:
		return fourDigits(100*r) + " % of A"
	}
	return fourDigits(r) + " times A"
}

// fourDigits is a number of at most four digits, said to be about right where it was rounded.
func fourDigits(f float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(f, 'e', 3, 64), 64)
	if math.Abs(rounded-f) > 1e-9*f {
		return "about " + short(rounded)
	}
	return short(rounded)
}

// BPerA is the ratio of masses B/A: as it stands by weight, with both densities by volume. The error is Faults that
// name each density that is missing.
func (c Card) BPerA() (r float64, err error) {
	p, basis := c.Ratio.inForce()
	if basis == "weight" {
		return p.B.Float() / p.A.Float(), nil
	}
	var faults Faults
	for _, d := range []struct {
		name  string
		value Number
	}{{"A", c.Density.A}, {"B", c.Density.B}} {
		if d.value == "" {
			faults.add("density."+map[string]string{"A": "a", "B": "b"}[d.name],
				"the density of %s is missing: the ratio is by volume and can't be weighed without it; enter it from the data sheet", d.name)
		}
	}
	if len(faults) > 0 {
		return 0, faults
	}
	return c.byVolume(), nil
}

// byVolume is B/A by mass from the ratio by volume, (vb·ρB)/(va·ρA).
func (c Card) byVolume() float64 {
	v := c.Ratio.Volume
	return v.B.Float() * c.Density.B.Float() / (v.A.Float() * c.Density.A.Float())
}

// DensityU is the relative standard uncertainty of BPerA from densities known to their last printed digit: half of it
// over √3 each (JCGM 100:2008, 4.3.7). It is 0 for a ratio by weight and where a density is missing.
func (c Card) DensityU() float64 {
	if _, basis := c.Ratio.inForce(); basis != "volume" || c.Density.A == "" || c.Density.B == "" {
		return 0
	}
	relative := func(n Number) float64 { return n.HalfDigit() / math.Sqrt(3) / n.Float() }
	return math.Hypot(relative(c.Density.A), relative(c.Density.B))
}

// contradiction says why the ratios by weight and by volume can't both be right: their ranges, half a digit around
// each figure and each density, don't meet, or they differ by more than 5 % whatever the figures.
func (c Card) contradiction() string {
	w, v := c.Ratio.Weight, c.Ratio.Volume
	quotient := func(n, d Number) (q, low, high float64) {
		return n.Float() / d.Float(), (n.Float() - n.HalfDigit()) / (d.Float() + d.HalfDigit()), (n.Float() + n.HalfDigit()) / (d.Float() - d.HalfDigit())
	}
	byWeight, weightLow, weightHigh := quotient(w.B, w.A)
	volume, volumeLow, volumeHigh := quotient(v.B, v.A)
	density, densityLow, densityHigh := quotient(c.Density.B, c.Density.A)
	byVolume := volume * density
	apart := weightLow > volumeHigh*densityHigh || volumeLow*densityLow > weightHigh
	if !apart && max(byWeight/byVolume, byVolume/byWeight) <= 1.05 {
		return ""
	}
	return fmt.Sprintf("weight and volume contradict each other: %s by weight, %s by volume with these densities; one of the figures is wrong",
		fourDigits(byWeight), fourDigits(byVolume))
}
