"""Sacrificial anodes: nearly spent, a current that died, a current that jumped.

What is left of an anode is derived (`history.anodes`); here its current is held against its own past, as medians of
days. No day that is told is part of that past.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from nightgauge.detect.history import DAY_S, HOUR_S, Floats, History, Mask
from nightgauge.detect.load import water_loads, without_load
from nightgauge.detect.past import first_weeks, joined_runs, median, spread
from nightgauge.detect.wording import Draft, day_of, duration, moment, quantity
from nightgauge.statistics.medians import row_medians
from nightgauge.vocabulary.findings import Candidate
from nightgauge.vocabulary.signals import base_name, of_part, part_of

CURRENT = "anode_current"
SPENT, LOST, JUMPED = "anode_spent", "anode_current_lost", "anode_current_jumped"
_LEAST_PAST_DAYS = 5
"""Days before which there is no past to hold a current against. House choice: a working week."""
_FLOOR = 0.05
"""Least scatter of a current's days, as a share of it: finer is the meter's resolution, not the anode. House choice."""
_DRY = 0.5
"""Share of the usual interface below which the anodes may stand out of the water. House choice."""
_SHARED = 0.6
"""Confidence where several anodes die at once: box, cable or input is as likely as leads. House choice."""
_GAP_H = 2
"""Hours of current that do not part a stretch without: a lead that hangs by a strand. House choice."""


@dataclass(frozen=True)
class _Anode:
    """One anode: its id, and its row of ANODES as far as it has one."""

    id: str
    row: dict[str, float | None]

    @property
    def element(self) -> str:
        return f"anode:{self.id}"

    @property
    def signal(self) -> str:
        return of_part(CURRENT, self.id)


def find(history: History) -> list[Candidate]:
    """Return spent anodes, and currents that died or jumped."""
    found: list[Candidate] = []
    lost = {anode.id: _lost(history, anode) for anode in of_anodes(history)}
    for anode in of_anodes(history):
        dead = _with_others(lost, anode.id)
        spent = _spent(history, anode)
        if spent is not None:
            standing = [c for c in dead if c.ended is None]
            found += [_as_one(spent, standing), *(c for c in dead if c.ended is not None)]
        else:
            found += dead
        found += _jumped(history, anode)
    return found


def of_anodes(history: History) -> list[_Anode]:
    """Return the vessel's anodes: those with a row of ANODES, and those whose current it has."""
    rows = {str(row["anode"]): row for row in history.anodes.iter_rows(named=True)}
    parts = {part_of(signal) for signal in history.signals if base_name(signal) == CURRENT}
    return [_Anode(name, rows.get(name, {})) for name in sorted(rows.keys() | {p for p in parts if p})]


def _spent(history: History, anode: _Anode) -> Candidate | None:
    """Return an anode of which little is left or that will not last, as of the night."""
    left, life = anode.row.get("left_fraction"), anode.row.get("life_left_days")
    least_left = history.limit(SPENT, "least_left")
    least_life = history.limit(SPENT, "least_life") / DAY_S
    if left is None or (left >= least_left and (life is None or life >= least_life)):
        return None
    begin = history.until_s - DAY_S * _days_ago(left, life, least_left, least_life)
    draft = Draft(history, SPENT, anode.element)
    draft.over(max(begin, history.start_s), history.until_s)
    draft.confidence = 0.8 if anode.row.get("charge_ah") is not None else 0.7
    draft.severity = 1.0 - left
    draft.found("usable mass left", left, "1", least_left)
    if life is not None:
        draft.found("time it lasts at its current", life * DAY_S, "s", least_life * DAY_S)
    if anode.row.get("mass_left_kg") is not None:
        draft.found("mass left", anode.row["mass_left_kg"], "kg", None)
    draft.not_because("capacity better than stated", "the interval of the life already holds a tenth either way")
    share = quantity(history, left, "fraction")
    lasts = "" if life is None else f" and lasts {duration(life * DAY_S)} at its current"
    words = f"Anode {anode.id} has {share} of its usable mass left{lasts}, by {_means(anode)}."
    return draft.done(words, max(begin, history.start_s), history.until_s)


def _means(anode: _Anode) -> str:
    return "the charge that went through it" if anode.row.get("charge_ah") is not None else "its inspections"


def _days_ago(left: float, life: float | None, least_left: float, least_life: float) -> float:
    """Return how long ago the first of the two limits was passed, at the wear of today."""
    if life is None or life <= 0.0:
        return 0.0
    past_left = max(least_left - left, 0.0) * life / left if left > 0.0 else 0.0
    return max(past_left, least_life - life, 0.0)


def _as_one(spent: Candidate, lost: list[Candidate]) -> Candidate:
    """Tell a current that died for want of metal inside the spent anode."""
    if not lost:
        return spent
    first = lost[0]
    return replace(
        spent,
        onset=min(spent.onset, first.onset),
        confidence=max(spent.confidence, first.confidence),
        evidence=(*spent.evidence, *first.evidence[:1]),
        also=(LOST,),
        summary=f"{spent.summary} It gives no current any more.",
    )


def _lost(history: History, anode: _Anode) -> list[Candidate]:
    """Return the stretches in which the current was next to nothing of all its past, so that a slow fading shows."""
    current = np.where(_wetted(history), history.mean(anode.signal), np.nan)
    share = history.limit(LOST, "share")
    ends, medians = _days(history, current)
    past, _ = _past(medians, len(medians), lambda value, usual, _: value <= share * usual)
    line = share * _at_hours(history, ends, past)
    with np.errstate(invalid="ignore"):
        nothing = current <= line
    unknown = ~np.isfinite(current) | ~np.isfinite(line)
    need = history.limit(LOST, "least_time") / HOUR_S
    return [
        _lost_candidate(history, anode, span, float(line[span[0]]) / share)
        for span in joined_runs(nothing, unknown, _GAP_H)
        if int(nothing[slice(*span)].sum()) >= need
    ]


def _lost_candidate(history: History, anode: _Anode, span: tuple[int, int], usual: float) -> Candidate:
    first, stop = span
    begin = float(history.hour_s[first])
    end = min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
    now = median(history.mean(anode.signal)[first:stop])
    draft = Draft(history, LOST, anode.element)
    draft.ended_s = end if np.isfinite(history.mean(anode.signal)[stop:]).any() else None
    draft.confidence, draft.severity = 0.85, 1.0
    draft.over(begin, end)
    draft.found("current", now, "A", usual)
    draft.not_because("vessel drained", "no reading says that the water left the anodes")
    draft.not_because("instrument_frozen", "the reading went to nothing; a frozen one stays where it was")
    since = f"since {moment(history, begin)}" if draft.ended_s is None else f"for {duration(end - begin)}"
    gives = "gives" if draft.ended_s is None else "gave"
    words = f"Anode {anode.id} {gives} no current {since} (before: {quantity(history, usual, 'current')})"
    return draft.done(f"{words}: {_which(history, anode, draft)}.", begin, end)


def _which(history: History, anode: _Anode, draft: Draft) -> str:
    """Say whether the bar is spent or its lead broken, by what should be left of it."""
    left = anode.row.get("left_fraction")
    if left is None:
        return "the bar is spent or its lead is broken; what is left of it is not known"
    draft.found("usable mass left", left, "1", None)
    share = quantity(history, left, "fraction")
    if left < history.limit(SPENT, "least_left"):
        return f"only {share} of its usable mass should be left, so the bar is likelier spent than its lead broken"
    draft.not_because(SPENT, f"{share} of its usable mass should be left")
    return f"{share} of its usable mass should be left, so a broken lead or connection is likelier than a spent bar"


def _with_others(lost: dict[str, list[Candidate]], name: str) -> list[Candidate]:
    """Return an anode's dead stretches, less sure and said so where another anode died at the same hour."""
    told: list[Candidate] = []
    for mine in lost[name]:
        also = [other for other, theirs in lost.items() if other != name and any(c.onset == mine.onset for c in theirs)]
        words = f"{mine.summary} Anode {', '.join(also)} died in the same hour: what they share comes first."
        told.append(replace(mine, confidence=_SHARED, summary=words) if also else mine)
    return told


def _jumped(history: History, anode: _Anode) -> list[Candidate]:
    """Return the stretches of days in which the current was far above that of the two weeks before."""
    current = np.where(_wetted(history), history.mean(anode.signal), np.nan)
    loads = _loads(history)
    reference = first_weeks(history, np.isfinite(current))
    freed = without_load(history, current, reference, loads) if loads else current
    ends, medians = _days(history, freed)
    growth, deviations = history.limit(JUMPED, "growth"), history.limit(JUMPED, "deviations")

    def is_up(value: float, usual: float, known: Floats) -> bool:
        return value > growth * usual and value > usual + deviations * max(spread(known), _FLOOR * usual)

    past, up = _past(medians, int(history.limit(JUMPED, "reference_time") / DAY_S), is_up)
    need = history.limit(JUMPED, "least_time") / DAY_S
    found = []
    for first, stop in joined_runs(up, ~np.isfinite(medians), 0):
        if int(up[first:stop].sum()) >= need:
            numbers = float(past[first]), median(medians[first:stop])
            span = (float(ends[first] - DAY_S), float(ends[stop - 1]))
            is_over = bool(np.isfinite(medians[stop:]).any())
            found.append(_jumped_candidate(history, anode, span, numbers, is_over=is_over))
    return found


def _jumped_candidate(
    history: History, anode: _Anode, span: tuple[float, float], numbers: tuple[float, float], *, is_over: bool
) -> Candidate:
    (begin, end), (usual, now) = span, numbers
    draft = Draft(history, JUMPED, anode.element)
    draft.ended_s = end if is_over else None
    has_temperature = "temperature" in history.signals
    draft.confidence, draft.severity = (0.75 if has_temperature else 0.6), now / usual
    draft.over(begin, end)
    draft.found("current", now, "A", usual)
    if has_temperature:
        draft.not_because("hotter water", "what moves with the temperature is taken out")
    else:
        draft.not_because(
            "hotter water", "not excluded: the vessel has no temperature; a doubling would need much of it"
        )
    draft.not_because("saltier water", "not excluded by any reading; ask for the water's analysis")
    gives = "gives" if draft.ended_s is None else "gave"
    words = (
        f"Anode {anode.id} {gives} {quantity(history, now, 'current')} since {day_of(history, begin)}, "
        f"{now / usual:.1f} times what it gave before ({quantity(history, usual, 'current')}): bare steel, a short, or "
        "another water."
    )
    return draft.done(words, begin, end)


def _loads(history: History) -> list[Floats]:
    """Return what moves a current without any fault: temperature and water, as far as they are known and move."""
    temperature = history.mean("temperature")
    moves = bool(np.isfinite(temperature).any()) and float(np.nanstd(temperature)) > 0.0
    return [*([temperature] if moves else []), *water_loads(history)]


def _wetted(history: History) -> Mask:
    """Return the hours in which nothing says that the water stands far below its usual level."""
    level = history.mean("interface_level")
    with np.errstate(invalid="ignore"):
        return np.asarray(~(level < _DRY * median(level)))


def _days(history: History, values: Floats) -> tuple[Floats, Floats]:
    """Return the ends and medians of days counted back from the night, those of a third of a day or less unknown."""
    count = int(np.ceil(len(values) / 24))
    padded = np.concatenate((np.full(24 * count - len(values), np.nan), values)).reshape(count, 24)
    medians = np.where(np.isfinite(padded).sum(axis=1) > 8, row_medians(padded), np.nan) if count else np.empty(0)
    last = float(history.hour_s[-1] + HOUR_S) if len(values) else history.until_s
    return last - DAY_S * np.arange(count, dtype=np.float64)[::-1], medians


def _past(medians: Floats, wanted: int, is_told: Callable[[float, float, Floats], bool]) -> tuple[Floats, Mask]:
    """Return for each day the median of the last `wanted` days before it that were not told, and which are told.

    `is_told` is asked with the day's value, that median and those days. The median is NaN while there are too few.
    """
    past, told = np.full(len(medians), np.nan), np.zeros(len(medians), dtype=bool)
    known: list[float] = []
    for day, value in enumerate(medians):
        before = np.array(known[-max(wanted, _LEAST_PAST_DAYS) :])
        if len(before) >= _LEAST_PAST_DAYS:
            past[day] = usual = median(before)
            told[day] = np.isfinite(value) and is_told(float(value), usual, before)
        if np.isfinite(value) and not told[day]:
            known.append(float(value))
    return past, told


def _at_hours(history: History, ends: Floats, daily: Floats) -> Floats:
    """Return the value of each hour's day."""
    if not len(ends):
        return np.full(len(history.hour_s), np.nan)
    return daily[np.clip(np.searchsorted(ends, history.hour_s, side="right"), 0, len(ends) - 1)]
