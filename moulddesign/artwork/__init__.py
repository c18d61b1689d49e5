"""Everything flat: outlines, drawings, pictures, lettering, motifs, layers, legibility.

- `polygons`: polygon sets with their share of the relief's depth, and the curves that bound them.
- `outline`: the outline of a pastry seen from above, of each kind, and the width at which it
  holds an area or a volume.
- `svg_shapes`: SVG's path grammar, lengths, basic shapes, transforms and frames.
- `svg_paint`: how a drawing's elements are painted: the cascade of styles, colours as shares of
  the depth, fill and stroke as polygons.
- `svg`: an SVG drawing as regions of relief.
- `font_files`: the bundled font, those that the operating system keeps, which one has a text.
- `lettering`: text shaped and outlined, in lines, in columns, or as a seal of two by two.
- `path_lettering`: lettering along a circle or along the outline of the pastry itself.
- `motifs`: motifs by construction, for a maker without a drawing: each fills or follows any
  outline.
- `bundled_patterns`: names and titles of the bundled patterns, and the files of artwork.
- `patterns`: artwork by name or by file: a bundled pattern, an SVG drawing, or a picture, which
  is traced.
- `layers`: layers on the flat top: scaled, placed, copied, and cut where a later one lies.
- `legibility`: thinnest strokes and gaps of a region, and strokes thickened to a minimum.
- `artwork_check`: what is true of an artwork at a size, and its thin strokes and gaps.
"""
