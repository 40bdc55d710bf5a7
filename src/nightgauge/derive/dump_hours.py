"""What the water dump did in each hour: dumps, time open, water, leak, time beyond its trip levels."""

import numpy as np

from nightgauge.derive.cuts import Cuts, metered
from nightgauge.derive.cycles import Found
from nightgauge.derive.dumps import UNSEEN
from nightgauge.derive.facts import Facts
from nightgauge.derive.known import Pieces, per_bin, pieces
from nightgauge.derive.plant import Plant
from nightgauge.derive.spans import (
    SECOND_US,
    Floats,
    Indices,
    Span,
    Times,
    bin_of_each,
    cut_at,
    inside,
    joined,
    overlaps,
)
from nightgauge.derive.totals import Counted

Columns = dict[str, Floats]
_MOST_OF_FILL = 0.5
"""Share of a fill that a totaliser has to be silent for its silence to say that nothing passed. House choice."""


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


def dump_columns(plant: Plant, found: Found, known: Facts, cuts: Cuts, open_spans: Span) -> Columns:
    """Return the columns of VESSEL_HOURS that tell of the water dump."""
    return {
        **_opening_columns(plant, found, known, cuts, open_spans),
        **_leak_columns(plant, found, cuts, open_spans),
        **_level_columns(plant, found, known, cuts, open_spans),
    }


def _opening_columns(plant: Plant, found: Found, known: Facts, cuts: Cuts, open_spans: Span) -> Columns:
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
    by_meter = metered(plant.water, plant.water_meter, cuts)
    dumps = found.dumps
    whole = (dumps.opened_us != UNSEEN) & (dumps.shut_us != UNSEEN) & ~np.isnan(known.volume_geometry_m3)
    cut = cut_at(dumps.opened_us[whole], dumps.shut_us[whole], plant.day.edges_us)
    rate = known.volume_geometry_m3[whole] / known.drain_s[whole]
    by_geometry = per_bin(np.add, rate[cut.source] * cut.length_s, cut.bin, cuts.count, 0.0)
    level = plant.interface
    told = cuts.known_s(level.signal) > 0.0 if level is not None else np.zeros(cuts.count, dtype=bool)
    can_tell = told & (plant.shell is not None) & (not plant.is_throttling)
    return np.where(np.isnan(by_meter), np.where(can_tell, by_geometry, np.nan), by_meter)


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
    hour = bin_of_each(meter.to_us, edges, side="left")
    length_us = np.where(shut, meter.to_us - np.maximum(meter.from_us, edges[0]), 0)
    length_us += np.where(within & ~shut, _silent_us(meter, (open_spans[0] - late, open_spans[1]), edges[0]), 0)
    use = (length_us > 0) & (hour >= 0) & (hour < cuts.count)
    passed = np.where(shut, meter.volume_m3, 0.0)
    volume = np.bincount(hour[use], weights=passed[use], minlength=cuts.count)
    time = np.bincount(hour[use], weights=length_us[use] / SECOND_US, minlength=cuts.count)
    return {"leak_m3": np.where(time > 0, volume, np.nan), "shut_s": np.where(time > 0, time, np.nan)}


def _silent_us(meter: Counted, open_spans: Span, first_us: int) -> Times:
    """Return how long each reading that ends in a dump stood still before it, where it did for most of the fill.

    A totaliser that reports by exception says nothing while a sound valve is shut: by the step between two samples
    that silence is no flow, and worth as much as readings that say so. A shorter silence is the rest of a pulse.
    """
    opened, shut = open_spans
    # The fill that a reading began in, or that follows the dump it began in: from dump number `before` to the next.
    before = np.searchsorted(opened, meter.from_us, side="right") - 1
    is_between = (before >= 0) & (before + 1 < len(opened))
    begins = np.maximum(meter.from_us, _taken(shut, before))
    ends = np.minimum(meter.to_us, _taken(opened, before + 1))
    fill = _taken(opened, before + 1) - _taken(shut, before)
    is_most = is_between & (ends - begins >= _MOST_OF_FILL * fill) & (fill > 0)
    return np.where(is_most, np.maximum(ends - np.maximum(begins, first_us), 0), 0)


def _taken(times: Times, which: Indices) -> Times:
    """Return times by number; the nearest for a number that does not exist."""
    return times.take(which, mode="clip") if len(times) else np.zeros(len(which), dtype=np.int64)


def _level_columns(plant: Plant, found: Found, known: Facts, cuts: Cuts, open_spans: Span) -> Columns:
    level = plant.interface
    if level is None:
        return {}
    cut = cuts.by_signal[level.signal]
    columns: Columns = {}
    weir = plant.vessel.normal_oil_level_m
    some = cuts.known_s(level.signal) > 0.0
    if weir is not None and plant.vessel.normal_interface_m is not None:
        spilt = per_bin(np.add, time_above_s(cut, weir), cut.bin, cuts.count, 0.0)
        columns["spill_s"] = np.where(some, spilt, np.nan)
    if plant.is_throttling or not np.any(some):
        return columns
    opens, closes = usual_levels(plant, known)
    edges = plant.day.edges_us
    trips = np.clip(np.concatenate([edges, *open_spans]), edges[0], edges[-1])
    cut = pieces(level, np.unique(trips))
    hour = bin_of_each(cut.start_us, edges)
    is_open = inside(cut.start_us, open_spans)
    above = np.where(is_open, 0.0, time_above_s(cut, opens))
    below = np.where(is_open, cut.length_s - time_above_s(cut, closes), 0.0)
    covered = some & (found.known[0].size > 0)
    for name, threshold, time in (("above_opening_s", opens, above), ("below_closing_s", closes, below)):
        whole = per_bin(np.add, time, hour, cuts.count, 0.0)
        columns[name] = np.where(covered & ~np.isnan(threshold), whole, np.nan)
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
    return np.clip(share, 0.0, 1.0) * cut.length_s
