"""What each dump did: levels, volumes, inflow, pressure, effective flow coefficient."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.cycles import Found
from nightgauge.derive.dumps import UNSEEN
from nightgauge.derive.known import Track, integral, per_bin, pieces
from nightgauge.derive.lines import lines
from nightgauge.derive.plant import Plant, level_at
from nightgauge.derive.spans import SECOND_US, Floats, Span, Times, complement, cut_at
from nightgauge.derive.totals import DAY_S
from nightgauge.physics.valve import flow_coefficient, liquid_head_kpa

LONGEST_FILL_US = 36 * 3600 * SECOND_US
"""A fill is followed no further back than this. [us] It leaves half a day of the context for the shutting before."""

_SHORT_FIT_US = 600 * SECOND_US
"""Fill that is looked at where its other end was not seen. [us] House choice: ten minutes."""
_MOST_SAMPLES = 30
"""Samples of a fill that tell a trip level: enough to take out noise, few enough to be straight."""


@dataclass(frozen=True)
class Facts:
    """One entry per dump of `Found`; NaN where not known."""

    opening_level_m: Floats
    closing_level_m: Floats
    fill_s: Floats
    drain_s: Floats
    inflow_m3_per_day: Floats
    volume_geometry_m3: Floats
    volume_meter_m3: Floats
    leak_m3: Floats
    pressure_kpag: Floats
    pressure_sag_kpa: Floats
    lowest_level_m: Floats
    cv_effective: Floats


def facts(plant: Plant, found: Found) -> Facts:
    """Return what each dump did."""
    opened, shut = _times(found.dumps.opened_us), _times(found.dumps.shut_us)
    shut_before = np.append(np.nan, shut[:-1])
    opening, closing = _trip_levels(plant.interface, opened, shut, found.dumps.late_us)
    drain = (shut - opened) / SECOND_US
    fill = _fill_s(found, opened, shut_before, drain)
    kept = plant.water_volume_m3(closing)
    before = plant.water_volume_m3(opening)
    with np.errstate(invalid="ignore", divide="ignore"):
        by_geometry = (before - np.append(np.nan, kept[:-1])) / fill * DAY_S
    by_meter, through, leak = _metered(plant, found, opened, shut, shut_before, kept)
    inflow = np.where(np.isnan(by_meter), np.maximum(by_geometry, 0.0), by_meter)
    inflow_of_level = np.where(np.isnan(by_geometry), inflow, by_geometry)
    volume = before - kept + np.maximum(inflow_of_level, 0.0) * drain / DAY_S
    pressure, lowest_pressure = _while_open(plant.track("vessel_pressure"), found, plant.seen.end_us)
    level, lowest_level = _while_open(plant.interface, found, plant.seen.end_us)
    moved = np.where(np.isnan(through), volume, through)
    return Facts(
        opening, closing, fill, drain, inflow, volume, through, leak, pressure,
        _read(plant.track("vessel_pressure"), opened) - lowest_pressure, lowest_level,
        _cv(plant, moved, drain, pressure, level, opened),
    )  # fmt: skip


def _trip_levels(track: Track | None, opened: Floats, shut: Floats, late_us: Times) -> tuple[Floats, Floats]:
    """Return the level at each opening and shutting, from the fill before and the fill after.

    A fill is slow: its line tells the level at the trip better than the one reading nearest to it, which has
    noise or is a scan too late, when the level has fallen already. It is free of the lag of a level that falls fast.
    """
    if track is None or track.time_us.size == 0:
        return np.full(opened.shape, np.nan), np.full(opened.shape, np.nan)
    before, after = np.append(np.nan, shut[:-1]), np.append(opened[1:], np.nan)
    top = _fill_line(track, before, opened - late_us, opened - 0.5 * late_us, at_end=True)
    bottom = _fill_line(track, shut, after - np.append(late_us[1:], 0), shut - 0.5 * late_us, at_end=False)
    known_top, known_bottom = _read(track, opened), _read(track, shut)
    return np.where(np.isnan(known_top), np.nan, top), np.where(np.isnan(known_bottom), np.nan, bottom)


def _fill_line(track: Track, start: Floats, end: Floats, at: Floats, *, at_end: bool) -> Floats:
    """Return the level at one end of each fill by the line through the samples of that half of it."""
    fallback = _read(track, at)
    low = np.where(np.isnan(start), at - _SHORT_FIT_US, start)
    high = np.where(np.isnan(end), at + _SHORT_FIT_US, end)
    usable = ~np.isnan(at) & ~np.isnan(low) & ~np.isnan(high)
    low, high = np.where(usable, low, 0), np.where(usable, high, 0)
    middle = 0.5 * (low + high)
    first = np.searchsorted(track.time_us, middle if at_end else low, side="left")
    last = np.searchsorted(track.time_us, high if at_end else middle, side="right")
    first = np.maximum(first, last - _MOST_SAMPLES) if at_end else first
    last = last if at_end else np.minimum(last, first + _MOST_SAMPLES)
    last = np.maximum(last, first)
    fit = lines(track.time_us, track.value, first, last, np.where(usable, at, 0).astype(np.int64))
    # A line is drawn on for no longer than it is: two samples of a noisy reading point anywhere.
    nearest = np.clip(last - 1 if at_end else first, 0, track.value.size - 1)
    other = np.clip(first if at_end else last - 1, 0, track.value.size - 1)
    drawn_us, beyond_us = np.abs(track.time_us[other] - track.time_us[nearest]), np.abs(at - track.time_us[nearest])
    value = np.where(beyond_us <= drawn_us, fit.value, track.value[nearest])
    return np.where(usable & (fit.samples > 0), value, fallback)


def _times(when_us: Times) -> Floats:
    return np.where(when_us == UNSEEN, np.nan, when_us.astype(np.float64))


def _whole(when_us: Floats) -> Times:
    return np.where(np.isnan(when_us), UNSEEN, when_us).astype(np.int64)


def _read(track: Track | None, when_us: Floats) -> Floats:
    return np.where(np.isnan(when_us), np.nan, level_at(track, _whole(when_us)))


def _fill_s(found: Found, opened: Floats, shut_before: Floats, drain_s: Floats) -> Floats:
    """Return previous shutting to opening; null where a whole dump could hide in what is not known of it."""
    a, b = _whole(shut_before), _whole(opened)
    whole = ~np.isnan(shut_before) & ~np.isnan(opened) & (b > a) & (b - a <= LONGEST_FILL_US)
    hidden_s = np.zeros(a.shape)
    hidden_s[whole] = _longest_hole_s(found.known, a[whole], b[whole])
    known = drain_s[~np.isnan(drain_s)]
    could_hide_s = 0.5 * np.where(np.isnan(drain_s), np.median(known) if known.size else 0.0, drain_s)
    return np.where(whole & (hidden_s <= could_hide_s), (b - a) / SECOND_US, np.nan)


def _longest_hole_s(known: Span, start_us: Times, end_us: Times) -> Floats:
    """Return the longest time on end that is not known in each of some stretches that follow one another. [s]"""
    if start_us.size == 0:
        return np.zeros(0)
    holes = complement(known, int(start_us[0]), int(end_us[-1]))
    edges = np.column_stack([start_us, end_us]).ravel()
    cut = cut_at(*holes, edges)
    return per_bin(np.maximum, cut.length_s, cut.bin, edges.size - 1, 0.0)[::2]


def _metered(
    plant: Plant, found: Found, opened: Floats, shut: Floats, shut_before: Floats, kept: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return inflow from shutting to shutting, volume through the valve, and volume while it was shut."""
    nothing = np.full(opened.shape, np.nan)
    if plant.water is None:
        return nothing, nothing, nothing
    meter = plant.water
    # What was seen late began, at the earliest, so much before.
    a, b, c = _whole(shut_before), _whole(opened - found.dumps.late_us), _whole(shut)
    through = np.where(np.isnan(opened) | np.isnan(shut), np.nan, meter.through(b, c))
    leak, leak_us = meter.wholly_within(a, b)
    leak = np.where(np.isnan(shut_before) | np.isnan(opened) | (leak_us == 0), np.nan, leak)
    whole = np.where(np.isnan(shut_before) | np.isnan(shut), np.nan, meter.after_to_after(a, c))
    gained = kept - np.append(np.nan, kept[:-1])
    gained = np.where(np.isnan(gained), 0.0, gained)
    with np.errstate(invalid="ignore", divide="ignore"):
        inflow = (whole + gained) / ((shut - shut_before) / SECOND_US) * DAY_S
    return np.maximum(inflow, 0.0), through, leak


def _while_open(track: Track | None, found: Found, end_us: int) -> tuple[Floats, Floats]:
    """Return mean and lowest value while each dump was open; of one under way, up to now."""
    opened, shut = found.dumps.opened_us, found.dumps.shut_us
    nothing = np.full(opened.shape, np.nan)
    seen = opened != UNSEEN
    if track is None or not np.any(seen):
        return nothing, nothing.copy()
    following = np.append(opened[1:], end_us)
    until = np.where(shut == UNSEEN, np.where(following == UNSEEN, opened + 1, following), shut)
    edges = np.column_stack([opened[seen], np.maximum(until[seen], opened[seen] + 1)]).ravel()
    edges = np.maximum.accumulate(edges)
    cut = pieces(track, edges)
    count = edges.size - 1
    length = per_bin(np.add, cut.length_s, cut.bin, count, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = integral(cut, count) / length
    lowest = per_bin(np.minimum, np.minimum(cut.start_value, cut.end_value), cut.bin, count, np.nan)
    means, lows = nothing, nothing.copy()
    means[seen], lows[seen] = mean[::2], lowest[::2]
    return means, lows


def _cv(plant: Plant, volume: Floats, drain: Floats, pressure: Floats, level: Floats, opened: Floats) -> Floats:
    """Return the effective flow coefficient: drop = gas pressure + liquid head above the outlet - downstream."""
    dump, gravity = plant.dump, plant.vessel.water_specific_gravity or 1.0
    downstream = _read(plant.track("water_downstream_pressure"), opened)
    fallback = np.nan if dump.downstream_pressure_kpag is None else dump.downstream_pressure_kpag
    downstream = np.where(np.isnan(downstream), fallback, downstream)
    height = np.maximum(level - (dump.elevation_m or 0.0), 0.0)
    head = np.where(np.isnan(height), 0.0, np.asarray(liquid_head_kpa(height, gravity)))
    with np.errstate(invalid="ignore", divide="ignore"):
        flow = np.where(drain > 0.0, volume / drain * DAY_S, np.nan)
    return np.asarray(flow_coefficient(flow, pressure + head - downstream, gravity))


def cycle_columns(plant: Plant, found: Found, known: Facts) -> dict[str, object]:
    """Return the columns of DUMP_CYCLES of the dumps that opened on the plant's day."""
    opened, shut = found.dumps.opened_us, found.dumps.shut_us
    today = np.flatnonzero((opened >= plant.day.start_us) & (opened < plant.day.end_us))
    well = plant.track("well_on_test")
    return {
        "vessel": [plant.vessel.id] * today.size,
        "opened_utc": opened[today],
        "shut_utc": shut[today],
        "evidence": [found.evidence[k] for k in today],
        "well_on_test": None if well is None else [_label(well, code) for code in well.at(opened[today])],
        **{name: getattr(known, name)[today] for name in Facts.__dataclass_fields__},
    }


def _label(track: Track, code: float) -> str | None:
    return None if np.isnan(code) else track.labels[int(code)]
