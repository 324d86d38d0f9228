package scaledrv

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"twocup/scaledrv/reading"
)

const (
	enoughLines  = 3   // whole ones
	enoughLength = 3   // characters of the longest line: at a wrong speed a line may be heard as a digit and a line end, over and over
	enoughShare  = 0.8 // of what came
	fewDamaged   = 3   // lines more must be explained by the right one of two that damage can make look alike
)

// judgement is what was made of what came at one setting of the line.
type judgement struct {
	live   []evidence // all that explain it, the likeliest first
	sure   bool
	advice string // what to do at the scale; empty when sure, or where nothing explains it
	lines  int    // whole lines under the shape that explains the most
	share  float64
}

// judge weighs what came. Frames are those that the line may have; as is the frame of bytes that come without parity.
func judge(came []recorded, frames []string) judgement {
	var all []evidence
	for _, frame := range frames {
		for _, shape := range telling {
			e := gather(came, frame, shape)
			if len(e.lines) == 0 || shape == "trailing-flag" && e.lines[0].unitless && !e.flagged() {
				continue // a trailing flag without the flag and the unit before it would be any number
			}
			all = append(all, e)
		}
	}
	slices.SortStableFunc(all, func(a, b evidence) int { return cmp.Compare(len(b.lines), len(a.lines)) })
	v := judgement{}
	if len(all) == 0 {
		return v
	}
	v.lines, v.share = len(all[0].lines), all[0].share()
	for _, e := range all {
		if explains(e, all[0]) {
			v.live = append(v.live, e)
		}
	}
	v.live = withoutContradicted(v.live)
	v.sure, v.advice = decide(v.live)
	return v
}

// explains says whether this evidence can stand beside the best. Damage can make a line that only another frame, or
// another shape of the same lines, explains.
func explains(e, best evidence) bool {
	if best.share() < enoughShare || len(best.lines) < enoughLines {
		return false
	}
	behind := len(best.lines) - len(e.lines)
	return behind == 0 || behind < fewDamaged && (e.frame != best.frame || e.shape == "unit-when-stable" || !best.flagged())
}

// withoutContradicted takes out what motion or rest contradicts: shapes that would have said so.
func withoutContradicted(live []evidence) []evidence {
	stood := slices.ContainsFunc(live, func(e evidence) bool { return e.rested(e.steps().coarsest()) })
	return slices.DeleteFunc(live, func(e evidence) bool {
		step := e.steps().coarsest()
		switch e.shape {
		case "trailing-flag": // of ? or of *, whichever the scale is set to
			return !e.flagged() && (!e.padded() || e.moved(step) && e.rested(step))
		case "unit-when-stable":
			blanked, printed := e.seen(func(l line) bool { return l.Motion == reading.Moving || l.unweighed }), e.seen(func(l line) bool { return l.weighs() })
			return !blanked && e.moved(step) || !printed && stood
		}
		return false
	})
}

// padded says whether most numbers have blanks, signs or idle zeros before them. Numbers as long as their digits come from
// no scale whose lines have one length.
func (e *evidence) padded() bool {
	padded := 0
	for _, l := range e.lines {
		number := strings.TrimPrefix(l.text, "-")
		if number[0] == ' ' || number[0] == '+' || number[0] == '0' && countDigits([]byte(number)) > 1 {
			padded++
		}
	}
	return 2*padded > len(e.lines)
}

func (e *evidence) seen(what func(l line) bool) bool { return slices.ContainsFunc(e.lines, what) }

// decide says whether one is left and enough is known of it, or what to do at the scale.
func decide(live []evidence) (sure bool, advice string) {
	switch {
	case len(live) == 0:
		return false, ""
	case len(live) > 1 && live[0].frame != live[1].frame && live[0].shape == live[1].shape:
		return false, fmt.Sprintf("What came reads alike as %s and as %s: put something on the pan, so that other digits come", live[0].frame, live[1].frame)
	case len(live) > 1:
		return false, fmt.Sprintf("What came reads alike as %s: put something on the pan slowly, let it come to rest, and take it off", shapesOf(live))
	}
	e := live[0]
	switch {
	case !e.seen(func(l line) bool { return l.weighs() }):
		return false, "Lines come, but none with a weight: see what the scale shows, empty the pan, and let it come to rest"
	case e.shape == "trailing-flag" && !e.flagged():
		return false, "Numbers with a unit came, and no flag of motion: put something on the pan slowly, let it come to rest, and take it off"
	case e.shape == "trailing-flag" && e.lines[0].unitless && !e.marked():
		return false, "Numbers with a letter behind them came, which may be the unit of something else: put something on the pan slowly, so that a flag of motion comes"
	case e.longest() < enoughLength || e.shape == "reversed" && !e.leastFirst():
		return false, "What came is always the same: put something on the pan, so that other digits come"
	}
	return true, ""
}

func shapesOf(live []evidence) (text string) {
	for i, e := range live {
		if i > 0 {
			text += " and as "
		}
		text += e.shape
	}
	return text
}

// leastFirst says whether the digits of reversed come least significant first: those before the mark change more often than
// those behind it, or there are too few of them for a number the other way round, whose first digits are idle.
func (e *evidence) leastFirst() bool {
	first, last := 0, 0
	for i := range e.lines[1:] {
		a, b := e.lines[i].text, e.lines[i+1].text
		if len(a) < 2 || len(a) != len(b) {
			continue
		}
		if a[1] != b[1] {
			first++
		}
		if a[len(a)-1] != b[len(b)-1] {
			last++
		}
	}
	return first > last || first == last && e.lines[0].Value.Decimals <= 2
}

// candidate is what is told of the evidence.
func (e *evidence) candidate(given reading.Unit) Candidate {
	c := Candidate{Frame: e.frame, Shape: e.shape, Lines: len(e.lines), Rejected: e.rejected}
	for _, l := range e.lines {
		c.SeenStable = c.SeenStable || l.Motion == reading.Stable
		c.SeenMoving = c.SeenMoving || l.Motion == reading.Moving
		c.SeenGross = c.SeenGross || l.Kind == reading.Gross
		c.SeenNet = c.SeenNet || l.Kind == reading.Net
	}
	for _, l := range e.lines[max(0, len(e.lines)-rawLines):] {
		c.Raw = append(c.Raw, l.text)
	}
	if took := e.lines[len(e.lines)-1].at - e.lines[0].at; took > 0 {
		c.RateHz = float64(len(e.lines)-1) / took.Seconds()
	}
	weights := e.weights()
	if len(weights) == 0 {
		return c
	}
	newest := weights[len(weights)-1].Value
	c.Unit, c.UnitStated = newest.Unit, newest.Unit != reading.UnitNone
	if !c.UnitStated {
		c.Unit = given
	}
	s := e.steps()
	step, sure := s.division()
	c.Division, c.DivisionSure = reading.Value{Digits: step, Decimals: newest.Decimals, Unit: c.Unit}, sure
	return c
}

const rawLines = 4
