package material

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// ParseRatio reads a ratio as a person types it, A always first: `100:50 by weight`, `2:1 by volume`, `10:1 weight`,
// `A 100 : B 50 by weight`, `12.5 phr` (parts by weight of B per 100 of A). The figures keep their digits. Nothing is
// guessed: the error says what is wrong and what to type instead. Figures are bounded as on a card.
func ParseRatio(text string) (Ratio, error) {
	r, err := parseRatio(text)
	if err != nil {
		return Ratio{}, fmt.Errorf("read the ratio %q: %w", strings.TrimSpace(text), err)
	}
	return r, nil
}

func parseRatio(text string) (Ratio, error) {
	figures, words := typedWords(text)
	switch {
	case len(figures) == 0:
		return Ratio{}, errors.New("parts of A and B are missing: type A first, such as 100:50 by weight")
	case strings.Contains(text, ","):
		return Ratio{}, errors.New(commaDetail)
	}
	basis, err := typedBasis(figures, words)
	if err != nil {
		return Ratio{}, err
	}
	if basis == "phr" {
		if slices.Contains(figures, ":") {
			return Ratio{}, errors.New("phr takes one figure, B per 100 of A by weight: type 12.5 phr, or 100:12.5 by weight")
		}
		figures, basis = append([]string{"100", ":"}, figures...), "weight"
	}
	p, err := typedParts(figures)
	if err != nil {
		return Ratio{}, err
	}
	if basis == "volume" {
		return Ratio{Volume: &p}, nil
	}
	return Ratio{Weight: &p}, nil
}

// typedWords cuts what was typed into its figures, with labels and colons, and the words behind them.
func typedWords(text string) (figures, words []string) {
	all := strings.Fields(strings.ToLower(strings.ReplaceAll(text, ":", " : ")))
	end := len(all)
	for end > 0 {
		last := all[end-1]
		inFigure := end > 1 && (all[end-2] == ":" || isLabel(all[end-2]))
		if inFigure || last[0] < 'a' || last[0] > 'z' {
			break
		}
		end--
	}
	return all[:end], all[end:]
}

func isLabel(word string) bool { return word == "a" || word == "b" }

// typedBasis is weight, volume or phr.
func typedBasis(figures, words []string) (string, error) {
	known := []string{"weight", "volume", "phr"}
	var basis []string
	for _, word := range words {
		switch {
		case slices.Contains(known, word):
			basis = append(basis, word)
		case word == "by":
		default:
			return "", fmt.Errorf("%q is no basis: type figures without units, and by weight or by volume at the end%s", word, didYouMean(word, known))
		}
	}
	switch len(basis) {
	case 0:
		typed := strings.ReplaceAll(strings.Join(figures, " "), " : ", ":")
		return "", fmt.Errorf("by weight or by volume? They are not the same: type %s by weight, or %[1]s by volume", typed)
	case 1:
		return basis[0], nil
	}
	return "", errors.New("has two bases: type one, by weight or by volume; a card that states both has figures of its own for each")
}

// typedParts reads the figures of A and B.
func typedParts(figures []string) (p Parts, err error) {
	groups := [][]string{nil}
	for _, word := range figures {
		if word == ":" {
			groups = append(groups, nil)
			continue
		}
		groups[len(groups)-1] = append(groups[len(groups)-1], word)
	}
	switch {
	case len(groups) > 2:
		return p, errors.New("has more than two parts: type A and B alone; a third component is an addition of the card")
	case len(groups) < 2 && loneFigure(figures):
		return p, errors.New("one of the parts is missing: type both, A first, such as 100:50 by weight")
	case len(groups) < 2:
		return p, errors.New("is not parted by a colon: type A first, such as 100:50 by weight")
	}
	if err := typedLabels(groups); err != nil {
		return p, err
	}
	if p.A, err = typedFigure("A", groups[0]); err != nil {
		return p, err
	}
	if p.B, err = typedFigure("B", groups[1]); err != nil {
		return p, err
	}
	var f Faults
	if p.validate(&f, "ratio"); f != nil {
		return p, errors.New(f[0].Detail)
	}
	return p, nil
}

// loneFigure is true of one number, with or without its letter.
func loneFigure(figures []string) bool {
	if isLabel(figures[0]) {
		figures = figures[1:]
	}
	return len(figures) == 1 && isNumber(figures[0])
}

// typedLabels takes the letters of A and B off, where they stand in that order.
func typedLabels(groups [][]string) error {
	label := func(i int, otherwise string) string {
		if len(groups[i]) > 0 && isLabel(groups[i][0]) {
			otherwise, groups[i] = groups[i][0], groups[i][1:]
		}
		return otherwise
	}
	switch first, second := label(0, "a"), label(1, "b"); {
	case first == second:
		return fmt.Errorf("names %s twice: type A first, then B, such as A 100 : B 50 by weight", strings.ToUpper(first))
	case first == "b":
		return errors.New("names B first: type A first, such as A 100 : B 50 by weight")
	}
	return nil
}

func typedFigure(part string, words []string) (Number, error) {
	text := strings.Join(words, " ")
	n := Number(text)
	switch x := n.Float(); {
	case text == "":
		return "", fmt.Errorf("%s has no figure: type one for each, such as 100:50 by weight", part)
	case !isNumber(text):
		return "", fmt.Errorf("%s is not a number: %q; type digits, such as 100 or 27.5", part, text)
	case x < 0:
		return "", fmt.Errorf("%s is negative, %s: parts are more than 0; additions and corrections are no part of a ratio", part, text)
	case x == 0:
		return "", fmt.Errorf("%s is zero: both parts are more than 0", part)
	case !(x >= minFigure && x <= maxFigure):
		return "", fmt.Errorf("%s is out of range, %s: type parts from %s to %s", part, text, short(minFigure), short(maxFigure))
	}
	return n, nil
}
