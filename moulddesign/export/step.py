"""STEP (ISO 10303-21) of the bodies with exact surfaces."""

import re
import tempfile
from pathlib import Path
from typing import Final

from moulddesign import __version__
from moulddesign.errors import KernelError
from moulddesign.mould import Solid

NO_RELIEF: Final = "blank: the relief and the shoulder are NOT in this file, take them from the STL"
"""What the file of a blank says of itself."""

TIME: Final = "1970-01-01T00:00:00"
"""Stands for the time of writing, so that the same body is the same bytes."""

HEADER: Final = """ISO-10303-21;
HEADER;
FILE_DESCRIPTION(('{description}','lengths in millimetres'),'2;1');
FILE_NAME('{name}.step','{time}',(''),(''),'{program}','{program}','');
"""


def step_bytes(solid: Solid, *, name: str, description: str) -> bytes:
    """Return a body as a STEP file whose header says what it is and holds no time.

    Parameters
    ----------
    solid : Solid
        The body, in millimetres.
    name : str
        Name of the product, and of the file without its ending.
    description : str
        What the header says.

    Raises
    ------
    KernelError
        The kernel could not write it.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "body.step"
        solid.write_step(str(path))
        if not path.is_file():
            raise KernelError(f"the STEP file of the {name}", "the CAD kernel wrote nothing")
        text = path.read_text(encoding="ascii")
    return _renamed(text, name=name, description=description).encode("ascii")


def encoded(text: str) -> str:
    r"""Return text as it stands between the quotes of a STEP string (ISO 10303-21, 6.4.3).

    Examples
    --------
    >>> encoded("the baker's café")
    "the baker''s caf\\X2\\00E9\\X0\\"
    """
    return "".join(map(_encoded_character, text))


def _encoded_character(character: str) -> str:
    if character in "'\\":
        return character * 2
    if " " <= character <= "~":
        return character
    if ord(character) <= 0xFFFF:  # noqa: PLR2004 (the basic multilingual plane)
        return f"\\X2\\{ord(character):04X}\\X0\\"
    return f"\\X4\\{ord(character):08X}\\X0\\"


def _renamed(text: str, *, name: str, description: str) -> str:
    """Return the file with our header, and the product under our name.

    The kernel's header carries the time, and its product the count of files that the process
    has written.
    """
    name = encoded(name)
    header = HEADER.format(
        description=encoded(description),
        name=name,
        time=TIME,
        program=f"moulddesign {__version__}",
    )
    body = text[text.index("FILE_SCHEMA") :]
    product = f"PRODUCT('{name}','{encoded(description)}'".replace("\\", "\\\\")
    return header + re.sub(r"PRODUCT\('[^']*',\s*'[^']*'", product, body, count=1)
