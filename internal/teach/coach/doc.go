// Package coach gathers what a person can learn from the findings of some weeks, and builds
// the page that tells it.
package coach
