"""What a command line is refused for: an option unknown, given twice, or without effect.

Every verb offers only the options that it reads. A few count only together with another one, or
not beside another one: `RULES` says which, verb by verb. Keys of another kind of mould are the
design's to refuse, for the kind may stand in its file.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Any, Final

import typer
from typer.core import TyperCommand, TyperGroup, TyperOption

from moulddesign.core import (
    Message,
    MouldError,
    SpecError,
    both,
    either,
    read_number,
    read_ratio,
    say,
)


class UsageError(MouldError):
    """A command line cannot be used; its text is one sentence."""

    def __init__(self, said: Message) -> None:
        super().__init__(said)
        self.said = said

    def __str__(self) -> str:
        return f"{self.said}."


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """When an option of a verb counts."""

    needs: tuple[str, ...] = ()
    """One of these has to be given too; empty where none is needed."""
    idle_beside: tuple[str, ...] = ()
    """It is not read where one of these is given ..."""
    unless: str = ""
    """... unless this one is."""


def _rules(flags: str, **rule: Any) -> dict[str, Rule]:  # noqa: ANN401 (per field of a rule)
    return {f"--{flag}": Rule(**rule) for flag in flags.split()}


PANELS: Final = MappingProxyType(
    {
        "relief": "Relief",
        "layer": "Relief",
        "face": "Relief",
        "carving": "Relief",
        "stamps": "Relief",
        "mould": "Mould",
        "kept": "Mould",
        "printer": "Printer",
        "language": "Output",
        "share": "Sharing",
    }
)
"""What options are about, by the table of the design that they change; else the piece."""


def panel_of(field: str) -> str:
    """Return under which head the help lists an option, by the field that it changes.

    Examples
    --------
    >>> panel_of("printer.bed_mm"), panel_of("portion.ratio")
    ('Printer', 'Piece')
    """
    return PANELS.get(field.partition(".")[0], "Piece")


RANKS: Final = ("--shelf", "--my-moulds")
"""Options that rank several moulds."""

NO_MESH: Final = "outline width corner-radius lobes lobe-depth shoulder side-draft"
"""Sizes of a mould's mouth and sides, which a mesh shows by itself."""
PRESS_HEIGHTS: Final = "height least-height most-height bore-length"

RULES: Final[Mapping[str, Mapping[str, Rule]]] = MappingProxyType(
    {
        "make": {
            **_rules("formats keep-failing paper slicer sizes", idle_beside=("--stop-for",)),
            **_rules("units", idle_beside=("--stop-for", "--sizes")),
            **_rules("baked-width", idle_beside=("--width", "--height", "--height-to-width")),
        },
        "batch": {
            **_rules("overwrite", needs=("--csv",)),
        },
        "label": _rules("overwrite size paper small-pack", needs=("--out",)),
        "trial": _rules("overwrite keep", needs=("--out",)),
        "inspect": {
            **_rules("overwrite", needs=("--out",)),
            **_rules("out", needs=("--mend",)),
        },
        "patterns": _rules("overwrite", needs=("--sheet",)),
        "patterns check": _rules("overwrite", needs=("--picture",)),
        "density recipe": _rules(
            "ratio weight centre finished-water-sd", needs=("--finished-water",)
        ),
        "syrup": _rules("altitude", idle_beside=("--boiling",)),
        "series": _rules("jobs", idle_beside=("--scheduler",)),
        "fit": {
            **_rules("weight", needs=(*RANKS, "--out")),
            **_rules("my-moulds", idle_beside=("--shelf",)),
            **_rules("out", idle_beside=RANKS),
            **_rules("paper", needs=("--out",), idle_beside=RANKS),
            **_rules("overwrite", needs=("--plot", "--out"), idle_beside=RANKS),
            **_rules("plot pressed-weight pressed-height name", idle_beside=RANKS),
            **_rules("relief-depth water mesh volume", idle_beside=RANKS),
            **_rules("volume-sd", needs=("--volume",), idle_beside=RANKS),
            **_rules(NO_MESH, idle_beside=("--mesh", *RANKS)),
            **_rules("tool", idle_beside=("--water", "--mesh", *RANKS)),
            **_rules(
                "relief-cover sense", needs=("--relief-depth",), idle_beside=("--mesh", *RANKS)
            ),
            **_rules("empty at", needs=("--water",), idle_beside=RANKS),
            **_rules("stamp unit up mend print-error", needs=("--mesh",), idle_beside=RANKS),
            **_rules(PRESS_HEIGHTS, idle_beside=("--mesh", *RANKS), unless="--stamp"),
            **_rules("guide", needs=("--bore-length", "--stamp"), idle_beside=RANKS),
        },
    }
)
"""Options that do not always count, by verb."""

ALONE: Final = MappingProxyType({"make": "--schema", "example": "--schema", "page": "--shortcut"})
"""Options beside which no other one counts, by verb."""


def refuse_idle_options(verb: str, flags: Sequence[str]) -> None:
    """Refuse an option that does nothing beside the others, or without another one.

    Examples
    --------
    >>> refuse_idle_options("trial", ["--raw", "--finished", "--keep", "--out"])
    >>> refuse_idle_options(  # doctest: +ELLIPSIS
    ...     "trial", ["--raw", "--finished", "--keep"]
    ... )
    Traceback (most recent call last):
    moulddesign.cli.usage.UsageError: --keep does nothing without --out; add it, or leave ...
    """
    alone = ALONE.get(verb)
    others = [flag for flag in flags if flag not in {alone, "--json"}]
    if alone in flags and others:
        raise UsageError(say("cli.idle-beside", option=others[0], other=alone))
    for flag in flags:
        rule = RULES.get(verb, {}).get(flag)
        if rule is None:
            continue
        other = next((other for other in rule.idle_beside if other in flags), None)
        if other is not None and rule.unless not in flags:
            raise UsageError(say("cli.idle-beside", option=flag, other=other))
        if rule.needs and not any(needed in flags for needed in rule.needs):
            needs = either(rule.needs)
            raise UsageError(say("cli.idle-without", option=flag, needs=needs))


UNITS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "G": "g",
        "ML": "mL",
        "MM": "mm",
        "G/ML": "g/mL",
        "DEG": "deg",
        "C": "deg C",
        "KPA": "kPa",
        "M": "m",
        "MIN": "min",
        "X": "",
    }
)
"""Unit of an option's value, by what the help shows for it."""


def _read_as_typed(params: Sequence[Any]) -> None:
    """Let options that take numbers read them as people type them: 68g, 2.4 oz, 68,5, 3/7."""
    for param in params:
        described = getattr(param, "type_descriptor", None)
        if described is None or described.parameter_info.parser is not None:
            continue
        flag = max(param.opts, key=len)
        if described.annotation in {float, list[float]}:
            unit = UNITS[str(param.metavar)]
            described.parameter_info.parser = partial(_number, flag, unit)
        elif param.metavar == "C:F":
            described.parameter_info.parser = partial(_ratio, flag)


def _number(flag: str, unit: str, text: str | float) -> float:
    """Return a number; a default is one already."""
    return read_number(flag, text, unit) if isinstance(text, str) else text


def _ratio(flag: str, text: str) -> str:
    """Return a ratio, and say what a share in per cent was taken for."""
    ratio = read_ratio(flag, text)
    if text.strip().endswith("%"):
        from moulddesign.cli.console import err  # noqa: PLC0415 (its verb has loaded it)

        err().print(f"{flag} {text}: the crust's share, crust to filling {ratio}.", soft_wrap=True)
    return ratio


class Verb(TyperCommand):
    """A verb that refuses options given twice and options that do nothing."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401 (as `_verbs`)
        """Look at what is given before anything of it is used."""
        given, _ = _given(self, ctx, args)
        refuse_idle_options(_verbs(ctx), given)
        _read_as_typed(self.params)
        every = self.params
        if not set(args) & set(ctx.help_option_names):
            # Of an option without a value the framework would make a validator all the same.
            self.params = [param for param in every if not _is_idle(param, given)]
            ctx.params |= {param.name: None for param in every if _is_idle(param, given)}
        try:
            return super().parse_args(ctx, args)
        finally:
            self.params = every


def _is_idle(param: Any, given: Sequence[str]) -> bool:  # noqa: ANN401 (as `_verbs`)
    """Return whether a parameter is an option that was not given and defaults to nothing."""
    is_option = isinstance(param, TyperOption) and not param.required
    return is_option and param.default is None and max(param.opts, key=len) not in given


class VerbGroup(TyperGroup):
    """A verb of verbs; its own options are refused where a verb follows them."""

    command_class = Verb

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401 (as `_verbs`)
        """Look at what is given before anything of it is used."""
        if self.name == "patterns" and args:
            from moulddesign.design import DRAWINGS  # noqa: PLC0415 (its verb has loaded it)

            if args[0].lower().endswith(DRAWINGS):
                args = ["check", *args]  # a drawing where a verb is due is to be checked
        given, rest = _given(self, ctx, args)
        if given and rest:
            raise UsageError(say("cli.idle-before-verb", option=given[0], verb=rest[0]))
        refuse_idle_options(_verbs(ctx), given)
        return super().parse_args(ctx, args)


def _given(
    command: TyperCommand | TyperGroup, ctx: typer.Context, args: Sequence[str]
) -> tuple[tuple[str, ...], list[str]]:
    """Return the options that are given and what is left, or refuse an option given twice.

    The framework keeps an option's last value; its own parser is told to keep all of them.
    """
    parser = command.make_parser(ctx)
    keeping = {"store": "append", "store_const": "append_const"}
    for option in parser._long_opt.values():  # noqa: SLF001 (there is no public way to a parser's options)
        option.action = keeping.get(option.action, option.action)
    found, rest, _ = parser.parse_args(args=list(args))
    options = {
        max(param.opts, key=len): param
        for param in command.get_params(ctx)
        if isinstance(param, TyperOption) and param.name in found
    }
    values = {flag: found[option.name] for flag, option in options.items()}
    repeatable = {flag for flag, option in options.items() if option.multiple}
    if "--help" in values:
        return (), rest
    for flag, each in values.items():
        if flag not in repeatable and len(each) > 1:
            raise _repeated(flag, each)
    return tuple(values), rest


def _repeated(flag: str, values: Sequence[Any]) -> UsageError:
    if all(isinstance(value, bool) for value in values):
        return UsageError(say("cli.flag-repeated", option=flag))
    shown = both([str(value) for value in values])
    if len(values) == 2:  # noqa: PLR2004 (twice)
        return UsageError(say("cli.given-twice", option=flag, values=shown))
    return UsageError(say("cli.given-often", option=flag, count=len(values), values=shown))


NEEDS: Final[Mapping[str, Callable[[Mapping[str, Any]], Message]]] = MappingProxyType(
    {
        "int_parsing": lambda _: say("cli.whole-number-without-unit"),
        "int_from_float": lambda _: say("cli.whole-number"),
        "int_parsing_size": lambda _: say("cli.long-number"),
        "greater_than_equal": lambda told: say("cli.at-least", limit=told["ge"]),
        "less_than_equal": lambda told: say("cli.at-most", limit=told["le"]),
    }
)
"""What each kind of pydantic error asks for on a command line."""


def usage_sentence(error: typer.TyperException) -> str:
    """Return a refusal of the framework as one sentence that says where to look next."""
    cause = error.__cause__
    ctx, option = getattr(error, "ctx", None), getattr(error, "option_name", "")
    errors = getattr(cause, "errors", None)  # pydantic's, which few refusals load
    if isinstance(error, typer.BadParameter) and errors is not None:
        first = errors()[0]
        flag = max(error.param.opts, key=len) if error.param else "option"
        said = str(SpecError(flag, first["input"], _need(first)))
    elif ctx is not None and option and (readers := _readers(ctx, option)):
        verbs = both(readers)
        return f"{say('cli.option-of-others', option=option, verb=_verbs(ctx), verbs=verbs)}."
    else:
        said = error.format_message().rstrip(".")
        said += "" if said.endswith("?") else "."
    verbs = _verbs(ctx)
    return f"{said} Try: moulddesign {verbs}{' ' if verbs else ''}--help"


def _need(first: Any) -> Message:  # noqa: ANN401 (pydantic's ErrorDetails)
    told = first.get("ctx", {})
    if first["type"] in NEEDS:
        return NEEDS[first["type"]](told)
    choices = str(told.get("error", "")).rstrip(".").partition(" is not one of ")[2]
    if choices:
        return say("design.one-of", choices=choices)
    return say("cli.refused", reason=str(first["msg"]).rstrip("."))


def _verbs(ctx: Any) -> str:  # noqa: ANN401 (the framework's context has no public type)
    """Return the verbs that were typed."""
    verbs: list[str] = []
    while ctx is not None and ctx.parent is not None:
        verbs.insert(0, str(ctx.info_name))
        ctx = ctx.parent
    return " ".join(verbs)


def options_by_verb(command: Any, name: str = "") -> dict[str, frozenset[str]]:  # noqa: ANN401 (the framework's)
    """Return the options of a command and of the verbs in it, by what one types."""
    flags = {flag for param in command.params for flag in (*param.opts, *param.secondary_opts)}
    found = {name: frozenset(flag for flag in flags if flag.startswith("--"))}
    for verb, inner in getattr(command, "commands", {}).items():
        found |= options_by_verb(inner, f"{name} {verb}".strip())
    return found


def _readers(ctx: typer.Context, option: str) -> tuple[str, ...]:
    """Return the verbs that read an option, where the one that was typed does not."""
    every = options_by_verb(ctx.find_root().command)
    if option in every.get(_verbs(ctx), ()):
        return ()
    return tuple(verb for verb, options in every.items() if verb and option in options)
