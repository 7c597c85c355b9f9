package report

import (
	"strings"

	"finishbench/internal/part"
)

// footView is the end of every page: cautions, and what made the page.
type footView struct {
	Heading  string
	Cautions []string
	Line     string
}

// newFoot makes the end of a page of its cautions under their heading, and the parts of its last
// line; empty ones are left out.
func newFoot(heading string, cautions []string, line ...string) footView {
	var parts []string
	for _, p := range line {
		if p != "" {
			parts = append(parts, p)
		}
	}
	return footView{heading, cautions, strings.Join(parts, " · ")}
}

// modelLine names the learned model that kinds were called with; "" for none.
func (x words) modelLine(m *part.ModelUse) string {
	if m == nil {
		return ""
	}
	return x.T("page.kind_model", "name", m.Name)
}

// scaleLine is the scale as the page's last line tells it; "" where there is none.
func (x words) scaleLine(scale string) string {
	if scale == "" {
		return ""
	}
	return x.T("page.scale") + " " + scale
}
