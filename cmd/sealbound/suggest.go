package main

import "strings"

// nearest returns the known word that was probably meant by word: one that word
// begins, else the one with the fewest edits, if they are few for its length.
// Of equals the first wins.
func nearest(word string, known []string) (string, bool) {
	word = strings.ToLower(word)
	if len(word) >= 3 {
		for _, k := range known {
			if strings.HasPrefix(k, word) {
				return k, true
			}
		}
	}
	best, fewest := "", 0
	for _, k := range known {
		if d := edits(word, k); best == "" || d < fewest {
			best, fewest = k, d
		}
	}
	return best, best != "" && fewest <= (len([]rune(best))+2)/3
}

// edits counts the fewest insertions, deletions, substitutions and exchanges of
// neighbours that turn a into b, no place edited twice (optimal string
// alignment).
func edits(a, b string) int {
	s, t := []rune(a), []rune(b)
	before, above, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range above {
		above[j] = j
	}
	for i := 1; i <= len(s); i++ {
		row[0] = i
		for j := 1; j <= len(t); j++ {
			cost := 1
			if s[i-1] == t[j-1] {
				cost = 0
			}
			row[j] = min(above[j]+1, row[j-1]+1, above[j-1]+cost)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, above, row = above, row, before
	}
	return above[len(t)]
}
