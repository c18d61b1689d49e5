"""Units, errors and findings: what every room speaks.

- `errors`: every exception that this package raises on purpose.
- `files`: reading files within limits: text, TOML, CSV tables.
- `messages`: what the tool says, as an id with values, in each language.
- `findings`: what a check found, and what can hurt someone: results, never exceptions.
- `quantities`: conversions between units, and what a number has to be before anything is
  computed from it.
- `typed_numbers`: numbers as people type them, with units and commas.
"""

from moulddesign.core.errors import (
    FileError,
    FindingError,
    KernelError,
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
    parse_toml,
    read_bytes,
    read_csv,
    read_toml,
    with_decimal_point,
)
from moulddesign.core.findings import (
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
    Unit,
    between,
    ml_from_mm3,
    mm3_from_ml,
    not_negative,
    positive,
    share,
)

__all__ = [
    "CAUTIONS",
    "DESIGN",
    "G_PER_KG",
    "LANGUAGES",
    "MM3_PER_ML",
    "MOST_TEXT_BYTES",
    "OUR_CHOICE",
    "PRACTICE",
    "CsvRow",
    "CsvTable",
    "FileError",
    "Finding",
    "FindingError",
    "KernelError",
    "Message",
    "MouldError",
    "SpecError",
    "Unit",
    "Verdict",
    "WriteError",
    "between",
    "bundled_toml",
    "decode_text",
    "judged",
    "ml_from_mm3",
    "mm3_from_ml",
    "not_negative",
    "parse_toml",
    "positive",
    "read_bytes",
    "read_csv",
    "read_toml",
    "say",
    "share",
    "with_decimal_point",
    "with_unit",
    "word",
]
