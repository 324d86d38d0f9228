package simulator

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// LineOptions are settings of a line shape. The zero value is the shape as it is most often met; a setting that a shape does
// not have is refused by New.
type LineOptions struct {
	Comma      bool   // a decimal comma; all shapes but stx-words and hid
	Framed     bool   // STX before and ETX behind the text; all shapes but stx-words and hid
	End        string // "\r\n", "\r" or "\n"; "" means CR LF; all shapes but stx-words and hid
	Pad        byte   // '0' or ' ' before the number; 0 means the shape's own; status-comma, trailing-flag, and bare with Sign
	NoKind     bool   // without the field for gross and net; status-comma and unit-when-stable
	BlankLast  bool   // the last of two or more digits behind the mark is blank while the load moves; unit-when-stable
	MarkStable bool   // * while stable, in place of ? while moving; trailing-flag
	Letters    bool   // G and N, in a column of their own, in place of NET; trailing-flag
	Sign       bool   // a sign in a place of its own, also of what is not negative; bare
	Unit       bool   // with the unit; bare
	Checksum   bool   // one more byte behind the line; stx-words
	Report     string // layout of the report: "", "no-number" or "reordered"; hid
}

// given names the settings that are not zero.
func (o LineOptions) given() (names []string) {
	for _, setting := range []struct {
		name string
		on   bool
	}{
		{"Comma", o.Comma}, {"Framed", o.Framed}, {"End", o.End != ""}, {"Pad", o.Pad != 0}, {"NoKind", o.NoKind}, {"BlankLast", o.BlankLast},
		{"MarkStable", o.MarkStable}, {"Letters", o.Letters}, {"Sign", o.Sign}, {"Unit", o.Unit}, {"Checksum", o.Checksum}, {"Report", o.Report != ""},
	} {
		if setting.on {
			names = append(names, setting.name)
		}
	}
	return names
}

// shape is one way to lay out a line.
type shape struct {
	places int    // of the number, its marks included and its sign not
	pad    byte   // before the number
	takes  string // the LineOptions that it has
	// write appends the text of a line. It appends nothing where the shape has no word for what is shown.
	write func(f *lineFormat, b []byte, shown display) []byte
	end   string                     // where it is always the same: write makes it, and the frame before it
	fits  func(f *lineFormat) string // says what of a unit or step the shape cannot say; nil: it can say all
}

const common = "Comma Framed End "

var shapes = map[string]shape{
	"status-comma":     {places: 8, pad: '0', takes: common + "Pad NoKind", write: writeStatusComma},
	"letter-status":    {places: 9, pad: ' ', takes: common, write: writeLetterStatus},
	"unit-when-stable": {places: 8, pad: ' ', takes: common + "NoKind BlankLast", write: writeUnitWhenStable},
	"trailing-flag":    {places: 8, pad: ' ', takes: common + "Pad MarkStable Letters", write: writeTrailingFlag},
	"stx-words":        {places: 6, pad: '0', takes: "Checksum", write: writeStxWords, end: "\r", fits: fitsStxWords},
	"reversed":         {places: 6, pad: '0', takes: common, write: writeReversed},
	"bare":             {places: 8, pad: ' ', takes: common + "Pad Sign Unit", write: writeBare},
	"hid":              {pad: '0', takes: "Report", write: writeHID, fits: fitsHID},
}

// Shapes are the names of the line shapes that the simulated scale knows, in order.
func Shapes() []string { return slices.Sorted(maps.Keys(shapes)) }

const (
	stx = '\x02'
	etx = '\x03'
)

// lineFormat writes displayed values in one shape and unit.
type lineFormat struct {
	shape
	LineOptions
	face face
	mark byte
	most int64 // the largest number that is shown
}

func newLineFormat(opt ScaleOptions, face face) (*lineFormat, error) {
	s, known := shapes[opt.Shape]
	if !known {
		return nil, fmt.Errorf("line shape %q: unknown (known: %s)", opt.Shape, strings.Join(Shapes(), ", "))
	}
	for _, name := range opt.Line.given() {
		if !slices.Contains(strings.Fields(s.takes), name) {
			return nil, fmt.Errorf("line shape %q: has no setting %s (it has: %s)", opt.Shape, name, s.takes)
		}
	}
	f := &lineFormat{shape: s, LineOptions: opt.Line, face: face, mark: '.', most: face.most(opt)}
	orDefault(&f.End, s.end)
	orDefault(&f.End, "\r\n")
	orDefault(&f.Pad, s.pad)
	if f.Comma {
		f.mark = ','
	}
	switch {
	case !slices.Contains([]string{"\r\n", "\r", "\n"}, f.End):
		return nil, fmt.Errorf("line end %q: give CR LF, CR or LF", f.End)
	case f.Pad != '0' && f.Pad != ' ' || opt.Line.Pad != 0 && opt.Shape == "bare" && !f.Sign:
		return nil, fmt.Errorf("padding %q of line shape %q: give '0' or ' ' (bare is padded with Sign only)", f.Pad, opt.Shape)
	case f.fits == nil && len(face.number(nil, f.most, f.mark)) > f.places:
		return nil, fmt.Errorf("division %v with capacity %v in %v: does not fit the %d places of a line (give a coarser division or less capacity)",
			opt.Division, opt.Capacity, face.unit, f.places)
	case f.fits != nil:
		if why := f.fits(f); why != "" {
			return nil, fmt.Errorf("division %v with capacity %v in %v: %s", opt.Division, opt.Capacity, face.unit, why)
		}
	}
	return f, nil
}

// append appends one line with its end, or nothing.
func (f *lineFormat) append(b []byte, shown display) []byte {
	if f.shape.end != "" {
		return f.write(f, b, shown)
	}
	start := len(b)
	if f.Framed {
		b = append(b, stx)
	}
	text := len(b)
	if b = f.write(f, b, shown); len(b) == text {
		return b[:start]
	}
	if f.Framed {
		b = append(b, etx)
	}
	return append(b, f.End...)
}

// magnitude is what is shown, without its sign, in units of the last digit.
func (f *lineFormat) magnitude(shown display) int64 {
	return max(shown.divisions, -shown.divisions) * f.face.perDivision
}

// number writes a number without a sign, padded to a width.
func (f *lineFormat) number(b []byte, n int64, width int, pad byte) []byte {
	var room [24]byte
	digits := f.face.number(room[:0], n, f.mark)
	return append(padding(b, pad, width-len(digits)), digits...)
}

// signed writes a number with its minus, if any, close before it, padded to a width with spaces.
func (f *lineFormat) signed(b []byte, shown display, width int) []byte {
	var room [24]byte
	digits := room[:0]
	if shown.divisions < 0 {
		digits = append(digits, '-')
	}
	digits = f.face.number(digits, f.magnitude(shown), f.mark)
	return append(padding(b, ' ', width-len(digits)), digits...)
}

func padding(b []byte, pad byte, n int) []byte {
	for range n {
		b = append(b, pad)
	}
	return b
}

// sign is the sign of what is shown; zero has a plus.
func sign(shown display) byte {
	if shown.divisions < 0 {
		return '-'
	}
	return '+'
}
