"""Everything that leaves the tool: formats, drawing, card, pictures, and the folder they go into.

- `publishing`: publishing a build or coupons: each file written, read back and timed, in a folder
  of all.
- `build_files`: the files of a build: which there are, and how each is made.
- `folder`: a folder that appears whole or not at all: written beside its place, then
  renamed.
- `digests`: what a folder was made from, and whether all of it is still as written.
- `sharing`: a bundle of a design: what goes into it, what stays out, and its thumbnail.
- `held_moulds`: what a folder holds already, and whether a build may take its place.
- `formats`: what a build is written as, and bodies as files: STL, 3MF with the parts side by
  side on the bed, GLB and STEP.
- `card`: the bench card: a PDF for the baker, the printer and the wall, and its pages as pictures.
- `card_html`: the bench card for a screen: one HTML file for a tablet in the kitchen.
- `press_steps`: how a press is used, step by step, with sections of its own parts.
- `slicing`: what a slicer says of the parts, where a program is named.
- `card_piece`: what a card says of one piece, whatever its mould.
- `carving_templates`: contour lines and section templates for carving a mould by hand, 1:1.
- `engraving`: the engraving as a cutter leaves it, and what that costs.
- `height_maps`: the relief as a 16-bit picture of heights.
- `order_sheet`: the order sheet for a printing service.
- `owned_card`: the bench card of a mould that exists.
- `approval`: one page at 1:1 for whoever ordered a piece, to be signed before it is made.
- `sizes_card`: one card for all the sizes of a design.
- `label_sheet`: a sheet of labels for packs.
- `fonts`: fonts of card and drawing: which characters they have, and where long words may break.
- `drawing`: the drawing: views on the smallest sheet that takes them in true size, frame and title
  block, as a DXF and as an SVG file.
- `views`: views of parts and of the mould pressed to its nominal height: section, plan, sizes
  found in them, and their dimensions.
- `side_band_table`: bands around a side as a table on the drawing.
- `entities`: what a drawing consists of: lines, circles, texts and dimensions, on layers by
  meaning.
- `pictures`: the PNG pictures of a build: what each shows.
- `flat_pictures`: artwork seen flat: bundled patterns on one sheet, thin strokes and gaps ringed.
"""

from moulddesign.export.build_files import BuildFiles, face_makers, sendable_makers
from moulddesign.export.digests import (
    asked_digest,
    design_as_written,
    design_without_digests,
    is_made_from,
    whole_report,
)
from moulddesign.export.folder import atomic_folder, locked, recover, replace_folder, staging_folder
from moulddesign.export.formats import ExportOptions
from moulddesign.export.held_moulds import (
    REPORT,
    check_no_file_in_place,
    check_replaceable,
    has_same_mould,
    refuse_to_lose,
)
from moulddesign.export.publishing import keep_readings, publish, publish_failing

__all__ = [
    "REPORT",
    "BuildFiles",
    "ExportOptions",
    "asked_digest",
    "atomic_folder",
    "check_no_file_in_place",
    "check_replaceable",
    "design_as_written",
    "design_without_digests",
    "face_makers",
    "has_same_mould",
    "is_made_from",
    "keep_readings",
    "locked",
    "publish",
    "publish_failing",
    "recover",
    "refuse_to_lose",
    "replace_folder",
    "sendable_makers",
    "staging_folder",
    "whole_report",
]
