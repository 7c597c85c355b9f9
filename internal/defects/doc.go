// Package defects finds what disturbs a lacquered surface, in all pictures of
// one pose at once (a scene), and says what kind each is.
//
// The steps, each in the file of its name:
//
//  1. surface: the faceplate's outline, its flat face and its rim.
//  2. channels: every picture's colours in linear light, as planes of one size,
//     the rim's shading taken off.
//  3. pigment: the direction in which the faceplate's own pattern varies. Paint
//     and stone look alike in both lights: partly covered pixels mix linearly,
//     so a two-colour pattern is a line in the space of all channels. What lies
//     off that line, or beyond its ends, is not pattern.
//  4. response: how far each pixel is off, in units of the noise of this very
//     surface, at several sizes.
//  5. segment: connected places above a threshold, with a lower one to grow.
//  6. features and lines: what each place is like; parallel lines become a patch.
//  7. kinds: from features to a kind, its confidence and its size.
package defects
