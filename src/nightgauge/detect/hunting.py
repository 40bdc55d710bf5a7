"""Limit cycles: a throttling dump that swings the level, a back-pressure valve that swings the pressure."""

import numpy as np

from nightgauge.detect.history import HOUR_S, Floats, History, Mask
from nightgauge.detect.instruments import roughness
from nightgauge.detect.past import first_weeks, joined_runs, median, quantile
from nightgauge.detect.wording import Draft, day_of, quantity
from nightgauge.vocabulary.findings import Candidate

DUMP, PRESSURE = "dump_hunting", "back_pressure_hunting"


def find(history: History) -> list[Candidate]:
    """Return spans in which a level or a pressure swings at its own even period."""
    return [*_dump(history), *_pressure(history)]


def _swinging(history: History, signal: str, kind: str) -> tuple[Mask, Mask, Floats, float]:
    """Return the hours with large even swings, the known hours, the swing and its usual size."""
    regular, period = history.signal(signal, "swing_regularity"), history.signal(signal, "swing_period_s")
    known = history.known(signal)
    # A sine swings by 2.8 of its standard deviation; unlike single crests it feels a swing that comes and goes.
    size = np.where(known, np.sqrt(8.0) * roughness(history, signal), np.nan)
    reference = first_weeks(history, known)
    usual = quantile(size[reference], 0.75)
    usual = usual if np.isfinite(usual) else 0.0
    line = max(history.limit(kind, "swing_growth") * usual, history.limit(kind, "least_swing"))
    with np.errstate(invalid="ignore"):
        even = np.nan_to_num(regular) >= history.limit(kind, "regularity")
        over = known & (size > line) & np.isfinite(period) & even
    enough = int(reference.sum()) >= 72
    return over & enough, known, size, usual


def _runs(over: Mask, known: Mask, least_hours: float) -> list[tuple[int, int]]:
    """Return runs of swinging hours, uneven hours between them allowed, if half of their hours swing."""
    found = []
    for first, stop in joined_runs(over, ~known, 4):
        count = int(over[first:stop].sum())
        if count >= least_hours and count >= 0.4 * (stop - first):
            found.append((first, stop))
    return found


def _dump(history: History) -> list[Candidate]:
    if not history.is_throttling:
        return []
    over, known, size, usual = _swinging(history, "interface_level", DUMP)
    found = []
    for first, stop in _runs(over, known, history.limit(DUMP, "least_time") / HOUR_S):
        draft, onset, end = _draft(history, DUMP, "water_dump", (first, stop), known)
        swing, period = (
            median(size[first:stop][over[first:stop]]),
            _period(history, "interface_level", over, first, stop),
        )
        answer = _answer(history, over, (first, stop))
        draft.confidence = 0.65 + 0.15 * min(1.0, (stop - first) / 24.0) + (0.1 if answer else 0.0)
        draft.severity = swing
        draft.found("swing of the level", swing, "m", usual)
        draft.found("period of the swing", period, "s", None)
        draft.not_because("slugs from the wells", "the swing keeps even time and is far above this vessel's past")
        words = f"Water dump swings the interface by {quantity(history, swing, 'length')} every {period / 60:.0f} min"
        words += f" since {day_of(history, onset)}, {quantity(history, usual, 'length')} is usual"
        found.append(draft.done(f"{words}.", onset, end))
    return found


def _answer(history: History, over: Mask, run: tuple[int, int]) -> bool:
    """Return whether travel or flow swing at the level's own period."""
    span = slice(*run)
    level = history.signal("interface_level", "swing_period_s")[span][over[span]]
    for signal in ("water_dump_position", "water_rate"):
        period = history.signal(signal, "swing_period_s")[span][over[span]]
        both = np.isfinite(level) & np.isfinite(period)
        if both.sum() >= 3 and median(np.abs(period[both] / level[both] - 1.0)) < 0.25:
            return True
    return False


def _period(history: History, signal: str, over: Mask, first: int, stop: int) -> float:
    return median(history.signal(signal, "swing_period_s")[first:stop][over[first:stop]])


def _draft(history: History, kind: str, element: str, run: tuple[int, int], known: Mask) -> tuple[Draft, float, float]:
    first, stop = run
    onset, end = float(history.hour_s[first]), min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
    draft = Draft(history, kind, element)
    # Half a day of known hours without a swing before it is called over.
    draft.ended_s = end if int(known[stop:].sum()) >= 12 else None
    draft.over(onset, end)
    return draft, onset, end


def _pressure(history: History) -> list[Candidate]:
    over, known, size, usual = _swinging(history, "vessel_pressure", PRESSURE)
    if not over.any():
        return []
    found = []
    for first, stop in _runs(over, known, history.limit(PRESSURE, "least_time") / HOUR_S):
        draft, onset, end = _draft(history, PRESSURE, _valve(history, (first, stop)), (first, stop), known)
        swing, period = (
            median(size[first:stop][over[first:stop]]),
            _period(history, "vessel_pressure", over, first, stop),
        )
        dumps_known = bool(np.isfinite(history.hour("dumps")).any())
        own = _is_dumps_period(history, over, (first, stop))
        draft.confidence = 0.65 + 0.15 * min(1.0, (stop - first) / 24.0) + (0.1 if dumps_known and not own else 0.0)
        draft.severity = swing
        draft.found("swing of the pressure", swing, "kPa", usual)
        draft.found("period of the swing", period, "s", None)
        why = "far above what the dumps did before" if own or not dumps_known else "the period is not that of the dumps"
        draft.not_because("the dumps' own swing", why)
        draft.not_because("slugs from the wells", "the swing keeps even time")
        words = (
            f"Vessel pressure swings by {quantity(history, swing, 'pressure difference')} every {period / 60:.0f} min"
        )
        words += f" since {day_of(history, onset)}, {quantity(history, usual, 'pressure difference')} is usual"
        found.append(draft.done(f"{words}.", onset, end))
    return found


def _is_dumps_period(history: History, over: Mask, run: tuple[int, int]) -> bool:
    """Return whether the swing keeps the dumps' own period: they may set a loose valve going, so it stays possible."""
    span = slice(*run)
    period = history.signal("vessel_pressure", "swing_period_s")[span][over[span]]
    dumps = history.hour("dumps")[span][over[span]]
    with np.errstate(invalid="ignore", divide="ignore"):
        near = np.abs(period * dumps / HOUR_S - 1.0)
    return bool(median(near) < history.limit(PRESSURE, "unlike_dumps"))


def _valve(history: History, run: tuple[int, int]) -> str:
    """Return the valve at whose level the pressure swings."""
    level = median(history.mean("vessel_pressure")[run[0] : run[1]])
    oil = median(history.hour("oil_hold_kpag")[: run[0]])
    gas = median(history.hour("gas_clip_kpag")[: run[0]])
    if np.isfinite(gas) and (not np.isfinite(oil) or abs(level - gas) < abs(level - oil)):
        return "gas_valve"
    return "oil_valve"
