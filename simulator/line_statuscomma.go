package simulator

// writeStatusComma: "ST,NT,+00123.45  g". The unit has three places at the least. A load that has no value is nines. There
// is no word for a fault.
func writeStatusComma(f *lineFormat, b []byte, shown display) []byte {
	switch {
	case shown.fault:
		return b
	case shown.over:
		b = append(b, "OL,"...)
	case shown.under:
		b = append(b, "UL,"...)
	case shown.stable:
		b = append(b, "ST,"...)
	default:
		b = append(b, "US,"...)
	}
	switch {
	case f.NoKind:
	case shown.net:
		b = append(b, "NT,"...)
	default:
		b = append(b, "GS,"...)
	}
	b = f.valueOrNines(b, shown)
	unit := f.face.unit.String()
	return append(padding(b, ' ', 3-len(unit)), unit...)
}

// valueOrNines writes a sign and the number, every digit of it a nine where the load has no value.
func (f *lineFormat) valueOrNines(b []byte, shown display) []byte {
	switch {
	case shown.over:
		b = append(b, '+')
	case shown.under:
		b = append(b, '-')
	default:
		return f.number(append(b, sign(shown)), f.magnitude(shown), f.places, f.Pad)
	}
	digits := len(b)
	b = f.number(b, f.most, f.places, f.Pad)
	for i, c := range b[digits:] {
		if c >= '0' && c <= '9' {
			b[digits+i] = '9'
		}
	}
	return b
}
