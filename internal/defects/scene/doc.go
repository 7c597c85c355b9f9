// Package scene makes the pictures of one pose ready for the search: what in them is the surface's light, and what is a lamp, a
// window, print, glare, a part inside. It says where in which picture may be searched, and why not elsewhere.
//
// Prepare's steps, each in the file of its name:
//
//  1. lie: how the pictures lie against the first (package align). All that follows is in the first picture's pixels: Picture.Plane
//     samples the others through their registration, and Face.BoxIn goes back into a picture's own. The surface and each pixel's
//     distance from its outline are package surface's.
//  2. channels: every picture's colours in linear light, as planes of one size; light: their base, a smooth surface of light, on a
//     shell (shell) a function of the normal.
//  3. plate: what shows of the shell's side is no faceplate. lamps: where a lamp, a window or the camera's hole is mirrored; inside, its
//     light has a base of its own, its edge is not searched in that picture. mirrored: how lamps' edges wave (package lampedge).
//     rim, rimblocks: unrolled along the outline, its base is what is constant there. glare: lamps mirrored in the rim. inside: long
//     edges that a see-through shell shows, and facets between them.
//     print, figure: emblems and lettering, found by one ink, a sharp edge, two lights alike and by lying in one place; their edge is
//     not searched, and the ink is a base of its own.
//  4. open: which pixels may be searched in which pictures.
//
// Planes are in search pixels, averaged to about 0.03 mm, since nothing that matters is smaller, and twelve megapixels then cost
// little more than two.
package scene
