"""What a slicer says of the parts of a build: its own grams and time, where a program is named."""

import re
import shlex
import shutil
import subprocess
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import Final

from moulddesign.building import Build
from moulddesign.core import FileError, say
from moulddesign.core.concurrency import usable_cores
from moulddesign.design import PrinterTable
from moulddesign.mould import infill_of
from moulddesign.mould.print_estimate import Infill, PrintEstimate

LIMIT_S: Final = 300.0
"""Time that a slicer has for one part; our choice [s]."""
UNITS_MIN: Final = {"d": 1440.0, "h": 60.0, "m": 1.0, "s": 1.0 / 60.0}
"""Minutes of each unit in which a slicer writes its time."""

Settings = Mapping[str, float | str | None]
"""Options by their name without dashes; None is a switch."""


def slicer_words(command: str) -> tuple[str, ...]:
    """Return the words that start a slicer: its program, and options such as a profile to load.

    Raises
    ------
    FileError
        There is no such program.
    """
    try:
        words = [command] if Path(command).is_file() else shlex.split(command)
    except ValueError:  # an open quote
        words = [command]
    program = shutil.which(words[0]) if words else None
    if program is None:
        raise FileError(command, say("export.no-slicer"))
    return (program, *words[1:])


def slicer_settings(printer: PrinterTable, infill: Infill) -> Settings:
    """Return how a part is sliced: the design's printer, and the infill that the part has."""
    x, y, _ = printer.bed_mm
    return {
        "layer-height": printer.layer_height_mm,
        "first-layer-height": printer.layer_height_mm,
        "extrusion-width": printer.line_width_mm,
        "nozzle-diameter": printer.nozzle_mm,
        "filament-diameter": printer.filament_mm,
        "perimeters": infill.perimeters,
        "top-solid-layers": infill.top_layers,
        "bottom-solid-layers": infill.bottom_layers,
        "fill-density": f"{infill.density:.0%}",
        "fill-pattern": "rectilinear" if infill.density == 1.0 else "gyroid",
        "skirts": 0,
        "bed-shape": f"0x0,{x:g}x0,{x:g}x{y:g},0x{y:g}",
    }


def slicer_code(slicer: tuple[str, ...], model: Path, settings: Settings) -> str:
    """Return the machine code that a slicer makes of a model file.

    Parameters
    ----------
    slicer : tuple of str
        What starts it, by `slicer_words`.

    Raises
    ------
    FileError
        It refuses the part, takes too long, or writes nothing that can be read.
    """
    options = [
        word
        for key, value in settings.items()
        for word in ((f"--{key}",) if value is None else (f"--{key}", str(value)))
    ]
    with TemporaryDirectory(prefix="moulddesign-") as folder:
        code = Path(folder) / "part.gcode"
        asked = [*slicer, "-g", *options, "-o", str(code), str(model)]
        try:
            ended = subprocess.run(  # noqa: S603 (the program that the user names)
                asked, capture_output=True, timeout=LIMIT_S, check=False, stdin=subprocess.DEVNULL
            )
        except subprocess.TimeoutExpired as error:
            need = say("export.slicer-takes-long", part=model.stem, limit_s=LIMIT_S)
            raise FileError(slicer[0], need) from error
        except OSError as error:
            need = say("export.slicer-not-started", reason=error.strerror or str(error))
            raise FileError(slicer[0], need) from error
        if ended.returncode != 0 or not code.is_file():
            said = (ended.stderr or ended.stdout).decode("utf-8", "replace").split("\n")
            last = next((line.strip() for line in reversed(said) if line.strip()), "-")
            need = say("export.slicer-refuses", part=model.stem, says=last[:200])
            raise FileError(slicer[0], need)
        return code.read_text("utf-8", "replace")


def sliced(slicer: tuple[str, ...], model: Path, settings: Settings) -> PrintEstimate:
    """Return the plastic and the time that a slicer's own code says it takes.

    Raises
    ------
    FileError
        The slicer fails, or its code says neither.
    """
    code = slicer_code(slicer, model, settings)
    used = re.search(r"; *filament used \[cm3\] *= *([\d.]+)", code)
    time = re.search(r"; *estimated printing time[^=\n]*= *([\ddhms ]+)", code)
    if used is None or time is None:
        raise FileError(slicer[0], say("export.slicer-says-nothing", part=model.stem))
    minutes = sum(int(n) * UNITS_MIN[unit] for n, unit in re.findall(r"(\d+)([dhms])", time[1]))
    return PrintEstimate(volume_mm3=1000.0 * float(used[1]), minutes=minutes)


def sliced_build(build: Build, folder: Path, slicer: tuple[str, ...]) -> Build:
    """Return a build with what a slicer says of each part, whose STL file is in a folder.

    Raises
    ------
    FileError
        The slicer fails with one of the parts.
    """
    printer = build.design.printer
    names = [part.name for part in build.mould.parts]
    with ThreadPoolExecutor(usable_cores()) as pool:
        found = pool.map(
            lambda name: sliced(
                slicer, folder / f"{name}.stl", slicer_settings(printer, infill_of(name))
            ),
            names,
        )
        return replace(build, sliced=MappingProxyType(dict(zip(names, found, strict=True))))
