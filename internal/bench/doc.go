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
// it, gives it a [Shooter], a [Judge] and a [Recorder].
//
// # Scans
//
// A barcode reader types. Its scans are told from typing in bench.js, for all pages: keys at most
// 60 ms apart, by the times that they bear, and Enter. What is typed into a field stands at once
// and is taken back if it was a scan; elsewhere a letter waits 100 ms before it is a shortcut, and
// a page's own shortcuts need nothing for that. Fields of other pages than the bench, outside of
// dialogs, are left alone. State.scan says what the bench makes of a scan.
//
// 600 scans in 12 places:
//
//	FINISHBENCH_FIGURES=1 go test -run 'TestBrowser/^Scans$' -v -timeout 30m ./internal/bench
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
