package simulator

// writeUnitWhenStable: "N     +   123.45 g  ", a head of six, the sign, nine places, a space and three of the unit, which are
// blank while the load moves. Outside the range the word stands where the number does and the head is blank.
func writeUnitWhenStable(f *lineFormat, b []byte, shown display) []byte {
	var word string
	switch {
	case shown.fault:
		word = "Err 05" // a number of our own
	case shown.over:
		word = "High"
	case shown.under:
		word = "Low"
	}
	head := "G     "
	switch {
	case word != "":
		head = "      "
	case shown.net:
		head = "N     "
	}
	if !f.NoKind {
		b = append(b, head...)
	}
	if word != "" {
		b = append(append(b, "  "...), word...)
		return padding(b, ' ', 12-len(word))
	}
	b = f.number(append(b, sign(shown)), f.magnitude(shown), 1+f.places, ' ')
	if f.BlankLast && !shown.stable && f.face.decimals > 1 {
		b[len(b)-1] = ' '
	}
	b = append(b, ' ')
	unit := ""
	if shown.stable {
		unit = f.face.unit.String()
	}
	return padding(append(b, unit...), ' ', 3-len(unit))
}
