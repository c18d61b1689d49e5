"""What the page hands out, one drawer for each open tab under a name that cannot be guessed."""

import io
import secrets
import zipfile
from collections.abc import Mapping
from typing import Final

ZIP_DATE: Final = (1980, 1, 1, 0, 0, 0)
"""The earliest that a zip can hold: the same files give the same bytes."""

Drawer = dict[str, bytes]


class Desk:
    """The drawers of all open tabs."""

    def __init__(self) -> None:
        self._drawers: dict[str, Drawer] = {}

    def opened(self) -> tuple[str, Drawer]:
        """Return a new drawer and its name."""
        token = secrets.token_urlsafe(18)
        self._drawers[token] = {}
        return token, self._drawers[token]

    def close(self, token: str) -> None:
        """Throw a drawer and what is in it away."""
        self._drawers.pop(token, None)

    def file(self, token: str, name: str) -> bytes | None:
        """Return a file; None where there is none of that name."""
        return self._drawers.get(token, {}).get(name)


def zipped(files: Mapping[str, bytes], folder: str) -> bytes:
    """Return files in one zip, inside a folder.

    Parameters
    ----------
    files : mapping of str to bytes
        Content by name.
    folder : str
        Name of the folder.
    """
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(f"{folder}/{name}", ZIP_DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return target.getvalue()
