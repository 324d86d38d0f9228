package material

// nearest is the word that was probably meant: at most two slips away and at most a third of what was typed, the
// first of equals; empty where none is.
func nearest(typed string, words []string) (meant string) {
	least := min(2, len(typed)/3) + 1
	for _, word := range words {
		if slips := distance(typed, word); slips < least {
			meant, least = word, slips
		}
	}
	return meant
}

// didYouMean is a question to put behind an error; empty where nothing is near.
func didYouMean(typed string, words []string) string {
	if meant := nearest(typed, words); meant != "" {
		return ": did you mean " + meant + "?"
	}
	return ""
}

// distance counts the slips from a to b: a letter too many, one missing, one wrong, two beside each other swapped. For
// words that differ much in length it is only a lower bound.
func distance(a, b string) int {
	if max(len(a)-len(b), len(b)-len(a)) > 2 {
		return 3
	}
	rows := make([][]int, len(a)+1)
	for i := range rows {
		rows[i] = make([]int, len(b)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			wrong := 1
			if a[i-1] == b[j-1] {
				wrong = 0
			}
			rows[i][j] = min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+wrong)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(a)][len(b)]
}
