package dashboard

import (
	"encoding/json"
	"fmt"
	"strings"
)

// strict refuses what encoding/json lets pass in the names of an object and nobody can have meant: a name twice, of which
// the last would count, and one in another case than its own. The contract's names have no capitals, but lots stand under
// the names of parts. d must be at the begin of a sound JSON value, which is the one of this name.
func strict(d *json.Decoder, name string) error {
	first, _ := d.Token()
	open, nested := first.(json.Delim)
	if !nested {
		return nil
	}
	for seen := map[string]bool{}; d.More(); {
		inner := name
		if open == '{' {
			key, _ := d.Token()
			inner, _ = key.(string)
			switch {
			case seen[inner]:
				return fmt.Errorf("%q stands there twice", inner)
			case name != "lots" && inner != strings.ToLower(inner):
				return fmt.Errorf("unknown field %q: names are in small letters", inner)
			}
			seen[inner] = true
		}
		if err := strict(d, inner); err != nil {
			return err
		}
	}
	_, _ = d.Token() // the end of it
	return nil
}
