"""Days unlike this vessel's other days: what no rule looks for, told once, as worth knowing.

A day's indicators are compared with the two weeks before it, the load is taken out, and what the principal
components of ordinary days leave is measured against the same residue of the days before; see `unusual_model`.
Where another finding touches the day, `arbitration` keeps this one silent.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightgauge.detect.history import DAY_S, Floats, History
from nightgauge.detect.past import joined_runs
from nightgauge.detect.unusual_indicators import Days, Indicator, days_of
from nightgauge.detect.unusual_model import (
    LEAST_USUAL_DAYS,
    REFERENCE_DAYS,
    USUAL_DAYS,
    Residue,
    Scaling,
    from_usual,
    score,
)
from nightgauge.detect.wording import Draft, day_of, quantity
from nightgauge.vocabulary.findings import Candidate

KIND = "unusual_day"
_JUDGED_DAYS = 28
"""Days looked back on: a first night tells what is over by up to four weeks. Fixed by the project's design page."""
_DAYS_READ = _JUDGED_DAYS + 7 + REFERENCE_DAYS + USUAL_DAYS
"""Days that the verdict on the oldest of these can rest on: its week's model and what is usual for its first day."""
_DAYS_READ_BY_WELL = 400
"""Days read of a test vessel, whose wells come round some times in a year."""
_LOAD_GROWTH = float(np.log(3.0))
"""A day with three times the usual load, or a third of it, is one of another process: wells shut in or turned in.
House choice: the load's part is learned from ordinary days and does not reach so far."""
_LEAST_DAYS, _LEAST_CHANCE = 2, 1e-12
"""The limits are held to what a model can be made of, whatever field.toml says."""
_NAMED = 3
"""Indicators named: three are read at a glance. Fixed by the project's plan."""


@dataclass(frozen=True)
class Verdict:
    """What the model says of one day."""

    score: float
    """Residue of all indicators together, in deviations."""
    line: float
    """Score that an ordinary day passes with the chance of the limits."""
    residual: Floats
    """Residue of each indicator; NaN where not known, in deviations."""
    expected: Floats
    """Each indicator by the usual days, the load and the other indicators."""


@dataclass(frozen=True)
class Week:
    """The days to judge in one week, and those before it to learn from, as differences from their usual.

    Attributes
    ----------
    rows : (n_days,) int
        Rows of `Days` to judge.
    values, usual, loads : (n_days, ...) float
        The days to judge.
    before, loads_before : (n_reference, ...) float
        The reference days.

    """

    rows: npt.NDArray[np.int64]
    values: Floats
    usual: Floats
    loads: Floats
    before: Floats
    loads_before: Floats


def find(history: History) -> list[Candidate]:
    """Return the spans of unusual days among the last four weeks."""
    days = read_days(history)
    if days is None:
        return []
    judged = verdicts(history, days)
    least = history.limit(KIND, "deviations")
    known, odd = np.zeros(len(days.begin_s), dtype=bool), np.zeros(len(days.begin_s), dtype=bool)
    for day, verdict in judged.items():
        known[day], odd[day] = True, verdict.score > max(verdict.line, least)
    return [
        _candidate(
            history, days, {d: judged[d] for d in range(first, stop) if odd[d]}, is_over=bool(known[stop:].any())
        )
        for first, stop in joined_runs(odd, ~known, 0)
    ]


def needed_days(history: History) -> int:
    """Return how long a past the first verdict rests on: days to learn from, each with a week before it."""
    return _least_days(history) + LEAST_USUAL_DAYS


def _least_days(history: History) -> int:
    return max(int(history.limit(KIND, "days")), _LEAST_DAYS)


def read_days(history: History) -> Days | None:
    """Return the days that tonight's verdicts can rest on, None without any."""
    is_by_well = any(well is not None for well in history.well)
    return days_of(history, _DAYS_READ_BY_WELL if is_by_well else _DAYS_READ)


def verdicts(history: History, days: Days) -> dict[int, Verdict]:
    """Return the verdicts on those of the last four weeks' days that can be compared, by row of `days`."""
    found: dict[int, Verdict] = {}
    for week in weeks_of(history, days):
        found |= _week_verdicts(history, days, week)
    return found


def weeks_of(history: History, days: Days) -> Iterator[Week]:
    """Yield the weeks to judge that have enough of a past; a test vessel's wells each have their own.

    Without that, every switch of wells would be an odd day.
    """
    oldest = history.until_s - _JUDGED_DAYS * DAY_S - 1.0
    for well in sorted(set(days.well[days.fits]), key=str):
        rows = np.flatnonzero(days.fits & np.array([one == well for one in days.well]))
        values, usual = from_usual(days.values[rows])
        loads, _ = from_usual(days.loads[rows])
        flows = loads[:, [n for n, name in enumerate(days.load_names) if name != "temperature"]]
        compared = np.isfinite(values).any(axis=1) & ~(np.abs(np.nan_to_num(flows)) > _LOAD_GROWTH).any(axis=1)
        number = np.array([_week_number(history, begin) for begin in days.begin_s[rows]])
        for one in np.unique(number[days.begin_s[rows] >= oldest]):
            before = np.flatnonzero((number < one) & compared)[-REFERENCE_DAYS:]
            here = (number == one) & compared & (days.begin_s[rows] >= oldest)
            if len(before) >= _least_days(history):
                yield Week(rows[here], values[here], usual[here], loads[here], values[before], loads[before])


def _week_number(history: History, begin_s: float) -> int:
    """Return the number of the field's week, Monday to Monday, in which a day begins."""
    return (history.when(begin_s).astimezone(history.field.zone).toordinal() - 1) // 7


def _week_verdicts(history: History, days: Days, week: Week) -> dict[int, Verdict]:
    floors = np.array([indicator.floor for indicator in days.indicators])
    scaling = Scaling.learned(week.before, week.loads_before, floors, _least_days(history))
    residue = Residue.learned(scaling(week.before, week.loads_before))
    residuals = residue(scaling(week.values, week.loads))
    expected = week.usual + week.values - residuals * scaling.deviation(week.loads)
    known = np.isfinite(residuals)
    chance, least = max(history.limit(KIND, "chance"), _LEAST_CHANCE), history.limit(KIND, "indicators")
    judged = [n for n in range(len(week.rows)) if known[n].sum() >= least]
    # Most days of a week know the same indicators: then they have one line.
    lines = {
        which: residue.line(np.frombuffer(which, dtype=bool), chance) for which in {known[n].tobytes() for n in judged}
    }
    return {
        int(week.rows[n]): Verdict(float(score(residuals[n])), lines[known[n].tobytes()], residuals[n], expected[n])
        for n in judged
    }


def _candidate(history: History, days: Days, span: dict[int, Verdict], *, is_over: bool) -> Candidate:
    """Return the finding on a run of unusual days; the most unusual of them is told."""
    worst = max(span, key=lambda day: span[day].score)
    verdict = span[worst]
    begin, end = float(days.begin_s[min(span)]), float(days.end_s[max(span)])
    over_line = verdict.score / max(verdict.line, history.limit(KIND, "deviations"))
    draft = Draft(history, KIND, "vessel")
    draft.priority = "low"
    # Some hundreds of ordinary days hold one by chance, and what it was is not known: never more than likely.
    draft.confidence = 0.5 + 0.15 * min(1.0, over_line - 1.0)
    draft.severity = over_line
    draft.ended_s = end if is_over else None
    draft.over(float(days.begin_s[worst]), float(days.end_s[worst]))
    told = []
    for number in np.argsort(-np.nan_to_num(np.abs(verdict.residual)), kind="stable")[:_NAMED]:
        indicator = days.indicators[number]
        value, expected = (indicator.plain(v[number]) for v in (days.values[worst], verdict.expected))
        draft.found(indicator.name, value, indicator.unit, expected)
        told.append(f"{indicator.name} {_words(history, indicator, value)} ({_words(history, indicator, expected)})")
    more = "" if len(span) == 1 else f", the most of {len(span)} such days since {day_of(history, begin)}"
    summary = (
        f"{day_of(history, float(days.begin_s[worst]))} was unlike this vessel's other days{more}: {'; '.join(told)}; "
        "in brackets what the load and the other days lead to expect."
    )
    return draft.done(summary, begin, end)


def _words(history: History, indicator: Indicator, value: float) -> str:
    return quantity(history, value, indicator.dimension) if indicator.dimension else f"{value:.3g}"
