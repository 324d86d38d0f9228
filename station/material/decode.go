package material

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
	"iter"
	"reflect"
	"strings"
)

// Fault is one thing that is wrong, and where: a path such as "ratio.weight.a" or "steps[2].time", empty for the whole.
type Fault struct {
	Field  string `json:"field"`
	Detail string `json:"detail"`
}

// Faults are all that was found wrong.
type Faults []Fault

func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		lines[i] = strings.TrimPrefix(fault.Field+": "+fault.Detail, ": ")
	}
	return strings.Join(lines, "; ")
}

func (f *Faults) add(field, format string, args ...any) {
	*f = append(*f, Fault{field, fmt.Sprintf(format, args...)})
}

// orNil is the faults as an error: nil when there are none.
func (f Faults) orNil() error {
	if len(f) == 0 {
		return nil
	}
	return f
}

// near is true when there is a fault at the field, above or below it.
func (f Faults) near(field string) bool {
	under := func(a, b string) bool {
		return strings.HasPrefix(a, b) && (a == b || b == "" || a[len(b)] == '.' || a[len(b)] == '[')
	}
	for _, fault := range f {
		if under(fault.Field, field) || under(field, fault.Field) {
			return true
		}
	}
	return false
}

// Decode reads one card, strictly: a field that no card has, a field twice, a wrong type or anything after the card is
// a fault. The error is Faults, all of them at once: those of reading and those of Validate.
func Decode(data []byte) (Card, error) {
	if err := json.Unmarshal(data, new(json.RawMessage)); err != nil {
		return Card{}, Faults{{"", fmt.Sprintf("read the card: unreadable JSON: %v", err)}}
	}
	card, faults := decodeCard(data, nil)
	if len(faults) > 0 {
		return Card{}, faults
	}
	return card, nil
}

// decodeCard reads valid JSON, and adds its faults to those already found. The card holds what could be read.
func decodeCard(data []byte, faults Faults) (card Card, all Faults) {
	decode(&faults, "", bytes.TrimSpace(data), reflect.ValueOf(&card).Elem())
	if err := card.Validate(); err != nil {
		for _, fault := range err.(Faults) {
			if !faults.near(fault.Field) {
				faults = append(faults, fault)
			}
		}
	}
	return card, faults
}

// decode fills v from valid JSON. encoding/json does the leaves; it can't name the path of an unknown field, nor go on
// after a fault.
func decode(faults *Faults, path string, raw json.RawMessage, v reflect.Value) {
	if string(raw) == "null" {
		return // not stated
	}
	if v.Kind() == reflect.Pointer {
		v.Set(reflect.New(v.Type().Elem()))
		v = v.Elem()
	}
	_, ownJSON := v.Addr().Interface().(json.Unmarshaler)
	_, ownText := v.Addr().Interface().(encoding.TextUnmarshaler)
	switch {
	case ownJSON || ownText:
		decodeLeaf(faults, path, raw, v)
	case v.Kind() == reflect.Struct:
		decodeObject(faults, path, raw, v)
	case v.Kind() == reflect.Slice:
		decodeList(faults, path, raw, v)
	default:
		decodeLeaf(faults, path, raw, v)
	}
}

func decodeObject(faults *Faults, path string, raw json.RawMessage, v reflect.Value) {
	if raw[0] != '{' {
		faults.add(path, "must be an object")
		return
	}
	seen := map[string]bool{}
	for name, value := range members(raw) {
		i, known := fieldNamed(v.Type(), name)
		path := strings.TrimPrefix(path+"."+name, ".")
		switch {
		case !known:
			faults.add(path, "%s", unknownField(v.Type(), name))
		case seen[path]:
			faults.add(path, "stands here twice")
		default:
			decode(faults, path, value, v.Field(i))
		}
		seen[path] = true
	}
}

// members goes through a valid JSON object in its order.
func members(object json.RawMessage) iter.Seq2[string, json.RawMessage] {
	return func(yield func(string, json.RawMessage) bool) {
		d := json.NewDecoder(bytes.NewReader(object)) // its errors can't happen: the object is valid
		d.Token()
		for d.More() {
			name, _ := d.Token()
			var value json.RawMessage
			d.Decode(&value)
			if !yield(name.(string), value) {
				return
			}
		}
	}
}

func jsonName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return name
}

func fieldNamed(t reflect.Type, name string) (index int, known bool) {
	for i := range t.NumField() {
		if jsonName(t.Field(i)) == name {
			return i, true
		}
	}
	return 0, false
}

// unknownField says that no field has this name, and which one may have been meant.
func unknownField(t reflect.Type, name string) string {
	if name != "" && strings.Trim(name, "0123456789") == "" { // {a: 1,5} is a: 1 and a field called 5
		return "is not a field of a card: a number takes a point for decimals, not a comma"
	}
	var names []string
	for i := range t.NumField() {
		names = append(names, jsonName(t.Field(i)))
	}
	return "is not a field of a card" + didYouMean(name, names)
}

func decodeList(faults *Faults, path string, raw json.RawMessage, v reflect.Value) {
	var items []json.RawMessage
	if json.Unmarshal(raw, &items) != nil {
		faults.add(path, "must be a list")
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(items), len(items)))
	for i, item := range items {
		decode(faults, fmt.Sprintf("%s[%d]", path, i), item, v.Index(i))
	}
}

func decodeLeaf(faults *Faults, path string, raw json.RawMessage, v reflect.Value) {
	err := json.Unmarshal(raw, v.Addr().Interface())
	_, typed := err.(*json.UnmarshalTypeError)
	switch {
	case err == nil:
	case v.Kind() == reflect.Float64 || v.Type() == reflect.TypeFor[Number]():
		faults.add(path, "%s", notANumber(raw))
	case !typed:
		faults.add(path, "%v", err)
	default:
		faults.add(path, "must be %s", map[reflect.Kind]string{
			reflect.Bool: "true or false", reflect.String: "text, in quotes where it looks like a number",
			reflect.Int64: "a time as text, such as 20m", // Duration
		}[v.Kind()])
	}
}

const commaDetail = "has a comma, which can be read two ways: write a point for decimals, and nothing between thousands"

// notANumber says what to write where a number is due.
func notANumber(raw json.RawMessage) string {
	var text string
	if json.Unmarshal(raw, &text) != nil {
		return "must be a number in range"
	}
	switch digits := strings.TrimLeft(text, "+-"); {
	case strings.ContainsAny(text, "0123456789") && strings.Contains(text, ","):
		return fmt.Sprintf("%q %s", text, commaDetail)
	case isNumber(strings.TrimSpace(text)):
		return fmt.Sprintf("must be a number: write %s without quotes", strings.TrimSpace(text))
	case digits != "" && digits[0] >= '0' && digits[0] <= '9':
		return fmt.Sprintf("must be a number such as 0.5 or 100, is %q: digits alone, no unit; the field's name says the unit", text)
	}
	return fmt.Sprintf("must be a number, is %q", text)
}

// isNumber is true of a number as JSON writes it: no sign but -, no leading zero, a point with digits on both sides.
func isNumber(text string) bool {
	return text != "" && (text[0] == '-' || text[0] >= '0' && text[0] <= '9') && json.Valid([]byte(text))
}
