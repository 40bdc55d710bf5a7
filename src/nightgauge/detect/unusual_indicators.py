"""What a vessel did on each of its days, in a dozen numbers, beside the loads that move them.

Only hours in which the wells produce count, so a shut-in of some hours leaves the day's other hours to compare.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightgauge.detect.history import DAY_S, HOUR_S, Floats, History, Mask, Texts
from nightgauge.detect.inflow import OIL_METERS, flow_hours
from nightgauge.detect.working import working
from nightgauge.vocabulary.kind import INCH, PSI

LEAST_WORKING_H = 18.0
"""Hours in which the wells produce that make a day one to compare: three quarters, as a day of half its hours is
half another day. House choice."""
_LEAST_KNOWN = 0.5
"""Share of the day's working hours in which an indicator has to be known. House choice: the greater half."""
_LEAST_DUMPS = 4
"""Dumps that a day's median needs: fewer and one hand dump decides it. House choice."""
_ONE_WELL = 0.8
"""Share of the day's hours that one well has to be on test for the day to be that well's. House choice."""
_LEAST_LOAD = 0.05
"""Share of the usual load below which a load counts as this: the logarithm of nothing says nothing."""


@dataclass(frozen=True)
class Indicator:
    """One number of a day."""

    name: str
    unit: str
    """Inside unit; "" for a count or a ratio."""
    dimension: str
    """Name in `units.DIMENSIONS`; "" for a plain number."""
    floor: float
    """Scatter that is assumed at the least: what instruments resolve and people care for. A share where `is_ratio`."""
    is_ratio: bool = False
    """Whether a day is compared by ratio: then the day's value is kept as its logarithm."""
    more: float = 0.0
    """Added before a ratio is taken, so that counts of none and one are near each other."""

    def kept(self, values: Floats) -> Floats:
        """Return values as they are compared; a ratio of what is not above zero is not known."""
        if not self.is_ratio:
            return values
        whole = values + self.more
        return np.log(np.where(whole > 0.0, whole, np.nan))

    def plain(self, value: float) -> float:
        """Return a kept value in the indicator's unit."""
        return float(np.exp(value)) - self.more if self.is_ratio else float(value)


@dataclass(frozen=True)
class Days:
    """The vessel's days in order: values and loads NaN where not known.

    Attributes
    ----------
    begin_s, end_s : (n_days,) float
        [s since 1970]
    values : (n_days, n_indicators) float
        Inside units, logarithms where the indicator is a ratio.
    loads : (n_days, n_loads) float
        Logarithms of water, oil and gas load, and the temperature [degC]; those that are known.
    fits : (n_days,) bool
        Whether the day is one to compare: wells producing, no outage, over before the night's end.
    well : (n_days,) object
        Well on test, None where there is none; days of many wells do not fit.

    """

    indicators: tuple[Indicator, ...]
    begin_s: Floats
    end_s: Floats
    values: Floats
    loads: Floats
    load_names: tuple[str, ...]
    fits: Mask
    well: Texts


class _Grid:
    """The hours and dumps of the last days laid out day by day."""

    def __init__(self, history: History, most_days: int) -> None:
        begin = history.day_s[-most_days:]
        end = np.append(begin[1:], begin[-1] + DAY_S)
        # A day without a row, as in a hole of the data, must not lengthen the one before it.
        self.begin, self.end = begin, np.minimum(end, begin + DAY_S + HOUR_S)
        first = np.searchsorted(history.hour_s, self.begin - HOUR_S / 2.0)
        places = first[:, None] + np.arange(25)[None, :]
        inside = places < np.searchsorted(history.hour_s, self.end - HOUR_S / 2.0)[:, None]
        self._places, self.inside = np.where(inside, places, 0), inside
        self.history, self._working = history, working(history) & ~history.in_outage
        self.work_h = self.by_hour(self._working.astype(float)).sum(axis=1, where=inside)
        self.has_outage = (self.by_hour(history.in_outage) & inside).any(axis=1)
        dumps = history.dumps
        self._dump_first = np.searchsorted(dumps.opened, self.begin)
        self._dump_stop = np.searchsorted(dumps.opened, self.end)

    def by_hour(self, hours: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        """Return hours as (n_days, 25); what lies outside the day repeats the first hour."""
        return hours[self._places]

    def working_hours(self, hours: Floats) -> Floats:
        """Return hours as (n_days, 25), NaN outside the day and where wells do not produce."""
        grid = self.by_hour(np.where(self._working, hours, np.nan))
        return np.where(self.inside, grid, np.nan)

    def mean(self, hours: Floats) -> Floats:
        """Return the mean over each day's working hours, NaN where less than half of them are known."""
        if not np.isfinite(hours).any():
            return np.full(len(self.begin), np.nan)
        grid = self.working_hours(hours)
        known = np.isfinite(grid)
        count = known.sum(axis=1)
        enough = (count >= _LEAST_KNOWN * self.work_h) & (count > 0)
        return np.where(enough, np.where(known, grid, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan)

    def median(self, hours: Floats) -> Floats:
        """Return the median over each day's working hours, NaN where less than half of them are known."""
        if not np.isfinite(hours).any():
            return np.full(len(self.begin), np.nan)
        grid = self.working_hours(hours)
        enough = np.isfinite(grid).sum(axis=1) >= np.maximum(_LEAST_KNOWN * self.work_h, 1.0)
        return np.where(enough, medians(grid, 1), np.nan)

    def of_dumps(self, values: Floats) -> Floats:
        """Return the median over each day's dumps, NaN where fewer than four say it."""
        counts = self._dump_stop - self._dump_first
        width = int(counts.max(initial=0))
        if width < _LEAST_DUMPS or not np.isfinite(values).any():
            return np.full(len(self.begin), np.nan)
        places = self._dump_first[:, None] + np.arange(width)[None, :]
        grid = np.where(
            np.arange(width)[None, :] < counts[:, None], values[np.minimum(places, len(values) - 1)], np.nan
        )
        return np.where(np.isfinite(grid).sum(axis=1) >= _LEAST_DUMPS, medians(grid, 1), np.nan)


def medians(values: Floats, axis: int) -> Floats:
    """Return the medians of what is known along an axis, NaN where nothing is."""
    ordered = np.sort(values, axis=axis)
    count = np.isfinite(ordered).sum(axis=axis, keepdims=True)
    lower = np.take_along_axis(ordered, np.maximum((count - 1) // 2, 0), axis)
    upper = np.take_along_axis(ordered, np.minimum(count // 2, values.shape[axis] - 1), axis)
    return np.asarray(np.where(count > 0, 0.5 * (lower + upper), np.nan).squeeze(axis))


def days_of(history: History, most_days: int) -> Days | None:
    """Return the indicators of the vessel's last days, None without any."""
    if not len(history.day_s) or not len(history.hour_s):
        return None
    grid = _Grid(history, most_days)
    with np.errstate(invalid="ignore", divide="ignore"):
        found = [(indicator, v) for indicator, v in (*_levels(grid), *_pressures(grid), *_dumps(grid), *_outlets(grid))
                 if np.isfinite(v).any()]  # fmt: skip
        values = [indicator.kept(v) for indicator, v in found]
        loads = _loads(grid)
    well, is_one_well = _wells(grid)
    over = grid.end <= history.until_s + 1.0
    count = len(grid.begin)
    return Days(
        tuple(i for i, _ in found), grid.begin, grid.end,
        _columns(values, count), _columns(list(loads.values()), count), tuple(loads),
        over & is_one_well & (grid.work_h >= LEAST_WORKING_H) & ~grid.has_outage, well,
    )  # fmt: skip


def _columns(parts: list[Floats], count: int) -> Floats:
    return np.column_stack(parts) if parts else np.empty((count, 0))


Named = Iterator[tuple[Indicator, Floats]]


def _levels(grid: _Grid) -> Named:
    """Yield the levels; a quarter of an inch is what people read off a sight glass."""
    history = grid.history
    yield Indicator("interface level", "m", "length", 0.25 * INCH), grid.mean(history.mean("interface_level"))
    yield Indicator("oil level", "m", "length", 0.25 * INCH), grid.mean(history.mean("oil_level"))
    if history.is_throttling:
        yield (
            Indicator("range of the interface within the hour", "m", "length", 0.25 * INCH),
            grid.median(_range(history, "interface_level")),
        )
        travel = history.mean("water_dump_position")
        yield Indicator("travel of the water dump", "1", "fraction", 0.01), grid.mean(travel)


def _pressures(grid: _Grid) -> Named:
    """Yield the pressures; a quarter of a psi is the finest that a gauge shows.

    The day's mean with the load taken out stands for what oil and gas valve hold, and is known on every day.
    """
    history = grid.history
    vessel = history.mean("vessel_pressure")
    yield Indicator("vessel pressure", "kPag", "pressure", 0.25 * PSI), grid.mean(vessel)
    loss = history.mean("inlet_pressure") - vessel
    yield Indicator("header above vessel pressure", "kPa", "pressure difference", 0.25 * PSI), grid.mean(loss)
    yield (
        Indicator("range of the pressure within the hour", "kPa", "pressure difference", 0.25 * PSI),
        grid.median(_range(history, "vessel_pressure")),
    )
    yield (
        Indicator("pressure sag with a dump", "kPa", "pressure difference", 0.25 * PSI),
        grid.of_dumps(history.dumps.sag),
    )


def _range(history: History, signal: str) -> Floats:
    known = history.known(signal)
    return np.where(known, history.signal(signal, "p90") - history.signal(signal, "p10"), np.nan)


def _dumps(grid: _Grid) -> Named:
    """Yield what the dumps of a day were like; 3 % is a meter's and a clock's own scatter."""
    dumps = grid.history.dumps
    yield Indicator("opening level", "m", "length", 0.25 * INCH), grid.of_dumps(dumps.opening)
    gap = dumps.opening - dumps.closing
    yield Indicator("gap between opening and closing level", "m", "length", 0.03, is_ratio=True), grid.of_dumps(gap)
    yield Indicator("drain time", "s", "duration", 0.03, is_ratio=True), grid.of_dumps(dumps.drain)
    volume = np.where(np.isfinite(dumps.volume_meter), dumps.volume_meter, dumps.volume_geometry)
    yield Indicator("water per dump", "m3", "volume", 0.03, is_ratio=True), grid.of_dumps(volume)
    ratio = dumps.volume_meter / dumps.volume_geometry
    yield Indicator("dumps by meter over dumps by level", "", "", 0.03, is_ratio=True), grid.of_dumps(ratio)
    yield Indicator("flow coefficient", "", "", 0.03, is_ratio=True), grid.of_dumps(dumps.cv)
    leak = grid.mean(grid.history.hour("leak_m3")) / grid.mean(grid.history.hour("shut_s")) * DAY_S
    share = leak / grid.mean(grid.history.hour("water_load_m3_per_day"))
    yield Indicator("water past the shut dump, of all water", "1", "fraction", 0.01), share


def _outlets(grid: _Grid) -> Named:
    """Yield what leaves with what it should not leave with."""
    history = grid.history
    for column, signal, indicator in (
        ("water_in_oil_fraction", "oil_water_cut", Indicator("water in the oil outlet", "1", "fraction", 0.005)),
        (
            "oil_in_water_mg_l",
            "water_oil_content",
            Indicator("oil in the water outlet", "mg/L", "concentration", 10.0),
        ),
    ):
        hours = history.hour(column)
        yield indicator, grid.mean(hours if np.isfinite(hours).any() else history.mean(signal))
    scrubber = 24.0 * grid.mean(history.hour("scrubber_dumps"))
    yield Indicator("scrubber dumps a day", "", "", 0.25, is_ratio=True, more=1.0), scrubber


def _loads(grid: _Grid) -> dict[str, Floats]:
    """Return the logarithms of the day's water, oil and gas and its temperature, those that are known."""
    history = grid.history
    water = history.hour("water_load_m3_per_day")
    if not np.isfinite(water).any() and history.meter is not None:
        water = flow_hours(history, history.meter)
    oil = next((name for name in OIL_METERS if name in history.signals), OIL_METERS[0])
    found = {
        "water": _log(grid.mean(water)),
        "oil": _log(grid.mean(flow_hours(history, oil))),
        "gas": _log(grid.mean(flow_hours(history, "gas_rate"))),
        "temperature": grid.mean(history.mean("temperature")),
    }
    return {name: load for name, load in found.items() if np.isfinite(load).any()}


def _log(load: Floats) -> Floats:
    usual = medians(load, 0)
    return np.log(np.maximum(load, _LEAST_LOAD * usual)) if usual > 0 else np.full(len(load), np.nan)


def _wells(grid: _Grid) -> tuple[Texts, Mask]:
    """Return the well on test on each day, and whether the day is of one well alone."""
    wells = grid.history.well
    if not any(w is not None for w in wells):
        return np.full(len(grid.begin), None, dtype=object), np.ones(len(grid.begin), dtype=bool)
    found = np.full(len(grid.begin), None, dtype=object)
    alone = np.zeros(len(grid.begin), dtype=bool)
    for number, (day, inside) in enumerate(zip(grid.by_hour(wells), grid.inside, strict=True)):
        names = [w for w in day[inside] if w is not None]
        if names:
            found[number] = max(sorted(set(names)), key=names.count)
            alone[number] = names.count(found[number]) >= _ONE_WELL * inside.sum()
    return found, alone
