// Package people keeps who works at a station: names, badges, roles and PINs.
//
//  1. hash.go: hashes of passphrases and PINs by argon2id.
//  2. people.go: a person, a role, and the list, which is whole or refused.
//  3. file.go: the list's file, which only its owner may read, and which is read again when it changes.
//
// Who may use what of the bench's pages is told in package bench, in one table.
package people
