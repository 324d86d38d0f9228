package scaledrv

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"regexp/syntax"
	"slices"
	"strings"

	"twocup/scaledrv/reading"
)

func newPattern(opt ShapeOptions) (Shape, error) {
	re, groups, err := compilePattern(opt.Pattern)
	if err != nil {
		return Shape{}, err
	}
	return Shape{"pattern", opt, func() format {
		p := pattern{re: re, groups: groups, unit: opt.Unit}
		return format{new(lines), p.read}
	}}, nil
}

// The groups that a pattern may have.
const (
	groupValue = iota
	groupSign
	groupUnit
	groupStable
	groupMoving
	groupKind
	groupOver
	groupUnder
)

var groupNames = []string{
	groupValue: "value", groupSign: "sign", groupUnit: "unit", groupStable: "stable", groupMoving: "moving",
	groupKind: "kind", groupOver: "over", groupUnder: "under",
}

const (
	maxPattern      = 500  // bytes
	maxPatternSteps = 2000 // of the program that the expression becomes: a line of the longest takes some milliseconds with it
)

// compilePattern makes an expression that matches whole lines only. The groups' numbers are in the order of groupNames,
// -1 where there is none. The error says what is wrong with the pattern.
func compilePattern(text string) (re *regexp.Regexp, groups [8]int, err error) {
	switch {
	case text == "":
		return nil, groups, errors.New("shape: pattern needs an expression, such as `pattern: '(?P<value>[-+ ]*[0-9.]+) *(?P<unit>k?g)'`")
	case len(text) > maxPattern:
		return nil, groups, fmt.Errorf("pattern: %d bytes long: at most %d (leave out what need not be told apart)", len(text), maxPattern)
	case strings.ContainsAny(text, "\r\n"):
		return nil, groups, errors.New("pattern: has a line end in it: write it on one line (what comes is matched without its end)")
	}
	if _, err := syntax.Parse(text, syntax.Perl); err != nil { // alone, so that it can't close a bracket that is not its own
		return nil, groups, fmt.Errorf("pattern: %w (write it as for Go's regexp)", err)
	}
	whole := `\A(?:` + text + `)\z`
	re, err = regexp.Compile(whole)
	if err != nil {
		return nil, groups, fmt.Errorf("pattern: %w", err)
	}
	prog, err := program(whole)
	if err != nil {
		return nil, groups, fmt.Errorf("pattern: %w", err)
	}
	if steps := len(prog.Inst); steps > maxPatternSteps {
		return nil, groups, fmt.Errorf("pattern: takes %d steps: at most %d (use + or * for long repetitions such as {1000})", steps, maxPatternSteps)
	}
	for i, name := range groupNames {
		groups[i] = re.SubexpIndex(name)
	}
	for i, name := range re.SubexpNames() {
		if name != "" && !slices.Contains(groupNames, name) {
			return nil, groups, fmt.Errorf("pattern: unknown group %q (there are: %s)", name, strings.Join(groupNames, ", "))
		}
		if name != "" && re.SubexpIndex(name) != i {
			return nil, groups, fmt.Errorf("pattern: two groups are named %q: name one only (leave the name of the other away, or put both into one)", name)
		}
	}
	switch {
	case groups[groupValue] < 0:
		return nil, groups, errors.New("pattern: no group for the number: write (?P<value>...) around it")
	case re.MatchString(""):
		return nil, groups, errors.New("pattern: matches the empty line: say what a line always has, such as [0-9]+ for digits")
	case !takesDigit(prog, groups[groupValue]):
		return nil, groups, fmt.Errorf("pattern: matches no line of at most %d bytes with a digit in its group value: see that the group takes digits, and that nothing stands before ^ or behind $", maxLine)
	}
	return re, groups, nil
}

func program(expression string) (*syntax.Prog, error) {
	parsed, err := syntax.Parse(expression, syntax.Perl)
	if err != nil {
		return nil, err
	}
	return syntax.Compile(parsed.Simplify())
}

// pattern reads lines by an expression of the user's, in the syntax of Go's regexp. It must match the whole line, without
// its end and without STX and ETX; a line that it does not match is damage. Its groups, of which an empty one counts as
// none:
//
//   - value: the number, with or without its sign and its unit. A line without it, and without over and under, is whole
//     but carries no weight.
//   - sign: a minus, or a plus or blanks.
//   - unit: of the number; without it the unit is the one given.
//   - stable, moving: which of them is there. Where the expression has only one of them, its absence means the other.
//   - kind: N… is net, G… gross, and T… or P… a tare, which is no weight; in either case.
//   - over, under: there is no weight.
//
// What damage can pass: whatever the expression takes. Of the flips of one bit in a digit at most 3 in 8 make another
// digit, and those are not seen. Where the scale pads its numbers, a number that ends in another place is held back by the
// guard; where it does not, a number that has lost its first digits is a smaller weight.
type pattern struct {
	re     *regexp.Regexp
	groups [8]int
	unit   reading.Unit
	padding
}

func (p *pattern) read(line []byte, out *parsed) error {
	if i := bytes.IndexFunc(line, func(r rune) bool { return r == 0 || r > '~' }); i >= 0 {
		return fmt.Errorf("byte %#02x at %d is no text", line[i], i)
	}
	at := p.re.FindSubmatchIndex(line)
	if at == nil {
		return errors.New("the pattern does not match the whole line")
	}
	m := matched{line, at, &p.groups}
	motion, ok := m.motion()
	if !ok {
		return errors.New("the pattern finds both stable and moving in the line")
	}
	kind, tare := m.kind()
	out.Motion, out.Kind = motion, kind
	switch {
	case m.has(groupOver):
		out.State = reading.Over
		return nil
	case m.has(groupUnder):
		out.State = reading.Under
		return nil
	case !m.has(groupValue):
		return ErrNoReading
	}
	if err := m.weight(p.unit, &out.Reading); err != nil {
		return err
	}
	if tare {
		return ErrNoReading
	}
	out.width = p.width(line, m.at[2*p.groups[groupValue]], m.at[2*p.groups[groupValue]+1])
	return nil
}

// matched is a line and where the groups stand in it.
type matched struct {
	line   []byte
	at     []int
	groups *[8]int
}

// text is a group's, empty where it is not there.
func (m matched) text(group int) []byte {
	i := m.groups[group]
	if i < 0 || m.at[2*i] < 0 {
		return nil
	}
	return m.line[m.at[2*i]:m.at[2*i+1]]
}

func (m matched) has(group int) bool { return len(m.text(group)) > 0 }

// motion is false where the line is both stable and moving.
func (m matched) motion() (motion reading.Motion, ok bool) {
	stable, moving := m.has(groupStable), m.has(groupMoving)
	onlyStable, onlyMoving := m.groups[groupMoving] < 0, m.groups[groupStable] < 0
	switch {
	case stable && moving:
		return 0, false
	case stable, onlyMoving && !onlyStable && !moving:
		return reading.Stable, true
	case moving, onlyStable && !onlyMoving:
		return reading.Moving, true
	}
	return reading.MotionUnknown, true
}

func (m matched) kind() (kind reading.Kind, tare bool) {
	text := m.text(groupKind)
	if len(text) == 0 {
		return reading.KindUnknown, false
	}
	switch text[0] {
	case 'n', 'N':
		return reading.Net, false
	case 'g', 'G':
		return reading.Gross, false
	case 't', 'T', 'p', 'P':
		return reading.KindUnknown, true
	}
	return reading.KindUnknown, false
}

// weight fills in value and mass.
func (m matched) weight(unit reading.Unit, r *reading.Reading) error {
	stated := bytes.TrimSpace(m.text(groupUnit))
	if len(stated) > 0 {
		var ok bool
		if unit, ok = reading.UnitOf(stated); !ok {
			return fmt.Errorf("%q is no unit of mass", stated)
		}
	}
	value := m.text(groupValue)
	if err := readWeight(value, unit, r); err != nil {
		return err
	}
	if len(stated) > 0 && r.Value.Unit != unit {
		return fmt.Errorf("weight %q: in another unit than %s", value, stated)
	}
	switch sign := bytes.TrimSpace(m.text(groupSign)); {
	case len(sign) == 0:
	case len(sign) > 1 || sign[0] != '-' && sign[0] != '+' || bytes.ContainsAny(value, "+-"):
		return fmt.Errorf("sign %q of %q is no single plus or minus", sign, value)
	case sign[0] == '-':
		r.Value.Digits, r.Mass = -r.Value.Digits, -r.Mass
	}
	return nil
}
