"""Slow moves and sudden steps of a held value, against a reference that only a settled step may move.

The series is walked day by day as the nights would have seen it, so that the decision of a day rests on
nothing later. Rules: a value that leaves its reference opens an episode; the onset is the change point of
the better of two models, a step and a ramp from the reference; a step that stays seven days becomes the
reference; a drift never does; a value that is back near the reference ends the episode.
"""

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from nightgauge.detect.history import DAY_S, Floats
from nightgauge.detect.past import NORMAL_MAD, median, spread
from nightgauge.statistics.medians import row_medians

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
_SLOWEST_STEP_DAYS = 1.5
"""A move that takes no longer is a step. House choice: an adjustment in two goes, and the blocks it falls into."""
_RAMP_GAIN = 0.8
"""Misfit of the ramp against the step's below which the move is a drift: the ramp has one more free number, which alone
takes a few per cent off; a real ramp of several days takes most of it off. House choice."""
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
    is_restored: bool = False
    """Whether it went back to what an earlier reference was: an adjustment that was taken back."""

    @property
    def size(self) -> float:
        """Return the move, with its sign."""
        return self.found - self.reference


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
    if len(values) - lead < _BLOCKS_A_DAY:
        return []
    return _Walk(ends_s[lead:], values[lead:], rules).shifts()


class _Walk:
    """The walk over days: what is the reference, is an episode open, which days were a fault's."""

    def __init__(self, ends_s: Floats, values: Floats, rules: Rules) -> None:
        self.ends_s, self.values, self.rules = ends_s, values, rules
        table = values.reshape(-1, _BLOCKS_A_DAY)
        enough = np.isfinite(table).sum(axis=1) >= _BLOCKS_A_DAY // 2
        self.daily = np.where(enough, row_medians(table), np.nan)
        self.reference_from = 0
        # The least and greatest block of each day: most days are told to be near the reference by these alone.
        self.lowest, self.highest = np.fmin.reduce(table, axis=1).tolist(), np.fmax.reduce(table, axis=1).tolist()
        self.faulty = np.zeros(len(self.daily), dtype=bool)
        self.opened: int | None = None
        self.whole: tuple[int, tuple[float, float, bool]] | None = None
        self.former: list[float] = []

    def shifts(self) -> list[Shift]:
        """Return every move of the series."""
        found: list[Shift] = []
        days = np.flatnonzero(np.isfinite(self.daily))
        for day in days:
            if self.opened is None:
                self._look(int(day))
            else:
                ended = self._go_on(int(day), self.opened)
                found += [] if ended is None else [ended]
        if self.opened is not None:
            found.append(self._describe(int(days[-1]), self.opened))
        return found

    def _reference(self, day: int) -> tuple[float, float, bool]:
        """Return the reference as known on a day, the scatter of a day, and whether it is a setting."""
        if self.whole is not None and self.whole[0] <= day:
            return self.whole[1]
        usable = np.isfinite(self.daily) & ~self.faulty
        usable[: self.reference_from] = False
        usable[day:] = False
        most = max(1, int(self.rules.reference_s / DAY_S))
        past = self.daily[usable][:most]
        if len(past) < _LEAST_REFERENCE_DAYS:
            if self.rules.setting is None:
                return float("nan"), float("nan"), False
            least = max(self.rules.setting_least, self.rules.least)
            return self.rules.setting, least / self.rules.deviations, True
        scatter = max(spread(past), NORMAL_MAD * median(np.abs(np.diff(past))) / float(np.sqrt(2.0)))
        # With few days the scatter is itself unsure: widen by the small-sample factor of the median deviation.
        found = (median(past), scatter * (1.0 + 2.0 / len(past)), False)
        if len(past) == most:
            # Whole: later days add nothing until a step moves the reference.
            self.whole = (day, found)
        return found

    def _notice(self, scatter: float) -> float:
        return max(self.rules.least, self.rules.deviations * scatter)

    def _blocks(self, day: int) -> Floats:
        part = self.values[day * _BLOCKS_A_DAY : (day + 1) * _BLOCKS_A_DAY]
        return part[np.isfinite(part)]

    def _look(self, day: int) -> None:
        """Open an episode if the day lies away from the reference and the day before did so in part."""
        reference, scatter, _ = self._reference(day)
        if not np.isfinite(reference):
            return
        notice = self._notice(scatter)
        if max(abs(self.lowest[day] - reference), abs(self.highest[day] - reference)) < notice:
            return  # so are the median and the mean of any of its blocks
        away = self._blocks(day) - reference
        level, late = median(away), float(np.mean(away[-2:]))
        one_side = abs(np.sign(away).sum()) == len(away)
        if not one_side or max(abs(level), abs(late)) < notice or abs(level) < 0.5 * notice:
            return
        before = self._yesterday(day) - reference
        # One day alone is no move yet: wells shut in for a day, an upset, a transmitter being looked after.
        if before * level <= 0 or abs(before) < _ALREADY_SHARE * notice:
            return
        self.opened = day

    def _yesterday(self, day: int) -> float:
        """Return the last known day before this one, NaN if there is none within three."""
        past = self.daily[max(0, day - 3) : day]
        past = past[np.isfinite(past)]
        return float(past[-1]) if len(past) else float("nan")

    def _go_on(self, day: int, opened: int) -> Shift | None:
        """Take one more day of an open episode; return it if it is over."""
        reference, scatter, _ = self._reference(opened)
        notice = self._notice(scatter)
        if abs(median(self._blocks(day) - reference)) < _RETURN_SHARE * notice:
            ended = self._return_time(day, reference, _RETURN_SHARE * notice)
            shift = self._describe(max(opened, day - 1), opened)
            self.faulty[opened : day + 1] = True
            self.opened = None
            return self._ended(shift, ended)
        settled = int(self.rules.settled_s / DAY_S)
        start = day - settled + 1
        recent = self.daily[max(start, 0) : day + 1]
        recent = recent[np.isfinite(recent)]
        if start < opened - 1 or len(recent) < settled - 1 or not _is_steady(recent, notice):
            return None
        shift = self._describe(day, opened)
        if shift.shape == "drift" and not self._jumped_back(start, notice, shift):
            # A drift that rests is no new setting.
            return None
        self.former.append(reference)
        self.reference_from, self.opened, self.whole = max(start, 0), None, None
        self.faulty[: self.reference_from] = False
        return replace(self._ended(shift, float(self.ends_s[(day + 1) * _BLOCKS_A_DAY - 1])), steady=True)

    def _jumped_back(self, start: int, notice: float, shift: Shift) -> bool:
        """Return whether the level held since day `start` was reached by a jump against the drift, as by a wrench."""
        if start < 2:
            return False
        jump = float(self.daily[start] - self.daily[start - 2])
        return bool(abs(jump) >= max(notice, 0.5 * shift.peak) and jump * shift.way < 0)

    def _return_time(self, day: int, reference: float, near: float) -> float:
        """Return the start of the first block from which the value has been near the reference."""
        away = np.abs(self.values[: (day + 1) * _BLOCKS_A_DAY] - reference)
        far = np.flatnonzero(np.isfinite(away) & (away >= near))
        first = int(far[-1]) + 1 if len(far) else day * _BLOCKS_A_DAY
        return float(self.ends_s[min(first, len(self.ends_s) - 1)] - BLOCK_S)

    def _describe(self, day: int, opened: int) -> Shift:
        """Return the episode as of this day: shape and onset from the better of a step and a ramp."""
        reference, scatter, by_setting = self._reference(opened)
        earlier = np.flatnonzero(self.faulty[:opened])
        first_day = max(self.reference_from, opened - _LOOK_BACK_DAYS, int(earlier[-1]) + 1 if len(earlier) else 0)
        first, stop = first_day * _BLOCKS_A_DAY, (day + 1) * _BLOCKS_A_DAY
        part = self.values[first:stop] - reference
        known = np.isfinite(part)
        times, away = self.ends_s[first:stop][known], part[known]
        shape, index, ratio = shape_of(times, away)
        found = reference + median(away[-_BLOCKS_A_DAY:])
        moves = self.daily[opened : day + 1] - reference
        most = float(moves[np.nanargmax(np.abs(moves))])
        return Shift(
            shape=shape,
            onset_s=float(times[index] - BLOCK_S),
            last_s=float(times[-1]),
            ended_s=None,
            reference=reference,
            found=found,
            scatter=scatter,
            steady=False,
            by_setting=by_setting,
            fit_ratio=ratio,
            peak=abs(most),
            way=float(np.sign(most)),
            is_restored=any(abs(found - former) < self._notice(scatter) for former in self.former),
        )

    def _ended(self, shift: Shift, ended_s: float) -> Shift:
        ended_s = max(ended_s, shift.onset_s)
        return replace(shift, ended_s=ended_s, last_s=max(min(shift.last_s, ended_s), shift.onset_s))


def _is_steady(recent: Floats, notice: float) -> bool:
    """Return whether a week of daily values neither wanders nor trends by more than part of the notice level."""
    n = len(recent)
    slope = float(np.polyfit(np.arange(n), recent, 1)[0]) if n >= 3 else np.inf
    return bool(np.ptp(recent) < notice and abs(slope) * n < 0.6 * notice)


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
    One model serves both: zero, then a line from `begin` to `stop`, then level, fitted by least squares. A ramp that
    takes no longer than a day and a half is a step: hands on a valve and a day's blocks take that long.

    """
    n = len(away)
    if n < 3:
        return "step", 0, 1.0
    t = (times - times[0]) / DAY_S
    step_misfit, k_step = _best_ramp(t, away, np.arange(n), np.array([0.0]))
    least = _SLOWEST_STEP_DAYS
    lengths = least + (t[-1] + 0.25 - least) * np.linspace(0.0, 1.0, 9)[1:] if t[-1] > least else np.array([least])
    stride = max(1, n // 60)
    ramp_misfit, k_ramp = _best_ramp(t, away, np.arange(0, n, stride), lengths)
    if stride > 1:
        near = np.unique(np.clip(np.arange(k_ramp - stride, k_ramp + stride + 1), 0, n - 1))
        ramp_misfit, k_ramp = _best_ramp(t, away, near, lengths)
    floor = 1e-9 + 1e-6 * float((away**2).sum())
    step_misfit, ramp_misfit = max(step_misfit, floor), max(ramp_misfit, floor)
    if ramp_misfit < _RAMP_GAIN * step_misfit:
        return "drift", k_ramp, float(ramp_misfit / step_misfit)
    return "step", k_step, float(min(1.0, step_misfit / ramp_misfit))


def _best_ramp(t: Floats, away: Floats, begins: np.ndarray[Any, Any], lengths: Floats) -> tuple[float, int]:
    """Return the least misfit over all beginnings and lengths, and the index of the best beginning.

    A length of zero is a step: the first point of it is already at the new level.
    """
    step = float(np.median(np.diff(t))) if len(t) > 1 else 0.25
    start = t[begins][:, None, None] - step
    length = np.maximum(lengths, 1e-6)[None, :, None]
    # Block medians stand for the middle of their block, so half a block of a ramp has passed.
    shape = np.clip((t[None, None, :] - 0.5 * step - start) / length, 0.0, 1.0)
    power = (shape**2).sum(axis=2)
    gain = (shape * away).sum(axis=2) ** 2 / np.maximum(power, 1e-12)
    best = int(np.argmax(gain))
    return float((away**2).sum() - gain.flat[best]), int(begins[best // len(lengths)])
