package scaledrv

import (
	"bytes"

	"twocup/scaledrv/reading"
)

func newTrailingFlag(opt ShapeOptions) (Shape, error) {
	return Shape{"trailing-flag", opt, func() format { return format{new(lines), text((&flagged{unit: opt.Unit}).read)} }}, nil
}

// flagged reads lines such as "   123.45 g ?": a number, its unit, and behind them flags (common practice, no source).
// The flag ? means moving, no flag stable. By a setting of the scale it is the other way round: * means stable, and once
// two lines in a row had it, a line without a flag is moving, until one has a ?. G, N and NET are the kind. A last word G
// is always the flag: a scale whose gram is a capital G and that sends no kind needs `pattern`. A line without unit is in
// the one given.
//
// What damage can pass: of the flips of one bit in a digit at most 3 in 8 make another digit, and those are not seen. A
// line whose number and unit have another length is held back by the guard; a flag that is lost with the end of its line
// is not seen.
type flagged struct {
	unit    reading.Unit
	stars   int  // lines in a row that had one
	byStars bool // no flag means moving
}

func (f *flagged) read(line []byte, p *parsed) error {
	body := trimSpaces(line)
	var motion byte
	for {
		at := bytes.LastIndexByte(body, ' ') + 1
		switch word := body[at:]; {
		case motion == 0 && (string(word) == "?" || string(word) == "*"):
			motion = word[0]
		case p.Kind == reading.KindUnknown && string(word) == "G":
			p.Kind = reading.Gross
		case p.Kind == reading.KindUnknown && (string(word) == "N" || string(word) == "NET"):
			p.Kind = reading.Net
		default:
			p.width = len(body)
			if err := readWeight(body, f.unit, &p.Reading); err != nil {
				return err
			}
			p.Motion = f.motion(motion)
			return nil
		}
		body = trimSpaces(body[:at])
	}
}

// motion is what a whole line's flag, or 0 for none, says under the setting that the scale has shown.
func (f *flagged) motion(flag byte) reading.Motion {
	if flag != '*' {
		f.stars = 0
	}
	switch {
	case flag == '*':
		f.stars = min(f.stars+1, 2)
		f.byStars = f.byStars || f.stars == 2
		return reading.Stable
	case flag == '?':
		f.byStars = false
		return reading.Moving
	case f.byStars:
		return reading.Moving
	}
	return reading.Stable
}
