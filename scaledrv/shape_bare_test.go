package scaledrv

import (
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// The lines are common practice, no source.
func TestBare(t *testing.T) {
	for _, tt := range []struct {
		name string
		unit reading.Unit
		line string
		want string
	}{
		{"digits alone, in the unit of the entry", reading.UnitG, "123.45", "123.45 g"},
		{"a decimal comma", reading.UnitKG, "123,45", "123.45 kg"},
		{"a sign apart and a unit", reading.UnitNone, "+  123.45 g", "123.45 g"},
		{"the unit of the line comes first", reading.UnitG, "-00123.45 oz", "-123.45 oz"},
		{"negative", reading.UnitG, "-0.05", "-0.05 g"},
		{"minus zero", reading.UnitG, "-0.00", "0.00 g"},
		{"a whole number", reading.UnitG, "123", "123 g"},
		{"pounds and ounces", reading.UnitNone, "2:03.5 lb:oz", "2:03.5 lb:oz"},
		{"pounds and ounces without a unit", reading.UnitLBOZ, "2:03.5", "2:03.5 lb:oz"},

		{"no unit anywhere", reading.UnitNone, "123.45", `rejected: weight "123.45": ` + errNoUnit.Error()},
		{"one number where pounds and ounces should be", reading.UnitLBOZ, "35.5", `rejected: weight "35.5": not whole pounds with less than 16 ounces`},
		{"cut at its mark", reading.UnitG, "123.", `rejected: weight "123.": no number with digits on each side of its mark`},
		{"two lines run together", reading.UnitG, "123.45123.45", `rejected: weight "123.45123.45": ".45" is no unit of mass`},
		{"a status is none of this shape's", reading.UnitG, "ST,123.45", `rejected: weight "ST,123.45": no number with digits on each side of its mark`},
		{"a flag behind", reading.UnitG, "123.45 g ?", `rejected: weight "123.45 g ?": "?" is no unit of mass`},
		{"invalid UTF-8", reading.UnitG, "123.4\xc3", "rejected: byte 0xc3 at 5 is no text"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, after(shapeNamed("bare", ShapeOptions{Unit: tt.unit}), tt.line))
		})
	}
}

func TestBareHasAWidthWhereTheScalePads(t *testing.T) {
	for _, tt := range []struct {
		name  string
		lines []string
		want  []int
	}{
		{"as long as its digits", []string{"1.5", "12.5", "-1.5", "0.5", "0"}, []int{0, 0, 0, 0, 0}},
		{"a plus", []string{"+1.5 g", "-1.5 g "}, []int{6, 6}},
		{"blanks", []string{"  1.5", "-12.5", "112.5"}, []int{5, 5, 5}},
		{"zeros", []string{"-01.5 kg", "112.5 kg"}, []int{8, 8}},
		{"seen late", []string{"112.5", " 12.5"}, []int{0, 5}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			open := shapeNamed("bare", ShapeOptions{Unit: reading.UnitG}).open()
			var got []int
			for _, line := range tt.lines {
				p, err := answer(open.read, line)
				require.NoError(t, err)
				got = append(got, p.width)
			}
			require.Equal(t, tt.want, got)
		})
	}
}

func FuzzBare(f *testing.F) {
	f.Add([]byte("\r\n123.45\r\n+  123.45 g\r\n123,45\r\n"), uint8(3))
	f.Add([]byte("\n2:03.5\n2 lb 3.5 oz\n-9223372036854775799 mg\n9224 kg\n0.1234567890\n"), uint8(0))
	fuzzShape(f, shapeNamed("bare", ShapeOptions{Unit: reading.UnitG}), func() func(string) string {
		return func(frame string) string {
			if says := weighed(frame, "g"); says != "" && printable(frame) {
				return says
			}
			return rejected
		}
	})
}
