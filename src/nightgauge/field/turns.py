"""When which well was on a vessel by itself, as tests.csv and routing.csv say."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from nightgauge.field.settings import Field, Vessel


@dataclass(frozen=True)
class Turn:
    """One stretch of one well on a vessel; `end_utc` None where no line ends it."""

    start_utc: datetime
    end_utc: datetime | None
    well: str
    source: Literal["tests", "routing"]


def scheduled(field: Field, vessel_id: str) -> list[Turn]:
    """Return the turns of the schedule in order; lines of one well that overlap are one turn."""
    found: list[Turn] = []
    mine = sorted({(one.well, one.start_utc, one.end_utc) for one in field.tests if one.vessel == vessel_id})
    for well, start, end in mine:
        last = found[-1] if found and found[-1].well == well else None
        if last is not None and last.end_utc is not None and start < last.end_utc:
            found[-1] = Turn(last.start_utc, max(last.end_utc, end), well, "tests")
        else:
            found.append(Turn(start, end, well, "tests"))
    return sorted(found, key=_order)


def routed(field: Field, vessel: Vessel) -> list[Turn]:
    """Return the turns on a test vessel by routing, in order: from a line to the well's next, or another well's there.

    A vessel of another service takes several wells at a time, and a line of routing begins no test there.
    """
    if vessel.service != "test vessel":
        return []
    lines = set(field.routings)
    return sorted(
        (
            Turn(
                line.at_utc,
                _first(
                    later.at_utc
                    for later in lines
                    if later.at_utc > line.at_utc and (later.well == line.well or later.vessel == vessel.id)
                ),
                line.well,
                "routing",
            )
            for line in lines
            if line.vessel == vessel.id
        ),
        key=_order,
    )


def turns_of(field: Field, well_id: str, start: datetime, end: datetime) -> list[Turn]:
    """Return the turns of one well, on any vessel, that share time with a stretch."""
    turns = (turn for vessel in field.vessels for turn in (*scheduled(field, vessel.id), *routed(field, vessel)))
    return [
        turn
        for turn in turns
        if (turn.well == well_id and turn.start_utc < end) and (turn.end_utc is None or start < turn.end_utc)
    ]


def _order(turn: Turn) -> tuple[datetime, str]:
    return turn.start_utc, turn.well


def _first(times: Iterable[datetime]) -> datetime | None:
    return min(times, default=None)
