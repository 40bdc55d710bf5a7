"""The hour that comes twice: which of its rows are of the second pass, by the order of the file.

The rows of a tag stand in the file in time order, forward or backward, perhaps several such *runs* one
after the other (exports joined together). Inside a run, one step against the direction within a doubled
hour is where its other pass begins. Where a tag alone does not tell, the whole file does if all its rows
stand in time order. Rows that nothing tells are taken as the first pass.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Verdicts = npt.NDArray[np.int8]

MAX_DISORDER = 0.25
"""Share of steps against the direction up to which rows count as in time order with joins. House choice: shuffled
rows have a half, a file joined from days of four rows or more less than this."""

UNTOLD, FIRST, SECOND = 0, 1, 2


@dataclass(frozen=True)
class LocalRows:
    """Rows with wall-clock stamps in the order of the file."""

    group: npt.NDArray[np.int32]
    """Tag."""
    local_us: Integers
    window: npt.NDArray[np.int16]
    """Number of the doubled hour, or -1."""


def passes(rows: LocalRows) -> Verdicts:
    """Return for each row FIRST or SECOND pass of its doubled hour, or UNTOLD (also for rows in no doubled hour)."""
    order = np.argsort(rows.group, kind="stable")
    by_tag = np.zeros(len(order), np.int8)
    by_tag[order] = _told(rows.group[order], rows.local_us[order], rows.window[order], MAX_DISORDER)
    by_file = _told(np.zeros_like(rows.group), rows.local_us, rows.window, 0.0)
    return np.where(by_tag == UNTOLD, by_file, by_tag)


def _told(
    group: npt.NDArray[np.int32], local_us: Integers, window: npt.NDArray[np.int16], max_disorder: float
) -> Verdicts:
    if not len(group):
        return np.zeros(0, np.int8)
    steps = _Steps.of(group, local_us, window)
    direction = steps.direction(group, max_disorder)[group]
    never_repeats = steps.never_repeats(group)[group]
    forward, backward = (steps.read(window, sign, never_repeats) for sign in (1, -1))
    either = np.where(forward == UNTOLD, backward, forward)
    told = [forward, backward, either]
    return np.select([direction == 1, direction == -1, direction == 0], told, UNTOLD).astype(np.int8)


@dataclass(frozen=True)
class _Steps:
    """Steps from each row to the next of the same group; the last axis is one shorter than the rows."""

    step_us: Integers
    is_same: Bools
    """Both rows are of the same group."""
    is_inside: Bools
    """Both rows are of the same group and the same doubled hour."""

    @staticmethod
    def of(group: npt.NDArray[np.int32], local_us: Integers, window: npt.NDArray[np.int16]) -> "_Steps":
        is_same = group[1:] == group[:-1]
        is_inside = is_same & (window[1:] == window[:-1]) & (window[1:] >= 0)
        return _Steps(np.diff(local_us), is_same, is_inside)

    def direction(self, group: npt.NDArray[np.int32], max_disorder: float) -> npt.NDArray[np.int8]:
        """Return by group 1 or -1 where its rows outside doubled hours run that way, 0 where there are none, else 2."""
        is_outside = self.is_same & ~self.is_inside
        size = int(group.max()) + 1
        forward = np.bincount(group[1:][is_outside & (self.step_us > 0)], minlength=size)
        backward = np.bincount(group[1:][is_outside & (self.step_us < 0)], minlength=size)
        is_orderly = np.minimum(forward, backward) <= max_disorder * (forward + backward)
        return np.where(is_orderly, np.sign(forward - backward), 2).astype(np.int8)

    def never_repeats(self, group: npt.NDArray[np.int32]) -> Bools:
        """Return by group whether no two rows outside doubled hours that follow each other have the same stamp."""
        is_equal = self.is_same & ~self.is_inside & (self.step_us == 0)
        repeats = np.bincount(group[1:][is_equal], minlength=int(group.max()) + 1)
        never: Bools = repeats == 0
        return never

    def read(self, window: npt.NDArray[np.int16], sign: int, never_repeats: Bools) -> Verdicts:
        """Return what the order tells if the rows run forward (1) or backward (-1)."""
        starts = np.concatenate(([True], ~self.is_inside))
        visit = np.cumsum(starts) - 1
        is_hourly = (np.bincount(visit)[visit] == 2) & never_repeats
        against = (self.step_us * sign < 0) | ((self.step_us == 0) & is_hourly[1:])
        turns = np.concatenate(([False], self.is_inside & against))
        count = np.bincount(visit, weights=turns).astype(np.int64)
        so_far = np.cumsum(turns)
        is_after = so_far - so_far[np.flatnonzero(starts)][visit] > 0
        told = np.where(is_after == (sign > 0), SECOND, FIRST)
        return np.where((count[visit] == 1) & (window >= 0), told, UNTOLD).astype(np.int8)
