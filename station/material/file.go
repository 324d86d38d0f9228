package material

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// FileFault is one thing that is wrong in a file of cards.
type FileFault struct {
	Line   int    // from 1
	Field  string // as in Fault; "the file", "the row" or "the card" for the whole
	Detail string
	Card   string // the card's id; empty where none could be read
}

// FileFaults are all that was found wrong in a file, by line.
type FileFaults []FileFault

func (f FileFaults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		lines[i] = fmt.Sprintf("%d: %s: %s", fault.Line, fault.Field, fault.Detail)
	}
	return strings.Join(lines, "\n")
}

// entry is one card of a file as JSON, with what was found wrong on the way there.
type entry struct {
	json   []byte
	lines  map[string]int // where each field stands, by path; "" is the card, and always there
	faults Faults
}

// line is where a field stands; for one that is missing, where it should.
func (e entry) line(path string) int {
	for {
		if line, ok := e.lines[path]; ok {
			return line
		}
		path = path[:max(0, strings.LastIndexAny(path, ".["))]
	}
}

// readAll decodes the cards of a file. Its error is FileFaults, with those already found.
func readAll(entries []entry, faults FileFaults) ([]Card, error) {
	var cards []Card
	lineOf := map[string]int{}
	for _, e := range entries {
		card, found := decodeCard(e.json, e.faults)
		if line := lineOf[card.ID]; line > 0 {
			found.add("id", "%q is the id of the card in line %d too", card.ID, line)
		} else if card.ID != "" {
			lineOf[card.ID] = e.line("id")
		}
		for _, fault := range found {
			faults = append(faults, FileFault{e.line(fault.Field), cmp.Or(fault.Field, "the card"), fault.Detail, card.ID})
		}
		cards = append(cards, card)
	}
	if len(cards) == 0 && len(faults) == 0 {
		faults = FileFaults{{Line: 1, Field: "the file", Detail: "holds no card"}}
	}
	if len(faults) > 0 {
		slices.SortStableFunc(faults, func(a, b FileFault) int { return cmp.Compare(a.Line, b.Line) })
		return nil, faults
	}
	return cards, nil
}

// utf8Text is a file's text without a byte order mark. The fault is at its first byte that is not UTF-8.
func utf8Text(data []byte) (text []byte, faults FileFaults) {
	text = bytes.TrimPrefix(data, []byte("\uFEFF"))
	for rest, line := text, 1; len(rest) > 0; {
		r, size := utf8.DecodeRune(rest)
		if r == utf8.RuneError && size == 1 {
			return nil, FileFaults{{Line: line, Field: "the file", Detail: "is not UTF-8 text: save it as UTF-8"}}
		}
		if r == '\n' {
			line++
		}
		rest = rest[size:]
	}
	return text, nil
}

// quoted is a text as JSON; YAML reads it the same way.
func quoted(text string) string {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.Encode(text) // of a text can't fail
	return strings.TrimSuffix(out.String(), "\n")
}

// items are the members of a valid JSON list.
func items(list json.RawMessage) (all []json.RawMessage) {
	json.Unmarshal(list, &all)
	return all
}
