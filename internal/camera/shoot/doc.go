// Package shoot carries out the shooting plan of a unit.
//
// For each step: switch the light, turn the unit, have the screen show its pattern,
// wait until all has settled, take the newest frame from after that moment, look
// whether it is fit, take it once more where it is not, go on. Where there is no
// rig, the operator is asked and presses the pedal. A camera, a line or a screen
// that is lost is told at once and waited for; what was shot before is kept. At the
// end, and on the way out of any error, the lights go out and the screen turns white.
package shoot
