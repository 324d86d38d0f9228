package dashboard

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestNamesOfABodyAreStrict(t *testing.T) {
	for _, tt := range []struct{ name, body, want string }{
		{"each name once", `{"a":1,"b":[{"a":1},{"a":2}],"lots":{"A":["A","A"],"B":[]}}`, ""},
		{"the same name in two objects", `{"a":{"c":1},"b":{"c":1}}`, ""},
		{"a name twice", `{"a":1,"b":2,"a":1}`, `"a" stands there twice`},
		{"a name twice further in", `{"a":[[{"b":1,"b":null}]]}`, `"b" stands there twice`},
		{"a name twice, once escaped", `{"a":1,"\u0061":1}`, `"a" stands there twice`},
		{"a lot's part twice", `{"lots":{"A":[],"A":[]}}`, `"A" stands there twice`},
		{"a capital", `{"Total_g":1}`, `unknown field "Total_g"`},
		{"a letter that folds to a small one", `{"\u212ain":1}`, "unknown field"},
		{"a small letter that folds to another", `{"\u017ftation":1}`, "unknown field"},
		{"letters of ours at both ends and no other's within", `{"a\u017fb":1}`, "unknown field"},
		{"digits and low lines", `{"b_per_100_a":1}`, ""},
		{"no object at all", `"A"`, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := strict(json.NewDecoder(strings.NewReader(tt.body)), "")
			if tt.want == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, tt.want)
		})
	}
}

// Whatever stands in a value, a name beside it is found twice.
func FuzzStrict(f *testing.F) {
	f.Add(`{"a":[1,{"b":{}}]}`)
	f.Add(`[[],"\u0061",null,1e9]`)
	f.Fuzz(func(t *testing.T, value string) {
		if !json.Valid([]byte(value)) {
			return
		}
		check := func(body string) error { return strict(json.NewDecoder(strings.NewReader(body)), "") }
		alone := check(value)
		require.Equal(t, alone == nil, check(`{"x":`+value+`,"y":1}`) == nil)
		require.Error(t, check(`{"x":`+value+`,"x":1}`))
	})
}
