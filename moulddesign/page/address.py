"""The design in the page's address: what differs from the defaults, compressed."""

import base64
import binascii
import json
import zlib
from typing import Any, Final

from moulddesign.core import SpecError, say
from moulddesign.design import Design, Kind

MOST_CHARACTERS: Final = 6000
"""Longer addresses are refused: some programs cut them [characters]."""

MOST_BYTES: Final = 200_000
"""Largest design that an address unpacks to [bytes]."""


def encode_design(design: Design) -> str:
    """Return a design as text for an address: what differs from the defaults, compressed.

    Examples
    --------
    >>> decode_design(encode_design(Design().with_values({"portion.ratio": "4:6"})))
    {'portion': {'ratio': '4:6'}}
    """
    default = Design().with_values({"mould.kind": design.mould.kind})
    plain = _difference(design.plain(), default.plain())
    if design.mould.kind is not Kind.PRESS:
        plain.setdefault("mould", {})["kind"] = design.mould.kind.value
    raw = json.dumps(plain, separators=(",", ":"), ensure_ascii=False).encode()
    return base64.urlsafe_b64encode(zlib.compress(raw, 9)).decode().rstrip("=")


def decode_design(text: str) -> dict[str, Any]:
    """Return the plain values of a design in the text of an address.

    Raises
    ------
    SpecError
        The text is no design: cut off, changed, or too long.
    """
    start = f"{text[:20]}..."
    if len(text) > MOST_CHARACTERS:
        raise SpecError("address", start, say("page.address-too-long"))
    damaged = SpecError("address", start, say("page.address-damaged"))
    try:
        unpacker = zlib.decompressobj()
        padded = text + "=" * (-len(text) % 4)
        raw = unpacker.decompress(base64.urlsafe_b64decode(padded), MOST_BYTES)
        if unpacker.unconsumed_tail or not unpacker.eof:
            raise damaged
        plain = json.loads(raw)
    except (binascii.Error, zlib.error, ValueError, RecursionError) as error:
        raise damaged from error
    if not isinstance(plain, dict):
        raise damaged
    return plain


def _difference(plain: dict[str, Any], default: dict[str, Any]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for key, value in plain.items():
        if isinstance(value, dict):
            inner = _difference(value, default.get(key, {}))
            if inner:
                made[key] = inner
        elif value != default.get(key):
            made[key] = value
    return made
