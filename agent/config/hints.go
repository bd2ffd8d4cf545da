package config

import (
	"sort"
	"strings"
)

// closest gives the candidate that word was most likely meant to be, or "" where none is near: equal but for case, or
// within a third of its length in single-character edits and two transposed neighbours counted as two. Of equally near
// ones the first in alphabetical order is taken, so that a message is always the same.
func closest(word string, candidates []string) string {
	sorted := append([]string(nil), candidates...)
	sort.Strings(sorted)
	best, bestDistance := "", 1+min(3, max(1, len(word)/3))
	for _, c := range sorted {
		d := editDistance(strings.ToLower(word), strings.ToLower(c))
		if d < bestDistance {
			best, bestDistance = c, d
		}
	}
	return best
}

// editDistance is the Levenshtein distance of two short words, by bytes.
func editDistance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// didYouMean gives ` Did you mean "x"?`, or "" where no candidate is near.
func didYouMean(word string, candidates []string) string {
	if c := closest(word, candidates); c != "" {
		return ` Did you mean "` + c + `"?`
	}
	return ""
}

// suggest says what word was likely meant to be, or else what there is to choose from: " There is: a, b and c."
func suggest(word string, candidates []string) string {
	if hint := didYouMean(word, candidates); hint != "" {
		return hint
	}
	if len(candidates) == 0 {
		return ""
	}
	sorted := append([]string(nil), candidates...)
	sort.Strings(sorted)
	more := ""
	if len(sorted) > 24 {
		sorted, more = sorted[:24], " and others"
	}
	if more == "" {
		return " There is: " + list(sorted, "and") + "."
	}
	return " There is: " + strings.Join(sorted, ", ") + more + "."
}

// list joins words for people: "a", "a or b", "a, b or c".
func list(words []string, conjunction string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " " + conjunction + " " + words[last]
}

// maxName is the longest name of a site, device or zone. Chosen: a label that still fits a column on a terminal.
const maxName = 64

// nameProblem says why a label can not name a site, device or zone, and proposes one that can; "" where it can. Names
// become metric labels, file names and words in an alert, so they are kept to what needs no quoting in any of these.
func nameProblem(name string) string {
	const allowed = "A name is made of letters a-z and A-Z, digits, '-', '_' and '.', begins with a letter or a digit and has 1 to 64 characters."
	ok := name != "" && len(name) <= maxName
	var fixed strings.Builder
	for i, c := range name {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9':
			fixed.WriteRune(c)
		case (c == '-' || c == '_' || c == '.') && i > 0:
			fixed.WriteRune(c)
		default:
			ok = false
			if fixed.Len() > 0 && !strings.HasSuffix(fixed.String(), "-") {
				fixed.WriteByte('-')
			}
		}
	}
	if ok {
		return ""
	}
	proposal := strings.TrimRight(fixed.String(), "-._")
	if len(proposal) > maxName {
		proposal = strings.TrimRight(proposal[:maxName], "-._")
	}
	if proposal == "" {
		return allowed
	}
	return allowed + ` For instance "` + proposal + `".`
}
