"""The design in the page's address, so that a link or a reload brings it back."""

import base64
import binascii
import json
import zlib
from typing import Any, Final

from moulddesign.design import Design
from moulddesign.errors import SpecError

MOST_CHARACTERS: Final = 6000
"""Longer addresses are refused: some programs cut them [characters]."""

MOST_BYTES: Final = 200_000
"""Largest design that an address unfolds to [bytes]."""


def packed(design: Design) -> str:
    """Return a design as text for an address: what differs from the defaults, pressed small.

    Examples
    --------
    >>> unpacked(packed(Design().with_values({"portion.ratio": "4:6"})))
    {'portion': {'ratio': '4:6'}}
    """
    plain = _difference(design.plain(), Design().plain())
    raw = json.dumps(plain, separators=(",", ":"), ensure_ascii=False).encode()
    return base64.urlsafe_b64encode(zlib.compress(raw, 9)).decode().rstrip("=")


def unpacked(text: str) -> dict[str, Any]:
    """Return the plain values of a design in the text of an address.

    Raises
    ------
    SpecError
        The text is no design: cut off, changed, or too long.
    """
    if len(text) > MOST_CHARACTERS:
        raise SpecError("address", f"{text[:20]}...", "is too long; load the design's file instead")
    try:
        unfold = zlib.decompressobj()
        raw = unfold.decompress(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)), MOST_BYTES)
        if unfold.unconsumed_tail or not unfold.eof:
            raise _damaged(text)
        plain = json.loads(raw)
    except (binascii.Error, zlib.error, ValueError, RecursionError) as error:
        raise _damaged(text) from error
    if not isinstance(plain, dict):
        raise _damaged(text)
    return plain


def _damaged(text: str) -> SpecError:
    return SpecError("address", f"{text[:20]}...", "holds no whole design; copy the link again")


def _difference(plain: dict[str, Any], usual: dict[str, Any]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for key, value in plain.items():
        if isinstance(value, dict):
            inner = _difference(value, usual.get(key, {}))
            if inner:
                made[key] = inner
        elif value != usual.get(key):
            made[key] = value
    return made
