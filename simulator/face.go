package simulator

import (
	"strconv"

	"twocup/scaledrv/reading"
)

const mostDecimals = 6 // after the mark, on any display here

// face is how a scale shows mass in one unit: its step and its digits.
type face struct {
	unit        reading.Unit
	decimals    int
	perDivision int64   // units of the last digit in one division
	division    float64 // picograms
}

// newFace shows a division in a unit. Where no decimal number of the unit is the division, the step is the next coarser 1, 2
// or 5 in a decimal place, as scales do on their unit key (common practice, no source), and exact is false.
func newFace(symbol string, division reading.Mass) (f face, exact bool, err error) {
	if f.unit, err = reading.ParseUnit(symbol); err != nil {
		return f, false, err
	}
	one, _ := reading.Value{Digits: 1, Unit: f.unit}.Mass()
	lastDigit := one
	for division%lastDigit != 0 && lastDigit%10 == 0 && f.decimals < mostDecimals {
		lastDigit /= 10
		f.decimals++
	}
	if division%lastDigit == 0 {
		f.perDivision, f.division = int64(division/lastDigit), float64(division)
		return f, true, nil
	}
	f.coarser(float64(one), float64(division))
	return f, false, nil
}

// coarser finds the smallest step of 1, 2 or 5 in a decimal place that is not below a division.
func (f *face) coarser(one, division float64) {
	last := one / float64(tenTo(mostDecimals))
	for f.decimals, f.perDivision = mostDecimals, 1; ; {
		for _, step := range []int64{1, 2, 5} {
			if f.division = float64(step*f.perDivision) * last; f.division >= division {
				f.perDivision *= step
				return
			}
		}
		if f.decimals > 0 {
			f.decimals--
			last = one / float64(tenTo(f.decimals))
		} else {
			f.perDivision *= 10
		}
	}
}

func tenTo(n int) int64 {
	p := int64(1)
	for range n {
		p *= 10
	}
	return p
}

// number writes n units of the last digit, n not negative. At least one digit stands before the mark. A split display has
// pounds, a colon, and two places of ounces.
func (f face) number(b []byte, n int64, mark byte) []byte {
	unit := tenTo(f.decimals)
	whole, fraction := n/unit, n%unit
	if f.unit == reading.UnitLBOZ {
		b = append(strconv.AppendInt(b, whole/16, 10), ':')
		whole %= 16
		b = append(b, byte('0'+whole/10), byte('0'+whole%10))
	} else {
		b = strconv.AppendInt(b, whole, 10)
	}
	if f.decimals > 0 {
		b = append(b, mark)
	}
	for place := unit / 10; place > 0; place /= 10 {
		b = append(b, byte('0'+fraction/place%10))
	}
	return b
}

// most is the largest number that the face must hold: OIML R 76-1, from memory, Max + 9 e.
func (f face) most(opt ScaleOptions) int64 {
	return int64(float64(opt.Capacity+9*opt.Division)/f.division+1) * f.perDivision
}
