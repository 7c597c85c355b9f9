package report

// This file holds what is said in English only: words of pictures, of pages about the gauge, and of
// tables in a terminal. A unit's page has its words from the language files, by words.go.

// Words drawn into pictures.
