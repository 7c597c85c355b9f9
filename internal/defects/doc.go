// Package defects finds what disturbs a lacquered surface, in all pictures of
// one pose at once (a scene), and says what kind each is.
//
// The steps, each in the file of its name:
//
//  1. register: how the pictures lie against the first, by detail inside the
//     outline or by the outline itself. All that follows is in the first picture's pixels; what is told of another goes back
//     into its own. surface: the distance from the outline (package outline).
//  2. channels: every picture's colours in linear light, as planes of one size;
//     base: their level, a smooth surface of light.
//  3. pigment: the directions in which the faceplate's own pattern varies. Paint
//     and stone look alike in both lights, and partly covered pixels mix linearly,
//     so a two-colour pattern is a line in the space of all channels. What lies
//     off that line, or beyond its ends, is no pattern.
//  4. plate: what shows of the shell's side is no faceplate. lamps: where a lamp, a
//     window or the camera's hole is mirrored; inside, its light has a base of its
//     own, its edge is not searched in that picture. rim: unrolled along the outline (strip),
//     its base is what is constant there. glare: lamps mirrored in the rim. print,
//     figure: emblems and lettering, whose edge is not searched and whose ink is a
//     base of its own. peel: whether the edges of mirrored lamps wave (mirroredge). open: which pixels may be searched in which pictures; each set
//     of pictures is one view, searched by itself. seen: which share of the surface
//     was looked at, and why the rest was not.
//  5. looks: what to look for. All left-over directions at once; the lacquer's
//     own faults, which dim or brighten one light; and the ground between a
//     pattern's figures, which is as plain as a plain faceplate.
//  6. response: each look at several sizes, in units of the noise of this very
//     surface, over the height that noise alone reaches on few faces (threshold); range: the
//     pattern's own range; tame: the rim's unevenness. texture: a
//     panel in one light may be brushed or ground; there spots and lines are held
//     against the spread of the texture around them, and how strong it is is evened.
//  7. segment, window, place: connected places above the threshold, each measured
//     in pixels finer than those of the search (shape, lines).
//  8. group: pieces of one thing become one place; kinds: from what was measured
//     to a kind and its confidence; finding: sizes in millimetres.
//
// The search averages pixels to about 0.03 mm, since nothing that matters is
// smaller, and twelve megapixels then cost little more than two.
package defects
