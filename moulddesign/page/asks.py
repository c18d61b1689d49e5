"""What the page asks beside the design: weighings of a trial, and what there is on hand."""

from moulddesign.design.quantity import Table, given
from moulddesign.design.shelf import OwnedMould


class OwnedAsk(OwnedMould):
    """A mould that one has, and what else shall be worked out for it."""

    ratios: str = given("", "More ratios for the table, such as 1:9; 35:65", max_length=200)
    pressed_g: tuple[float, ...] = given(
        (), "Raw weights whose pressed height is asked for", unit="g", max_length=20
    )
    pressed_mm: tuple[float, ...] = given(
        (), "Pressed heights whose raw weight is asked for", unit="mm", max_length=20
    )

    @property
    def mould(self) -> OwnedMould:
        """The mould alone."""
        return OwnedMould.of(self.model_dump(include=set(OwnedMould.model_fields)))

    @property
    def more_ratios(self) -> tuple[str, ...]:
        """The ratios that were named."""
        return tuple(self.ratios.replace(";", " ").replace(",", " ").split())


class ShelfAsk(Table):
    """Several moulds in a file, to be ranked for the portion."""

    moulds: str | None = given(None, "File (TOML) with one table [[mould]] each", min_length=1)


class Weighed(Table):
    """One piece of a trial bake."""

    raw_g: float = given(..., "Before baking", unit="g", gt=0, le=10_000)
    finished_g: float = given(..., "The same piece when it is eaten", unit="g", gt=0, le=10_000)
    height_mm: float | None = given(
        None, "Its pressed height to the flat top; of every piece or of none", unit="mm",
        gt=0, le=400,
    )  # fmt: skip


class TrialAsk(Table):
    """A trial bake."""

    weighings: tuple[Weighed, ...] = given((), "Pieces, weighed before and after", max_length=200)


class OnHandAsk(Table):
    """What there is already; where anything is given it decides the number of pieces."""

    crust_g: float | None = given(None, "Crust dough that is ready", unit="g", gt=0, le=1e7)
    filling_g: float | None = given(None, "Paste that is ready", unit="g", gt=0, le=1e7)
    centres: int | None = given(None, "Centres that are there, of each kind", ge=0, le=1_000_000)
