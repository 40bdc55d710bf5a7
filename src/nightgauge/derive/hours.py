"""The rows of VESSEL_HOURS of one day."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from nightgauge.derive.cycles import UNSEEN, Found, Span, from_switch
from nightgauge.derive.facts import Facts
from nightgauge.derive.known import SECOND_US, Floats, Pieces, Track, integral, joined, per_bin, pieces
from nightgauge.derive.load import Rates, cut_at, overlaps, water_inflow
from nightgauge.derive.plant import Plant
from nightgauge.derive.retention import Means, retention_columns
from nightgauge.derive.signal_hours import quantiles
from nightgauge.derive.totals import DAY_S, Counted
from nightgauge.vocabulary.signals import SIGNALS

Columns = dict[str, Floats]


@dataclass(frozen=True)
class Cuts:
    """The known intervals of each signal, cut at the hours of the day."""

    plant: Plant

    @cached_property
    def count(self) -> int:
        """Return the number of hours."""
        return int(self.plant.day.hours_us.size)

    @cached_property
    def length_s(self) -> Floats:
        """Return the length of each hour. [s]"""
        return self.plant.day.lengths_us / SECOND_US

    @cached_property
    def by_signal(self) -> Mapping[str, Pieces]:
        """Return the pieces of each signal."""
        edges = self.plant.day.edges_us
        return {name: pieces(track, edges) for name, track in self.plant.seen.tracks.items()}

    def known_s(self, signal: str) -> Floats:
        """Return how long a signal is known in each hour, 0 without it. [s]"""
        cut = self.by_signal.get(signal)
        if cut is None:
            return np.zeros(self.count)
        return per_bin(np.add, cut.length_us / SECOND_US, cut.bin, self.count, 0.0)

    def mean(self, signal: str) -> Floats:
        """Return the time-weighted mean of each hour, NaN where the signal is not known."""
        cut = self.by_signal.get(signal)
        if cut is None:
            return np.full(self.count, np.nan)
        with np.errstate(invalid="ignore", divide="ignore"):
            return integral(cut, self.count) / self.known_s(signal)

    def day_mean(self, signal: str) -> float:
        """Return the time-weighted mean over the day, NaN where the signal is not known."""
        mean, known_s = self.mean(signal), self.known_s(signal)
        some = known_s > 0.0
        return float(np.average(mean[some], weights=known_s[some])) if np.any(some) else float("nan")

    def median(self, signal: str) -> Floats:
        """Return the time-weighted median of each hour."""
        cut = self.by_signal.get(signal)
        if cut is None or cut.bin.size == 0:
            return np.full(self.count, np.nan)
        return quantiles(cut, self.count, (0.5,))[0]

    def lowest(self, signal: str) -> Floats:
        """Return the lowest value of each hour."""
        cut = self.by_signal.get(signal)
        if cut is None:
            return np.full(self.count, np.nan)
        return per_bin(np.minimum, np.minimum(cut.start_value, cut.end_value), cut.bin, self.count, np.nan)


@dataclass(frozen=True)
class Hours:
    """The columns of VESSEL_HOURS of one day, and the pieces of signals they were made from."""

    columns: dict[str, object]
    cuts: Cuts
    inflow: Rates
    """Of water, from a day before the day to the end of what is seen."""

    def number(self, name: str) -> Floats:
        """Return a column of numbers, NaN where it has none."""
        found = self.columns.get(name)
        return np.full(self.cuts.count, np.nan) if found is None else np.asarray(found, dtype=np.float64)


def hour_columns(plant: Plant, found: Found, known: Facts) -> Hours:
    """Return the hours of the plant's day, without the pressures held."""
    cuts = Cuts(plant)
    open_spans = spans_open(plant, found)
    inflow = water_inflow(plant, found, known, open_spans, plant.day.edges_around_us(plant.seen.end_us))
    load = inflow.mean_per_hour(plant.day.edges_us)
    outlets = _outlet_columns(plant, cuts)
    columns: dict[str, object] = {
        "vessel": [plant.vessel.id] * cuts.count,
        "hour_utc": plant.day.hours_us,
        "well_on_test": _most_of_the_time(plant.track("well_on_test"), cuts),
        "water_load_m3_per_day": load,
        **_dump_columns(plant, found, known, cuts, open_spans),
        **_leak_columns(plant, found, cuts, open_spans),
        **_level_columns(plant, found, known, cuts, open_spans),
        **outlets,
        **{f"coverage_{name}": cuts.known_s(name) / cuts.length_s for name in SIGNALS},
        **retention_columns(plant, hourly_means(cuts), load, outlets["oil_load_m3_per_day"]),
    }
    return Hours(columns, cuts, inflow)


def hourly_means(cuts: Cuts) -> Means:
    """Return the means that retention asks for, by hour."""
    return Means(*(cuts.mean(name) for name in _signals_of_means(cuts.plant)))


def daily_means(cuts: Cuts) -> Means:
    """Return the means that retention asks for, over the day."""
    return Means(*(np.array([cuts.day_mean(name)]) for name in _signals_of_means(cuts.plant)))


def _signals_of_means(plant: Plant) -> tuple[str, ...]:
    interface = plant.interface.signal if plant.interface is not None else "interface_level"
    return (interface, "oil_level", "temperature", "vessel_pressure", "gas_rate")


def spans_open(plant: Plant, found: Found) -> Span:
    """Return when the dump was open: as the switch says while it is the evidence, else by the dumps."""
    dumps = found.dumps
    begun = dumps.opened_us != UNSEEN
    following = np.append(dumps.opened_us[1:], plant.seen.end_us)
    # An end that was not seen: the dump is under way, or lasted at most to the next one.
    end = np.where(dumps.shut_us != UNSEEN, dumps.shut_us, np.where(following == UNSEEN, dumps.opened_us, following))
    last = np.arange(dumps.size) == dumps.size - 1
    surely = begun & ((dumps.shut_us != UNSEEN) | last)
    spans = joined(dumps.opened_us[surely], np.maximum(end, dumps.opened_us)[surely])
    switch = plant.track("water_dump_open")
    if switch is None or "switch" not in found.leading:
        return spans
    is_open = switch.start_value >= 0.5
    by_switch = joined(switch.start_us[is_open], switch.end_us[is_open])
    apart = ~overlaps(spans[0], spans[1], joined(switch.start_us, switch.end_us))
    start = np.concatenate([by_switch[0], spans[0][apart]])
    order = np.argsort(start, kind="stable")
    return start[order], np.concatenate([by_switch[1], spans[1][apart]])[order]


def _dump_columns(plant: Plant, found: Found, known: Facts, cuts: Cuts, open_spans: Span) -> Columns:
    edges, count = plant.day.edges_us, cuts.count
    covered = cut_at(*found.known, edges)
    covered_s = per_bin(np.add, covered.length_s, covered.bin, count, 0.0)
    opened = found.dumps.opened_us
    hour = np.searchsorted(edges, opened, side="right") - 1
    today = (opened >= edges[0]) & (opened < edges[-1])
    dumps = np.bincount(hour[today], minlength=count).astype(np.float64)
    open_cut = cut_at(*open_spans, edges)
    open_s = per_bin(np.add, open_cut.length_s, open_cut.bin, count, 0.0)
    seen = covered_s > 0.0
    has_cycles = seen & (not plant.is_throttling)
    return {
        "coverage": covered_s / cuts.length_s,
        "dumps": np.where(has_cycles, dumps, np.nan),
        "open_s": np.where(has_cycles, open_s, np.nan),
        "water_m3": _water_m3(plant, found, known, cuts),
    }


def _water_m3(plant: Plant, found: Found, known: Facts, cuts: Cuts) -> Floats:
    """Return what left by the meter, else what the dumps took by geometry, spread evenly over each dump."""
    by_meter = _metered(plant.water, plant.water_meter, cuts)
    dumps = found.dumps
    whole = (dumps.opened_us != UNSEEN) & (dumps.shut_us != UNSEEN) & ~np.isnan(known.volume_geometry_m3)
    cut = cut_at(dumps.opened_us[whole], dumps.shut_us[whole], plant.day.edges_us)
    rate = known.volume_geometry_m3[whole] / known.drain_s[whole]
    by_geometry = per_bin(np.add, rate[cut.source] * cut.length_s, cut.bin, cuts.count, 0.0)
    level = plant.interface
    told = cuts.known_s(level.signal) > 0.0 if level is not None else np.zeros(cuts.count, dtype=bool)
    can_tell = told & (plant.shell is not None) & (not plant.is_throttling)
    return np.where(np.isnan(by_meter), np.where(can_tell, by_geometry, np.nan), by_meter)


def _metered(counted: Counted | None, meter: Track | None, cuts: Cuts) -> Floats:
    if counted is None or meter is None:
        return np.full(cuts.count, np.nan)
    volume = counted.per_hour(cuts.plant.day.edges_us)
    return np.where(cuts.known_s(meter.signal) > 0.0, volume, np.nan)


def _leak_columns(plant: Plant, found: Found, cuts: Cuts, open_spans: Span) -> Columns:
    """Return what the meter counted while the dump was known to be shut; readings that touch a dump are left out."""
    if plant.water is None or plant.is_throttling:
        return {}
    meter, edges = plant.water, plant.day.edges_us
    known = cut_at(*found.known, np.array([meter.from_us.min(initial=0), meter.to_us.max(initial=1)]))
    within = np.searchsorted(known.start_us, meter.from_us, side="right") > np.searchsorted(
        known.end_us, meter.to_us, side="left"
    )
    late = int(np.max(found.dumps.late_us, initial=0))
    shut = within & ~overlaps(meter.from_us, meter.to_us, (open_spans[0] - late, open_spans[1]))
    hour = np.searchsorted(edges, meter.to_us, side="left") - 1
    use = shut & (hour >= 0) & (hour < cuts.count)
    length_s = (meter.to_us - np.maximum(meter.from_us, edges[0])) / SECOND_US
    volume = np.bincount(hour[use], weights=meter.volume_m3[use], minlength=cuts.count)
    time = np.bincount(hour[use], weights=length_s[use], minlength=cuts.count)
    return {"leak_m3": np.where(time > 0, volume, np.nan), "shut_s": np.where(time > 0, time, np.nan)}


def _level_columns(plant: Plant, found: Found, known: Facts, cuts: Cuts, open_spans: Span) -> Columns:
    level = plant.interface
    if level is None:
        return {}
    cut = cuts.by_signal[level.signal]
    columns: Columns = {}
    weir = plant.vessel.normal_oil_level_m
    some = cuts.known_s(level.signal) > 0.0
    if weir is not None and plant.vessel.normal_interface_m is not None:
        columns["spill_s"] = np.where(some, _summed(cut, time_above_s(cut, weir), cuts), np.nan)
    if plant.is_throttling or not np.any(some):
        return columns
    opens, closes = usual_levels(plant, known)
    is_open = overlaps(cut.start_us, cut.end_us, open_spans)
    above = np.where(is_open, 0.0, time_above_s(cut, opens))
    below = np.where(is_open, cut.length_us / SECOND_US - time_above_s(cut, closes), 0.0)
    covered = some & (found.known[0].size > 0)
    columns["above_opening_s"] = np.where(covered & ~np.isnan(opens), _summed(cut, above, cuts), np.nan)
    columns["below_closing_s"] = np.where(covered & ~np.isnan(closes), _summed(cut, below, cuts), np.nan)
    return columns


def usual_levels(plant: Plant, known: Facts) -> tuple[float, float]:
    """Return the opening and closing level as set, else the median of the dumps seen."""
    return (
        _set_or_usual(plant.dump.opens_at_m, known.opening_level_m),
        _set_or_usual(plant.dump.closes_at_m, known.closing_level_m),
    )


def _set_or_usual(setting: float | None, seen: Floats) -> float:
    if setting is not None:
        return setting
    real = seen[~np.isnan(seen)]
    return float(np.median(real)) if real.size else float("nan")


def time_above_s(cut: Pieces, threshold: float) -> Floats:
    """Return how long each piece of line lies above a threshold. [s]"""
    low = np.minimum(cut.start_value, cut.end_value)
    high = np.maximum(cut.start_value, cut.end_value)
    flat = high <= low
    share = np.where(flat, (low > threshold).astype(np.float64), (high - threshold) / np.where(flat, 1.0, high - low))
    return np.clip(share, 0.0, 1.0) * (cut.length_us / SECOND_US)


def _summed(cut: Pieces, values: Floats, cuts: Cuts) -> Floats:
    return per_bin(np.add, values, cut.bin, cuts.count, 0.0)


def _outlet_columns(plant: Plant, cuts: Cuts) -> Columns:
    oil_meter = plant.track("oil_total")
    if oil_meter is None or oil_meter.start_us.size == 0:
        oil_meter = plant.track("oil_rate")
    oil = _metered(plant.oil, oil_meter, cuts)
    oil_known_s = cuts.known_s(oil_meter.signal) if oil_meter is not None else np.zeros(cuts.count)
    gas = cuts.mean("gas_rate") * cuts.known_s("gas_rate") / DAY_S
    scrubber = _scrubber_dumps(plant, cuts)
    with np.errstate(invalid="ignore", divide="ignore"):
        oil_load = np.where(oil_known_s > 0, oil / oil_known_s * DAY_S, np.nan)
        per_gas = np.where(gas > 0.0, scrubber / gas * 1000.0, np.nan)
    return {
        "oil_m3": oil,
        "gas_m3": gas,
        "oil_load_m3_per_day": oil_load,
        "water_in_oil_fraction": cuts.mean("oil_water_cut"),
        "oil_in_water_mg_l": cuts.mean("water_oil_content"),
        "scrubber_dumps": scrubber,
        "scrubber_dumps_per_1000m3_gas": per_gas,
        "pressure_sag_kpa": cuts.median("vessel_pressure") - cuts.lowest("vessel_pressure"),
    }


def _scrubber_dumps(plant: Plant, cuts: Cuts) -> Floats:
    switch = plant.track("scrubber_dump_open")
    if switch is None:
        return np.full(cuts.count, np.nan)
    edges = plant.day.edges_us
    opened = from_switch(switch).dumps.opened_us
    hour = np.searchsorted(edges, opened, side="right") - 1
    today = (opened >= edges[0]) & (opened < edges[-1])
    dumps = np.bincount(hour[today], minlength=cuts.count).astype(np.float64)
    return np.where(cuts.known_s("scrubber_dump_open") > 0.0, dumps, np.nan)


def _most_of_the_time(track: Track | None, cuts: Cuts) -> list[str | None]:
    if track is None or not track.labels:
        return [None] * cuts.count
    cut = cuts.by_signal[track.signal]
    time = np.zeros((cuts.count, len(track.labels)))
    np.add.at(time, (cut.bin, cut.start_value.astype(np.int64)), cut.length_us / SECOND_US)
    return [track.labels[int(np.argmax(row))] if row.max() > 0 else None for row in time]
