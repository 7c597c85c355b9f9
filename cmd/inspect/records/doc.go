// Package records is 'inspect records': its commands' flags and help.
package records
