"""`example`: files to start from."""

import sys
from enum import StrEnum
from importlib.resources import files
from typing import Annotated, Any

import typer

from moulddesign.cli.console import print_json
from moulddesign.cli.options import AsJson


class Example(StrEnum):
    """A kind of file that a person writes."""

    DESIGN = "design"
    RECIPE = "recipe"
    MOULDS = "moulds"
    SLEEVE = "sleeve"
    SERIES = "series"
    WEIGHINGS = "weighings"
    SIZES = "sizes"

    @property
    def text(self) -> str:
        """A file of this kind that works, with comments."""
        tables = {Example.SERIES: "csv", Example.WEIGHINGS: "csv", Example.SIZES: "txt"}
        ending = tables.get(self, "toml")
        file = files("moulddesign").joinpath("data", "examples", f"{self.value}.{ending}")
        return file.read_text(encoding="utf-8")

    @property
    def schema(self) -> dict[str, Any]:
        """JSON Schema of the file; of a series as TOML, of weighings as a list of rows.

        That of `sizes`, a Python script, is the design's that it makes.
        """
        from pydantic import TypeAdapter  # noqa: PLC0415 (the files themselves need none of it)

        from moulddesign.design import Design, Register, SetFile  # noqa: PLC0415 (the same)
        from moulddesign.kitchen import Recipe  # noqa: PLC0415 (the same)
        from moulddesign.kitchen.trial import WeighedPiece  # noqa: PLC0415 (the same)
        from moulddesign.series.table import SeriesTable  # noqa: PLC0415 (the same)

        match self:
            case Example.DESIGN | Example.SIZES:
                return Design.file_schema()
            case Example.RECIPE:
                return Recipe.model_json_schema()
            case Example.MOULDS:
                return Register.model_json_schema()
            case Example.SLEEVE:
                return SetFile.model_json_schema()
            case Example.SERIES:
                return SeriesTable.file_schema()
            case Example.WEIGHINGS:
                return TypeAdapter(tuple[WeighedPiece, ...]).json_schema()


def run_example(
    name: Annotated[Example, typer.Argument(help="Which file.")],
    *,
    schema: Annotated[
        bool, typer.Option("--schema", help="Print the file's JSON Schema instead.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Print a file to start from, with comments: it works as it is.

    `sizes` is a script for the Python interface: the same piece in several weights.

    Example: moulddesign example recipe > recipe.toml

    Example: moulddesign example sizes > sizes.py
    """
    if schema:
        print_json(name.schema)
    elif as_json:
        print_json({"name": name.value, "text": name.text, "schema": name.schema})
    else:
        sys.stdout.write(name.text)
