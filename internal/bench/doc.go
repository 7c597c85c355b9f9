// Package bench is the operator's page at the bench: a state machine that goes
// from a ready unit to its answer and on to the next, and the web server that
// shows it to one operator and any number of onlookers.
//
//  1. machine.go: phases, events, and what each event asks for. Pure.
//  2. station.go: one goroutine that feeds events to the machine, and carries
//     out what it asks for through the interfaces of interfaces.go.
//  3. hub.go, server.go: each new state goes to every browser as a server-sent event.
//     A browser that cannot keep up misses states in between, never the last.
//  4. sentence.go, view.go: a state in words of the browser's language. All
//     words are in lang/*.json, and its pages in page/*.html; a test looks for words elsewhere.
//  5. light.go: a tablet or spare monitor as the light, and what it is asked to show.
//  6. server.go, access.go: routes, passphrase, sessions, what is let in.
//
// The package knows neither cameras nor pixels nor databases: package station, below
// it, gives it a [Shooter], an [Inspector] and a [Recorder].
//
// # Scans
//
// A barcode reader types. Its scans are told from typing in scan.js, which is on every page: keys at
// most 60 ms apart, by the times that they bear, and Enter. What is typed into a field stands at once
// and is taken back if it was a scan; elsewhere a letter waits 100 ms before it is a shortcut, and
// a page's own shortcuts need nothing for that. A passphrase's field is left alone. Each key is kept
// twice, as the letter that it wrote and by its place on an English keyboard: readers are mostly set
// to that one, and an input method writes no letters at all.
//
// scan.js sends nothing: it gives the page an event "scan". bench.js posts it; other pages ask
// GET /scan what it was and say so; the light page, whose words would lie on the light, posts it to
// the bench too. Package scan tells what was read, State.scan what the bench makes of it. A press that
// follows a scan goes by that scan's own turn, and is dropped with a scan that is refused.
//
// The threshold is a reader's 40 ms and 20 more. Of keys sent 2 to 40 ms apart, without times of their
// own, to Chromium 156 on two cores with ten times the work that they can do, half came on time and
// 99 in 100 by 13 ms later (of those 40 ms apart 54). A keyboard's own times are better. People who
// type fast leave 80 ms and more (from memory). The measurement, and 600 scans in 12 places:
//
//	FINISHBENCH_LONG=1 go test -run 'TestBrowser/^(Gaps|Scans)$' -v -timeout 30m ./internal/bench
//
// # Legible
//
// bench.css: what is read (the sentence why, the plan) has letters of --read, what is touched is
// --touch high and wide; both from a tablet of 9.7 inches at 1 m and in gloves. lookedAt in
// browser_test.go holds pages to that, to the screen's width and to whole words, and axe-core to
// WCAG, in every state; with FINISHBENCH_LONG on all screens. Pictures to be looked at:
//
//	FINISHBENCH_LONG=1 FINISHBENCH_STORIES=dir go test -run 'TestBrowser/^Sizes$' -timeout 30m ./internal/bench
//
// # Light from a screen
//
// The tablet is light.go. [Screens].Show(ctx, Pattern) returns once each open /light page has told
// that just this pattern (by its number) is painted, or says what to do; it waits so that changes
// stay under three a second. The page is page/light.html and light.js (it draws, and tells how it
// stands at each change and every five seconds); its routes are lightpage.go. Screens.Gamma, where
// it was measured, goes with each pattern to encode of light.js; Screens.Grey shows a plain level.
//
// A thousand patterns held against the canvas, pixel by pixel, and pictures of the page:
//
//	FINISHBENCH_LIGHT=1000 go test -run 'TestLightBrowser/Patterns' -v ./internal/bench
//	FINISHBENCH_STORIES=dir go test -run 'TestLightBrowser/Looks' ./internal/bench
package bench
