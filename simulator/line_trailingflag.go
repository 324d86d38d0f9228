package simulator

// writeTrailingFlag: "   123.45 g NET ?": the number with its sign in nine places, the unit, then what there is to say of
// kind and motion; with Letters "  123.45   g  N", in eight places and the unit in four. There is no word for a load without
// a value.
func writeTrailingFlag(f *lineFormat, b []byte, shown display) []byte {
	if shown.fault || shown.over || shown.under {
		return b
	}
	width, unitPlaces := 9, 0
	if f.Letters {
		width, unitPlaces = 8, 3
	}
	b = f.paddedSigned(b, shown, width)
	unit := f.face.unit.String()
	b = append(padding(append(b, ' '), ' ', unitPlaces-len(unit)), unit...)
	switch {
	case f.Letters && shown.net:
		b = append(b, "  N"...)
	case f.Letters:
		b = append(b, "  G"...)
	case shown.net:
		b = append(b, " NET"...)
	}
	switch {
	case f.MarkStable && shown.stable:
		b = append(b, " *"...)
	case !f.MarkStable && !shown.stable:
		b = append(b, " ?"...)
	}
	return b
}

// paddedSigned is signed, or with zeros: then the sign's place comes first.
func (f *lineFormat) paddedSigned(b []byte, shown display, width int) []byte {
	if f.Pad == ' ' {
		return f.signed(b, shown, width)
	}
	mark := byte(' ')
	if shown.divisions < 0 {
		mark = '-'
	}
	return f.number(append(b, mark), f.magnitude(shown), width-1, '0')
}
