package simulator

import "slices"

// writeReversed: "=54.3210", seven characters, the least significant first; a minus is the last of them. There is no word for
// a load without a value.
func writeReversed(f *lineFormat, b []byte, shown display) []byte {
	if shown.fault || shown.over || shown.under {
		return b
	}
	b = append(b, '=')
	start := len(b)
	first := byte('0')
	if shown.divisions < 0 {
		first = '-'
	}
	b = f.number(append(b, first), f.magnitude(shown), f.places, '0')
	slices.Reverse(b[start:])
	return b
}
