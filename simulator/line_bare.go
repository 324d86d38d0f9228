package simulator

// writeBare: "123.45" or "-123.45", with Sign "+  123.45", with Unit a space and the unit behind. There is no word for a load
// without a value.
func writeBare(f *lineFormat, b []byte, shown display) []byte {
	switch {
	case shown.fault || shown.over || shown.under:
		return b
	case f.Sign:
		b = f.number(append(b, sign(shown)), f.magnitude(shown), f.places, f.Pad)
	default:
		b = f.signed(b, shown, 0)
	}
	if f.Unit {
		b = append(append(b, ' '), f.face.unit.String()...)
	}
	return b
}
