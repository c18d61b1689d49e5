"""Further stamps for one sleeve and one plunger, each with a relief of its own."""

from collections.abc import Sequence
from typing import Final, Self
from unicodedata import normalize

from pydantic import field_validator

from moulddesign.design.layer import Layer, Profile, Sense
from moulddesign.design.pastry import ReliefTable
from moulddesign.design.quantity import Table, given
from moulddesign.design.sentences import EntryError

MOST_STAMPS: Final = 11
"""With the first they are a dozen."""

BLANK: Final = "blank"
"""Ends the name of the file that holds the stamps' exact body."""


class FurtherStamp(Table):
    """One more stamp: its name, and the keys of the relief; what is left out is as there."""

    name: str = given(..., "Name of the stamp: it ends the names of its files", max_length=40)
    layers: tuple[Layer, ...] = given(
        ..., "Artwork, later over earlier; none leaves the top plain", max_length=100
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
        bad = sorted({c for c in name if c in '/\\:*?"<>|' or not c.isprintable()})
        if bad:
            message = f"must not hold {' '.join(map(repr, bad))}, for it names files"
            raise ValueError(message)
        if not name.strip(". ") or name != name.strip() or name.endswith("."):
            message = "must not be empty, nor begin or end with a space or end with a dot"
            raise ValueError(message)
        if _folded(name).endswith(BLANK):
            message = f"must not end in {BLANK}, for stamp-{BLANK} is another file's name"
            raise ValueError(message)
        return name

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
                need = "is the name of an earlier stamp too; give each one its own"
                raise EntryError(field, stamps[place].name, need)


def _folded(name: str) -> str:
    """Return a name as file systems that fold capitals and accents compare it."""
    return normalize("NFC", normalize("NFC", name).casefold())
