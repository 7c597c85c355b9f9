package report

import (
	"bytes"
	"encoding/json"
	"os"
	"regexp"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

func chinese(t testing.TB) *lang.Lang {
	t.Helper()
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	return all.ByTag("zh-Hans")
}

// The page's own texts and what has a phrase are in the page's language; what has none stays
// English; result and page in English are as without a language.
func TestPageInChinese(t *testing.T) {
	zh := chinese(t)
	data, err := os.ReadFile("../lang/unit/en.json")
	if err != nil {
		t.Fatal(err)
	}
	var texts map[string]any
	if err := json.Unmarshal(data, &texts); err != nil {
		t.Fatal(err)
	}
	mirrored := sample()
	mirrored.Screen = waves(4, 3, 2, 1, 0.5)
	told := sample()
	told.ReasonPhrases = []part.Phrase{
		part.Say("reason.seam").With("what", part.Say("seam.proud_um", "value_um", "92")).With("place",
			part.Say("seam.at", "angle_deg", "120", "side", "@limb.left")).
			With("limit", part.Say("limit.um", "limit_um", "50")),
		part.Say("reason.size.mm", "kind", "@noun.bubble", "zone", "@lies.face", "size_mm", "0.31").With("limit",
			part.Say("limit.from.mm", "severity", "@severity.major", "from_mm", "0.20")),
	}
	advice := part.Say("remedy.bubble.wet")
	for i := range told.Findings {
		told.Findings[i].AdvicePhrase = &advice
	}
	for name, r := range map[string]*part.Result{"told": told, "mirrored": mirrored, "shell": shellSample(),
		"none": {Unit: "k15-L", Verdict: part.NotMeasured}} {
		im := ground(1600, 1200)
		in := input(t, r, func(string) *part.Image { return im })
		in.Lang = zh
		var b bytes.Buffer
		if err := Page(&b, in); err != nil {
			t.Fatal(err)
		}
		page := b.String()
		text := textOf(t, page)
		if !strings.HasPrefix(page, "<!doctype html>\n<html lang=\"zh-Hans\">") {
			t.Errorf("%s: %.60q", name, page)
		}
		for key, s := range texts {
			s, ok := s.(string)
			words := regexp.MustCompile(`[a-z]{3,} [a-z]{3,}`)
			if ok && strings.HasPrefix(key, "page.") && !strings.Contains(s, "{") && words.MatchString(s) && strings.Contains(text, s) {
				t.Errorf("%s: %s is told in English: %s", name, key, s)
			}
		}
		for _, hole := range []string{"page.", "{", "@limb", "reason.", "remedy."} {
			if strings.Contains(text, hole) {
				t.Errorf("%s: %q is seen", name, hole)
			}
		}
		for want, in := range map[string]string{
			"120° 左侧处面板凸出 92 µm（限度 50 µm）":       "told",
			"面板上有气泡，0.31 mm（自 0.20 mm 起为严重）":     "told",
			"用干净的针刺破气泡":                          "told",
			"only one face light was given":      "told", // has no phrase
			"bubble of 0.31 mm on the faceplate": "mirrored",
			"波纹度，0.125 至 4 mm：坡度 ":               "mirrored",
			"壳体，沿转角 0 剖开":                        "shell",
			"没有可显示的图片。":                          "none",
		} {
			if in == name && !strings.Contains(text, want) {
				t.Errorf("%s does not say %q:\n%s", name, want, text)
			}
		}
	}

	r := sample()
	im := ground(1600, 1200)
	in := input(t, r, func(string) *part.Image { return im })
	in.Lang = lang.English()
	var b bytes.Buffer
	if err := Page(&b, in); err != nil || b.String() != samplePage(t, r) {
		t.Errorf("English is not what it is without a language: %v", err)
	}

	b.Reset()
	if err := IndexPage(&b, IndexInput{Lang: zh, Units: []IndexEntry{{Unit: "k12-L", Verdict: part.Rework,
		Reasons: []string{"a"}}}}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`lang="zh-Hans"`, "返工 1 件", "<th scope=\"col\">判定</th>", "没有图片"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the index does not say %q", want)
		}
	}
}
