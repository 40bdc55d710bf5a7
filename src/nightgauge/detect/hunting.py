"""Limit cycles: a throttling dump that swings the level, a back-pressure valve that swings the pressure."""

from dataclasses import dataclass, replace

import numpy as np

from nightgauge.detect.history import HOUR_S, Floats, History, Mask
from nightgauge.detect.inflow import flow_hours
from nightgauge.detect.instruments import roughness
from nightgauge.detect.load import all_loads
from nightgauge.detect.past import first_weeks, joined_runs, median, per_well, quantile, spread
from nightgauge.detect.wording import Draft, day_of, quantity
from nightgauge.detect.working import working
from nightgauge.statistics.medians import row_medians
from nightgauge.vocabulary.findings import Candidate

_FOLLOWS = 0.3
"""Share of the growth of the swing that a header has to show. House choice: line and wells damp it."""
_MORE_LOAD = 1.25
"""Growth of a load from which a swing is let grow with it. House choice: smaller ones are every week's."""
_LEAST_HOURS = 24
"""Hours from the first swing to the last: a valve that swings of itself does not stop, wells that slug do. House
choice."""
_LEADS = 1.25
"""Growth of the interface's swing from which it is what swings the pressure. House choice: beyond what load does."""
_LASTING_DAYS = 3
"""Days in a row before a swing that keeps no time is the valve's: wells have a rough day or two. House choice."""
_CALM = 2.0
"""Times the vessel's own swing above which a header swings so much by itself that it shows nothing. House choice."""
_LEAST_DAYS = 10
"""Days of the past before a lasting growth can be told. House choice."""
_SCATTERS, _LEADS_SCATTER = 5.0, 3.0
"""Deviations of the daily swing that a growth has to reach: five as for other limits where it decides alone, three
where a swing of the pressure has been seen already. House choice."""
_DAY_H, _PAST_DAYS = 8, 14
"""Known hours that make a day: a third of it; days of the past, as for other references. House choice."""
_LEAST_PAST_HOURS, _JOINED_H, _SWINGING_SHARE = 72, 4, 0.4
"""Hours of the past that show the usual swing: three days; uneven hours in a row that part no run, and the share of a
run's hours that have to swing: a limit cycle is disturbed by every dump and slug. House choice."""
DUMP, PRESSURE = "dump_hunting", "back_pressure_hunting"


def find(history: History) -> list[Candidate]:
    """Return spans in which a level or a pressure swings at its own even period, or day after day as never before."""
    pressure, leads = _pressure_swings(history), _level_leads(history)
    return [*_dump(history, pressure.over & leads), *_pressure(history, pressure, pressure.over & ~leads)]


@dataclass(frozen=True)
class _Swings:
    """A signal's swings hour by hour."""

    over: Mask
    """Hours that swing."""
    even: Mask
    """Those of them that swing far more than usual and keep time."""
    known: Mask
    size: Floats
    usual: float


def _swinging(history: History, signal: str, kind: str) -> _Swings:
    """Return the hours with large even swings, the swing and its usual size."""
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
    over &= int(reference.sum()) >= _LEAST_PAST_HOURS
    return _Swings(over, over, known, size, usual)


def _runs(over: Mask, known: Mask, least_hours: float) -> list[tuple[int, int]]:
    """Return runs of swinging hours, uneven hours between them allowed, if enough of their hours swing."""
    found = []
    for first, stop in joined_runs(over, ~known, _JOINED_H):
        count = int(over[first:stop].sum())
        if count >= least_hours and stop - first >= _LEAST_HOURS and count >= _SWINGING_SHARE * (stop - first):
            found.append((first, stop))
    return found


def _dump(history: History, led: Mask) -> list[Candidate]:
    """Return the swings of a throttling dump; `led` are hours in which its interface leads the pressure's."""
    if not history.is_throttling:
        return []
    swings = _swinging(history, "interface_level", DUMP)
    over, known = swings.over, swings.known
    if "water_dump_position" in history.signals or history.meter is not None:
        water = [] if history.meter is None else [flow_hours(history, history.meter)]
        over = over | _grown_for_days(history, "interface_level", DUMP, water) | (led & known)
    found = []
    for first, stop in _runs(over, known, history.limit(DUMP, "least_time") / HOUR_S):
        draft, onset, end = _draft(history, DUMP, "water_dump", (first, stop), known)
        swing = median(swings.size[first:stop][over[first:stop]])
        answer = _answer(history, over, (first, stop))
        draft.confidence = 0.65 + 0.15 * min(1.0, (stop - first) / 24.0) + (0.1 if answer else 0.0)
        draft.severity = swing
        draft.found("swing of the level", swing, "m", swings.usual)
        words = _words(
            draft, "Water dump swings the interface", (swings, over, (first, stop)), ("interface_level", "m", "length")
        )
        found.append(draft.done(words, onset, end))
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


def _pressure(history: History, swings: _Swings, over: Mask) -> list[Candidate]:
    found = []
    for first, stop in _runs(over, swings.known, history.limit(PRESSURE, "least_time") / HOUR_S):
        valve = _valve(history, (first, stop))
        draft, onset, end = _draft(history, PRESSURE, valve, (first, stop), swings.known)
        swing = median(swings.size[first:stop][over[first:stop]])
        dumps_known = bool(np.isfinite(history.hour("dumps")).any())
        own = _is_dumps_period(history, over, (first, stop))
        draft.confidence = 0.65 + 0.15 * min(1.0, (stop - first) / 24.0) + (0.1 if dumps_known and not own else 0.0)
        draft.severity = swing
        draft.found("swing of the pressure", swing, "kPa", swings.usual)
        why = "far above what the dumps did before" if own or not dumps_known else "the period is not that of the dumps"
        draft.not_because("the dumps' own swing", why)
        facts = (swings, over, (first, stop))
        words = _words(draft, "Vessel pressure swings", facts, ("vessel_pressure", "kPa", "pressure difference"))
        found.append(draft.done(words, onset, end))
    return found


def _words(
    draft: Draft, subject: str, facts: tuple[_Swings, Mask, tuple[int, int]], measure: tuple[str, str, str]
) -> str:
    """Return the summary, in the measure that decided, and add to the draft what that measure says.

    A swing that keeps time is told by its size and period; one that does not, by the span of its days.
    """
    swings, over, (first, stop) = facts
    signal, unit, dimension = measure
    history, span = draft.history, slice(first, stop)
    since = f"since {day_of(history, float(history.hour_s[first]))}"
    if swings.even[span].sum() >= 0.5 * over[span].sum():
        swing, period = median(swings.size[span][over[span]]), _period(history, signal, over, first, stop)
        draft.found("period of the swing", period, "s", None)
        draft.not_because("slugs from the wells", "the swing keeps even time and is far above this vessel's past")
        by, usual = quantity(history, swing, dimension), quantity(history, swings.usual, dimension)
        return f"{subject} by {by} every {period / 60:.0f} min {since}, {usual} is usual."
    _, usual_day, _ = _by_day(history, _swing_of(history, signal))
    now = median(_swing_of(history, signal)[span])
    draft.found("span of an hour's readings, 10 to 90 %", now, unit, usual_day)
    draft.not_because("slugs from the wells", "it swings day after day, and what comes in has not grown as much")
    by, usual = quantity(history, now, dimension), quantity(history, usual_day, dimension)
    return f"{subject} by {by} within the hour {since}, {usual} is usual."


def _pressure_swings(history: History) -> _Swings:
    swings = _swinging(history, "vessel_pressure", PRESSURE)
    lasting = _grown_for_days(history, "vessel_pressure", PRESSURE, all_loads(history))
    return replace(swings, over=swings.over | (lasting & ~_header_is_still(history)))


def _level_leads(history: History) -> Mask:
    """Return the hours of days on which the interface of a throttling dump swings more than it ever did.

    Water that comes and goes moves the pressure; a back-pressure valve that swings leaves the interface nearly still.
    """
    if not history.is_throttling:
        return np.zeros(len(history.hour_s), dtype=bool)
    days, usual, scatter = _by_day(history, _swing_of(history, "interface_level"))
    with np.errstate(invalid="ignore"):
        leads = (
            (days > _LEADS * usual)
            & (days > usual + _LEADS_SCATTER * scatter)
            & (days > history.limit(DUMP, "least_swing"))
        )
    return np.asarray(np.repeat(leads, 24)[-len(history.hour_s) :])


def _grown_for_days(history: History, signal: str, kind: str, loads: list[Floats]) -> Mask:
    """Return the hours of days on which a signal swung far more than on any day of the past, at the same load.

    A valve that sticks between slugs and dumps does not keep even time; that it swings day after day, while what the
    wells bring has not grown, tells it from the wells. With more coming in a swing may grow as the load did.
    """
    swing = _swing_of(history, signal)
    days, usual, scatter = _by_day(history, swing)
    more = np.ones(len(days))
    for load in loads:
        per_day, usual_load, _ = _by_day(history, load)
        if usual_load > 0:
            more = np.fmax(more, per_day / usual_load)
    more = np.where(more > _MORE_LOAD, more, 1.0)
    line = max(history.limit(kind, "lasting_growth") * usual, usual + _SCATTERS * scatter)
    with np.errstate(invalid="ignore"):
        grown = (days > line * more) & (days > history.limit(kind, "least_swing"))
    lasting = np.zeros(len(grown), dtype=bool)
    for first, stop in joined_runs(grown, ~np.isfinite(days), 0):
        lasting[first:stop] = stop - first >= _LASTING_DAYS
    hours = np.repeat(lasting, 24)[-len(swing) :] if len(swing) else lasting
    return np.asarray(hours & history.known(signal))


def _header_is_still(history: History) -> Mask:
    """Return the hours of days on which the vessel's pressure swings more and the header's does not: the reading's."""
    if "inlet_pressure" not in history.signals:
        return np.zeros(len(history.hour_s), dtype=bool)
    vessel, usual, _ = _by_day(history, _swing_of(history, "vessel_pressure"))
    header, usual_header, _ = _by_day(history, _swing_of(history, "inlet_pressure"))
    if not usual_header < _CALM * usual:
        return np.zeros(len(history.hour_s), dtype=bool)
    with np.errstate(invalid="ignore"):
        still = header - usual_header < _FOLLOWS * (vessel - usual)
    return np.asarray(np.repeat(still, 24)[-len(history.hour_s) :])


def _swing_of(history: History, signal: str) -> Floats:
    return history.once(f"swing of {signal}", lambda: _found_swing_of(history, signal))


def _found_swing_of(history: History, signal: str) -> Floats:
    span = history.signal(signal, "p90") - history.signal(signal, "p10")
    span = np.where(history.known(signal) & working(history), span, np.nan)
    return per_well(span, history.well, first_weeks(history, np.isfinite(span)))


def _by_day(history: History, values: Floats) -> tuple[Floats, float, float]:
    """Return medians of whole days counted back from the end, and the usual one with its scatter."""
    lead = -len(values) % 24
    table = np.concatenate((np.full(lead, np.nan), values)).reshape(-1, 24)
    days = np.where(np.isfinite(table).sum(axis=1) >= _DAY_H, row_medians(table), np.nan)
    order = np.cumsum(np.isfinite(days))
    past = days[np.isfinite(days) & (order <= min(_PAST_DAYS, max(1, order[-1] // 2)))] if len(days) else days
    if len(past) < _LEAST_DAYS:
        return days, float("nan"), float("nan")
    return days, median(past), spread(past)


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
