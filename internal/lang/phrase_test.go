package lang

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"finishbench/internal/part"
)

// A result tells how much was looked at.
func TestLookedAtPhrases(t *testing.T) {
	ok := func(v part.View, l part.Light) part.PictureReport {
		return part.PictureReport{View: v, Light: l, State: part.PictureOK}
	}
	read := part.PictureReport{View: part.Face, Light: part.White, State: part.PictureOK,
		Problems: []part.Problem{{Name: part.NotLookedAt, Warn: true}}}
	face := part.Surface{View: part.Face, LookedAt: 0.91, OneLight: 0.06, NotLookedAt: 0.03,
		Why: map[part.Why]float64{part.Outermost: 0.01, part.Mirrored: 0.02}}
	for _, c := range []struct {
		surfaces []part.Surface
		pictures []part.PictureReport
		want     []string
	}{
		{nil, nil, nil},
		{[]part.Surface{face}, []part.PictureReport{ok(part.Face, part.Diffuse), ok(part.Face, part.Raking), read},
			[]string{"Looked at 91 % of the face in both lights, 6 % in one, 3 % not at all (left out: mirrored lamps 2 %, outermost " +
				"strip 1 %)"}},
		{[]part.Surface{{View: part.Shell, LookedAt: 0.996, NotLookedAt: 0.004}},
			[]part.PictureReport{ok(part.Shell, part.Diffuse), {View: part.Shell, State: part.PictureNoOK}},
			[]string{"Looked at 99.6 % of the shell at 0 deg in one light, 0.4 % not at all"}},
		{[]part.Surface{{View: part.Face, LookedAt: 0.5, OneLight: 0.5}},
			[]part.PictureReport{ok(part.Face, part.Diffuse), ok(part.Face, part.Raking), ok(part.Face, part.Back)},
			[]string{"Looked at 50 % of the face in all lights, 50 % in some"}},
		{[]part.Surface{{View: part.Face, LookedAt: 1}, part.UnsearchedSurface(part.Shell, 0), part.UnsearchedSurface(part.Shell, 45)},
			[]part.PictureReport{ok(part.Face, part.Diffuse)},
			[]string{"Looked at 100 % of the face in one light", "The shell was not looked at in any of 2 turns"}},
		{[]part.Surface{{View: part.Shell, LookedAt: 1}, {View: part.Shell, AngleDeg: 90, LookedAt: 1},
			part.UnsearchedSurface(part.Shell, 180)},
			[]part.PictureReport{ok(part.Shell, part.Diffuse), ok(part.Shell, part.Raking),
				{View: part.Shell, Light: part.Diffuse, AngleDeg: -270, State: part.PictureOK}},
			[]string{"Looked at 100 % of the shell at 0 deg in both lights", "Looked at 100 % of the shell at 90 deg in one light",
				"The shell at 180 deg was not looked at"}},
		{[]part.Surface{part.UnsearchedSurface(part.Face, 0)}, []part.PictureReport{read}, []string{"The face was not looked at"}},
	} {
		r := part.Result{Surfaces: c.surfaces, Pictures: c.pictures}
		if got := English().SayAll(r.LookedAtPhrases()); !slices.Equal(got, c.want) {
			t.Errorf("%+v:\n got %q\nwant %q", c.surfaces, got, c.want)
		}
	}
	for _, w := range part.Whys {
		if !English().Has("cause." + string(w)) {
			t.Errorf("%s has no words", w)
		}
	}
}

// A phrase's places are filled by words, keys, and other phrases; between several of these stands
// the text of their place. An absent part leaves nothing behind.
func TestPhraseWithin(t *testing.T) {
	at := part.Say("seam.at", "angle_deg", "120", "side", "@limb.left")
	p := part.Say("reason.seam").With("what", part.Say("seam.proud_um", "value_um", "92")).With("place", at).With("limit",
		part.Say("limit.um", "limit_um", "50"))
	two := part.Say("seam.fault.in_turn").With("steps", p).With("steps", p)
	for _, c := range []struct {
		p        part.Phrase
		tag, say string
	}{
		{p, "en", "proud by 92 µm at 120°, left (limit 50 µm)"},
		{p, "zh-Hans", "120° 左侧处面板凸出 92 µm（限度 50 µm）"},
		{two, "en", "proud at some places and recessed at others: proud by 92 µm at 120°, left (limit 50 µm) and proud by 92 µm at 120°, " +
			"left (limit 50 µm)"},
		{part.Text("what a person wrote: {x} 50 %"), "zh-Hans", "what a person wrote: {x} 50 %"},
	} {
		if got := languages(t).ByTag(c.tag).Say(&c.p); got != c.say {
			t.Errorf("%s: %q, want %q", c.tag, got, c.say)
		}
	}
	if got := English().Say(&p); got != "proud by 92 um at 120 deg, left (limit 50 um)" { // a result's
		t.Errorf("a result: %q", got)
	}
	if len(p.Parts["steps"]) != 0 || len(p.Parts) != 3 {
		t.Errorf("With changed what it was called on: %v", p.Parts)
	}
}

// A number is written with the language's own decimal sign, be it of a length or of a share; what is
// no number, such as a file's name, is not.
func TestNumbersOfALanguage(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "de.json"),
		[]byte(`{"language": "Deutsch", "seam.proud_um": "{value_um} µm", "looked_at.map": "{share}", "fit.same_picture": "{file}"}`),
		0o600); err != nil {
		t.Fatal(err)
	}
	l, _, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	for want, p := range map[string]part.Phrase{
		"50,2 µm": part.Say("seam.proud_um", "value_um", "50.2"), "99,6 %": part.Say("looked_at.map", "share", "99.6 %"),
		"12.5":  part.Say("fit.same_picture", "file", "12.5"),
		"92 µm": part.Say("seam.proud_um", "value_um", "92"),
	} {
		if got := l.ByTag("de").Say(&p); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := l.ByTag("en").SayOr(nil, "as it was told"); got != "as it was told" {
		t.Errorf("without a phrase: %q", got)
	}
}
