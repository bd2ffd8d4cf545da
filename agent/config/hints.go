package config

import (
	"sort"
	"strings"
)

// Closest gives the candidate that word was most likely meant to be, or "" where none is near: equal but for case, or
// within a third of its length, at most two, in edits: at three, modbus-rtu would be taken for a slip of modbus-tcp. Of equally near ones the first in alphabetical order is taken, so
// that a message is always the same.
func Closest(word string, candidates []string) string {
	sorted := append([]string(nil), candidates...)
	sort.Strings(sorted)
	best, bestDistance := "", 1+min(2, max(1, len(word)/3))
	for _, c := range sorted {
		d := editDistance(strings.ToLower(word), strings.ToLower(c))
		if d < bestDistance {
			best, bestDistance = c, d
		}
	}
	return best
}

// editDistance is how many bytes have to be put in, left out, changed or swapped with their neighbour to make one short word
// of another: the Levenshtein distance with transpositions, in its restricted form.
func editDistance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	var d [65][65]int
	for i := range len(a) + 1 {
		d[i][0] = i
	}
	for j := range len(b) + 1 {
		d[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			d[i][j] = min(d[i-1][j-1]+change, d[i-1][j]+1, d[i][j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(a)][len(b)]
}

// didYouMean gives ` Did you mean "x"?`, or "" where no candidate is near.
func didYouMean(word string, candidates []string) string {
	if c := Closest(word, candidates); c != "" {
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

// article puts "a" or "an" before the type of a block.
func article(kind string) string {
	if strings.ContainsRune("aeiou", rune(kind[0])) {
		return "an " + kind
	}
	return "a " + kind
}

func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

// nameProblem says why a label cannot name a site, device or zone, and proposes one that can; "" where it can. Names
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
