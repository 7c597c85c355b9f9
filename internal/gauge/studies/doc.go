// Package studies tells people what package study makes of their tables: a crossed study
// of a gauge, its bias, how far people's calls agree, a check piece over time. Each study
// has a file that reads what the command is given, and one that builds its page and its
// numbers (gauge.go and gaugesheet.go, and so on); folders.go takes the readings of a
// crossed study from results, check.go puts a measurement of the check piece on its log.
package studies
