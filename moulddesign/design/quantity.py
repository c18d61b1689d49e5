"""The one way a field of the Design is declared: default, unit, limits, source."""

from collections.abc import Mapping
from typing import Any, Final, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from moulddesign.design.sentences import spec_error

PRACTICE: Final = "common practice, no source"
MEMORY: Final = "from memory, measure your own"
CHOICE: Final = "our choice, change it freely"


class Table(BaseModel):
    """A frozen table of the design file that refuses unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """Return the table of nested plain values, as TOML holds them.

        Raises
        ------
        SpecError
            A key is unknown, or a value is missing or cannot be used.
        """
        try:
            return cls.model_validate(dict(values))
        except ValidationError as error:
            raise spec_error(error, cls) from error


def given(default: Any, says: str, *, unit: str = "", source: str = CHOICE, **limits: Any) -> Any:  # noqa: ANN401 (pydantic's Field is typed so)
    """Return a field with its default, unit, limits and the source of the default.

    Parameters
    ----------
    default : object
        The default, or `...` where there is none.
    says : str
        What the field is, for the schema, the help and the page.
    unit : str
        Unit of the value; empty for a word, a count or a ratio.
    source : str
        Where the default comes from, with its status.
    **limits : float or str
        pydantic's limits: `gt`, `ge`, `lt`, `le`, `min_length`, `max_length`, `pattern`.

    Returns
    -------
    pydantic.fields.FieldInfo
        Ready to stand beside an annotation. Numbers are taken strictly: no text, no truth value.
    """
    return Field(
        default,
        description=says,
        strict=True if {"gt", "ge", "lt", "le"} & limits.keys() else None,
        json_schema_extra={"unit": unit, "source": source},
        **limits,
    )
