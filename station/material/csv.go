package material

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// Cards as a table (RFC 4180, UTF-8): a header row, then one row per card. A column's name is the path of a field as
// faults name it, lists counted from 0: `ratio.weight.a`, `steps[0].time`, `codes.a[0]`, `tolerance_pct` or, for two
// sides, `tolerance_pct.low` and `tolerance_pct.high`. An empty cell is not stated. Columns may stand in any order.
//
// A spreadsheet takes a text that begins with = + - or @ for a formula. Such a text, and one that begins with an
// apostrophe, is written with an apostrophe in front, which is taken off again in reading: the data come back exact.
// Numbers are written as they are.

// maxIndex is the highest number in a column's name.
const maxIndex = 999

// column is one field of a card that a cell can hold.
type column struct {
	path  string
	steps []any // to the field: a name as string, a place in a list as int
	order []int // places along the way, to sort by
	leaf  reflect.Type
}

// columnOf finds the field that a column is named after; the fault says what is wrong with the name.
func columnOf(path string) (c column, fault string) {
	c.path, c.leaf = path, reflect.TypeFor[Card]()
	for segment := range strings.SplitSeq(path, ".") {
		if c.leaf == reflect.TypeFor[TolerancePct]() {
			c.leaf = reflect.TypeFor[tolerancePair]()
		}
		name, place, listed := strings.Cut(segment, "[")
		if c.leaf.Kind() != reflect.Struct {
			return c, fmt.Sprintf("has nothing named %q in it", segment)
		}
		field, known := fieldNamed(c.leaf, name)
		if !known {
			return c, unknownField(c.leaf, name)
		}
		c.leaf = pointed(c.leaf.Field(field).Type)
		c.steps, c.order = append(c.steps, name), append(c.order, field)
		if isList := c.leaf.Kind() == reflect.Slice; isList != listed {
			return c, map[bool]string{true: fmt.Sprintf("is a list: number its columns, from %s[0]", name), false: "is no list: leave the number out"}[isList]
		}
		if listed {
			i, err := strconv.Atoi(strings.TrimSuffix(place, "]"))
			if err != nil || place != strconv.Itoa(i)+"]" || i < 0 || i > maxIndex {
				return c, fmt.Sprintf("must have a number from 0 to %d in brackets, as in %s[0]", maxIndex, name)
			}
			c.leaf = pointed(c.leaf.Elem())
			c.steps, c.order = append(c.steps, i), append(c.order, i)
		}
	}
	if c.leaf.Kind() == reflect.Struct && c.leaf != reflect.TypeFor[TolerancePct]() {
		return c, fmt.Sprintf("holds several fields: a column for each, such as %s.%s", path, jsonName(c.leaf.Field(0)))
	}
	return c, ""
}

func pointed(t reflect.Type) reflect.Type {
	if t.Kind() == reflect.Pointer {
		return t.Elem()
	}
	return t
}

// isText is true of a field that JSON writes as a text.
func (c column) isText() bool {
	return c.leaf == reflect.TypeFor[Duration]() || c.leaf.Kind() == reflect.String && c.leaf != reflect.TypeFor[Number]()
}

// json is a cell as JSON: what is no number or truth value where one is due goes on as text, and is refused there.
func (c column) json(cell string) json.RawMessage {
	plain := strings.TrimSpace(cell)
	switch {
	case c.isText():
		return json.RawMessage(quoted(strings.TrimPrefix(cell, "'")))
	case c.leaf.Kind() == reflect.Bool && (strings.EqualFold(plain, "true") || strings.EqualFold(plain, "false")):
		return json.RawMessage(strings.ToLower(plain)) // spreadsheets write TRUE
	case c.leaf.Kind() != reflect.Bool && isNumber(plain):
		return json.RawMessage(plain)
	}
	return json.RawMessage(quoted(cell))
}

// ImportCSV reads a table of cards, each as strictly as by Decode. The error is FileFaults, all of them at once.
func ImportCSV(data []byte) ([]Card, error) {
	text, faults := utf8Text(data)
	if faults != nil {
		return nil, faults
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.FieldsPerRecord = -1 // a row of another length is a fault of ours, with what to do
	header, err := r.Read()
	if err == io.EOF {
		return readAll(nil, nil)
	} else if err != nil {
		return nil, FileFaults{notCSV(err)}
	}
	columns, faults := readHeader(header)
	if columns == nil {
		return nil, faults
	}
	var entries []entry
	for {
		row, err := r.Read()
		if err == io.EOF {
			return readAll(entries, faults)
		} else if err != nil {
			return readAll(entries, append(faults, notCSV(err)))
		}
		line, _ := r.FieldPos(0)
		switch {
		case strings.Join(row, "") == "": // spreadsheets leave such rows behind
		case len(row) != len(header):
			faults = append(faults, FileFault{Line: line, Field: "the row", Detail: fmt.Sprintf(
				"has %d cells, the header %d: a cell with a comma in it must be in quotes, and a number takes a point for decimals", len(row), len(header))})
		default:
			entries = append(entries, csvEntry(r, columns, row))
		}
	}
}

func notCSV(err error) FileFault {
	fault := FileFault{Line: 1, Field: "the row", Detail: "is no CSV: " + err.Error()}
	if e := (*csv.ParseError)(nil); errors.As(err, &e) {
		fault.Line, fault.Detail = e.Line, "is no CSV: "+e.Err.Error()
	}
	return fault
}

// readHeader finds the columns; one at fault has no steps, and its cells are passed over. None are returned where the
// file is parted by something else than commas.
func readHeader(header []string) (columns []column, faults FileFaults) {
	if len(header) == 1 && strings.ContainsAny(header[0], ";\t") {
		return nil, FileFaults{{Line: 1, Field: "the file", Detail: "parts its columns by something else than commas: " +
			"save it with commas between columns, and points in numbers"}}
	}
	for i, name := range header {
		c, fault := columnOf(name)
		if name == "" {
			name, fault = fmt.Sprintf("column %d", i+1), "has no name: name it after a field, or take it out"
		} else if fault == "" && slices.Contains(header[:i], name) {
			fault = "stands here twice"
		}
		if fault != "" {
			c.steps = nil
			faults = append(faults, FileFault{Line: 1, Field: name, Detail: fault})
		}
		columns = append(columns, c)
	}
	return columns, faults
}

func csvEntry(r *csv.Reader, columns []column, row []string) entry {
	line, _ := r.FieldPos(0)
	e := entry{lines: map[string]int{"": line}}
	var tree any = map[string]any{}
	for i, cell := range row {
		c := columns[i]
		if cell == "" || c.steps == nil {
			continue
		}
		e.lines[c.path], _ = r.FieldPos(i)
		var free bool
		if tree, free = put(tree, c.steps, c.json(cell)); !free {
			e.faults.add(c.path, "stands beside tolerance_pct: state one number for both sides, or low and high")
		}
	}
	e.json, _ = json.Marshal(tree) // of valid JSON can't fail
	return e
}

// put sets a leaf in a tree of maps and lists; free is false where the place is taken.
func put(tree any, steps []any, leaf json.RawMessage) (grown any, free bool) {
	if len(steps) == 0 {
		return leaf, tree == nil
	}
	if _, taken := tree.(json.RawMessage); taken {
		return tree, false
	}
	if name, ok := steps[0].(string); ok {
		m, _ := tree.(map[string]any)
		if m == nil {
			m = map[string]any{}
		}
		m[name], free = put(m[name], steps[1:], leaf)
		return m, free
	}
	i := steps[0].(int)
	list, _ := tree.([]any)
	for len(list) <= i {
		list = append(list, nil)
	}
	list[i], free = put(list[i], steps[1:], leaf)
	return list, free
}

// ExportCSV writes cards as a table with the columns that they use, in the order of a card's fields; ImportCSV reads
// them back equal. The error names a card whose numbers are none.
func ExportCSV(cards []Card) ([]byte, error) {
	var columns []column
	rows := make([]map[string]string, len(cards))
	for i, card := range cards {
		data, err := json.Marshal(card)
		if err != nil {
			return nil, fmt.Errorf("export material %q: %w; correct the card first", card.ID, err)
		}
		rows[i] = map[string]string{}
		flatten("", data, rows[i])
		for path := range rows[i] {
			if !slices.ContainsFunc(columns, func(c column) bool { return c.path == path }) {
				c, _ := columnOf(path)
				columns = append(columns, c)
			}
		}
	}
	slices.SortFunc(columns, func(a, b column) int { return slices.Compare(a.order, b.order) })
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true // RFC 4180
	line := make([]string, len(columns))
	for i, c := range columns {
		line[i] = c.path
	}
	w.Write(line)
	for _, row := range rows {
		for i, c := range columns {
			line[i] = row[c.path]
		}
		w.Write(line)
	}
	w.Flush() // to memory can't fail
	return out.Bytes(), nil
}

// flatten puts the leaves of a card's JSON into cells, by path.
func flatten(path string, value json.RawMessage, cells map[string]string) {
	switch value[0] {
	case '{':
		for name, member := range members(value) {
			flatten(strings.TrimPrefix(path+"."+name, "."), member, cells)
		}
	case '[':
		for i, item := range items(value) {
			flatten(fmt.Sprintf("%s[%d]", path, i), item, cells)
		}
	case '"':
		var text string
		json.Unmarshal(value, &text)
		if strings.ContainsRune("=+-@'\n＝＋－＠", []rune(text + " ")[0]) {
			text = "'" + text
		}
		cells[path] = text
	default:
		cells[path] = string(value)
	}
}
