"""Slow moves and sudden steps of a held value, against a reference that only a settled step may move.

The series is walked day by day as the nights would have seen it, so that the decision of a day rests on
nothing later. Rules: a value that leaves its reference opens an episode; the onset is the change point of
the better of two models, a step and a ramp from the reference; a step that stays seven days becomes the
reference; a drift never does; a value that is back near the reference ends the episode.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from nightgauge.detect.history import DAY_S, Floats
from nightgauge.detect.past import NORMAL_MAD, median, spread

Shape = Literal["drift", "step"]

BLOCK_S = DAY_S / 4
"""Length of a block whose median is one point: six hours hold several dumps of most vessels. House choice."""
_BLOCKS_A_DAY = 4
_LEAST_REFERENCE_DAYS = 3
"""Known days before a past is one; until then settings serve. House choice."""
_LOOK_BACK_DAYS = 40
"""How far before its notice an onset is sought: a drift that takes longer moves less than 0.1 psi in a day."""
_ALREADY_SHARE = 0.4
"""Share of the notice level by which the day before has to be away on the same side. House choice: a drift that takes
days to reach the notice level is; a step is told a day later for it."""
_RETURN_SHARE = 0.5
"""Share of the notice level below which the value is back. House choice: hysteresis against flapping."""


@dataclass(frozen=True)
class Rules:
    """What makes a move worth telling."""

    least: float
    """In the series' unit."""
    deviations: float
    reference_s: float
    settled_s: float
    setting: float | None = None
    """The setting of field.toml, used as reference while there is no past."""
    setting_least: float = 0.0
    """Least move against a setting: a setting is what somebody wrote, not what the valve ever held."""


@dataclass(frozen=True)
class Shift:
    """One move away from the reference."""

    shape: Shape
    onset_s: float
    last_s: float
    ended_s: float | None
    reference: float
    found: float
    """Where it is now, or was at its end."""
    scatter: float
    """Standard deviation of the daily values in the reference."""
    steady: bool
    """Whether it ended as taken as the new setting."""
    by_setting: bool
    """Whether the reference was a setting, for want of a past."""
    fit_ratio: float
    """Misfit of the better shape over that of the other, 0 to 1: near 1 the shape is not sure."""
    peak: float
    """Largest daily distance from the reference so far, no sign."""
    way: float
    """Its sign."""

    @property
    def size(self) -> float:
        """Return the move, with its sign."""
        return self.found - self.reference


@dataclass
class _Walk:
    """The state of the walk over days."""

    reference_from: int = 0
    opened: int | None = None
    peak: float = 0.0
    banned: list[tuple[int, int]] | None = None


def find_shifts(ends_s: Floats, values: Floats, rules: Rules) -> list[Shift]:
    """Return the moves of a series of block medians in order of time.

    Parameters
    ----------
    ends_s : (n,) array
        Ends of the blocks, six hours apart, the last at the night's end. [s since 1970]
    values : (n,) array
        Medians of the blocks; NaN where not known.
    rules : Rules
        Least move, deviations, times.

    """
    lead = len(values) % _BLOCKS_A_DAY
    ends_s, values = ends_s[lead:], values[lead:]
    days = len(values) // _BLOCKS_A_DAY
    if days == 0:
        return []
    table = values.reshape(days, _BLOCKS_A_DAY)
    known = np.isfinite(table).sum(axis=1) >= 2
    daily = np.array([median(row) if ok else np.nan for row, ok in zip(table, known, strict=True)])
    found: list[Shift] = []
    walk = _Walk(banned=[])
    shift: Shift | None = None
    for day in range(days):
        if not known[day]:
            continue
        shift = _one_day(walk, day, (ends_s, values, daily), rules)
        if shift is not None and shift.ended_s is not None:
            found.append(shift)
            shift = None
    if walk.opened is not None and shift is None:
        last = int(np.flatnonzero(known)[-1])
        shift = _describe(walk, last, (ends_s, values, daily), rules)
    if shift is not None:
        found.append(shift)
    return found


def _reference(walk: _Walk, day: int, daily: Floats, rules: Rules) -> tuple[float, float, bool]:
    """Return the reference, the scatter of a day, and whether it is a setting."""
    usable = np.isfinite(daily)
    usable[: walk.reference_from] = False
    usable[day:] = False
    for begin, end in walk.banned or []:
        usable[begin:end] = False
    past = daily[usable][: max(1, int(rules.reference_s / DAY_S))]
    if len(past) < _LEAST_REFERENCE_DAYS:
        if rules.setting is None:
            return float("nan"), float("nan"), False
        return rules.setting, max(rules.setting_least, rules.least) / rules.deviations, True
    steps = np.abs(np.diff(past))
    scatter = max(spread(past), NORMAL_MAD * float(np.median(steps)) / np.sqrt(2.0))
    # With few days the scatter is itself unsure: widen by the small-sample factor of the median deviation.
    return median(past), scatter * (1.0 + 2.0 / len(past)), False


def _one_day(walk: _Walk, day: int, series: tuple[Floats, Floats, Floats], rules: Rules) -> Shift | None:
    """Take one day into the walk; return the episode as it then stands, or None."""
    _ends_s, values, daily = series
    if walk.opened is not None:
        return _go_on(walk, day, series, rules)
    reference, scatter, _by_setting = _reference(walk, day, daily, rules)
    if not np.isfinite(reference):
        return None
    notice = max(rules.least, rules.deviations * scatter)
    away = values[day * _BLOCKS_A_DAY : (day + 1) * _BLOCKS_A_DAY] - reference
    away = away[np.isfinite(away)]
    level = float(np.median(away))
    late = float(np.mean(away[-2:]))
    same_side = np.abs(np.sign(away).sum()) == len(away)
    if not ((abs(level) >= notice or abs(late) >= notice) and same_side):
        return None
    before = _yesterday(daily, day) - reference
    if abs(level) < 0.5 * notice or before * level <= 0 or abs(before) < _ALREADY_SHARE * notice:
        # One day alone is no move yet: wells shut in for a day, an upset, a transmitter being looked after.
        return None
    walk.opened, walk.peak = day, level
    return _describe(walk, day, series, rules)


def _yesterday(daily: Floats, day: int) -> float:
    """Return the last known day before this one, NaN if there is none within three."""
    past = daily[max(0, day - 3) : day]
    past = past[np.isfinite(past)]
    return float(past[-1]) if len(past) else float("nan")


def _go_on(walk: _Walk, day: int, series: tuple[Floats, Floats, Floats], rules: Rules) -> Shift | None:
    ends_s, values, daily = series
    assert walk.opened is not None
    reference, scatter, _by_setting = _reference(walk, walk.opened, daily, rules)
    notice = max(rules.least, rules.deviations * scatter)
    shift = _describe(walk, day, series, rules)
    away = values[day * _BLOCKS_A_DAY : (day + 1) * _BLOCKS_A_DAY] - reference
    away = away[np.isfinite(away)]
    if abs(float(np.median(away))) < _RETURN_SHARE * notice:
        ended = _return_time(walk, day, series, reference, _RETURN_SHARE * notice)
        found = float(daily[max(walk.opened, day - 1)]) if day > walk.opened else shift.found
        _close(walk, day, new_reference=None)
        return _replaced(shift, ended_s=ended, steady=False, found=found, last_s=ended)
    settled_days = int(rules.settled_s / DAY_S)
    recent = daily[max(walk.opened, day - settled_days + 1) : day + 1]
    recent = recent[np.isfinite(recent)]
    jumped = _jump_day(shift, daily, day, settled_days, notice)
    if jumped is not None and len(recent) >= settled_days - 1 and _is_steady(recent, notice):
        _close(walk, day, new_reference=jumped)
        return _replaced(shift, ended_s=float(ends_s[(day + 1) * _BLOCKS_A_DAY - 1]), steady=True, found=shift.found,
                         last_s=shift.last_s)  # fmt: skip
    return shift


def _jump_day(shift: Shift, daily: Floats, day: int, settled_days: int, notice: float) -> int | None:
    """Return the first day of a level that was reached at once and has stayed, or None."""
    start = day - settled_days + 1
    if start < 1:
        return None
    _before, after = daily[start - 3 : start - 1] if start >= 3 else daily[: start - 1], daily[start : day + 1]
    if shift.shape == "step" and len(after[np.isfinite(after)]) >= settled_days - 1:
        return start
    jump = float(daily[start] - daily[start - 2]) if start >= 2 else float("nan")
    # After a drift only a jump back, as by a wrench, makes a new setting; a drift that rests does not.
    if shift.shape == "drift" and abs(jump) >= max(notice, 0.5 * shift.peak) and jump * shift.way < 0:
        return start
    return None


def _is_steady(recent: Floats, notice: float) -> bool:
    """Return whether a week of daily values neither wanders nor trends by more than part of the notice level."""
    n = len(recent)
    slope = float(np.polyfit(np.arange(n), recent, 1)[0]) if n >= 3 else np.inf
    return bool(np.ptp(recent) < notice and abs(slope) * n < 0.6 * notice)


def _return_time(walk: _Walk, day: int, series: tuple[Floats, Floats, Floats], reference: float, near: float) -> float:
    """Return the start of the first block from which the value has been near the reference."""
    ends_s, values, _ = series
    assert walk.opened is not None
    index = (day + 1) * _BLOCKS_A_DAY - 1
    first = index
    while index >= walk.opened * _BLOCKS_A_DAY:
        away = abs(values[index] - reference)
        if np.isfinite(away) and away >= near:
            break
        first = index
        index -= 1
    return float(ends_s[first] - BLOCK_S)


def _close(walk: _Walk, day: int, new_reference: int | None) -> None:
    assert walk.opened is not None
    assert walk.banned is not None
    walk.banned.append((walk.opened, day + (0 if new_reference is not None else 1)))
    if new_reference is not None:
        walk.reference_from = new_reference
        walk.banned = []
    walk.opened = None


def _describe(walk: _Walk, day: int, series: tuple[Floats, Floats, Floats], rules: Rules) -> Shift:
    """Return the episode as of this day: shape and onset from the better of a step and a ramp."""
    ends_s, values, daily = series
    assert walk.opened is not None
    reference, scatter, by_setting = _reference(walk, walk.opened, daily, rules)
    first = max(walk.reference_from * _BLOCKS_A_DAY, (walk.opened - _LOOK_BACK_DAYS) * _BLOCKS_A_DAY, 0)
    for _begin, end in walk.banned or []:
        if end <= walk.opened:
            first = max(first, end * _BLOCKS_A_DAY)
    stop = (day + 1) * _BLOCKS_A_DAY
    part = values[first:stop] - reference
    ok = np.isfinite(part)
    times, away = ends_s[first:stop][ok], part[ok]
    shape, index, ratio = shape_of(times, away)
    onset = float(times[index] - BLOCK_S)
    if by_setting and index == 0:
        onset = float(times[0] - BLOCK_S)
    recent = values[max(first, stop - _BLOCKS_A_DAY) : stop]
    moves = daily[walk.opened : day + 1] - reference
    most = float(moves[np.nanargmax(np.abs(moves))])
    return Shift(
        shape=shape,
        onset_s=onset,
        last_s=float(times[-1]),
        ended_s=None,
        reference=reference,
        found=median(recent),
        scatter=scatter,
        steady=False,
        by_setting=by_setting,
        fit_ratio=ratio,
        peak=abs(most),
        way=float(np.sign(most)),
    )


def _replaced(shift: Shift, *, ended_s: float, steady: bool, found: float, last_s: float) -> Shift:
    begun = shift.onset_s
    return replace(shift, ended_s=max(ended_s, begun), steady=steady, found=found, last_s=max(last_s, begun))


def shape_of(times: Floats, away: Floats) -> tuple[Shape, int, float]:
    """Return step or drift, the index of the change point, and the misfit ratio of the better to the other.

    Parameters
    ----------
    times : (n,) array
        Strictly rising. [s]
    away : (n,) array
        Distance from the reference, no NaN.

    Notes
    -----
    Both models have two free numbers, the change point and the size: `s 1(t >= k)` and `r (t - k)+`, fitted by
    least squares for every k at once with cumulative sums. The misfit is the residual sum of squares.

    """
    n = len(away)
    if n < 3:
        return "step", 0, 1.0
    t = (times - times[0]) / DAY_S
    total = float((away**2).sum())
    # Tail sums over i >= k.
    tail = np.cumsum(away[::-1])[::-1]
    count = np.arange(n, 0, -1, dtype=np.float64)
    step_misfit = total - tail**2 / count
    ty = np.cumsum((t * away)[::-1])[::-1]
    t1 = np.cumsum(t[::-1])[::-1]
    t2 = np.cumsum((t * t)[::-1])[::-1]
    step_s = float(np.median(np.diff(t)))
    start = t - step_s
    sxy = ty - start * tail
    sxx = t2 - 2.0 * start * t1 + start**2 * count
    ramp_misfit = total - sxy**2 / np.maximum(sxx, 1e-12)
    k_step, k_ramp = int(np.argmin(step_misfit)), int(np.argmin(ramp_misfit))
    floor = 1e-9 + 1e-6 * total
    best_step, best_ramp = max(step_misfit[k_step], floor), max(ramp_misfit[k_ramp], floor)
    if best_ramp < best_step:
        return "drift", k_ramp, float(best_ramp / best_step)
    return "step", k_step, float(best_step / best_ramp)
