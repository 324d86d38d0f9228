package plan

import (
	"fmt"
	"math/big"
	"regexp"
	"slices"
	"strings"

	"twocup/scaledrv/reading"
)

// unit is one that an amount may be typed in: in grams or in millilitres.
type unit struct {
	names   []string // in any case; the first is the one that is shown
	exact   string   // one of it, in g or mL; empty: it differs between the two systems
	us, imp string
}

// Exact by definition: the international pound of 0.45359237 kg and its sixteenth, the cube of 2.54 cm, the US gallon of
// 231 in³ and the imperial gallon of 4.54609 L with their halves (NIST SP 811, 2008, appendix B; NIST Handbook 44,
// appendix C). US fluid ounce: a gallon/128; imperial: a gallon/160.
var (
	massUnits = []unit{
		{names: []string{"g", "gram", "grams", "gramme", "grammes"}, exact: "1"},
		{names: []string{"kg", "kilogram", "kilograms", "kilo", "kilos"}, exact: "1000"},
		{names: []string{"mg", "milligram", "milligrams"}, exact: "0.001"},
		{names: []string{"lb", "lbs", "pound", "pounds"}, exact: "453.59237"},
		{names: []string{"oz", "ounce", "ounces"}, exact: "28.349523125"},
	}
	volumeUnits = []unit{
		{names: []string{"mL", "millilitre", "millilitres", "milliliter", "milliliters"}, exact: "1"},
		{names: []string{"L", "litre", "litres", "liter", "liters"}, exact: "1000"},
		{names: []string{"cm3", "cc", "ccm"}, exact: "1"},
		{names: []string{"in3", "cu in"}, exact: "16.387064"},
		{names: []string{"gal", "gals", "gallon", "gallons"}, us: "3785.411784", imp: "4546.09"},
		{names: []string{"qt", "qts", "quart", "quarts"}, us: "946.352946", imp: "1136.5225"},
		{names: []string{"pt", "pts", "pint", "pints"}, us: "473.176473", imp: "568.26125"},
		{names: []string{"fl oz", "floz", "fluid ounce", "fluid ounces"}, us: "29.5735295625", imp: "28.4130625"},
	}
)

// ParseMass reads a mass as it is typed: "300 g", "2 lb". The error says what to type instead.
func ParseMass(text string) (reading.Mass, error) {
	grams, err := parseQuantity(text, "mass", massUnits, volumeUnits)
	if err != nil {
		return 0, err
	}
	picograms := grams.Mul(grams, big.NewRat(int64(reading.Gram), 1))
	whole := new(big.Int).Quo(picograms.Num(), picograms.Denom())
	if twice := new(big.Rat).Sub(picograms, new(big.Rat).SetInt(whole)); twice.Cmp(big.NewRat(1, 2)) >= 0 {
		whole.Add(whole, big.NewInt(1))
	}
	if !whole.IsInt64() {
		return 0, fmt.Errorf("read mass %q: beyond the 9223 kg that can be held; ask for less", text)
	}
	return reading.Mass(whole.Int64()), nil
}

// ParseVolume reads a volume in millilitres as it is typed: "450 mL", "1 L", "30 in³", "1 gal US", "8 fl oz (imp)". A
// gallon, quart, pint or fluid ounce that does not say which is a question with both readings. The error says what to
// type instead.
func ParseVolume(text string) (millilitres float64, err error) {
	exact, err := parseQuantity(text, "volume", volumeUnits, massUnits)
	if err != nil {
		return 0, err
	}
	millilitres, _ = exact.Float64()
	return millilitres, nil
}

// ParsePercent reads "10 %" or "10".
func ParsePercent(text string) (float64, error) {
	number, rest := splitNumber(text)
	exact, err := parseNumber(text, number)
	if err != nil {
		return 0, fmt.Errorf("read percent %q: %w", text, err)
	}
	if rest != "" && rest != "%" && rest != "percent" {
		return 0, fmt.Errorf("read percent %q: %q is no percent sign; write 10 %%", text, rest)
	}
	pct, _ := exact.Float64()
	return pct, nil
}

// parseQuantity reads a number with one of the units; others are those of the other kind, to tell them from a typing
// error.
func parseQuantity(text, kind string, units, others []unit) (*big.Rat, error) {
	number, rest := splitNumber(text)
	exact, err := parseNumber(text, number)
	if err != nil {
		return nil, fmt.Errorf("read %s %q: %w", kind, text, err)
	}
	factor, err := factorOf(number, rest, units, others)
	if err != nil {
		return nil, fmt.Errorf("read %s %q: %w", kind, text, err)
	}
	return exact.Mul(exact, factor), nil
}

// splitNumber cuts before the first letter that can't be the number's, or what follows a blank.
func splitNumber(text string) (number, rest string) {
	text = strings.TrimSpace(text)
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-.,0123456789eE'_", r) })
	if end < 0 {
		return text, ""
	}
	number, rest = text[:end], strings.TrimSpace(text[end:])
	return number, rest
}

var decimal = regexp.MustCompile(`^[0-9]{1,15}(\.[0-9]{1,15})?$`)

// parseNumber reads plain digits with at most one point.
func parseNumber(text, number string) (*big.Rat, error) {
	lower := strings.ToLower(strings.TrimLeft(strings.TrimSpace(text), "+-"))
	switch {
	case strings.HasPrefix(lower, "nan"), strings.HasPrefix(lower, "inf"):
		return nil, fmt.Errorf("that is no number; write digits, such as 300")
	case number == "":
		return nil, fmt.Errorf("the number is missing; write it before its unit, such as 300 g")
	case strings.Contains(number, ",") && strings.Contains(number, "."), strings.Count(number, ",") > 1:
		return nil, fmt.Errorf("%s has marks for thousands; write plain digits with at most one point, such as 1234.5", number)
	case strings.Contains(number, ","):
		return nil, fmt.Errorf("a comma can part decimals or thousands; write %s or %s",
			strings.Replace(number, ",", ".", 1), strings.ReplaceAll(number, ",", ""))
	case strings.HasPrefix(number, "-"):
		return nil, fmt.Errorf("%s is less than 0; an amount is more than nothing", number)
	case strings.ContainsAny(number, "eE"):
		return nil, fmt.Errorf("%s has an exponent or is no number; write plain digits", number)
	case !decimal.MatchString(number):
		return nil, fmt.Errorf("%s is not a decimal number of at most 15 digits before and after its point; write plain digits, such as 12.5", number)
	}
	exact, _ := new(big.Rat).SetString(number)
	return exact, nil
}

// factorOf finds the unit. What is typed may stand in any case, with the system before or after the unit.
func factorOf(number, typed string, units, others []unit) (*big.Rat, error) {
	name, system := tidy(typed)
	if name == "" {
		return nil, fmt.Errorf("the unit is missing (known: %s)", known(units))
	}
	u, found := unitNamed(name, units)
	if !found {
		if _, other := unitNamed(name, others); other {
			return nil, fmt.Errorf("%s is not a unit of that kind (known: %s)%s", typed, known(units), ounces(name))
		}
		return nil, fmt.Errorf("unknown unit %q%s (known: %s)", typed, didYouMean(name, units), known(units))
	}
	text := u.exact
	switch {
	case text == "" && system == "us":
		text = u.us
	case text == "" && system == "imp":
		text = u.imp
	case text == "":
		return nil, fmt.Errorf("one %s is %s mL in the United States and %s mL imperial; write %s %s US or %s %s imp",
			u.names[0], u.us, u.imp, number, u.names[0], number, u.names[0])
	case system != "":
		return nil, fmt.Errorf("%s is the same everywhere; write %s without US or imperial", u.names[0], u.names[0])
	}
	factor, _ := new(big.Rat).SetString(text)
	return factor, nil
}

// tidy is the unit in lower case without marks, and the system that stood beside it.
func tidy(typed string) (name, system string) {
	marks := strings.NewReplacer("³", "3", "^3", "3", "(", " ", ")", " ", ".", "", "u.s.", "us")
	var words []string
	for _, word := range strings.Fields(marks.Replace(strings.ToLower(typed))) {
		switch word {
		case "us":
			system = "us"
		case "imp", "imperial", "uk":
			system = "imp"
		case "cubic":
			words = append(words, "cu")
		case "inch", "inches":
			words = append(words, "in")
		default:
			words = append(words, word)
		}
	}
	return strings.Join(words, " "), system
}

func unitNamed(name string, units []unit) (unit, bool) {
	for _, u := range units {
		if slices.ContainsFunc(u.names, func(n string) bool { return strings.EqualFold(n, name) }) {
			return u, true
		}
	}
	return unit{}, false
}

func known(units []unit) string {
	var names []string
	for _, u := range units {
		if u.exact == "" {
			names = append(names, u.names[0]+" US", u.names[0]+" imp")
			continue
		}
		names = append(names, u.names[0])
	}
	return strings.Join(names, ", ")
}

// ounces tells the two kinds of ounce apart.
func ounces(name string) string {
	if name == "oz" {
		return "; a fluid ounce is fl oz"
	}
	return ""
}

// didYouMean is the first unit whose name is one slip away: a letter too many, one missing, one wrong, or two swapped.
func didYouMean(name string, units []unit) string {
	for _, u := range units {
		for _, n := range u.names {
			if len(name) > 1 && oneSlip(strings.ToLower(n), name) {
				return "; did you mean " + n + "?"
			}
		}
	}
	return ""
}

func oneSlip(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	if len(b)-len(a) > 1 {
		return false
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	if len(a) < len(b) {
		return a[i:] == b[i+1:]
	}
	if i == len(a) || a[i+1:] == b[i+1:] {
		return true
	}
	return i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
}
