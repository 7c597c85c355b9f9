package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/records"
	"finishbench/internal/records/upkeep"
)

func TestRecordsErase(t *testing.T) {
	file := inventedShift(t, 6)
	o := cli.Database{URL: file}
	var out bytes.Buffer
	if err := upkeep.RunErase(t.Context(), o, "op 3", &out); err != nil || !strings.Contains(out.String(), "op 3 is erased") {
		t.Fatalf("%q, %v", out.String(), err)
	}
	store, err := records.Open(context.Background(), file, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	found, err := store.Find(context.Background(), records.Filter{})
	if err != nil || len(found) != 6 {
		t.Fatalf("%d inspections, %v; they stay", len(found), err)
	}
	for _, in := range found {
		if in.Operator == "op 3" || in.Operator == "" {
			t.Errorf("inspection %d: operator %q", in.ID, in.Operator)
		}
	}
	if err := upkeep.RunErase(t.Context(), o, "op 3", &out); err == nil || !strings.Contains(err.Error(), "nobody is called") {
		t.Errorf("again: %v", err)
	}
}
