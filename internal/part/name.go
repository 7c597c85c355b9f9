package part

import "strings"

// UnitName is the name of a unit in results: "u06-R", or the serial where no side
// is told.
func UnitName(serial, side string) string {
	if side == "" {
		return serial
	}
	return serial + "-" + side
}

// SerialAndSide takes the side off a unit's name, u06-R, unless it is told.
func SerialAndSide(name, told string) (serial, side string) {
	if told != "" {
		return name, told
	}
	for _, s := range []string{"L", "R"} {
		if serial, ok := strings.CutSuffix(name, "-"+s); ok && serial != "" {
			return serial, s
		}
	}
	return name, ""
}
