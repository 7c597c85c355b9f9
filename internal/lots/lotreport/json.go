package lotreport

import (
	"encoding/json"
	"fmt"
	"io"
)

// WriteJSON writes the report as JSON, in one line. A number that was not measured is
// absent.
func (r *Report) WriteJSON(out io.Writer) error {
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	if err := e.Encode(r); err != nil {
		return fmt.Errorf("lotreport: write JSON: %w", err)
	}
	return nil
}
