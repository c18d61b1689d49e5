"""The carved face of a pastry as a labelled height field along any outline.

- `surface`: points with what is shared about them, and the heights that parts raise and cut.
- `silhouettes`: distances to the edge of petals, leaves and other figures, from tables; of stars.
- `grounds`: flat, domed, dished and stepped grounds, and the shoulder that a face runs over.
- `band_fills`: what a band repeats along itself: beads, rope, leaves, waves, key, rings.
- `bands`: bands along the outline, with whole repeats and mirrored, mitred or leaved corners.
- `lettered_bands`: lettering in a band, along the outline.
- `crowns`: rows of petals around the middle.
- `carved_figures`: single carved parts: leaves, drops, balls, stems, burrs, stars, crescents.
- `medallions`: the disc in the middle, its ring, and what it holds.
- `carvings`: height maps of other programs as parts.
- `carved_face`: all of them together for a face, an outline and a draft.
"""
