"""What the header's routing says of a change of load: which wells turned in and out shortly before it."""

from collections.abc import Iterable
from itertools import groupby

from nightgauge.detect.history import DAY_S, History
from nightgauge.detect.wording import day_of

_BEFORE_S = 2 * DAY_S
"""How long before a change of load a well that brought it may have been turned in. House choice: onsets by days are
known to a day, and a well takes up to a day to settle. [s]"""


def turned(history: History, onset_s: float, until_s: float | None = None) -> tuple[str, ...]:
    """Return sentences on the wells turned in and out of the vessel shortly before an onset, by day.

    Parameters
    ----------
    onset_s : float
        When the change began. [s since 1970]
    until_s : float, optional
        End of the time in which it may have begun, where the onset is a whole day; the onset without it.
        [s since 1970]

    Returns
    -------
    tuple of str
        "QB-W3 and QB-W7 turned in on 14 May"; none where field.toml has no routing or nothing changed.

    """
    moves = [
        move
        for move in _moves(history)
        if onset_s - _BEFORE_S <= move[0] <= (onset_s if until_s is None else until_s) and move[0] < history.until_s
    ]
    moves.sort(key=lambda move: (_day_number(history, move[0]), move[1], move[2]))
    told = []
    for (_, way), group in groupby(moves, key=lambda move: (_day_number(history, move[0]), move[1])):
        same = list(group)
        wells = list(dict.fromkeys(move[2] for move in same))
        told.append(f"{_and(wells)} turned {way} on {day_of(history, same[0][0])}")
    return tuple(told)


def _moves(history: History) -> list[tuple[float, str, str]]:
    """Return time, way and well of each change that routing.csv tells of this vessel. [s since 1970]"""
    here = history.vessel.id
    normally = {well.id: well.vessel for well in history.field.wells}
    moves = []
    lines = sorted(history.field.routings, key=lambda line: (line.well, line.at_utc))
    for well, its in groupby(lines, key=lambda line: line.well):
        # Before its first line a well flows where it normally goes.
        last = normally.get(well)
        for line in its:
            if line.vessel == here != last:
                moves.append((line.at_utc.timestamp(), "in", well))
            elif last == here != line.vessel:
                moves.append((line.at_utc.timestamp(), "out", well))
            last = line.vessel
    return moves


def _day_number(history: History, seconds: float) -> int:
    """Return the number of the day of a time in the field's zone."""
    return history.when(seconds).astimezone(history.field.zone).date().toordinal()


def _and(words: Iterable[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last
