// Package unit holds 'inspect unit' and 'inspect surface': their flags and their help.
package unit
