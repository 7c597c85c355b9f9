// Package teach holds the commands with which people learn and teach: atlas, quiz, coach and
// learn, their flags and their help.
package teach
