package station

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"strconv"
	"strings"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/ledger"
)

// exportColumns are the columns of a CSV export, one row a batch. Masses are in grams, times RFC 3339 UTC.
var exportColumns = []string{
	"id", "created", "weighed", "finished", "station", "material", "revision", "operator", "practice", "phase",
	"verdict", "ratio_error_pct", "uncertainty_pct", "doubt", "lots_a", "lots_b",
	"a_target_g", "a_poured_g", "b_target_g", "b_poured_g", "additions",
}

// ExportCSV writes the batches wanted, newest first, as CSV (RFC 4180), with flat memory. A text that a spreadsheet would
// take for a formula begins with an apostrophe.
func ExportCSV(ctx context.Context, w io.Writer, r *ledger.Reader, q ledger.Query) error {
	out := csv.NewWriter(w)
	if err := out.Write(exportColumns); err != nil {
		return err
	}
	for s, err := range r.All(ctx, q) {
		if err == nil {
			err = out.Write(exportRow(s))
		}
		if err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// ExportLines writes the batches wanted, newest first, as JSON Lines: what a list shows of each.
func ExportLines(ctx context.Context, w io.Writer, r *ledger.Reader, q ledger.Query) error {
	lines := json.NewEncoder(w)
	for s, err := range r.All(ctx, q) {
		if err == nil {
			err = lines.Encode(s)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func exportRow(s ledger.Summary) []string {
	row := []string{
		s.ID, instant(&s.Created), instant(s.Weighed), instant(s.Finished), s.Station, s.Material, strconv.Itoa(s.Revision),
		plain(s.Operator), strconv.FormatBool(s.Practice), string(s.Phase), textOr(s.Verdict), number(s.Error), number(s.U),
		plain(textOr(s.Doubt)), plain(strings.Join(s.Lots["A"], " ")), plain(strings.Join(s.Lots["B"], " ")),
	}
	masses, additions := map[string][2]string{}, []string{}
	for _, p := range s.Parts {
		target, poured := grams(p.Target), grams(p.Poured)
		if p.Part == "A" || p.Part == "B" {
			masses[p.Part] = [2]string{target, poured}
		} else {
			additions = append(additions, p.Part+" "+poured+" of "+target)
		}
	}
	return append(row, masses["A"][0], masses["A"][1], masses["B"][0], masses["B"][1], strings.Join(additions, "; "))
}

func instant(t *time.Time) string {
	if t == nil {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

func textOr(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func number(f *float64) string {
	if f == nil {
		return ""
	}
	return strconv.FormatFloat(*f, 'f', -1, 64)
}

func grams(m reading.Mass) string { return strings.TrimSuffix(m.String(), " g") }

// plain keeps a spreadsheet from taking a text for a formula.
func plain(text string) string {
	if text != "" && strings.ContainsRune("=+-@'\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}
