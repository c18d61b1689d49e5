"""Further stamps of a press: each carries a face or a relief of its own."""

from collections.abc import Sequence
from typing import Final, Self
from unicodedata import normalize

from pydantic import field_validator, model_validator
from pydantic.json_schema import SkipJsonSchema

from moulddesign.core import say
from moulddesign.design.face_tables import FaceTable
from moulddesign.design.relief_tables import Layer, Profile, ReliefTable, Sense
from moulddesign.design.schema import EntryError, RefusedError, Table, as_file_name, given

MOST_STAMPS: Final = 11
"""With the first they are a dozen."""

BLANK: Final = "blank"
"""Ends the name of the file that holds the stamps' exact body."""


class FurtherStamp(Table):
    """One more stamp: its name, its face, and the keys of the relief; those left out are as there.

    Without a face it is flat, whatever the first stamp has.
    """

    name: str = given(
        ..., "Name of the stamp: it ends the names of its files", max_length=40, main=True
    )
    layers: tuple[Layer, ...] = given(
        (), "Artwork, later over earlier; none leaves the top plain", max_length=100, main=True
    )
    face: SkipJsonSchema[FaceTable | None] = given(
        None, "Carved face; a flat top where it is left out"
    )
    depth_mm: float | None = given(
        None, "Height or depth of its relief; as [relief] where it is left out", unit="mm",
        gt=0, le=20,
    )  # fmt: skip
    sense: Sense | None = given(None, "Raised or sunk; as [relief] where it is left out")
    profile: Profile | None = given(None, "Section of a stroke; as [relief] where it is left out")
    draft_deg: float | None = given(
        None, "Least draft of its walls; as [relief] where it is left out", unit="deg", ge=1, le=60
    )
    margin_mm: float | None = given(
        None, "Least flat land around its relief; as [relief] where it is left out", unit="mm",
        ge=0.1, le=100,
    )  # fmt: skip

    @field_validator("name")
    @classmethod
    def _can_end_a_file(cls, name: str) -> str:
        if _folded(name).endswith(BLANK):
            raise RefusedError(say("design.stamp-called-blank", blank=BLANK))
        return as_file_name(name)

    @model_validator(mode="after")
    def _has_something(self) -> Self:
        if self.face is None and "layers" not in self.model_fields_set:
            raise RefusedError(say("design.stamp-of-nothing"))
        return self

    def relief(self, first: ReliefTable) -> ReliefTable:
        """Return its whole relief.

        Parameters
        ----------
        first : ReliefTable
            The first stamp's, which says what is left out here.
        """
        own = {key: getattr(self, key) for key in ReliefTable.model_fields}
        return first.model_copy(update={key: v for key, v in own.items() if v is not None})

    @classmethod
    def refuse_twins(cls, stamps: Sequence[Self]) -> None:
        """Refuse two stamps whose files would have one name.

        Raises
        ------
        SpecError
            A name is there twice; capitals do not tell files apart everywhere.
        """
        names = [_folded(stamp.name) for stamp in stamps]
        for place, name in enumerate(names):
            if name in names[:place]:
                field = f"further_stamps.{place}.name"
                raise EntryError(field, stamps[place].name, say("design.twin-stamps"))


def _folded(name: str) -> str:
    """Return a name as file systems that fold capitals and accents compare it."""
    return normalize("NFC", normalize("NFC", name).casefold())
