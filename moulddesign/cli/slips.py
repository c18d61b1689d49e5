"""What typer refuses, as sentences: which option, what it was, what is needed, what to try."""

from typing import Any, Final

import typer
from pydantic import ValidationError

from moulddesign.errors import SpecError

NEEDS: Final = {
    "float_parsing": "must be a number such as 12.5, with a point and without its unit",
    "int_parsing": "must be a whole number such as 12, without its unit",
    "int_from_float": "must be a whole number such as 12",
    "int_parsing_size": "must be a whole number with fewer digits",
    "greater_than_equal": "must be at least {ge}",
    "less_than_equal": "must be at most {le}",
}
"""What each kind of pydantic error asks for on a command line; the braces are its own context."""


def slip(error: typer.TyperException) -> str:
    """Return a refusal of the command line as one sentence that says where to look next.

    Parameters
    ----------
    error : TyperException
        What typer raised.
    """
    cause = error.__cause__
    if isinstance(error, typer.BadParameter) and isinstance(cause, ValidationError):
        first = cause.errors()[0]
        said = str(SpecError(_name(error), first["input"], _need(first)))
    else:
        said = error.format_message().rstrip(".")
        said += "" if said.endswith("?") else "."
    return f"{said} Try: moulddesign {_verbs(error)}--help"


def _name(error: typer.BadParameter) -> str:
    """Return the option as a person types it, or the argument's name."""
    return max(error.param.opts, key=len) if error.param else "option"


def _need(first: Any) -> str:  # noqa: ANN401 (pydantic's ErrorDetails)
    context = first.get("ctx", {})
    if first["type"] in NEEDS:
        return NEEDS[first["type"]].format(**context)
    choices = str(context.get("error", "")).rstrip(".").partition(" is not one of ")[2]
    return f"must be one of {choices}" if choices else str(first["msg"]).rstrip(".")


def _verbs(error: typer.TyperException) -> str:
    """Return the verbs that were typed, each with a space after it."""
    verbs = ""
    context = getattr(error, "ctx", None)
    while context is not None and context.parent is not None:
        verbs = f"{context.info_name} {verbs}"
        context = context.parent
    return verbs
