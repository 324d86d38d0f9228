package scaledrv

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"twocup/scaledrv/reading"
)

// Entry is the scale's entry for `scales:` in the configuration, in YAML and ready to be pasted, with what is not sure or
// must be given as comments. ID is the entry's id, link its link as in the configuration, whose line settings give way to
// those that were found.
func (c Candidate) Entry(id, link string) string {
	var b strings.Builder
	put := func(format string, values ...any) { fmt.Fprintf(&b, "        "+format+"\n", values...) }
	fmt.Fprintf(&b, "      - id: %s\n", id)
	put("link: %s", c.linkText(link))
	put("shape: %s", c.Shape)
	if c.Request != "" {
		put("request: %s", strconv.Quote(c.Request))
	}
	if c.Division.Digits == 0 {
		put("# division: 0.1 g   # no weight was seen: write the step of the display, without the # before it")
		return b.String()
	}
	division, still := c.Division, ""
	if c.Unit == reading.UnitNone {
		put("# unit: g   # the lines state none: write the one that the scale shows, without the # before it")
		division.Unit, still = reading.UnitG, "# "
	} else if !c.UnitStated {
		put("unit: %s", c.Unit)
	}
	if c.DivisionSure {
		put("%sdivision: %s", still, division)
	} else {
		put("%sdivision: %s   # at least: the last digit of the display; its step may be coarser, see the scale's plate", still, division)
	}
	return b.String()
}

// linkText is a link's text with the settings that were found, in place of its own.
func (c Candidate) linkText(link string) string {
	if c.Baud == 0 {
		return link
	}
	device, query, _ := strings.Cut(link, "?")
	settings := []string{fmt.Sprintf("baud=%d", c.Baud), "frame=" + c.Frame}
	for pair := range strings.SplitSeq(query, "&") {
		if key, _, _ := strings.Cut(pair, "="); key != "baud" && key != "frame" && key != "" {
			settings = append(settings, pair)
		}
	}
	return device + "?" + strings.Join(settings, "&")
}

// MarshalJSON has units and division as texts, the rate to a hundredth, raw lines as EscapedBytes, and null for what is
// not known or does not apply.
func (c Candidate) MarshalJSON() ([]byte, error) {
	var out struct {
		Baud         *int     `json:"baud"`
		Frame        *string  `json:"frame"`
		Shape        string   `json:"shape"`
		Request      *string  `json:"request"`
		Unit         *string  `json:"unit"`
		UnitStated   bool     `json:"unit_stated"`
		Division     *string  `json:"division"`
		DivisionSure bool     `json:"division_sure"`
		RateHz       *float64 `json:"rate_hz"`
		SeenStable   bool     `json:"seen_stable"`
		SeenMoving   bool     `json:"seen_moving"`
		SeenGross    bool     `json:"seen_gross"`
		SeenNet      bool     `json:"seen_net"`
		Lines        int      `json:"lines"`
		Rejected     int      `json:"rejected_bytes"`
		Raw          []string `json:"raw"`
	}
	out.Baud, out.Frame, out.Request, out.RateHz = orNull(c.Baud), orNull(c.Frame), orNull(c.Request), orNull(math.Round(100*c.RateHz)/100)
	out.Unit, out.Shape, out.UnitStated, out.DivisionSure = orNull(c.Unit.String()), c.Shape, c.UnitStated, c.DivisionSure
	if c.Division.Digits > 0 {
		out.Division = orNull(c.Division.String())
	}
	out.SeenStable, out.SeenMoving, out.SeenGross, out.SeenNet = c.SeenStable, c.SeenMoving, c.SeenGross, c.SeenNet
	out.Lines, out.Rejected, out.Raw = c.Lines, c.Rejected, []string{}
	for _, raw := range c.Raw {
		out.Raw = append(out.Raw, EscapedBytes([]byte(raw)))
	}
	return json.Marshal(out)
}

// orNull is nil for a zero.
func orNull[T comparable](v T) *T {
	var zero T
	if v == zero {
		return nil
	}
	return &v
}

// MarshalJSON has the candidates, whether they are sure, the advice, and the seconds that it took.
func (id Identification) MarshalJSON() ([]byte, error) {
	if id.Candidates == nil {
		id.Candidates = []Candidate{}
	}
	return json.Marshal(struct {
		Sure       bool        `json:"sure"`
		Advice     *string     `json:"advice"`
		Took       float64     `json:"took_s"`
		Candidates []Candidate `json:"candidates"`
	}{id.Sure, orNull(id.Advice), float64(id.Took.Milliseconds()) / 1000, id.Candidates})
}
