"""`moulds`: the register of the moulds that one has, printed or bought."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from moulddesign.cli.console import (
    Overwrite,
    err,
    key_values,
    of_words,
    out,
    print_json,
    refuse_to_replace,
)
from moulddesign.cli.usage import Verb, VerbGroup
from moulddesign.core import FileError, Message, SpecError, read_json, say
from moulddesign.design import (
    DESIGN_FILE,
    Design,
    Register,
    RegisteredMould,
    find_mould,
    merged,
    mould_of_id,
    read_register,
    register_path,
    save_register,
    with_changes,
    with_registered,
)

moulds_app = typer.Typer(cls=VerbGroup, no_args_is_help=False, pretty_exceptions_enable=False)

AsJson = Annotated[bool, typer.Option("--json", help="Print the moulds as JSON on stdout.")]
MouldId = Annotated[str, typer.Argument(metavar="ID", help="Short id, or name.")]
KEYS = ", ".join(RegisteredMould.model_fields)
NONE_YET: Final = (
    "None yet. Add one by its measures, `moulds add name=tin width_mm=60 height_mm=25`, or a "
    "printed set by its folder, `moulds add exports/NAME`."
)


@moulds_app.callback(invoke_without_command=True)
def _listed(context: typer.Context, *, as_json: AsJson = False) -> None:
    """List or change the register of moulds that one has, printed or bought.

    How long a mould lasts nobody can say: count its pieces (batch --pressed), and inspect it for
    scratches.

    Example: moulddesign moulds add "name=grandmother's tin" width_mm=60 height_mm=25
    """
    if context.invoked_subcommand is None:
        _show(read_register(), as_json=as_json)


@moulds_app.command("list", cls=Verb)
def list_moulds(*, as_json: AsJson = False) -> None:
    """List the moulds of the register.

    Example: moulddesign moulds list --json
    """
    _show(read_register(), as_json=as_json)


@moulds_app.command("add", cls=Verb)
def add_mould(
    words: Annotated[
        list[str],
        typer.Argument(
            metavar="[SET|DESIGN.toml] KEY=VALUE...",
            help=f"What make or fit wrote, if anything, and what else is known. Keys: {KEYS}.",
        ),
    ],
    *,
    as_json: AsJson = False,
) -> None:
    """Add a mould: a printed set by its folder, a fitted one by its design, any by its measures.

    Example: moulddesign moulds add exports/75g-round-chestnut printed_on=2026-11-20 material=PETG

    Example: moulddesign moulds add name=tin "water_g=61.5; 62" "marks=gluten-free only"
    """
    files = [word for word in words if "=" not in word]
    if len(files) > 1:
        raise SpecError("moulds", files[1], say("cli.key-and-value"))
    start = _from_file(Path(files[0])) if files else {}
    given = {key: value for key, value in start.items() if value is not None}
    typed = key_values("moulds", [word for word in words if "=" in word])
    mould = RegisteredMould.of(given | dict(typed))
    moulds = read_register()
    if mould_of_id(moulds, mould.id) is not None:
        raise SpecError("id", mould.id, say("cli.mould-id-taken", id=mould.id))
    if mould.id is None and any(mould.name == m.name for m in moulds):
        raise SpecError("name", mould.name, say("cli.mould-name-taken"))
    _save(with_registered(moulds, mould), (), as_json=as_json)


@moulds_app.command("change", cls=Verb)
def change_mould(
    mould_id: MouldId,
    values: Annotated[
        list[str],
        typer.Argument(metavar="KEY=VALUE...", help="What changes; KEY= leaves a key out again."),
    ],
    *,
    as_json: AsJson = False,
) -> None:
    """Change what the register says of a mould.

    Example: moulddesign moulds change A washed_on=2026-11-26 state=set-aside
    """
    moulds = read_register()
    old = find_mould(moulds, mould_id)
    new = with_changes(old, dict(key_values("moulds", values)))
    changed = tuple(new if mould is old else mould for mould in moulds)
    _save(changed, (), as_json=as_json)


@moulds_app.command("remove", cls=Verb)
def remove_mould(mould_id: MouldId, *, as_json: AsJson = False) -> None:
    """Take a mould out of the register.

    Example: moulddesign moulds remove A
    """
    moulds = read_register()
    gone = find_mould(moulds, mould_id)
    _save([mould for mould in moulds if mould is not gone], (), as_json=as_json)


@moulds_app.command("export", cls=Verb)
def export_moulds(
    file: Annotated[Path, typer.Argument(metavar="FILE.toml", help="Where it goes.")],
    *,
    overwrite: Overwrite = False,
) -> None:
    """Write the register into a file, its photos and meshes beside it.

    Example: moulddesign moulds export my-moulds.toml
    """
    if file.suffix != ".toml":
        raise FileError(str(file), say("cli.must-end-in", endings=(".toml",)))
    moulds = read_register()
    if not moulds:
        raise FileError(str(register_path()), say("design.no-moulds"))
    refuse_to_replace(file, overwrite=overwrite)
    save_register(moulds, file)
    err().print(f"Written to {file}", soft_wrap=True)


@moulds_app.command("merge", cls=Verb)
def merge_moulds(
    file: Annotated[Path, typer.Argument(metavar="FILE.toml", help="Another register.")],
    *,
    as_json: AsJson = False,
) -> None:
    """Merge another register into one's own: the same mould has the same id and name.

    Example: moulddesign moulds merge my-moulds.toml
    """
    joined, notes = merged(read_register(), Register.read(file).mould)
    _save(joined, notes, as_json=as_json)


def _from_file(path: Path) -> dict[str, Any]:
    """Return what a set's folder or a design file tells of its mould, as plain values."""
    file = path / DESIGN_FILE if path.is_dir() else path
    design = Design.read(file)
    own = design.own_mould
    if own is not None:
        return own.plain()
    report = _report(file.with_name("report.json"))
    table = design.mould
    picture = file.with_name("pastry.png")
    return {
        "name": design.name[:40],
        "id": getattr(table, "id", None),
        "kind": table.kind.value,
        "material": design.printer.material,
        "outline": report["pastry"]["outline"],
        "width_mm": report["pastry"]["width_mm"],
        "volume_ml": report["pastry"]["volume_ml"],
        "cavities": getattr(table, "cavities", None),
        "design": str(file.parent.resolve()),
        "picture": str(picture) if picture.exists() else None,
    }


def _report(path: Path) -> dict[str, Any]:
    """Return what `make` reported of a set; FileError where it is none."""
    try:
        report = read_json(path, otherwise=say("cli.no-set-of-make"))
        figures = report["pastry"]
        figures["outline"], float(figures["width_mm"]), float(figures["volume_ml"])
    except (ValueError, KeyError, TypeError) as error:
        raise FileError(str(path), say("cli.no-set-of-make")) from error
    return dict(report)


def _save(moulds: Sequence[RegisteredMould], notes: Sequence[Message], *, as_json: bool) -> None:
    save_register(moulds)
    for note in notes:
        err().print(str(note), soft_wrap=True, markup=False)
    _show(read_register(), as_json=as_json)


def _show(moulds: Sequence[RegisteredMould], *, as_json: bool) -> None:
    if as_json:
        print_json({"file": str(register_path()), "moulds": [mould.plain() for mould in moulds]})
        return
    if not moulds:
        out().print(NONE_YET, soft_wrap=True, markup=False)
        return
    rows = [
        (str(m.id), m.name, m.kind.value, _size(m), str(m.pressed), m.state.value) for m in moulds
    ]
    heads = ("id", "name", "kind", "size", "pressed", "state")
    out().print(of_words("My moulds", heads, rows))
    for mould in moulds:
        out().print(f"{mould.id}: {'; '.join(_facts(mould))}.", markup=False)
    err().print(f"They lie in {register_path()}", soft_wrap=True)


def _facts(mould: RegisteredMould) -> Iterator[str]:
    """Yield what does not fit the table."""
    if mould.marks is not None:
        yield mould.marks
    if mould.material is not None:
        yield mould.material
    for done, day in (("printed", mould.printed_on), ("washed", mould.washed_on)):
        if day is not None:
            yield f"{done} {day}"
    day = mould.inspected_on
    yield "never inspected for scratches" if day is None else f"inspected for scratches {day}"


def _size(mould: RegisteredMould) -> str:
    """Return how large a mould is, as far as nothing has to be computed for it."""
    wide = "" if mould.width_mm is None else f"{mould.outline} {mould.width_mm:g} mm"
    held = ""
    if mould.volume_ml is not None:
        held = f"{mould.volume_ml:.1f} mL"
    elif mould.water_g:
        held = f"{sum(mould.water_g) / len(mould.water_g) - mould.empty_g:.1f} g of water"
    elif mould.mesh is not None:
        held = Path(mould.mesh).name
    return ", ".join(filter(None, (wide, held)))
