// Package rig switches the lights and turns the unit: G-code (RS-274) over a
// serial line.
//
//  1. The line is opened, and opened again with growing waits when it is lost.
//     Many controllers start anew when it is opened: what they say first is
//     remembered, so that a start at another time is known for what it is.
//  2. Each line that is sent waits for its ok. An error, an answer that makes no
//     sense, none in time, a start in the middle: each is told in words.
//  3. After a lost answer nothing is known of where the unit stands, and nothing is
//     sent again blindly: the next turn asks for the position, or homes, first.
//  4. Lights are switched on at most twice a second, whatever is asked for: light
//     that flashes 3 to 60 times a second harms some people (the lower bound is that
//     of WCAG 2.2, success criterion 2.3.1; the upper from memory).
package rig
