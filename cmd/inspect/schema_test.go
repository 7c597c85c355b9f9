package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"finishbench/internal/part"
)

// schemaFile is told from the root, since some tests work in another folder.
var schemaFile = must(filepath.Abs("../../docs/result.schema.json"))

// resultSchema is the published form of result.json, read once for all tests.
var resultSchema = sync.OnceValues(func() (*jsonschema.Schema, error) {
	return jsonschema.NewCompiler().Compile(schemaFile)
})

// againstSchema says what a result.json has that the published form refuses. readJSON asks it of
// every result that a test reads: units of testdata, of faces before a screen, of shells, with
// scale files, learned models and budgets, and of what could not be measured.
func againstSchema(result []byte) error {
	schema, err := resultSchema()
	if err != nil {
		return err
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(result))
	if err != nil {
		return err
	}
	return schema.Validate(v)
}

// aResult is a small whole result, as JSON knows it.
func aResult() map[string]any {
	one := 1.0
	r := part.Result{
		Schema: 1, Unit: "u", Stage: part.Wet, Verdict: part.Rework, Score: &one, Reasons: []string{}, MMPerPX: 0.015, Warnings: []string{},
		Seam: part.Seam{Stations: []part.StepStation{
			{Image: "edge_000.jpg", Side: part.Left, State: part.Measured, StepUM: &one, UUM: &one},
			{Image: "edge_000.jpg", Side: part.Right, State: part.Unmeasured, Reason: "no seam seen"},
		}},
		Findings: []part.Finding{{Number: 1, Image: "face_raking.jpg", Kind: part.Dust, Zone: part.ZoneFace, Severity: part.Minor}},
		Pictures: []part.PictureReport{{File: "edge_000.jpg", View: part.Edge, State: part.PictureOK, Problems: []part.Problem{}}},
	}
	var m map[string]any
	if err := json.Unmarshal(must(json.Marshal(r)), &m); err != nil {
		panic(err)
	}
	return m
}

// What other programs must not meet is refused: a wrong type, a word that is none, a field that is
// missing or that nobody knows, a step where none was measured.
func TestSchemaRefuses(t *testing.T) {
	if err := againstSchema(must(json.Marshal(aResult()))); err != nil {
		t.Fatalf("a whole result: %v", err)
	}
	type m = map[string]any
	first := func(r m, list string) m { return r[list].([]any)[0].(m) }
	station := func(r m, i int) m { return r["seam"].(m)["stations"].([]any)[i].(m) }
	for name, spoil := range map[string]func(m){
		"another schema":               func(r m) { r["schema"] = 2 },
		"no unit":                      func(r m) { delete(r, "unit") },
		"no warnings":                  func(r m) { delete(r, "warnings") },
		"null for a list":              func(r m) { r["findings"] = nil },
		"a number as text":             func(r m) { r["mm_per_px"] = "0.015" },
		"a verdict that is none":       func(r m) { r["verdict"] = "good" },
		"a stage that is none":         func(r m) { r["stage"] = "dry" },
		"judged without a score":       func(r m) { delete(r, "score") },
		"an unknown field":             func(r m) { r["colour"] = "red" },
		"an unknown field of a defect": func(r m) { first(r, "findings")["size"] = 1 },
		"a kind that is none":          func(r m) { first(r, "findings")["type"] = "scratch" },
		"a box of three":               func(r m) { first(r, "findings")["box_px"] = []any{1, 2, 3} },
		"a box of five":                func(r m) { first(r, "findings")["box_px"] = []any{1, 2, 3, 4, 5} },
		"surer than sure":              func(r m) { first(r, "findings")["confidence"] = 1.5 },
		"a finding without a number":   func(r m) { delete(first(r, "findings"), "number") },
		"a light that is none":         func(r m) { first(r, "pictures")["light"] = "sun" },
		"a picture without problems":   func(r m) { delete(first(r, "pictures"), "problems") },
		"a view that is none":          func(r m) { first(r, "pictures")["view"] = "top" },
		"measured without a step":      func(r m) { delete(station(r, 0), "step_um") },
		"measured without u":           func(r m) { delete(station(r, 0), "u_um") },
		"a negative u":                 func(r m) { station(r, 0)["u_um"] = -1 },
		"not measured, but a step":     func(r m) { station(r, 1)["step_um"] = 0 },
		"not measured, and no reason":  func(r m) { delete(station(r, 1), "reason") },
		"a share over 1": func(r m) {
			r["surfaces"] = []any{m{"view": "face", "angle_deg": 0, "looked_at": 1.1, "one_light": 0, "not_looked_at": 0}}
		},
		"a cause that is none": func(r m) {
			r["surfaces"] = []any{m{"view": "face", "angle_deg": 0, "looked_at": 1, "one_light": 0, "not_looked_at": 0, "why": m{"fog": 0.1}}}
		},
		"a phrase without a key": func(r m) { r["reason_phrases"] = []any{m{"args": m{"n": "1"}}} },
		"a number in a phrase":   func(r m) { r["reason_phrases"] = []any{m{"key": "k", "args": m{"n": 1}}} },
		"a phrase within one, of no key": func(r m) {
			first(r, "findings")["advice_phrase"] = m{"key": "k", "parts": m{"where": []any{m{"args": m{}}}}}
		},
		"a hash that is none": func(r m) {
			r["kind_model"] = m{"name": "m", "sha256": "12", "made": "2026-03-02", "labels": 3}
		},
	} {
		r := aResult()
		spoil(r)
		if againstSchema(must(json.Marshal(r))) == nil {
			t.Errorf("%s is not refused", name)
		}
	}
}

// The published form names what the program writes, field by field and word by word: no field of
// part.Result is left out of it, none is made up, and what is always written is required.
func TestSchemaIsTheResults(t *testing.T) {
	var root map[string]any
	readJSON(t, schemaFile, &root)
	sameForm(t, root, "result", root, reflect.TypeFor[part.Result]())
}

func wordsOf[W ~string](words []W) (out []string) {
	for _, w := range words {
		out = append(out, string(w))
	}
	return out
}

// schemaWords are the words of each type; of State, a field takes some only.
var schemaWords = map[reflect.Type][]string{
	reflect.TypeFor[part.View]():         wordsOf(part.Views),
	reflect.TypeFor[part.Light]():        wordsOf(part.Lights),
	reflect.TypeFor[part.Stage]():        wordsOf(part.Stages),
	reflect.TypeFor[part.Verdict]():      wordsOf([]part.Verdict{part.Pass, part.Rework, part.Reject, part.NotMeasured}),
	reflect.TypeFor[part.Kind]():         wordsOf(part.Kinds),
	reflect.TypeFor[part.Zone]():         wordsOf(part.Zones),
	reflect.TypeFor[part.Severity]():     wordsOf(part.Severities),
	reflect.TypeFor[part.Why]():          wordsOf(part.Whys),
	reflect.TypeFor[part.PlanKey]():      wordsOf(part.PlanKeys),
	reflect.TypeFor[part.Care]():         wordsOf(part.Cares),
	reflect.TypeFor[part.Side]():         wordsOf([]part.Side{part.Left, part.Right}),
	reflect.TypeFor[part.State]():        wordsOf([]part.State{part.Measured, part.Unmeasured, part.PictureOK}),
	reflect.TypeFor[part.Term]():         wordsOf([]part.Term{part.TermMean, part.TermOffCentre, part.TermOval}),
	reflect.TypeFor[part.Distribution](): wordsOf([]part.Distribution{part.Scatter, part.Normal, part.Rectangular, part.TwoValues}),
}

// sameForm compares a schema with the Go type that is written by it.
func sameForm(t *testing.T, root map[string]any, at string, s map[string]any, typ reflect.Type) {
	t.Helper()
	if to, ok := s["$ref"].(string); ok {
		if to == "#/$defs/phrase" && strings.Contains(at, ".parts{}") {
			return // phrases within phrases are of one form
		}
		s, _ = root["$defs"].(map[string]any)[strings.TrimPrefix(to, "#/$defs/")].(map[string]any)
	}
	if typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	want := map[reflect.Kind]string{reflect.Struct: "object", reflect.Map: "object", reflect.Slice: "array", reflect.Array: "array",
		reflect.String: "string", reflect.Bool: "boolean", reflect.Int: "integer", reflect.Float64: "number"}[typ.Kind()]
	words, constant := s["enum"], s["const"]
	if got := s["type"]; got != want && words == nil && constant == nil {
		t.Errorf("%s: type %v, want %s", at, got, want)
		return
	}
	known := schemaWords[typ]
	if (words != nil) != (known != nil) {
		t.Errorf("%s: its words %v, want %q", at, words, known)
	} else if known != nil {
		sameWords(t, at, words, known, typ == reflect.TypeFor[part.State]())
	}
	switch typ.Kind() {
	case reflect.Map:
		sameWords(t, at, s["propertyNames"], schemaWords[typ.Key()], false)
		sameForm(t, root, at+"{}", s["additionalProperties"].(map[string]any), typ.Elem())
	case reflect.Slice:
		sameForm(t, root, at+"[]", s["items"].(map[string]any), typ.Elem())
	case reflect.Array:
		if items := s["prefixItems"].([]any); len(items) != typ.Len() || s["items"] != false || s["minItems"] != float64(typ.Len()) {
			t.Errorf("%s: not just %d numbers", at, typ.Len())
		}
	case reflect.Struct:
		props := s["properties"].(map[string]any)
		var required []string
		left := maps.Clone(props)
		for i := range typ.NumField() {
			name, options, _ := strings.Cut(typ.Field(i).Tag.Get("json"), ",")
			p, ok := props[name].(map[string]any)
			if !ok {
				t.Errorf("%s has no %s", at, name)
				continue
			}
			delete(left, name)
			if options != "omitempty" {
				required = append(required, name)
			}
			sameForm(t, root, at+"."+name, p, typ.Field(i).Type)
		}
		for name := range left {
			t.Errorf("%s: nobody writes %s", at, name)
		}
		var got []string
		for _, r := range s["required"].([]any) {
			got = append(got, r.(string))
		}
		if slices.Sort(got); !slices.Equal(got, slices.Sorted(slices.Values(required))) {
			t.Errorf("%s requires %q, what is always written is %q", at, got, required)
		}
		if s["additionalProperties"] != false {
			t.Errorf("%s takes fields that nobody knows", at)
		}
	}
}

// sameWords compares an enum, or an object with one, with the words that there are.
func sameWords(t *testing.T, at string, enum any, want []string, some bool) {
	t.Helper()
	if m, ok := enum.(map[string]any); ok {
		enum = m["enum"]
	}
	var got []string
	list, _ := enum.([]any)
	for _, w := range list {
		got = append(got, fmt.Sprint(w))
	}
	slices.Sort(got)
	want = slices.Sorted(slices.Values(want))
	if some {
		want = slices.DeleteFunc(want, func(w string) bool { return !slices.Contains(got, w) })
	}
	if !slices.Equal(got, want) {
		t.Errorf("%s: words %q, want %q", at, got, want)
	}
}
