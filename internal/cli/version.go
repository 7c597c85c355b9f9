package cli

// Version is the version of this program. The schema of result.json
// has its own number.
const Version = "0.1.0"
