"""One vessel's past, as detectors read it: frames turned into arrays on one grid of hours.

Everything at or after `until` is dropped here and nowhere else, so no detector can look ahead. Hours in
an outage of field.toml are unknown to all of them. Times in arrays are seconds since 1970, UTC.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from dataclasses import field as default
from datetime import UTC, date, datetime, time
from functools import cached_property, lru_cache
from itertools import accumulate
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.errors import ProgrammerError
from nightgauge.field.settings import Field, Vessel
from nightgauge.vocabulary.frames import ANODES
from nightgauge.vocabulary.kinds import KINDS

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Texts = npt.NDArray[np.object_]
_Thing = TypeVar("_Thing")

HOUR_S = 3600.0
DAY_S = 86400.0
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
KNOWN_SHARE = 0.5
"""Share of an hour in which a value has to be known for the hour to speak. House choice: the greater half."""
METERS = ("water_total", "water_rate")


@dataclass(frozen=True)
class Cycles:
    """The dumps of one vessel as columns, in order of opening. [s since 1970, m, m3, s, kPa]"""

    opened: Floats
    shut: Floats
    opening: Floats
    closing: Floats
    volume_geometry: Floats
    volume_meter: Floats
    fill: Floats
    drain: Floats
    inflow: Floats
    cv: Floats
    pressure: Floats
    sag: Floats
    leak: Floats
    lowest: Floats
    well: Texts
    evidence: Texts

    def __len__(self) -> int:
        """Return the number of dumps."""
        return len(self.opened)


_CYCLE_COLUMNS = {
    "opening": "opening_level_m", "closing": "closing_level_m", "volume_geometry": "volume_geometry_m3",
    "volume_meter": "volume_meter_m3", "fill": "fill_s", "drain": "drain_s", "inflow": "inflow_m3_per_day",
    "cv": "cv_effective", "pressure": "pressure_kpag", "sag": "pressure_sag_kpa", "leak": "leak_m3",
    "lowest": "lowest_level_m",
}  # fmt: skip

READ: Mapping[str, tuple[str, ...]] = {
    "cycles": ("opened_utc", "shut_utc", "well_on_test", "evidence", *_CYCLE_COLUMNS.values()),
    "hours": (
        "hour_utc", "dumps", "gas_m3", "water_load_m3_per_day", "oil_load_m3_per_day", "gas_load_fraction",
        "oil_hold_kpag", "gas_clip_kpag", "water_in_oil_fraction", "oil_in_water_mg_l", "scrubber_dumps", "spill_s",
        "coverage", "leak_m3", "shut_s", "well_on_test",
    ),
    "days": (
        "day", "dumps", "open_s", "gas_m3", "water_load_m3_per_day", "oil_load_m3_per_day", "gas_load_fraction",
        "water_retention_min", "oil_retention_min", "water_required_min", "oil_required_min", "oil_hold_kpag",
        "gas_clip_kpag", "coverage", "water_short_h", "oil_short_h", "inflow_h", "cv_effective",
    ),
    "signal_hours": (
        "signal", "hour_utc", "coverage", "samples", "bad_samples", "changes", "still_s", "first", "last", "mean",
        "minimum", "maximum", "p10", "p90", "deviation", "swing_period_s", "swing_regularity", "net_change",
    ),
}  # fmt: skip
"""By frame: the columns that a history is read from; what has others too is as good. A detector that asks for another
one fails whatever the frames hold, so that it cannot do so only where they come from the store."""
_HOURS, _DAYS, _SIGNAL_HOURS = (frozenset(READ[name]) for name in ("hours", "days", "signal_hours"))


@dataclass(frozen=True)
class _Slots:
    """The hour numbers of a frame's rows."""

    rows: npt.NDArray[np.int64] | None
    """The rows inside the history; None for all."""
    hours: npt.NDArray[np.int64]
    """Of those rows."""

    def of(self, column: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return a column's values inside the history."""
        return column if self.rows is None else column[self.rows]


@dataclass(frozen=True)
class History:
    """Everything known of one vessel before `until`.

    Attributes
    ----------
    cycles, hours, days, signal_hours, tests : polars.DataFrame
        DUMP_CYCLES, VESSEL_HOURS, VESSEL_DAYS, SIGNAL_HOURS and WELL_TESTS of this vessel, at least with the
        columns of `READ`; rows at or after `until` are ignored.
    until : datetime
        End of the night: data before it are judged.
    anodes : polars.DataFrame
        ANODES of this vessel as of `until`.

    """

    vessel: Vessel
    field: Field
    cycles: pl.DataFrame
    hours: pl.DataFrame
    days: pl.DataFrame
    signal_hours: pl.DataFrame
    tests: pl.DataFrame
    until: datetime
    anodes: pl.DataFrame = default(default_factory=ANODES.empty)

    @cached_property
    def until_s(self) -> float:
        """Return the end of the night. [s since 1970]"""
        return self.until.timestamp()

    @cached_property
    def signals(self) -> frozenset[str]:
        """Return the signals that the vessel has by tags.csv or by its data."""
        return self.field.signals_of(self.vessel.id) | self._by_signal.keys()

    @cached_property
    def start_s(self) -> float:
        """Return the start of the first hour. [s since 1970]"""
        firsts = [f["hour_utc"].min() for f in (self.hours, self.signal_hours) if len(f)]
        known = [first.timestamp() for first in firsts if isinstance(first, datetime)]
        return min([*known, self.until_s])

    @cached_property
    def hour_s(self) -> Floats:
        """Return the starts of all hours from the first to the last before `until`. [s since 1970]"""
        count = max(0, int(np.ceil((self.until_s - self.start_s) / HOUR_S - 1e-9)))
        return self.start_s + HOUR_S * np.arange(count, dtype=np.float64)

    def _slots(self, frame: pl.DataFrame) -> _Slots:
        slots = np.round((_seconds(frame["hour_utc"]) - self.start_s) / HOUR_S).astype(np.int64)
        inside = (slots >= 0) & (slots < len(self.hour_s))
        if inside.all():
            return _Slots(None, slots)
        rows = np.flatnonzero(inside)
        return _Slots(rows, slots[rows])

    @cached_property
    def in_outage(self) -> Mask:
        """Return which hours touch an outage of field.toml."""
        mask = np.zeros(len(self.hour_s), dtype=bool)
        for outage in self.field.outages:
            if outage.vessel == self.vessel.id:
                begin, end = outage.from_utc.timestamp(), outage.to_utc.timestamp()
                mask |= (self.hour_s + HOUR_S > begin) & (self.hour_s < end)
        return mask

    @cached_property
    def _hour_slots(self) -> _Slots:
        return self._slots(self.hours)

    @cached_property
    def _cache(self) -> dict[tuple[str, str], Floats]:
        return {}

    def hour(self, name: str) -> Floats:
        """Return a column of the vessel's hours on the grid; NaN where unknown or in an outage."""
        key = ("", name)
        if key not in self._cache:
            _refuse_unread(name, _HOURS)
            self._cache[key] = self._spread(self.hours, name, self._hour_slots)
        return self._cache[key]

    def signal(self, signal: str, name: str) -> Floats:
        """Return a column of one signal's hours on the grid; NaN where unknown or in an outage."""
        key = (signal, name)
        if key not in self._cache:
            _refuse_unread(name, _SIGNAL_HOURS)
            frame = self._by_signal.get(signal)
            self._cache[key] = (
                np.full(len(self.hour_s), np.nan)
                if frame is None
                else self._spread(frame, name, self.shared(f"slots {signal}", lambda: self._slots(frame)))
            )
        return self._cache[key]

    @cached_property
    def _by_signal(self) -> dict[str, pl.DataFrame]:
        if not len(self.signal_hours):
            return {}
        stretches = self.signal_hours["signal"].rle().struct.unnest()
        names, lengths = stretches["value"].to_list(), stretches["len"].to_list()
        if len(set(names)) < len(names):
            parts = self.signal_hours.partition_by("signal", as_dict=True)
            return {str(key[0]): part for key, part in parts.items()}
        # In their declared order each signal's rows stand together: they need no copy.
        firsts = accumulate([0, *lengths[:-1]])
        return {
            name: self.signal_hours.slice(first, length)
            for name, first, length in zip(names, firsts, lengths, strict=True)
        }

    def _spread(self, frame: pl.DataFrame, name: str, slots: _Slots) -> Floats:
        values = np.full(len(self.hour_s), np.nan)
        if len(frame):
            values[slots.hours] = slots.of(_numbers(frame.get_column(name)))
        if self._has_outage:
            values[self.in_outage] = np.nan
        return values

    @cached_property
    def _has_outage(self) -> bool:
        return bool(self.in_outage.any())

    @cached_property
    def _made(self) -> dict[str, npt.NDArray[Any]]:
        return {}

    def once(self, name: str, make: Callable[[], npt.NDArray[Any]]) -> npt.NDArray[Any]:
        """Return an array that several detectors ask for, made when first asked for; nobody may write into it."""
        if name not in self._made:
            made = make()
            made.flags.writeable = False
            self._made[name] = made
        return self._made[name]

    @cached_property
    def _shared(self) -> dict[str, Any]:
        return {}

    def shared(self, name: str, make: Callable[[], _Thing]) -> _Thing:
        """Return what several detectors ask for and nobody changes, made when first asked for."""
        if name not in self._shared:
            self._shared[name] = make()
        thing: _Thing = self._shared[name]
        return thing

    def mean(self, signal: str) -> Floats:
        """Return the hourly means of a signal where at least half of the hour is known."""
        return self.once(f"mean {signal}", lambda: np.where(self.known(signal), self.signal(signal, "mean"), np.nan))

    def known(self, signal: str) -> Mask:
        """Return the hours in which a signal is known for the greater part."""
        return self.once(f"known {signal}", lambda: self.signal(signal, "coverage") >= KNOWN_SHARE)

    @cached_property
    def well(self) -> Texts:
        """Return the well on test in each hour; None where no well is known."""
        wells = np.full(len(self.hour_s), None, dtype=object)
        if len(self.hours):
            slots = self._hour_slots
            wells[slots.hours] = slots.of(np.array(self.hours["well_on_test"].to_list(), dtype=object))
        return wells

    @cached_property
    def dumps(self) -> Cycles:
        """Return the dumps that opened before `until` and outside outages."""
        frame = _before(self.cycles, "opened_utc", self.until_s)
        opened, shut = _seconds(frame["opened_utc"]), _seconds(frame["shut_utc"])
        # A dump that shut later than the night's end was under way then.
        open_still = ~(shut < self.until_s)
        columns = {short: _numbers(frame.get_column(long)) for short, long in _CYCLE_COLUMNS.items()}
        if open_still.any():
            for short in ("volume_geometry", "volume_meter", "drain", "inflow", "cv", "closing"):
                columns[short] = np.where(open_still, np.nan, columns[short])
        keep: slice | Mask = slice(None)
        if self._has_outage and len(opened):
            slots = np.clip(((opened - self.start_s) // HOUR_S).astype(int), 0, len(self.hour_s) - 1)
            keep = ~self.in_outage[slots]
        wells = np.array(frame["well_on_test"].to_list(), dtype=object)
        evidence = np.array(frame["evidence"].to_list(), dtype=object)
        return Cycles(
            opened=opened[keep],
            shut=np.where(open_still, np.nan, shut)[keep],
            well=wells[keep],
            evidence=evidence[keep],
            **{short: values[keep] for short, values in columns.items()},
        )

    def day(self, name: str) -> Floats:
        """Return a column of the vessel's days, in order, days that begin before `until` only."""
        _refuse_unread(name, _DAYS)
        return np.asarray(_numbers(self.days[name])[self._days[0]])

    @cached_property
    def _days(self) -> tuple[npt.NDArray[np.int64], Floats]:
        """Return the rows of the days that begin before `until`, in order, and where each begins. [s since 1970]"""
        zone = self.field.time_zone
        begins = np.array([_midnight_s(zone, day) for day in self.days["day"].to_list()], dtype=np.float64)
        order = np.argsort(begins, kind="stable")
        rows = order[begins[order] < self.until_s]
        return rows, begins[rows]

    @property
    def day_s(self) -> Floats:
        """Return the starts of the vessel's days. [s since 1970]"""
        return self._days[1]

    @cached_property
    def meter(self) -> str | None:
        """Return the water meter's signal: the totaliser, else the rate, else None."""
        return next((name for name in METERS if name in self.signals), None)

    @cached_property
    def is_throttling(self) -> bool:
        """Return whether the dump throttles, by its settings, or, unset, by having travel and no dumps."""
        action = self.vessel.water_dump_at(self.until).action
        if action is not None:
            return action == "throttling"
        return "water_dump_position" in self.signals and len(self.cycles) == 0

    def limit(self, kind: str, name: str) -> float:
        """Return a threshold: the vessel's own, else the field's, else the default of the kind."""
        for limits in (self.vessel.limits, self.field.limits):
            if name in limits.get(kind, {}):
                return limits[kind][name]
        return KINDS[kind].limit(name).default

    def limits_set(self, kind: str) -> list[str]:
        """Return the names of the kind's limits that field.toml sets to other than the default."""
        return [n for n in KINDS[kind].limit_names if self.limit(kind, n) != KINDS[kind].limit(n).default]

    def when(self, seconds: float) -> datetime:
        """Return seconds since 1970 as an aware time."""
        return datetime.fromtimestamp(seconds, tz=UTC)

    def hours_between(self, begin_s: float, end_s: float) -> slice:
        """Return the hours that lie wholly or partly in [begin, end)."""
        first = int(max(0, np.floor((begin_s - self.start_s) / HOUR_S + 1e-9)))
        last = int(min(len(self.hour_s), np.ceil((end_s - self.start_s) / HOUR_S - 1e-9)))
        return slice(first, max(first, last))


@lru_cache(maxsize=4096)
def _midnight_s(zone: str, day: date | None) -> float:
    """Return where a day begins, at the earlier of two midnights; NaN where its clock has none. [s since 1970]"""
    if day is None:
        return float("nan")
    local = datetime.combine(day, time(), ZoneInfo(zone))
    begins = local.astimezone(UTC)
    return begins.timestamp() if begins.astimezone(local.tzinfo).date() == day else float("nan")


def _refuse_unread(name: str, read: frozenset[str]) -> None:
    if name not in read:
        raise ProgrammerError(f"column {name} is not among those that histories are read from, detect.READ")


def _before(frame: pl.DataFrame, column: str, until_s: float) -> pl.DataFrame:
    """Return the rows whose time lies before another, in its order; the frame itself where that is all of it."""
    times = _seconds(frame[column])
    if (times < until_s).all() and (np.diff(times) >= 0.0).all():
        return frame
    order = np.argsort(times, kind="stable")
    return frame[order[times[order] < until_s]]


def _numbers(column: pl.Series) -> Floats:
    """Return a column as numbers, NaN where null; perhaps the frame's own memory, which nobody may write into."""
    known = column if column.dtype == pl.Float64 else column.cast(pl.Float64)
    return known.to_numpy().astype(np.float64, copy=False)


def _seconds(times: pl.Series) -> Floats:
    """Return times in microseconds as seconds since 1970, NaN where null."""
    # Not by `to_physical`, which is a query of its own and costs twenty times as much.
    return times.cast(pl.Int64).to_numpy().astype(np.float64, copy=False) / 1e6
