package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"sort"
	"strings"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/viper"
	"go.yaml.in/yaml/v3"

	"finishbench/internal/files"
	"finishbench/internal/grade"
)

// FileError says everything that is wrong in one settings file.
type FileError struct {
	File  string
	Wrong []Wrong // by line
}

// Wrong is one thing wrong in a file.
type Wrong struct {
	Line int    // from 1; 0 where it is the whole file
	Key  string // e.g. "seam[0].by[1].minor"; "" where it is the whole file
	What string
}

// Error has a line for each thing that is wrong, ten at most.
func (e *FileError) Error() string {
	const most = 10
	var lines []string
	for i, w := range e.Wrong {
		if i == most {
			lines = append(lines, fmt.Sprintf("%s: and %d more", e.File, len(e.Wrong)-most))
			break
		}
		s := e.File + ":"
		if w.Line > 0 {
			s += fmt.Sprintf("%d:", w.Line)
		}
		if w.Key != "" {
			s += " " + w.Key + ":"
		}
		lines = append(lines, s+" "+w.What)
	}
	return strings.Join(lines, "\n")
}

// Text is a settings file as it was read.
type Text struct {
	Name  string // without its folder
	Bytes []byte
}

// maxBytes is more than any settings file needs.
const maxBytes = 1 << 20

// content returns a file's bytes.
func content(path, what string) ([]byte, error) {
	f, err := files.Open(path)
	if errors.Is(err, files.ErrFolder) {
		return nil, fmt.Errorf("config: read %s: %s is a folder; name the file in it", what, path)
	}
	if err != nil {
		return nil, fmt.Errorf("config: read %s: %w", what, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("config: read %s: %w", what, err)
	}
	if len(data) > maxBytes {
		return nil, fmt.Errorf("config: read %s: %s is larger than 1 MiB; is it a settings file?", what, path)
	}
	return data, nil
}

// decode fills out, a pointer to a struct with mapstructure tags that holds the
// defaults, and calls validate.
func decode(name string, data []byte, out any, validate func() error) error {
	root, err := parse(name, data)
	if err != nil {
		return err
	}
	s := newSchema()
	s.check(root, out)
	if len(s.wrong) > 0 {
		return fileError(name, s.wrong)
	}
	var keys map[string]any
	if err := root.Decode(&keys); err != nil {
		return fileError(name, []Wrong{{What: oneLine(err)}})
	}
	v := viper.New()
	if err := v.MergeConfigMap(keys); err != nil {
		return fileError(name, []Wrong{{What: oneLine(err)}})
	}
	err = v.UnmarshalExact(out, func(c *mapstructure.DecoderConfig) {
		c.WeaklyTypedInput = false // no "abc" for 0
		c.DecodeHook = nil         // no "a,b" for a list
		c.ZeroFields = true        // a list replaces the default one, and is not mixed with it item by item
	})
	if err != nil {
		return fileError(name, []Wrong{{What: oneLine(err)}})
	}
	if err := validate(); err != nil {
		return fileError(name, s.located(err))
	}
	return nil
}

// parse returns the file's top mapping.
func parse(name string, data []byte) (*yaml.Node, error) {
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc yaml.Node
	if err := dec.Decode(&doc); err != nil {
		if errors.Is(err, io.EOF) {
			return nil, fileError(name, []Wrong{{What: "the file is empty"}})
		}
		return nil, fileError(name, []Wrong{{What: "not YAML: " + oneLine(err)}})
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		return nil, fileError(name, []Wrong{{Line: 1, What: "wants keys with values, such as version: 1"}})
	}
	var second yaml.Node
	if err := dec.Decode(&second); !errors.Is(err, io.EOF) {
		return nil, fileError(name, []Wrong{{Line: second.Line, What: "wants one document, but there is more after a line ---"}})
	}
	return doc.Content[0], nil
}

func fileError(name string, wrong []Wrong) error {
	sort.SliceStable(wrong, func(i, j int) bool { return wrong[i].Line < wrong[j].Line })
	return &FileError{File: name, Wrong: wrong}
}

// located adds line numbers and suggestions to what a Validate complains about.
func (s *schema) located(err error) []Wrong {
	all := []error{err}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		all = joined.Unwrap()
	}
	var out []Wrong
	for _, e := range all {
		var k *grade.KeyError
		if !errors.As(e, &k) {
			out = append(out, Wrong{What: oneLine(e)})
			continue
		}
		what := k.What
		if near := nearest(k.Word, k.Words); near != "" {
			what += fmt.Sprintf("; did you mean %s?", near)
		} else if len(k.Words) > 0 {
			what += "; use " + strings.Join(k.Words, ", ")
		}
		out = append(out, Wrong{Line: s.line(k.Key), Key: k.Key, What: what})
	}
	return out
}

func oneLine(err error) string { return strings.Join(strings.Fields(err.Error()), " ") }
