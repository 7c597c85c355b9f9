package part

import "strings"

// JoinKinds are kinds' words with commas between.
func JoinKinds(all []Kind) string {
	var s []string
	for _, k := range all {
		s = append(s, string(k))
	}
	return strings.Join(s, ", ")
}
