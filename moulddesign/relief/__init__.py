"""The surface of the relief: the contour roof over a region of artwork, and carved ground.

- `profile`: the profile of a stroke: height over the distance to its edge.
- `voronoi`: a region's edge on an integer grid, and the Voronoi diagram of its segments (Boost's,
  through pyvoronoi).
- `medial_axis`: the medial axis of a region: whole, or near the edge only, which is all that a
  plateau needs.
- `strips`: the medial axis cut where the profile bends, and the strip that each of its edges
  spans.
- `roof`: the contour roof: a surface over a region whose height follows the distance to the edge.
- `field`: labelled height fields, highest and lowest of smooth pieces, and the signed distance to
  an edge.
- `height_map`: height maps of other programs, pressed to a depth and made releasable.
- `cutter`: what a rotating cutter leaves of an engraving: its morphological closing.
- `creases`: the lines along which one piece of a field ends and another begins.
- `facets`: constraint edges noded, and a triangulation refined to the field within a bound.
- `facet_samples`: how far facets are off the field: on a grid that is asked once, and between.
- `coarsening`: corners of such a triangulation taken out where it stays within the bound.
- `lifted_walls`: the contour roof's walls on carved ground.
- `draft_repair`: steep slivers mended, heights moved by the least that gives facets their draft.
- `carved_surface`: a field and the artwork on it as one mesh within an outline.
- `stamp_rim`: the stamp's ribs where they end at its rim under a carved face.
"""
