// Package defects finds what disturbs a lacquered surface, in all pictures of
// one pose at once (a scene), and says what kind each is.
//
// The rooms, in the order of the way:
//
//   - scene: the pictures made ready. Its helpers: align (how they lie on each other), surface (where it lies, its rim unrolled),
//     lampedge (orange peel, by the edges of mirrored lamps).
//   - search: what stands out of the surface's own light. Its helper: pattern (what a faceplate's own pattern looks like).
//   - here: find, what a search showed becomes places; place: each is measured; group: pieces of one thing become one place;
//     kinds: from what was measured to a kind and its confidence; finding, budget: sizes in millimetres and their uncertainty;
//     seen: which share of the surface was looked at, and why the rest was not; turns: findings of a shell's turns are joined.
//
// raster and shape are used by all: planes, sets of pixels, and what these measure.
//
// The face that goes along is scene.Face; search.Face and face hold it and add what they learn.
//
// A finding is on the rim where all of it lies within Params.RimMM of the outline (face.zoneOf). Where more than 3 px are left
// between pictures (scene.Face.Apart), each light is searched by itself.
//
// # The shell's search
//
// The search of a shell is the face's, with the base a function of the normal and no rim (scene/shell.go). All turns of a shell together
// are allowed what noise may do on a face, and what changes the light by less than the base is sure of is nothing (shell.go). See-through
// shells (scene/inside.go): long edges, seen without what is as narrow as a fibre, are closed as part.Inside, each facet between them has
// its own median as its base, and what is found must be small, an opaque or shining line, or a bundle (inside.go). A line less than half
// as thick as a wire need not lie on even ground, where both lights show it alike or it is a lamp mirrored: parts are wider. Spots are then
// sought also in front of what was closed (spots.go: what no line of its light runs through): opaque ones, bubbles by what they mirror, and
// what both lights show alike. A place with more than half of its edge beside what is not looked at is nothing (cutOff). What a shell
// mirrors besides wide lamps, the camera's opening and lamps cut off by the seam, is shelllamps.go's; beside lamps' edges responses are
// held against what all of that reaches (search/beside.go). JoinTurns (turns.go) divides sizes by Place.Stretch and puts the slope's doubt
// into the budget.
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
// air can (mattness), and so is what has a colour of its own in both lights (ownColour; on grey
// grounds isEarth). What
// hides ground from an even light and shines under low light is a bubble (isBubbleDisc). A run is
// told by a streak down the surface, by a line that ends at a glint (tailMM), or by glints that reach
// further down than across (spanOf); which way is down
// follows from the shape, not from the picture. Dull places (haze.go) are missed places where
// their edge is no wider than the blur; glints are taken off before they are sought
// (withoutGlints). In one light alone nothing bright is surely dust. Dust is sized by its area,
// craters told by a glint may be as wide as craters get: their u says so. A tail is a line whose
// sides are alike: an edge of something wide is none. What is small and bright in both lights is a
// bubble's wall (isBubbleWall). A wide, full image of one lamp that does not go down is a lamp
// that the shell itself mirrors (isLamp): not looked at, no finding.
//
// # Haze, chips, flakes, slopes
//
// Haze (haze.go) rises too softly above the local mean that the looks take off, so it is sought by
// itself: the light over the face's base, smoothed over 0.2 mm, paler in two lights at once by
// more than the paint's own darker tail. It is told from all else by how wide its edge is.
//
// Chips (chip.go): what was found at the searched part's border is one where the outermost strip
// beside it is changed, too.
//
// On a plate that sparkles, what is small and bright in one light alone is left out, with a warning (flakes.go). A slope of the surface
// mirrors one lamp, too (face.isSlope): that tells craters, runs and bare places from what lies in the lacquer or scratches it.
package defects
