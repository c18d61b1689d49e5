"""The Design: what is asked for, checked when it is made. No geometry library is loaded here.

- `schema`: how a field of the design is declared, and pydantic's errors about it as sentences.
- `reading`: a file's tables, and all that is wrong in them at once, each with its line.
- `piece_tables`: the piece, its outline and size, and what weighing and selling it need.
- `batch_tables`: many pieces: what gets lost on the way, the bake day, the basis of a price.
- `doughs`: doughs and fillings by name: water before and after baking, density.
- `dough_book`: what was measured of one's own doughs: the design's table, and the book's rows.
- `relief_tables`: the relief: its layers, and what they share.
- `face_tables`: the carved face: ground, bands, crowns, parts, medallion, and the bundled ones.
- `stamp_tables`: further stamps of a press, each with a face or a relief of its own.
- `mould_tables`: the mould: a table for each kind.
- `earlier`: what files of earlier versions may hold beside what counts.
- `printers`: printers and plastics by name, those of the package and one's own, and the
  design's table of them.
- `design`: the Design as a whole: read from TOML, overridden by options, written back.
- `assets`: files that a design names, as its fields declare them: found beside the design's file,
  renamed, and copied to where it is published.
- `owned_moulds`: a mould that one owns: what is known of it, whichever way it was measured.
- `workshop`: what is the same for every design of one person.
- `register`: the moulds that one has, printed or bought, in one file beside the workshop.
"""

from moulddesign.design.assets import (
    DRAWINGS,
    collect_drawings,
    is_file,
    named_files,
    rename_files,
    resolve_file,
    resolve_files,
)
from moulddesign.design.batch_tables import MOST_PIECES, USUAL_BOX, BakeDayTable, PriceTable
from moulddesign.design.design import DESIGN_FILE, Design
from moulddesign.design.dough_book import (
    BookDough,
    DoughBook,
    DoughFigure,
    DoughTable,
    Measured,
)
from moulddesign.design.doughs import (
    UNNAMED_CRUST,
    UNNAMED_FILLING,
    Dough,
    PartDensity,
    crusts,
    fillings,
)
from moulddesign.design.mould_tables import (
    MADE_KINDS,
    BlockTable,
    CastTable,
    Kind,
    MouldTable,
    OwnTable,
    PressTable,
    of_kind,
)
from moulddesign.design.owned_moulds import OwnedMould, Tool
from moulddesign.design.piece_tables import (
    OUTLINES,
    PROPORTION,
    SIZES,
    Centre,
    CentresWeighed,
    CountsIn,
    Finish,
    PastryTable,
    PieceComposition,
    PortionTable,
    Purpose,
    ScaleTable,
    SideForm,
    Stiffness,
    refuse_idle,
)
from moulddesign.design.printers import (
    GAUGE_GAPS_MM,
    PrinterTable,
    gauge_error_mm,
    library,
)
from moulddesign.design.reading import mistakes_in, read_tables
from moulddesign.design.register import (
    MouldState,
    Register,
    RegisteredMould,
    design_file,
    find_mould,
    merged,
    read_register,
    register_path,
    save_register,
    with_changes,
    with_ids,
    with_pressed,
    with_registered,
)
from moulddesign.design.relief_tables import (
    ONLY_FOR,
    SOURCES,
    Along,
    Layer,
    LetterSet,
    Motif,
    Profile,
    ReliefTable,
    Sense,
)
from moulddesign.design.schema import (
    TABLE,
    TRADE,
    EntryError,
    FileKind,
    Place,
    RefusedError,
    Table,
    given,
    keys_of_field,
    kind_of,
    place_of,
    said_of,
    spec_error,
    spec_errors,
    tables_in,
    takes_numbers,
)
from moulddesign.design.stamp_tables import FurtherStamp
from moulddesign.design.workshop import (
    IN_DESIGN,
    Units,
    Workshop,
    dough_book_path,
    free_values,
    read_dough_book,
    read_workshop,
    save_dough_book,
    save_workshop,
    with_changed_workshop,
    with_workshop,
    workshop_path,
)

__all__ = [
    "DESIGN_FILE",
    "DRAWINGS",
    "GAUGE_GAPS_MM",
    "IN_DESIGN",
    "MADE_KINDS",
    "MOST_PIECES",
    "ONLY_FOR",
    "OUTLINES",
    "PROPORTION",
    "SIZES",
    "SOURCES",
    "TABLE",
    "TRADE",
    "UNNAMED_CRUST",
    "UNNAMED_FILLING",
    "USUAL_BOX",
    "Along",
    "BakeDayTable",
    "BlockTable",
    "BookDough",
    "CastTable",
    "Centre",
    "CentresWeighed",
    "CountsIn",
    "Design",
    "Dough",
    "DoughBook",
    "DoughFigure",
    "DoughTable",
    "EntryError",
    "FileKind",
    "Finish",
    "FurtherStamp",
    "Kind",
    "Layer",
    "LetterSet",
    "Measured",
    "Motif",
    "MouldState",
    "MouldTable",
    "OwnTable",
    "OwnedMould",
    "PartDensity",
    "PastryTable",
    "PieceComposition",
    "Place",
    "PortionTable",
    "PressTable",
    "PriceTable",
    "PrinterTable",
    "Profile",
    "Purpose",
    "RefusedError",
    "Register",
    "RegisteredMould",
    "ReliefTable",
    "ScaleTable",
    "Sense",
    "SideForm",
    "Stiffness",
    "Table",
    "Tool",
    "Units",
    "Workshop",
    "collect_drawings",
    "crusts",
    "design_file",
    "dough_book_path",
    "fillings",
    "find_mould",
    "free_values",
    "gauge_error_mm",
    "given",
    "is_file",
    "keys_of_field",
    "kind_of",
    "library",
    "merged",
    "mistakes_in",
    "named_files",
    "of_kind",
    "place_of",
    "read_dough_book",
    "read_register",
    "read_tables",
    "read_workshop",
    "refuse_idle",
    "register_path",
    "rename_files",
    "resolve_file",
    "resolve_files",
    "said_of",
    "save_dough_book",
    "save_register",
    "save_workshop",
    "spec_error",
    "spec_errors",
    "tables_in",
    "takes_numbers",
    "with_changed_workshop",
    "with_changes",
    "with_ids",
    "with_pressed",
    "with_registered",
    "with_workshop",
    "workshop_path",
]
