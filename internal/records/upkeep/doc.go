// Package upkeep looks after the database of inspections for a person: it backs up,
// restores, checks, exports, forgets old pictures, erases a name, and tells what it did.
package upkeep
