// Package book keeps blind tests in the records: store.go a test, who takes it and what was
// answered; pool.go the units that a test can be drawn of, from records and from known
// units; people.go who is who. quiz.go carries out what the commands ask for; sheet.go,
// progress.go and json.go tell how a person did, marks.go in pictures. paint.go,
// paintshell.go and mirror.go draw units with known defects.
package book
