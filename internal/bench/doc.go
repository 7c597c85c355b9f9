// Package bench is the operator's page at the bench: a state machine that goes
// from a ready unit to its answer and on to the next, and the web server that
// shows it to one operator and any number of onlookers.
//
//  1. machine.go: phases, events, and what each event asks for. Pure.
//  2. station.go: one goroutine that feeds events to the machine, and carries
//     out what it asks for through the interfaces of interfaces.go.
//  3. events.go: each new state goes to every browser as a server-sent event.
//     A browser that cannot keep up misses states in between, never the last.
//  4. sentence.go, view.go: a state in words of the browser's language. All
//     words are in lang/*.json; a test looks for words elsewhere.
//  5. light.go: a tablet or spare monitor as the light, and what it is asked to show.
//  6. server.go, access.go: routes, passphrase, sessions, what is let in.
//
// The package knows neither cameras nor pixels nor databases: cmd/inspect gives
// it a [Shooter], a [Judge] and a [Recorder].
package bench
