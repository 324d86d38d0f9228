package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
)

// lineSheet is what listen puts out: for people one line for each reading on out and all else on log, for scripts an
// object for each of them on out.
type lineSheet struct {
	out, log io.Writer
	json     bool
	err      error // of the first write that failed

	link     scaledrv.LinkState
	advice   string
	lines    [4]uint64     // heard, by Outcome
	rejected uint64        // bytes
	newest   time.Time     // reading; zero after a break
	gaps     uint64        // from one reading to the next, without breaks
	inGaps   time.Duration // all of them together
}

func newLineSheet(s streams, json bool) *lineSheet {
	return &lineSheet{out: s.out, log: s.log, json: json}
}

// heard tells of a line.
func (s *lineSheet) heard(l scaledrv.Line) {
	s.lines[l.Outcome]++
	s.rejected += uint64(l.Rejected)
	if l.Outcome == scaledrv.LineRead {
		if !s.newest.IsZero() {
			s.gaps++
			s.inGaps += l.At.Sub(s.newest)
		}
		s.newest = l.At
	}
	switch {
	case s.json:
		s.object(jsonLine(l))
	case l.Outcome == scaledrv.LineRead:
		s.print(s.out, l.At, "%s", textReading(l))
	default:
		s.print(s.log, l.At, "%s", textOther(l))
	}
	if !s.json && l.Rejected > 0 && l.Outcome != scaledrv.LineRejected {
		s.print(s.log, l.At, "rejected %d bytes before this line", l.Rejected)
	}
}

// happened tells of a change of the link, of what is wrong with the scale, or of what was found out about it.
func (s *lineSheet) happened(e scaledrv.Event, stats scaledrv.Stats) {
	if e.Found != nil {
		s.found(*e.Found)
	}
	if e.Link == s.link && e.Advice == s.advice {
		return
	}
	if e.Link != scaledrv.LinkUp {
		s.newest = time.Time{}
	}
	changed := e.Link != s.link
	s.link, s.advice = e.Link, e.Advice
	now, totals := time.Now(), s.totals(stats)
	if s.json {
		s.object(jsonLink{"link", instant(now), e.Link.String(), stated(e.Advice), totals})
		return
	}
	text := "link " + e.Link.String()
	if e.Advice != "" {
		text += ": " + e.Advice
	}
	s.print(s.log, now, "%s", text)
	if changed && e.Link != scaledrv.LinkUp {
		s.print(s.log, now, "%s", totals)
	}
}

// found tells how the scale speaks, and again once its division is known.
func (s *lineSheet) found(c scaledrv.Candidate) {
	now := time.Now()
	if s.json {
		s.object(jsonFound{"found", instant(now), c})
		return
	}
	s.print(s.log, now, "found: %s", textFound(c))
}

// textFound is how a scale speaks, in a line.
func textFound(c scaledrv.Candidate) string {
	text := "shape " + c.Shape
	if c.Baud > 0 {
		text = fmt.Sprintf("%d baud %s, %s", c.Baud, c.Frame, text)
	}
	switch {
	case c.Division.Digits == 0:
		return text
	case c.DivisionSure:
		return text + ", division " + c.Division.String()
	}
	return text + ", division " + c.Division.String() + " or coarser: put different loads on the pan, and it shows"
}

// end tells the totals.
func (s *lineSheet) end(stats scaledrv.Stats) {
	now, totals := time.Now(), s.totals(stats)
	if s.json {
		s.object(jsonEnd{"end", instant(now), totals})
		return
	}
	s.print(s.log, now, "%s", totals)
}

func (s *lineSheet) print(to io.Writer, at time.Time, format string, args ...any) {
	s.put(to, at.Local().Format("15:04:05.000")+"  "+fmt.Sprintf(format, args...)+"\n")
}

func (s *lineSheet) object(v any) {
	text, err := json.Marshal(v)
	if err != nil {
		s.err = err
		return
	}
	s.put(s.out, string(text)+"\n")
}

func (s *lineSheet) put(to io.Writer, text string) {
	if _, err := io.WriteString(to, text); err != nil && s.err == nil {
		s.err = fmt.Errorf("write what was heard: %w", err)
	}
}

// totals are counts since the start.
type totals struct {
	Readings      uint64   `json:"readings"`
	Rate          *float64 `json:"rate_hz"` // readings a second while the link was up; null before two have come
	RejectedBytes uint64   `json:"rejected_bytes"`
	RejectedLines uint64   `json:"rejected_lines"`
	Held          uint64   `json:"held_lines"`
	NoWeight      uint64   `json:"no_weight_lines"`
	Reconnects    uint64   `json:"reconnects"`
}

func (s *lineSheet) totals(stats scaledrv.Stats) totals {
	t := totals{
		Readings: s.lines[scaledrv.LineRead], RejectedBytes: s.rejected, RejectedLines: s.lines[scaledrv.LineRejected],
		Held: s.lines[scaledrv.LineHeld], NoWeight: s.lines[scaledrv.LineNoWeight], Reconnects: stats.Reconnects,
	}
	if s.inGaps > 0 {
		hz := math.Round(float64(s.gaps)/s.inGaps.Seconds()*100) / 100
		t.Rate = &hz
	}
	return t
}

func (t totals) String() string {
	rate := "at no known rate"
	if t.Rate != nil {
		rate = fmt.Sprintf("at %.2f Hz", *t.Rate)
	}
	return fmt.Sprintf("in all: %d readings %s; %d bytes rejected; of other lines %d rejected, %d held, %d without a weight; %d reconnects",
		t.Readings, rate, t.RejectedBytes, t.RejectedLines, t.Held, t.NoWeight, t.Reconnects)
}

// textReading is a reading for a person: value as shown, motion, kind, range, and the raw line.
func textReading(l scaledrv.Line) string {
	return fmt.Sprintf("%12s  %-6s  %-5s  %-6s  %s", textShown(l.Reading), known(l.Reading.Motion), known(l.Reading.Kind), l.Reading.State, textRaw(l))
}

// textRaw is what came, with quotes that show the blanks at its edges.
func textRaw(l scaledrv.Line) string { return `"` + scaledrv.EscapedBytes(l.Raw) + `"` }

// textShown is the value as the scale shows it. Outside its range there is none.
func textShown(r reading.Reading) string {
	if r.State != reading.Normal {
		return "-"
	}
	return r.Value.String()
}

// known is a flag in words, and - where the line does not say.
func known(flag fmt.Stringer) string {
	if text := flag.String(); text != "unknown" {
		return text
	}
	return "-"
}

// textOther is a line that is no reading, for a person.
func textOther(l scaledrv.Line) string {
	raw := textRaw(l)
	switch l.Outcome {
	case scaledrv.LineHeld:
		return fmt.Sprintf("held: %s in a layout that is new here; it counts once a second line has it  %s", textShown(l.Reading), raw)
	case scaledrv.LineNoWeight:
		return "no weight in it  " + raw
	}
	return fmt.Sprintf("rejected %d bytes: %v  %s", l.Rejected, l.Err, raw)
}

// jsonHeard is a line for scripts. What stands between its outcome and its range is of a reading, also of one that is held.
type jsonHeard struct {
	Event    string        `json:"event"` // line
	At       string        `json:"at"`
	Outcome  string        `json:"outcome"`
	Shown    *string       `json:"shown"` // null outside the scale's range
	Value    *reading.Mass `json:"value_g"`
	Motion   *string       `json:"motion"` // null where the line does not say
	Kind     *string       `json:"kind"`
	State    *string       `json:"state"`
	Rejected int           `json:"rejected_bytes"`
	Reason   *string       `json:"reason"`
	Raw      string        `json:"raw"` // as in the API
}

type jsonLink struct {
	Event  string  `json:"event"` // link
	At     string  `json:"at"`
	Link   string  `json:"link"`
	Advice *string `json:"advice"`
	Totals totals  `json:"totals"`
}

type jsonFound struct {
	Event string             `json:"event"` // found
	At    string             `json:"at"`
	Found scaledrv.Candidate `json:"found"`
}

type jsonEnd struct {
	Event  string `json:"event"` // end
	At     string `json:"at"`
	Totals totals `json:"totals"`
}

func jsonLine(l scaledrv.Line) jsonHeard {
	j := jsonHeard{Event: "line", At: instant(l.At), Outcome: l.Outcome.String(), Rejected: l.Rejected, Raw: scaledrv.EscapedBytes(l.Raw)}
	if l.Err != nil {
		j.Reason = stated(l.Err.Error())
	}
	if l.Outcome != scaledrv.LineRead && l.Outcome != scaledrv.LineHeld {
		return j
	}
	r := l.Reading
	j.State = stated(r.State.String())
	if r.State == reading.Normal {
		j.Shown, j.Value = stated(r.Value.String()), &r.Mass
	}
	if r.Motion != reading.MotionUnknown {
		j.Motion = stated(r.Motion.String())
	}
	if r.Kind != reading.KindUnknown {
		j.Kind = stated(r.Kind.String())
	}
	return j
}

// instant is a time as the API writes it.
func instant(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z07:00") }

// stated is a text, and nil for none.
func stated(text string) *string {
	if text == "" {
		return nil
	}
	return &text
}
