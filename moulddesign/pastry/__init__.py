"""The pressed piece as one solid, what lies inside it, and its variants under further stamps.

- `top_surface`: its surface within the outline: flat top, relief, shoulder, drafted side.
- `side_bands`: bands around a side that leans, as corners of its section.
- `carved_top`: a carved face as its top, and the ground that the filling follows.
- `pastry`: the pressed pastry as one solid, and its complement.
- `resizing`: the size of a pastry of another volume, without making it.
- `variants`: the piece in figures, and further pieces of one outline: each has its own relief
  and height.
- `interior`: what lies inside a pastry: crust, filling and centres.
"""
