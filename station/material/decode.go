package material

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
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
		return strings.HasPrefix(a, b) && (a == b || a[len(b)] == '.' || a[len(b)] == '[')
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
	var card Card
	var faults Faults
	decode(&faults, "", bytes.TrimSpace(data), reflect.ValueOf(&card).Elem())
	if err := card.Validate(); err != nil {
		for _, fault := range err.(Faults) {
			if !faults.near(fault.Field) {
				faults = append(faults, fault)
			}
		}
	}
	if len(faults) > 0 {
		return Card{}, faults
	}
	return card, nil
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
	members := json.NewDecoder(bytes.NewReader(raw)) // its errors can't happen: raw is valid
	members.Token()
	for members.More() {
		token, _ := members.Token()
		name := token.(string)
		var value json.RawMessage
		members.Decode(&value)
		field, known := fieldNamed(v, name)
		name = strings.TrimPrefix(path+"."+name, ".")
		switch {
		case !known:
			faults.add(name, "is not a field of a card")
		case seen[name]:
			faults.add(name, "stands here twice")
		default:
			decode(faults, name, value, field)
		}
		seen[name] = true
	}
}

func fieldNamed(v reflect.Value, name string) (reflect.Value, bool) {
	for i := range v.NumField() {
		tag, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
		if tag == name {
			return v.Field(i), true
		}
	}
	return reflect.Value{}, false
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
	if _, typed := err.(*json.UnmarshalTypeError); !typed && err != nil {
		faults.add(path, "%v", err)
	} else if err != nil {
		faults.add(path, "must be %s", map[reflect.Kind]string{
			reflect.Float64: "a number in range", reflect.Bool: "true or false", reflect.String: "text",
			reflect.Int64: "a time as text, such as 20m", // Duration
		}[v.Kind()])
	}
}
