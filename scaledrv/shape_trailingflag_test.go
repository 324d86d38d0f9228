package scaledrv

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// The lines are common practice, no source.
func TestTrailingFlag(t *testing.T) {
	const starred = "   123.45 g *"
	for _, tt := range []struct {
		name   string
		before []string
		line   string
		want   string
	}{
		{"no flag is stable", nil, "   123.45 g", "123.45 g stable"},
		{"moving", nil, "   123.45 g ?", "123.45 g moving"},
		{"net", nil, "   123.45 g NET", "123.45 g net stable"},
		{"net, a letter, the unit in columns", nil, "  123.45   g  N", "123.45 g net stable"},
		{"gross is no unit", nil, "  123.45  kg  G", "123.45 kg gross stable"},
		{"both flags", nil, "  -1.500  kg  G ?", "-1.500 kg gross moving"},
		{"in either order", nil, "  -1.500  kg ? NET", "-1.500 kg net moving"},
		{"a gram in capitals with its kind", nil, "   123.45 G G", "123.45 g gross stable"},
		{"the sign apart, a decimal comma", nil, "-  123,45 oz ?", "-123.45 oz moving"},
		{"pounds and ounces in two units", nil, "  2 lb 3.5 oz ?", "2:03.5 lb:oz moving"},
		{"blanks behind", nil, "   123.45 g ? ", "123.45 g moving"},

		{"marked as stable", nil, starred, "123.45 g stable"},
		{"one mark says nothing of lines without", []string{starred}, "   123.45 g", "123.45 g stable"},
		{"after two in a row a line without is moving", []string{starred, starred}, "   123.45 g", "123.45 g moving"},
		{"from then on", []string{starred, starred, "   123.46 g", starred}, "   123.45 g N", "123.45 g net moving"},
		{"two that are not in a row do not count", []string{starred, "   123.46 g", starred}, "   123.45 g", "123.45 g stable"},
		{"until a line is marked as moving", []string{starred, starred, "   123.46 g ?"}, "   123.45 g", "123.45 g stable"},
		{"a damaged line says nothing", []string{starred, "   12x.45 g *"}, "   123.45 g", "123.45 g stable"},

		{"a capital G alone is the flag: there is no unit", nil, "   123.45 G", `rejected: weight "   123.45": ` + errNoUnit.Error()},
		{"so it is with a mark", nil, "   123.45 G ?", `rejected: weight "   123.45": ` + errNoUnit.Error()},
		{"cut before its unit", nil, "   123.45 ", `rejected: weight "   123.45": ` + errNoUnit.Error()},
		{"a flag close to the unit", nil, "   123.45 g?", `rejected: weight "   123.45 g?": "?" is no unit of mass`},
		{"an unknown flag", nil, "   123.45 g X", `rejected: weight "   123.45 g X": "X" is no unit of mass`},
		{"two kinds", nil, "   123.45 g N NET", `rejected: weight "   123.45 g N": "N" is no unit of mass`},
		{"two marks", nil, "   123.45 g * ?", `rejected: weight "   123.45 g *": "*" is no unit of mass`},
		{"flags alone", nil, "   ? NET", `rejected: weight "": no number with digits on each side of its mark`},
		{"two lines run together", nil, "   123.45 g   123.45 g", `rejected: weight "   123.45 g   123.45 g": "123.45 g" is no unit of mass`},
		{"a NUL", nil, "   123.45\x00g", "rejected: byte 0x00 at 9 is no text"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, after(shapeNamed("trailing-flag", ShapeOptions{}), tt.line, tt.before...))
		})
	}
	require.Equal(t, "123.45 kg gross stable", after(shapeNamed("trailing-flag", ShapeOptions{Unit: reading.UnitKG}), "   123.45 G"))
}

func TestTrailingFlagHasItsWidthWithoutTheFlags(t *testing.T) {
	open := shapeNamed("trailing-flag", ShapeOptions{}).open()
	for _, line := range []string{"   123.45 g", "   123.45 g ?", "   123.45 g NET ?", "  -123.45 g  G"} {
		p, err := answer(open.read, line)
		require.NoError(t, err)
		require.Equal(t, 11, p.width, line)
	}
}

func FuzzTrailingFlag(f *testing.F) {
	f.Add([]byte("\r\n   123.45 g\r\n   123.45 g ?\r\n   123.45 g NET\r\n  123.45   g  N\r\n"), uint8(3))
	f.Add([]byte("\n 1 g *\n 1 g *\n 1 g\n 1 g N\n 1 g ?\n 1 G\n 1 G G ?\n 2 lb 3.5 oz *\n -2:03.5\n"), uint8(0))
	line := regexp.MustCompile(`^(.*?)((?: +(?:G|NET|N|[?*])| +)*)$`)
	fuzzShape(f, shapeNamed("trailing-flag", ShapeOptions{Unit: reading.UnitG}), func() func(string) string {
		history := "" // of the flags: *, ? or -
		return func(frame string) string {
			m := line.FindStringSubmatch(" " + frame)
			if m == nil || !printable(frame) {
				return rejected
			}
			body, kind, mark := m[1], "", "-"
			flags := strings.Fields(m[2])
			for i := len(flags) - 1; i >= 0; i-- {
				switch word := flags[i]; {
				case kind == "" && word == "G":
					kind = " gross"
				case kind == "" && word[0] == 'N':
					kind = " net"
				case mark == "-" && (word == "?" || word == "*"):
					mark = word
				default:
					body, i = body+" "+strings.Join(flags[:i+1], " "), 0
				}
			}
			says := weighed(body, "g")
			if says == "" {
				return rejected
			}
			history += mark
			byStars := strings.LastIndex(history, "**") > strings.LastIndex(history, "?")
			if mark == "?" || mark == "-" && byStars {
				return says + kind + " moving"
			}
			return says + kind + " stable"
		}
	})
}
