"""How much of each kind of input is read: bytes, points, crossings, pixels, triangles, rows.

Whatever goes beyond is refused in a sentence before the work begins, on the command line and on the
page. Each limit is far above what people make, and low enough that the refusal comes within two
seconds. Where no source is named, it is our choice.
What a zip from others may hold of each kind is beside its reader, `design/bundle.py`.
"""

from typing import Final

MOST_TEXT_BYTES: Final = 1_000_000
"""Largest text file: designs, recipes, tables, reports are far smaller [bytes]."""
MOST_REPORT_BYTES: Final = 20_000_000
"""Largest report of a build, of many stamps [bytes]."""
MOST_MISTAKES: Final = 100
"""Mistakes of one file that are listed; the others are once these are mended."""
MOST_SAID: Final = 200
"""Longest text of a file that a sentence repeats in full [characters]."""
MOST_NESTED: Final = 50
"""Most lists and tables inside one another in a TOML file; ours have six at the most."""
MOST_ENTRIES: Final = 50_000
"""Most keys and entries of lists in a TOML file, and most lines of a CSV table."""
MOST_ROWS: Final = 5_000
"""Most pieces of a series: a day of work for two cores."""

MOST_DRAWING_BYTES: Final = 10_000_000
"""Largest drawing or picture that is artwork [bytes]."""
MOST_ELEMENTS: Final = 10_000
"""Elements of a drawing, each copy that `use` and clip paths make counted."""
MOST_ELEMENTS_DEEP: Final = 60
"""Most elements inside one another, `use` and clip paths counted."""
MOST_STEPS: Final = 500_000
"""Steps of reading a drawing, a microsecond or two each: numbers of its paths, transforms and
dashes, letters of its styles, declarations that meet an element, each as often as it is copied."""
STEPS_A_RULE: Final = 100
"""Steps that a rule of a style sheet takes."""
STEPS_A_LINE: Final = 20
"""Steps that a path takes for each line that it begins."""
MOST_CLIPS: Final = 5_000
"""Clip paths that a drawing applies and the shapes in them, each as often as it is applied."""
MOST_POINTS: Final = 400_000
"""Points of a drawing, each crossing of lines counted as one."""
NESTED_A_POINT: Final = 10
"""Times that a closed line lies in another of its path which take as long as a point."""
MOST_CONTOURS: Final = 20_000
"""Outlines and holes of what a drawing or a picture leaves visible: of three times as many the flat
kernel ends the process (manifold3d 3.5)."""
MOST_DASHES: Final = 20_000
"""Dashes along one line of a drawing."""

MOST_PICTURE_PIXELS: Final = 50_000_000
"""Pixels of a picture before it is scaled down."""
MOST_PICTURE_BYTES: Final = 200_000_000
"""Largest picture of heights: 16 bits a pixel take 100 MB [bytes]."""
MOST_TRACED: Final = 1600
"""Pixels along the larger side that are traced; a larger picture is scaled down to it."""

MOST_FONT_BYTES: Final = 60_000_000
"""Largest font; those of tens of thousands of Chinese characters take 20 MB [bytes]."""
MOST_LETTERS: Final = 400
"""Most letters of a text that is pressed."""

MOST_MESH_BYTES: Final = 600_000_000
"""Largest mesh, and most that the models of a 3MF file may unpack to [bytes]."""
MOST_TRIANGLES: Final = 2_000_000
"""Larger meshes are refused: with this many, memory stays under 2 GB."""
MOST_MESH_FILES: Final = 10_000
"""Most files in a 3MF file."""
MOST_MESH_PARTS: Final = 100_000
"""Most objects, components and items of a 3MF file together: each takes half a kilobyte."""
MOST_COMPONENTS_DEEP: Final = 16
"""Most components inside components of a 3MF file."""
MOST_TAG_BYTES: Final = 4_000_000
"""Longest element of a 3MF file that is waited for: the parser keeps what it has of it [bytes]."""

MOST_UPLOAD_S: Final = 30.0
"""Longest time that an upload may take [s]."""
