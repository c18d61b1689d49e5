"""The pressed piece as one solid, what lies inside it, and its variants under further stamps.

- `pastry`: the pressed pastry as one solid: its side, upright or drafted, its top with shoulder,
  flat and reliefs; and its complement.
- `variants`: the piece in figures, and further pieces of one outline: each has its own relief
  and height.
- `interior`: what lies inside a pastry: crust, filling and centres.
"""
