// Package flags holds the flags that several commands share, and how a command says that
// its arguments are wrong.
package flags
