"""The card's table of parts: what each takes of filament, time and money, and all together."""

from collections.abc import Sequence
from typing import Any

from moulddesign.export.breaking import breakable
from moulddesign.export.ink import TIMES


def parts_table(rows: Sequence[dict[str, Any]], layer_mm: float) -> dict[str, Any]:
    """Return heads, a row for each part to print, and their total where there are several.

    Parameters
    ----------
    rows : sequence of dict
        The parts as the report has them.
    layer_mm : float
        Layer height [mm].

    Returns
    -------
    dict
        `heads` and `rows` of name, size, layers, grams, metres, time, price where one is
        known, and files; `total`.
    """
    printed = [row for row in rows if row["print_g"] > 0.0]  # a pastry takes no filament
    priced = all(row["print_price"] is not None for row in printed)
    price = ["Cost"] if priced else []
    return {
        "heads": [
            "Part",
            "Size in its file, mm",
            "Layers",
            "g",
            "m",
            "Least time",
            *price,
            "Files",
        ],
        "rows": [_row(row, layer_mm, priced=priced) for row in printed],
        "total": ["Together", "", "", *_sums(printed, priced=priced), ""],
    }


def _row(row: dict[str, Any], layer_mm: float, *, priced: bool) -> list[str]:
    return [
        breakable(row["name"]),
        f" {TIMES} ".join(f"{length:.1f}" for length in row["size_mm"]),
        f"{row['size_mm'][2] / layer_mm:.0f}",
        *_sums([row], priced=priced),
        ", ".join(map(breakable, row["files"])),
    ]


def _sums(rows: Sequence[dict[str, Any]], *, priced: bool) -> list[str]:
    """Return grams, metres, time and price of parts."""
    grams, metres, minutes = (
        sum(row[key] for row in rows) for key in ("print_g", "filament_m", "least_print_min")
    )
    money = [f"{sum(row['print_price'] for row in rows):.2f}"] if priced else []
    return [f"{grams:.0f}", f"{metres:.1f}", duration(minutes), *money]


def duration(minutes: float) -> str:
    """Return a time in hours and minutes.

    Parameters
    ----------
    minutes : float
        The time.

    Examples
    --------
    >>> duration(45.2), duration(119.8)
    ('45 min', '2 h 00 min')
    """
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02} min" if hours else f"{rest} min"
