"""Units, messages, errors, findings and files: what every room speaks.

- `messages`: what the tool says, as an id with values, in each language.
- `errors`: every exception that this package raises on purpose.
- `findings`: what a check found, and what can hurt someone: results, never exceptions.
- `quantities`: units, what a number has to be before anything is computed from it, and numbers as
  people type them.
- `files`: reading files within limits: text, TOML with the line of each key, CSV tables.
"""

from moulddesign.core.errors import (
    PUBLISH_FAILING,
    FileError,
    FileMistakesError,
    FindingError,
    KernelError,
    Mistake,
    MouldError,
    SpecError,
    WriteError,
)
from moulddesign.core.files import (
    MOST_TEXT_BYTES,
    CsvRow,
    CsvTable,
    bundled_toml,
    decode_text,
    line_of,
    parse_toml,
    read_bytes,
    read_csv,
    read_text,
    read_toml,
    toml_lines,
)
from moulddesign.core.findings import (
    BENCH_CAUTIONS,
    CAUTIONS,
    DESIGN,
    OUR_CHOICE,
    PRACTICE,
    Finding,
    Verdict,
    judged,
    with_unit,
)
from moulddesign.core.messages import LANGUAGES, Message, say, word
from moulddesign.core.quantities import (
    G_PER_KG,
    MM3_PER_ML,
    SEVERAL,
    LengthUnit,
    ml_from_mm3,
    mm3_from_ml,
    read_cell,
    read_number,
    read_numbers,
    read_ratio,
    require_between,
    require_not_negative,
    require_positive,
    require_ratio,
)

__all__ = [
    "BENCH_CAUTIONS",
    "CAUTIONS",
    "DESIGN",
    "G_PER_KG",
    "LANGUAGES",
    "MM3_PER_ML",
    "MOST_TEXT_BYTES",
    "OUR_CHOICE",
    "PRACTICE",
    "PUBLISH_FAILING",
    "SEVERAL",
    "CsvRow",
    "CsvTable",
    "FileError",
    "FileMistakesError",
    "Finding",
    "FindingError",
    "KernelError",
    "LengthUnit",
    "Message",
    "Mistake",
    "MouldError",
    "SpecError",
    "Verdict",
    "WriteError",
    "bundled_toml",
    "decode_text",
    "judged",
    "line_of",
    "ml_from_mm3",
    "mm3_from_ml",
    "parse_toml",
    "read_bytes",
    "read_cell",
    "read_csv",
    "read_number",
    "read_numbers",
    "read_ratio",
    "read_text",
    "read_toml",
    "require_between",
    "require_not_negative",
    "require_positive",
    "require_ratio",
    "say",
    "toml_lines",
    "with_unit",
    "word",
]
