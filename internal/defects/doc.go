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
//
// # Scenes
//
// All pictures of a pose share one outline, one blur (capture.Blur) and one frame, the first
// picture's. Inside defects everything is in that frame: Picture.plane samples the others through
// their registration, face.boxIn and Result.OutlineIn go back into a picture's own pixels. A
// finding is on the rim where all of it lies within Params.RimMM of the outline (face.zoneOf).
// Where more than 3 px are left between pictures (face.apart), each light is searched by itself.
//
// # Looks and views
//
// To find something new in lacquer, add a look (looks.go): rows from the channels' deviations to
// values whose length is the response. Thresholds come from the face itself (threshold.go), so a
// look needs no number of its own. Then what tells its kind, in kinds.go.
//
// Where a lamp's edge, glare in the rim or clipping closes a picture, the rest is searched in the
// pictures that are open there: each set of them is a view (face.views), learned from all that it
// shows and counted where just these are open. In slivers (sliverMM2) nothing large is sought. The
// rim's base is what is constant along the unrolled outline (strip.go, rim.go). Where the rim
// (tame.go) or a wide part of the face (calm.go: a fingerprint) is more uneven than the rest, what
// is there has to stand out as many times more (face.ease).
//
// # The shell's search
//
// The search of a shell (shell.go) is the face's, with the base a function of the normal
// (face.normals) and no rim. All turns of a shell together are allowed what noise may do on a
// face, and what changes the light by less than the base is sure of is nothing. See-through shells
// (inside.go): long edges, seen without what is as narrow as a fibre, are closed as part.Inside,
// each facet between them has its own median as its base, and what is found must be small, an
// opaque or shining line, or a bundle. Opaque spots are then sought also in front of what was
// closed (spots.go: what no line of its light runs through). What a shell mirrors besides wide
// lamps, the camera's opening and lamps cut off by the seam, is shelllamps.go's; beside lamps'
// edges responses are held against what all of that reaches (tameBesideLamps). JoinTurns
// (turns.go) divides sizes by Place.Stretch and puts the slope's doubt into the budget.
//
// What drawn shells say of found, named, counted once, sized within 2 u, by kind:
//
//	FINISHBENCH_FIGURES=1 go test -run TestShellFigures -v -timeout 60m ./internal/defects
//
// # Kinds on a shell
//
// Here the rules are those of slopes.go. Dust and fibres are matt: what they change in one light
// shows again in the other (face.again, the regression of one light's map on the other's, both
// ways, each over what the whole surface sends; matt from a third on). A bubble's, crater's, run's
// or missed place's slopes mirror lamps, each where it fits: place.mirrors; a line that does not
// show again is an edge of the lacquer. What is dark is dust where it hides more than a ball of
// air can (mattness), and so is what has a colour of its own in both lights (ownColour). What
// hides ground from an even light and shines under low light is a bubble (isBubbleDisc). A run is
// told by a streak down the surface or by a line that ends at a glint (tailMM); which way is down
// follows from the shape, not from the picture. Dull places (haze.go) are missed places where
// their edge is no wider than the blur; glints are taken off before they are sought
// (withoutGlints). In one light alone nothing bright is surely dust. Dust is sized by its area,
// craters told by a glint may be as wide as craters get: their u says so. A tail is a line whose
// sides are alike: an edge of something wide is none. What is small and bright in both lights is a
// bubble's wall (isBubbleWall). A wide, full image of one lamp that does not go down is a lamp
// that the shell itself mirrors (isLamp): not looked at, no finding.
//
// # Orange peel, haze, chips, print
//
// Orange peel under lamps (mirroredge.go, peel.go): the contour at half of a lamp's light is
// followed and its turns to and fro are counted; corners and soft lights count nothing. lampEdges
// knows no faceplate: it wants the mirrored light over half of its lamp's, which pixels count, and
// each pixel's place on the surface laid out flat.
//
// Haze (haze.go) rises too softly above the local mean that the looks take off, so it is sought by
// itself: the light over the face's base, smoothed over 0.2 mm, paler in two lights at once by
// more than the paint's own darker tail. It is told from all else by how wide its edge is.
//
// Chips (chip.go): what was found at the searched part's border is one where the outermost strip
// beside it is changed, too.
//
// Print (print.go) is found before anything is searched, by one ink, a sharp edge, two lights
// alike and by lying in one place. Its edge is closed in all pictures; inside, the ink is the
// base.
//
// # Flakes and slopes
//
// A flake mirrors one lamp, so on a plate that sparkles (flakes.go) each light has pattern
// directions of its own, what changes the light alike in both is looked for (both.go), and what is
// small and bright in one light alone is left out, with a warning. A slope of the surface mirrors
// one lamp, too (face.isSlope): that tells craters, runs and bare places from what lies in the
// lacquer or scratches it.
//
// # One light, textured surface
//
// This is face.lone: FindPanel with one picture. No second light tells what is the surface's own,
// and brushed or ground metal is strong along its grain, more so here than there. So averages over
// spots of several sizes and over lines in twelve directions are held against their own spread
// around them (texture.go), on top of all other looks, and these see a texture damped where it is
// stronger than elsewhere. What the texture hides is said as a warning. Scenes of two lights never
// come here.
package defects
