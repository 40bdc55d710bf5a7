"""Known faults as objects, from truth.csv or a frame of its columns."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from nightgauge.errors import SettingError

COLUMNS = ("vessel", "kind", "start", "end", "detail")
_NEEDED = ("vessel", "kind", "start")


@dataclass(frozen=True)
class Known:
    """One known fault."""

    vessel: str
    kinds: tuple[str, ...]
    """What it is, and what the vessel's signals cannot tell from it; the first names the row of the score."""
    start: datetime
    end: datetime | None
    of_signal: str | None = None
    """For an instrument: the signal, where the detail names it."""
    detail: str = ""


def read_truth(path: Path) -> pl.DataFrame:
    """Return truth.csv as texts.

    Raises
    ------
    SettingError
        If the file is missing or lacks a column.

    """
    if not path.is_file():
        raise SettingError(f"{path}: found no such file, expected the known faults; only simulated fields have them")
    frame = pl.read_csv(path, infer_schema=False)
    missing = [name for name in _NEEDED if name not in frame.columns]
    if missing:
        raise SettingError(f"{path}, header: found {', '.join(frame.columns)}, expected also {', '.join(missing)}")
    return frame


def known_faults(truth: pl.DataFrame) -> list[Known]:
    """Return the rows of a truth frame as objects, in their order.

    Raises
    ------
    SettingError
        If a stamp is not ISO 8601 with an offset.

    """
    return [_known(number, row) for number, row in enumerate(truth.iter_rows(named=True), start=2)]


def _known(line: int, row: dict[str, str | datetime | None]) -> Known:
    start = instant(row["start"], f"truth.csv line {line}, start")
    if start is None:
        raise SettingError(f"truth.csv line {line}, start: found nothing, expected like 2026-05-02T06:00:00-06:00")
    detail = str(row.get("detail") or "")
    kinds = tuple(kind.strip() for kind in str(row["kind"]).split("|") if kind.strip())
    return Known(
        vessel=str(row["vessel"]),
        kinds=kinds,
        start=start,
        end=instant(row.get("end"), f"truth.csv line {line}, end"),
        of_signal=next((s for s in ("interface_level", "vessel_pressure") if s in detail), None),
        detail=detail,
    )


def instant(value: str | datetime | None, place: str) -> datetime | None:
    """Return a stamp as an instant, None where there is none; SettingError names the place of a bad one."""
    if value is None or value == "":
        return None
    try:
        found = value if isinstance(value, datetime) else datetime.fromisoformat(value)
    except ValueError as error:
        raise SettingError(f"{place}: found {value!r}, expected like 2026-05-02T06:00:00-06:00") from error
    if found.tzinfo is None:
        raise SettingError(f"{place}: found {value!r} without an offset, expected like 2026-05-02T06:00:00-06:00")
    return found
