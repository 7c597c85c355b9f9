// Package lot is 'inspect lot': its commands' flags and help. What they do is
// internal/lots/book.
package lot
