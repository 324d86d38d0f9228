package dashboard

import (
	"encoding/json"
	"fmt"
	"strings"
)

// ownLetters are all that the contract's names are written in. Others fold to them: the long s, small itself, to an s.
const ownLetters = "abcdefghijklmnopqrstuvwxyz0123456789_"

// strict refuses what encoding/json lets pass in the names of an object and nobody can have meant: a name twice, of which
// the last would count, and one in other letters than its own. Lots stand under the names of parts, which are capitals.
// d must be at the begin of a sound JSON value, which is the one of this name.
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
			case name != "lots" && strings.Trim(inner, ownLetters) != "":
				return fmt.Errorf("unknown field %q: names are in a to z, 0 to 9 and _", inner)
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
