// Package shoot carries out the shooting plan of a unit.
//
// For each step: switch the light, turn the unit, wait until it has settled,
// take the newest frame from after that moment, look whether it is fit, take it
// once more where it is not, go on. Where there is no rig, the operator is asked
// and presses the pedal. A camera or a line that is lost is told at once and
// waited for; what was shot before is kept. At the end, and on the way out of any
// error, the lights go out.
package shoot
