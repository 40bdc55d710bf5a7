"""Derived rows put in the place of those that are stored, for several vessels in one go.

Each statement costs milliseconds however few its rows are, so vessels go together.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import duckdb
import polars as pl

from nightgauge.errors import ProgrammerError
from nightgauge.store.frames_io import insert
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import DUMP_CYCLES, SIGNAL_HOURS, TIME, VESSEL_DAYS, VESSEL_HOURS, WELL_TESTS, Frame

_BEGINS = (
    (DUMP_CYCLES, "opened_utc"),
    (VESSEL_HOURS, "hour_utc"),
    (SIGNAL_HOURS, "hour_utc"),
    (WELL_TESTS, "start_utc"),
)
"""Derived tables with the time that says in which range a row lies."""


@dataclass(frozen=True)
class DerivedSpan:
    """A stretch of one vessel that rows were derived for: rows of it begin in [start, end)."""

    vessel: str
    start: datetime
    end: datetime
    first_day: date
    end_day: date
    """The first day that does not begin in it."""


def replace(con: duckdb.DuckDBPyConnection, spans: Sequence[DerivedSpan], derived: Derived) -> None:
    """Put derived rows in the place of all that begin in the spans, which are apart.

    Raises
    ------
    ProgrammerError
        If a row begins in none of the spans of its vessel.

    """
    times = _places([(one.vessel, one.start, one.end) for one in spans], TIME)
    pieces = (derived.cycles, derived.hours, derived.signal_hours, derived.tests)
    for (frame, time), rows in zip(_BEGINS, pieces, strict=True):
        _replace(con, frame, time, times, rows)
    days = _places([(one.vessel, one.first_day, one.end_day) for one in spans], pl.Date())
    _replace(con, VESSEL_DAYS, "day", days, derived.days)


def _places(rows: Sequence[tuple[str, date, date]], dtype: pl.DataType) -> pl.DataFrame:
    return pl.DataFrame(rows, schema={"vessel": pl.String(), "begin": dtype, "end": dtype}, orient="row")


def _replace(con: duckdb.DuckDBPyConnection, frame: Frame, time: str, places: pl.DataFrame, rows: pl.DataFrame) -> None:
    beside = rows.select("vessel", time).join(places, on="vessel")
    lies_within = beside.filter((pl.col(time) >= pl.col("begin")) & (pl.col(time) < pl.col("end"))).height
    if lies_within != rows.height:
        raise ProgrammerError(f"{frame.name}: {rows.height - lies_within} rows lie outside {places.rows()}")
    con.register("places", places)
    # The bounds beside the join let the engine skip what is stored of other times.
    con.execute(
        f"""DELETE FROM {frame.name} USING places
        WHERE {frame.name}.vessel = places.vessel AND {time} >= places.begin AND {time} < places.end
            AND {time} >= $first AND {time} < $last""",  # noqa: S608  names are declared
        {"first": places["begin"].min(), "last": places["end"].max()},
    )
    con.unregister("places")
    insert(con, frame, rows)
