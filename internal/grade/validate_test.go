package grade

import "testing"

func TestDefaultLimitsAreValid(t *testing.T) {
	if err := DefaultLimits().Validate(); err != nil {
		t.Fatal(err)
	}
}
