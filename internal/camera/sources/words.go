package sources

import (
	"errors"
	"slices"
	"strings"
)

// splitPipeline cuts a pipeline into words as a shell would (quotes and
// backslashes, nothing else), and takes an appsink with its properties off the
// end.
func splitPipeline(s string) ([]string, error) {
	words, err := splitWords(s)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(words, func(w string) bool { return w == "appsink" }); i >= 0 {
		if slices.Contains(words[i:], "!") || i == 0 || words[i-1] != "!" {
			return nil, errors.New("appsink may stand at the end only, after an exclamation mark")
		}
		words = words[:i-1]
	}
	if n := len(words); n > 0 && words[n-1] == "!" {
		words = words[:n-1]
	}
	if len(words) == 0 {
		return nil, errors.New("it is empty; name at least a source, such as v4l2src")
	}
	if last := words[len(words)-1]; strings.HasSuffix(last, "sink") && (len(words) == 1 || words[len(words)-2] == "!") {
		return nil, errors.New(last + ": leave the end off, the program adds its own")
	}
	return words, nil
}

func splitWords(s string) ([]string, error) {
	var words []string
	var word strings.Builder
	var quote rune
	in, escaped := false, false
	for _, r := range s {
		switch {
		case r == 0:
			return nil, errors.New("it has a character that is not text")
		case escaped:
			word.WriteRune(r)
			escaped = false
		case r == '\\' && quote != '\'':
			in, escaped = true, true
		case quote != 0 && r == quote:
			quote = 0
		case quote != 0:
			word.WriteRune(r)
		case r == '"' || r == '\'':
			in, quote = true, r
		case r == ' ' || r == '\t' || r == '\n' || r == '\r':
			if in {
				words = append(words, word.String())
				word.Reset()
			}
			in = false
		default:
			in = true
			word.WriteRune(r)
		}
	}
	if quote != 0 || escaped {
		return nil, errors.New("a quote is not closed")
	}
	if in {
		words = append(words, word.String())
	}
	return words, nil
}
