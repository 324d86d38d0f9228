package simulator

// writeLetterStatus: "S S     100.00 g", the number with its sign in ten places; "S +", "S -" outside the range, and "S I"
// while the scale cannot answer. There is no word for gross and net.
func writeLetterStatus(f *lineFormat, b []byte, shown display) []byte {
	switch {
	case shown.fault:
		return append(b, "S I"...)
	case shown.over:
		return append(b, "S +"...)
	case shown.under:
		return append(b, "S -"...)
	case shown.stable:
		b = append(b, "S S "...)
	default:
		b = append(b, "S D "...)
	}
	b = f.signed(b, shown, 1+f.places)
	return append(append(b, ' '), f.face.unit.String()...)
}
