"""What room vessels have left: for each the limit that its load uses most."""

from dataclasses import dataclass
from typing import Any

from nightgauge.report.cards import anchor
from nightgauge.report.quantities import percent, shown
from nightgauge.report.week import WeekView

FIRST = 10
"""Lines shown before the fold. House choice: what is tight stands on one screen."""


@dataclass(frozen=True)
class RoomRow:
    """One vessel and its binding limit; texts only."""

    vessel: str
    about: str
    limit: str
    used: str
    is_short: bool
    load: str
    capacity: str
    room: str
    basis: str


@dataclass(frozen=True)
class Room:
    """The vessels with a known limit, fullest first, and in a sentence the others."""

    rows: tuple[RoomRow, ...]
    first: int
    unknown: str | None


def room(view: WeekView) -> Room | None:
    """Return what room the vessels have; None where nothing is known of any.

    Of the two liquids and gas the limit counts whose share used is the largest.
    """
    binding = view.capacity.filter(view.capacity["binds"].fill_null(value=False)).sort(
        "used_fraction", "vessel", descending=[True, False]
    )
    if binding.is_empty():
        return None
    known = set(binding["vessel"])
    others = [vessel.id for vessel in view.field.vessels if vessel.id not in known]
    unknown = f"No load or no limit is known of {', '.join(others)}." if others else None
    return Room(tuple(_line(row, view) for row in binding.iter_rows(named=True)), FIRST, unknown)


def _line(row: dict[str, Any], view: WeekView) -> RoomRow:
    system, about = view.field.display_units, row["phase"]
    capacity, load = row["capacity_m3_per_day"], row["high_load_m3_per_day"]
    return RoomRow(
        vessel=row["vessel"],
        about=anchor("about", row["vessel"]),
        limit=row["limit"],
        used=percent(row["used_fraction"]),
        is_short=row["used_fraction"] > 1.0,
        load=str(shown(load, "m3/day", system, about)),
        capacity=str(shown(capacity, "m3/day", system, about)),
        room=str(shown(abs(capacity - load), "m3/day", system, about)),
        basis=row["basis"],
    )
