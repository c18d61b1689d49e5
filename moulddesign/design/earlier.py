"""Design files of earlier versions: keys that no longer count, at the value that they had then.

Earlier versions wrote every key of every kind of mould into `design.toml`, and read them without
looking at the kind. A file that says `made_with` was written since and is read strictly.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from moulddesign.core import Message, say, word
from moulddesign.design.mould_tables import BY_KIND, Kind, OwnTable, PressTable

MADE_WITH: Final = "made_with"
"""Key of a design file that names the version it was written with."""

EXISTING: Final = "existing_mould"
"""Key by which a design named a mould that exists, beside the table of one that was not made."""

WRITTEN: Final[Mapping[str, object]] = MappingProxyType(
    {
        "clearance_mm": 0.3,
        "wall_mm": 2.8,
        "flange_width_mm": 8.0,
        "flange_thickness_mm": 4.0,
        "lead_in_mm": 1.0,
        "past_rim_mm": 1.0,
        "height_band": 0.1,
        "joint": "peg",
        "bolt": "M5",
        "skin_mm": 2.4,
        "bridge_mm": 5.0,
        "disc_rim_mm": 4.0,
        "disc_thickness_mm": 5.0,
        "vane_thickness_mm": 3.0,
        "peg_length_mm": 7.0,
        "peg_taper_deg": 4.0,
        "peg_interference_mm": 0.05,
        "cavities": 1,
        "side_draft_deg": 0.0,
        "land_mm": 8.0,
        "floor_mm": 3.6,
        "handle_length_mm": 80.0,
        "handle_width_mm": 26.0,
        "handle_thickness_mm": 18.0,
        "hole_mm": 8.0,
        "cover_mm": 10.0,
        "tray_draft_deg": 5.0,
        "silicone_shrink": 0.001,
        "silicone_density_g_per_ml": 1.15,
        "lettering": True,
    }
)
"""What earlier versions wrote of a mould where nobody had changed it. The side's draft was left
out; 0 is what it meant for a press."""


WRITTEN_LOSS: Final = (0.02, 0.01)
"""Loss and its scatter as earlier versions wrote them of a piece where nobody had changed them."""


MADE_FOR_A_PEG: Final = frozenset(
    {
        "clearance_mm", "flange_thickness_mm", "lead_in_mm", "past_rim_mm",
        "disc_thickness_mm", "vane_thickness_mm",
    }
)  # fmt: skip
"""Keys of a press that are still there, with other defaults since."""

RETIRED: Final[Mapping[str, object]] = MappingProxyType(
    {
        key: value
        for key, value in WRITTEN.items()
        if key in PressTable.retired_keys | MADE_FOR_A_PEG
    }
)
"""What was written of a press with a peg where nobody had changed it, and is no longer taken."""


def without_written(tree: Mapping[str, Any]) -> tuple[dict[str, Any], tuple[Message, ...]]:
    """Return the plain values of a design file without what does not count, and a note of it.

    Left out are keys of the mould that its kind does not have, if they have the value of
    `WRITTEN`; with any other value they stay, for the table to refuse. Left out is also the loss
    that earlier versions wrote as if it were given.

    Parameters
    ----------
    tree : mapping
        Nested plain values, right or wrong.
    """
    plain = {key: value for key, value in tree.items() if key != MADE_WITH}
    if EXISTING in plain:
        return _with_own_mould(plain)
    plain, of_peg = _without_peg(plain)
    if MADE_WITH in tree:
        return plain, of_peg
    plain, of_loss = _without_written_loss(plain)
    plain, of_mould = _without_idle_mould(plain)
    return plain, (*of_peg, *of_loss, *of_mould)


def _with_own_mould(plain: dict[str, Any]) -> tuple[dict[str, Any], tuple[Message, ...]]:
    """Return the values of a piece whose mould existed by name alone, with the kind of such moulds.

    Of its sizes the file has what it says of the pastry, if it gives the width.
    """
    pastry = plain.get("pastry")
    known = pastry if isinstance(pastry, Mapping) and "width_mm" in pastry else {}
    sizes = {
        key: known[key] for key in known if key in OwnTable.model_fields and key != "height_mm"
    }
    own = sizes | {"kind": Kind.OWN.value, "name": plain[EXISTING]}
    left = {key: value for key, value in plain.items() if key != EXISTING}
    return left | {"mould": own}, (say("design.existing-mould", name=plain[EXISTING]),)


def _without_written_loss(plain: dict[str, Any]) -> tuple[dict[str, Any], tuple[Message, ...]]:
    """Return the values without the loss that nobody measured but that stands there as given.

    Earlier versions wrote it with its scatter, and without an uncertainty.
    """
    table = plain.get("portion")
    if (
        not isinstance(table, Mapping)
        or (table.get("loss"), table.get("loss_sd")) != WRITTEN_LOSS
        or "loss_uncertainty" in table
    ):
        return plain, ()
    left = {key: value for key, value in table.items() if key != "loss"}
    return plain | {"portion": left}, (say("design.loss-as-written"),)


def _without_peg(plain: dict[str, Any]) -> tuple[dict[str, Any], tuple[Message, ...]]:
    """Return the values without those of a press with a peg; its keys tell such a file."""
    mould = plain.get("mould")
    if not isinstance(mould, Mapping) or mould.get("kind", Kind.PRESS) != Kind.PRESS:
        return plain, ()
    if not PressTable.retired_keys & mould.keys():
        return plain, ()
    idle = [key for key, value in mould.items() if key in RETIRED and value == RETIRED[key]]
    left = {key: value for key, value in mould.items() if key not in idle}
    return plain | {"mould": left}, (say("design.of-a-peg", keys=tuple(idle)),)


def _without_idle_mould(plain: dict[str, Any]) -> tuple[dict[str, Any], tuple[Message, ...]]:
    mould = plain.get("mould")
    if not isinstance(mould, Mapping):
        return plain, ()
    kind = mould.get("kind", Kind.PRESS)
    table = BY_KIND.get(kind) if isinstance(kind, str) else None
    if table is None:
        return plain, ()
    idle = [
        key for key, value in mould.items()
        if key not in table.model_fields and key in WRITTEN and value == WRITTEN[key]
    ]  # fmt: skip
    if not idle:
        return plain, ()
    plain["mould"] = {key: value for key, value in mould.items() if key not in idle}
    return plain, (say("design.idle-keys", keys=tuple(idle), kind=word(kind)),)
