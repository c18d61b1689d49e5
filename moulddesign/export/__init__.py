"""Everything that leaves the tool: one module a format, and the folder they go into."""

from moulddesign.export.folder import publish, publish_failing, refuse_to_replace
from moulddesign.export.wanted import EVERYTHING, Format, Wanted, formats, paper

__all__ = [
    "EVERYTHING",
    "Format",
    "Wanted",
    "formats",
    "paper",
    "publish",
    "publish_failing",
    "refuse_to_replace",
]
