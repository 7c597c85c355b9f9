package main

import (
	"context"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"finishbench/internal/records"
)

// The whole bench as its user has it: the program, a replay of units, a browser, and
// the keys. Each answer on the page is that of the records.
func TestBenchInBrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("the browser is left out of short tests")
	}
	exe, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no chromium here: the bench was not tried in a browser")
	}
	file := filepath.Join(t.TempDir(), "bench.db")
	_, page := benchProcess(t, "--replay", "../../testdata/images", "--mm-per-px", "0.015", "--record", file)
	ctx, cancel := chromedp.NewExecAllocator(context.Background(),
		append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.NoSandbox,
			chromedp.UserDataDir(t.TempDir()), chromedp.WindowSize(1024, 600), chromedp.Flag("accept-lang", "en"))...)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	ctx, cancel = context.WithTimeout(ctx, 90*time.Second)
	defer cancel()
	do := func(a ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, a...); err != nil {
			t.Fatal(err)
		}
	}
	// Once the page is complete: before, its script does not hear keys.
	shows := func(want string) string {
		t.Helper()
		var text string
		for range 300 {
			var err error
			text, err = chromedp.Run(ctx,
				chromedp.Evaluate[string](`document.readyState !== "complete" ? "" : document.body.innerText + " serial " +
					(document.getElementById("serial")||{}).value`))
			if err == nil && strings.Contains(text, want) {
				return text
			}
			select {
			case <-ctx.Done():
				t.Fatalf("the page never shows %q, but %q", want, text)
			case <-time.After(100 * time.Millisecond):
			}
		}
		t.Fatalf("the page never shows %q, but %q", want, text)
		return ""
	}
	do(chromedp.Navigate(page))
	shows("I have read this")
	do(chromedp.Click(`form[action="/seen"] button`))
	shows("serial try-1")
	do(chromedp.KeyEvent(" "))
	first := shows("Record 1")
	time.Sleep(600 * time.Millisecond) // an answer stands for half a second
	do(chromedp.KeyEvent(" "))
	shows("serial try-2")
	do(chromedp.KeyEvent(" "))
	shows("Record 2")
	do(chromedp.Click(`[data-open="undo"]`)) // there a letter is the next serial's
	do(chromedp.Click(`[data-do="undo"]`))
	shows("serial try-2")
	shows("try-2 is withdrawn")
	do(chromedp.Click(`[data-do="restore"]`)) // taken back, and withdrawn again
	shows("try-2 is back")
	time.Sleep(600 * time.Millisecond)
	do(chromedp.KeyEvent("u"))
	shows("Withdraw try-2?")
	do(chromedp.Click(`[data-do="undo"]`))
	shows("try-2 is withdrawn")

	store, err := records.Open(context.Background(), file, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	all, err := store.Find(context.Background(), records.Filter{})
	if err != nil || len(all) != 2 {
		t.Fatalf("%d records, %v; two units were answered", len(all), err)
	}
	if word := strings.ToUpper(strings.ReplaceAll(string(all[0].Result.Verdict), "_", " ")); !strings.Contains(strings.ToUpper(first),
		word) {
		t.Errorf("the record says %s, the page %q", word, first)
	}
	if len(all[0].Pictures) != 8 || all[0].Withdrawn != nil || all[1].Withdrawn == nil {
		t.Errorf("%d pictures; the first undone: %v, the second: %v", len(all[0].Pictures), all[0].Withdrawn, all[1].Withdrawn)
	}
}
