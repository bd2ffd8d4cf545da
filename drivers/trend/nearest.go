package trend

import "strings"

// nearest gives the name that was most likely meant, or "" where none is near: one that differs by case only, or by at
// most a third of its letters.
func nearest(name string, names []string) string {
	best, least := "", len([]rune(name))/3+1
	for _, other := range names {
		if d := distance(strings.ToLower(name), strings.ToLower(other)); d < least && other != "" {
			best, least = other, d
		}
	}
	return best
}

// distance is how many letters have to be put in, taken out or changed to turn one text into the other.
// Source: Levenshtein, Binary codes capable of correcting deletions, insertions and reversals, 1966; computed row by
// row after Wagner and Fischer, The string-to-string correction problem, 1974.
func distance(a, b string) int {
	from, to := []rune(a), []rune(b)
	last := make([]int, len(to)+1)
	for j := range last {
		last[j] = j
	}
	for i, x := range from {
		diagonal := last[0]
		last[0] = i + 1
		for j, y := range to {
			change := diagonal
			if x != y {
				change++
			}
			diagonal = last[j+1]
			last[j+1] = min(change, last[j]+1, last[j+1]+1)
		}
	}
	return last[len(to)]
}
