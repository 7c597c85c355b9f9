// Package cli is what the commands share: usage errors and exit codes, OUT and the
// folder of results that a unit gets under it, the pages and tables that commands
// write and read, and numbers as text. It knows no flags; these are cmd/inspect's.
package cli
