"""Floats stuck closed or open on snap dumps: silence against the vessel's own periods, openings against its drains."""

from dataclasses import dataclass

import numpy as np

from nightgauge.detect.costs import water_to_the_oil
from nightgauge.detect.history import DAY_S, HOUR_S, Cycles, Floats, History
from nightgauge.detect.inflow import flow_hours, inflow_over
from nightgauge.detect.past import joined_runs, median, median_and_spread, quantile
from nightgauge.detect.wording import Draft, duration, moment, quantity
from nightgauge.vocabulary.findings import Candidate

CLOSED, OPEN, RESTRICTED = "float_stuck_closed", "float_stuck_open", "dump_restricted"
ABOVE_OPENING = "time above the opening level"
"""Evidence of a stuck float that its level shows."""
_RECENT = 30
"""Dumps whose periods are the vessel's own at a time: enough for a median, few enough to follow the inflow."""
_LATE_DRAIN = 1.3
"""Drain of the dump after a silence, against the usual, below which nothing more than the own gap was drained."""
_SAWS = 0.5
"""Share of the usual hourly range of the level from which it still cycles. House choice."""
_RUN_DOWN = 0.6
"""Share of the closing level below which an interface has run down. House choice: no one sets a closing level so."""
_TRIP_DAYS = 14
"""Days of dumps from which the trip levels are known."""


@dataclass(frozen=True)
class Trips:
    """Where the dump opens and shuts, by its past or its settings. [m]"""

    opening: float
    closing: float
    scatter: float


def trips_before(history: History, dumps: Cycles, index: int) -> Trips:
    """Return the trip levels known before dump number `index`; settings where there is no past."""
    at = dumps.opened[min(index, len(dumps) - 1)] if len(dumps) else history.until_s
    recent = slice(int(np.searchsorted(dumps.opened[:index], at - _TRIP_DAYS * DAY_S)), index)
    opening, closing = dumps.opening[recent], dumps.closing[recent]
    if np.isfinite(opening).sum() >= 5:
        (opens, uneven), (closes, uneven_closing) = median_and_spread(opening), median_and_spread(closing)
        scatter = max(uneven, uneven_closing) if np.isfinite(uneven_closing) else uneven
        return Trips(opens, closes, scatter)
    settings = history.vessel.water_dump_at(history.when(float(at)))
    nan = float("nan")
    return Trips(
        nan if settings.opens_at_m is None else settings.opens_at_m,
        nan if settings.closes_at_m is None else settings.closes_at_m,
        0.0,
    )


def evidence_known(history: History) -> Floats:
    """Return the share of each hour in which a dump would have been seen."""
    return history.once("evidence known", lambda: np.nan_to_num(history.hour("coverage")))


def find(history: History) -> list[Candidate]:
    """Return the stuck floats of a snap dump."""
    if history.is_throttling or not len(history.hour_s):
        return []
    return [*_closed(history), *_open(history)]


def _closed(history: History) -> list[Candidate]:
    dumps = history.dumps
    begins, ends = _gaps(history, dumps)
    found = []
    for number in np.flatnonzero(~(ends - begins < history.limit(CLOSED, "least_time"))):
        candidate = _closed_gap(history, dumps, int(number), (float(begins[number]), float(ends[number])))
        if candidate is not None:
            found.append(candidate)
    return found


def _gaps(history: History, dumps: Cycles) -> tuple[Floats, Floats]:
    """Return where the silences before the first dump, between dumps and after the last begin and end.

    Number i ends at dump i.
    """
    shut = np.where(np.isfinite(dumps.shut), dumps.shut, history.until_s)
    return np.concatenate([[history.start_s], shut]), np.concatenate([dumps.opened, [history.until_s]])


def _own_wait(dumps: Cycles, number: int) -> float:
    """Return the usual silence before dump `number`, from the dumps before it (after it, where there are none).

    A dump that drained far more than usual, by hand or by a slug, is followed by a longer fill: the wait grows
    with what was drained.
    """
    fills = dumps.fill[max(0, number - _RECENT) : number]
    fills = fills[np.isfinite(fills)]
    if len(fills) < 3:
        fills = dumps.fill[number + 1 : number + 1 + _RECENT]
        fills = fills[np.isfinite(fills)]
    if not len(fills):
        return float("nan")
    # The median for the size, a high quantile so that an uneven vessel has to be silent for longer.
    usual = max(float(np.median(fills)), quantile(fills, 0.9) / 1.5)
    if number > 0:
        drains = dumps.drain[max(0, number - 1 - _RECENT) : number - 1]
        ratio = dumps.drain[number - 1] / median(drains) if np.isfinite(drains).any() else 1.0
        usual *= float(np.clip(ratio, 1.0, 10.0)) if np.isfinite(ratio) else 1.0
    return usual


def _closed_gap(history: History, dumps: Cycles, number: int, gap: tuple[float, float]) -> Candidate | None:
    begin, end = gap
    wait = _own_wait(dumps, number)
    wait = wait if np.isfinite(wait) else HOUR_S
    hours = history.hours_between(begin, end)
    inner = slice(hours.start, hours.stop)
    seen = evidence_known(history)[inner]
    if not len(seen) or np.mean(seen >= 0.5) < 0.7:
        return None
    if not _is_long(history, dumps, number, end - begin):
        return None
    trips = trips_before(history, dumps, number)
    above_s, first_above = _time_above(history, trips, gap)
    level_known = history.known("interface_level")[inner]
    level_speaks = bool(level_known.mean() >= 0.5) and np.isfinite(trips.opening) and not _level_is_dead(history, inner)
    silence = end - begin
    enough = max(history.limit(CLOSED, "least_time"), history.limit(CLOSED, "periods") * wait)
    inflow = inflow_over(history, begin, end)
    if level_speaks:
        # The level decides alone: above the opening level without a dump there is nothing else it can be.
        if above_s < max(1.0 * HOUR_S, min(0.5 * wait, 3 * HOUR_S)):
            return None
        if _meter_moves(history, gap):
            return _overwhelmed(history, gap, (wait, trips, above_s))
        confidence = 0.85 + 0.1 * min(1.0, above_s / (4 * HOUR_S))
    else:
        if _was_slow_fill(dumps, number):
            return None
        share = inflow.flow_share
        stretch = 1.0 / float(np.clip(share, 0.35, 1.0)) if np.isfinite(share) else 1.0
        comes = inflow.comes_in(history.limit(CLOSED, "pressure_held"))
        if silence < enough * stretch or not comes or number < 3 or _meter_moves(history, gap):
            return None
        confidence = 0.62 + 0.08 * min(3.0, silence / (enough * stretch) - 1.0) + (0.08 if np.isfinite(share) else 0.0)
    onset = min(begin + wait, end) if not level_speaks else min(first_above, begin + wait)
    draft = Draft(history, CLOSED, "water_dump")
    draft.priority, draft.confidence = "high", confidence
    draft.severity = silence / HOUR_S
    draft.ended_s = end if end < history.until_s else None
    _tell_closed(draft, gap, (wait, trips, above_s))
    _closed_instead(draft, history, inflow, level_speaks=level_speaks)
    return draft.done(_closed_words(draft, gap, wait, above_s), max(begin, onset), end)


def _overwhelmed(history: History, gap: tuple[float, float], facts: tuple[float, Trips, float]) -> Candidate:
    """Return the dump that stands open, as its meter shows, and yet cannot take the water that comes in."""
    draft = Draft(history, RESTRICTED, "water_dump")
    draft.priority, draft.confidence, draft.severity = "high", 0.85, facts[2] / HOUR_S
    draft.ended_s = gap[1] if gap[1] < history.until_s else None
    _tell_closed(draft, gap, facts)
    draft.not_because(CLOSED, "the water meter goes on: the valve is open")
    words = f"Interface stood above the opening level for {duration(facts[2])} since {moment(history, gap[0])}"
    return draft.done(f"{words} while water went on leaving: the open dump does not keep up.", *gap)


def _is_long(history: History, dumps: Cycles, number: int, silence: float) -> bool:
    """Return whether a silence is long by this vessel's recent waits at all; a vessel of slow dumps has many of 3 h."""
    fills = dumps.fill[max(0, number - _RECENT) : number]
    fills = fills[np.isfinite(fills)]
    return len(fills) < 3 or silence > 1.3 * float(np.max(fills)) or silence > 2.0 * median(fills)


def _was_slow_fill(dumps: Cycles, number: int) -> bool:
    """Return whether the dump that ended the silence was an ordinary one: then water came in slowly, nothing stuck.

    A float that lets go late drains what came in meanwhile, on top of its own gap.
    """
    if number >= len(dumps) or not np.isfinite(dumps.drain[number]):
        return False
    usual = median(dumps.drain[max(0, number - _RECENT) : number])
    return bool(dumps.drain[number] < _LATE_DRAIN * usual)


def _time_above(history: History, trips: Trips, gap: tuple[float, float]) -> tuple[float, float]:
    """Return how long the interface stood above the opening level in the silence, and from when."""
    begin, end = gap
    if not np.isfinite(trips.opening):
        return 0.0, end
    margin = max(history.limit(CLOSED, "above_opening"), 4.0 * trips.scatter)
    span = history.hours_between(begin, end)
    low = history.signal("interface_level", "minimum")[span]
    high = history.signal("interface_level", "maximum")[span]
    line = trips.opening + margin
    # Share of the hour above the line, from its lowest and highest value: exact for a steady rise.
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.clip((high - line) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    starts = history.hour_s[span]
    overlap = np.clip(np.minimum(starts + HOUR_S, end) - np.maximum(starts, begin), 0.0, HOUR_S)
    above = np.nan_to_num(share) * overlap
    first = np.flatnonzero(above > 0)
    since = float(starts[first[0]] + overlap[first[0]] - above[first[0]]) if len(first) else end
    return float(above.sum()), max(since, begin)


def _level_is_dead(history: History, span: slice) -> bool:
    """Return whether the level did not move at all although the silence was long: then it cannot tell."""
    changes = history.signal("interface_level", "changes")[span]
    return bool(len(changes) > 3 and np.nansum(changes[1:]) == 0)


def _meter_moves(history: History, gap: tuple[float, float]) -> bool:
    """Return whether the water meter goes on at a good part of its usual flow: then water does leave."""
    if history.meter is None:
        return False
    flow = flow_hours(history, history.meter)
    span = history.hours_between(*gap)
    usual = median(flow[max(0, span.start - 14 * 24) : span.start])
    here = flow[span.start + 1 : span.stop - 1]
    return bool(np.isfinite(here).any() and usual > 0 and np.nanmedian(here) > 0.3 * usual)


def _tell_closed(draft: Draft, gap: tuple[float, float], facts: tuple[float, Trips, float]) -> None:
    wait, trips, above_s = facts
    history = draft.history
    draft.over(*gap)
    draft.found("time without a dump", gap[1] - gap[0], "s", wait)
    if above_s > 0:
        high = history.signal("interface_level", "maximum")[history.hours_between(*gap)]
        draft.found("highest interface", quantile(high, 1.0), "m", trips.opening)
        draft.found(ABOVE_OPENING, above_s, "s", 0.0)
    loads = history.hour("water_load_m3_per_day")
    before = history.hours_between(gap[0] - 7 * DAY_S, gap[0])
    load = median(loads[before])
    if np.isfinite(load) and load > 0:
        draft.found("water coming in before", load, "m3/day", None)
        if draft.ended_s is None:
            draft.effect = water_to_the_oil(load)
    if (history.hour("spill_s")[history.hours_between(*gap)] > 0).any() or above_s > 6 * HOUR_S:
        draft.also += ["water_in_oil"]


def _closed_instead(draft: Draft, history: History, inflow: object, *, level_speaks: bool) -> None:
    share = getattr(inflow, "pressure_share", float("nan"))
    if level_speaks:
        draft.not_because("wells shut in", "the interface rose above the opening level, so water came in")
        draft.not_because("instrument_frozen", "the level reading moved")
    else:
        draft.not_because(
            "wells shut in",
            f"pressure held at {100 * share:.0f} % of usual" if np.isfinite(share) else "gas and oil went on",
        )
    if history.meter is not None:
        draft.not_because("instrument_drift", "the water meter shows no dump either")


def _closed_words(draft: Draft, gap: tuple[float, float], wait: float, above_s: float) -> str:
    history = draft.history
    since = moment(history, gap[0])
    verb = "has not dumped" if draft.ended_s is None else "did not dump"
    text = f"Water dump {verb} for {duration(gap[1] - gap[0])} (since {since}), usual wait {duration(wait)}"
    if above_s > 0:
        return f"{text}, while the interface stood above its opening level for {duration(above_s)}."
    return f"{text}, while pressure and flow show that wells went on producing."


def _open(history: History) -> list[Candidate]:
    dumps = history.dumps
    found: list[Candidate] = []
    ends = np.where(np.isfinite(dumps.shut), dumps.shut, history.until_s)
    # A dump whose shutting was lost in a gap of data ends where the next one opens.
    if len(ends) > 1:
        ends[:-1] = np.minimum(ends[:-1], dumps.opened[1:])
    lengths = ends - dumps.opened
    for index in np.flatnonzero(lengths >= history.limit(OPEN, "least_time")):
        candidate = _open_dump(history, dumps, int(index), float(ends[index]))
        if candidate is not None:
            found.append(candidate)
    taken = [(c.onset.timestamp(), c.last_seen.timestamp()) for c in found]
    found += [c for c in _open_by_level(history, dumps) if not _overlaps(c, taken)]
    return found


def _overlaps(candidate: Candidate, spans: list[tuple[float, float]]) -> bool:
    begin, end = candidate.onset.timestamp(), candidate.last_seen.timestamp()
    return any(begin < b_end and b_begin < end for b_begin, b_end in spans)


def _open_dump(history: History, dumps: Cycles, index: int, end: float) -> Candidate | None:
    begin = float(dumps.opened[index])
    usual, long = _own_drain(dumps, index)
    if not np.isfinite(usual):
        return None
    open_s = end - begin
    if open_s < history.limit(OPEN, "drains") * long:
        return None
    span = history.hours_between(begin, end)
    if np.mean(evidence_known(history)[span] >= 0.5) < 0.6:
        return None
    if dumps.evidence[index] != "switch" and _level_saws(history, span):
        return None
    if dumps.evidence[index] == "meter" and not _meter_moves(history, (begin, end)):
        # The meter fell silent while it ran: a silence is no flow.
        return None
    trips = trips_before(history, dumps, index)
    low_s = _time_below(history, trips, (begin, end))
    level_known = bool(history.known("interface_level")[span].mean() >= 0.5) and np.isfinite(trips.closing)
    if level_known:
        if low_s < 0.5 * HOUR_S or low_s < 0.4 * open_s - HOUR_S:
            return None
        if dumps.evidence[index] != "switch" and not _ran_down(history, span, trips):
            return None
        confidence = 0.85 + 0.1 * min(1.0, low_s / (4 * HOUR_S))
    else:
        wait = _own_wait(dumps, index)
        wait = wait + usual if np.isfinite(wait) else 0.0
        needed = max(history.limit(OPEN, "least_time_switch_alone"), history.limit(OPEN, "drains") * long)
        if open_s < min(needed, max(6 * HOUR_S, 3 * wait)):
            return None
        confidence = 0.7 + 0.1 * min(1.0, open_s / needed - 1.0)
    return _open_candidate(history, (begin, end), (usual, low_s, confidence), trips)


def _ran_down(history: History, span: slice, trips: Trips) -> bool:
    """Return whether the interface ran down toward the outlet, as through an open valve; moved marks lie higher."""
    low = history.signal("interface_level", "minimum")[span]
    return bool(quantile(low, 0.1) < _RUN_DOWN * trips.closing)


def _level_saws(history: History, span: slice) -> bool:
    """Return whether the level goes on cycling: then the marks have moved, and dumps are not recognised by them."""
    saw = history.signal("interface_level", "p90") - history.signal("interface_level", "p10")
    usual = median(saw[max(0, span.start - 7 * 24) : span.start])
    here = saw[span.start + 1 : span.stop]
    return bool(np.isfinite(here).any() and median(here) > _SAWS * usual)


def _own_drain(dumps: Cycles, index: int) -> tuple[float, float]:
    """Return the usual and the long drain of the dumps before, or after where there are none before."""
    drains = dumps.drain[max(0, index - 10 * _RECENT) : index]
    drains = drains[np.isfinite(drains)]
    if len(drains) < 3:
        drains = dumps.drain[index + 1 : index + 1 + _RECENT]
        drains = drains[np.isfinite(drains)]
    if len(drains) < 3:
        return float("nan"), float("nan")
    return float(np.median(drains)), max(quantile(drains, 0.95), float(np.median(drains)))


def _time_below(history: History, trips: Trips, span_s: tuple[float, float]) -> float:
    """Return how long the interface stood below the closing level by more than a sound float's scatter."""
    if not np.isfinite(trips.closing):
        return 0.0
    margin = max(history.limit(OPEN, "below_closing"), 4.0 * trips.scatter)
    span = history.hours_between(*span_s)
    low = history.signal("interface_level", "minimum")[span]
    high = history.signal("interface_level", "maximum")[span]
    line = trips.closing - margin
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.clip((line - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    starts = history.hour_s[span]
    overlap = np.clip(np.minimum(starts + HOUR_S, span_s[1]) - np.maximum(starts, span_s[0]), 0.0, HOUR_S)
    return float((np.nan_to_num(share) * overlap).sum())


def _open_candidate(
    history: History, gap: tuple[float, float], facts: tuple[float, float, float], trips: Trips
) -> Candidate:
    begin, end = gap
    usual, low_s, confidence = facts
    draft = Draft(history, OPEN, "water_dump")
    draft.priority, draft.confidence, draft.severity = "high", confidence, (end - begin) / HOUR_S
    draft.ended_s = end if end < history.until_s else None
    draft.over(begin, end)
    draft.found("time open", end - begin, "s", usual)
    text = f"Water dump {'has stood' if draft.ended_s is None else 'stood'} open for {duration(end - begin)}"
    text += f" (since {moment(history, begin)}), usual drain {duration(usual)}"
    if low_s > 0:
        lowest = quantile(history.signal("interface_level", "minimum")[history.hours_between(begin, end)], 0.0)
        draft.found("lowest interface", lowest, "m", trips.closing)
        closing = quantity(history, trips.closing, "length")
        text += f", with the interface down to {quantity(history, lowest, 'length')} (closes at {closing})"
        draft.not_because("large slug", "the interface stayed below the closing level")
    else:
        draft.not_because("large slug", f"open for {duration(end - begin)}, longer than any slug of this vessel")
    pressure = inflow_over(history, begin, end).pressure_share
    if pressure < 0.9:
        draft.also += ["gas_in_liquid"]
    draft.also += ["oil_in_water"]
    return draft.done(f"{text}.", begin, end)


def _open_by_level(history: History, dumps: Cycles) -> list[Candidate]:
    """Return spans in which the interface lies flat below the closing level: no cycle is seen there any more."""
    level_max, level_min = history.signal("interface_level", "maximum"), history.signal("interface_level", "minimum")
    known = history.known("interface_level")
    if not known.any() or len(dumps) < 3:
        return []
    numbers = np.searchsorted(dumps.opened, history.hour_s)
    closing = np.full(len(history.hour_s), np.nan)
    scatter = np.zeros(len(history.hour_s))
    may_be_low = known & (level_max < _highest_closing(history, dumps) - history.limit(OPEN, "below_closing"))
    for day_start in np.unique(np.flatnonzero(may_be_low) // 24) * 24:
        trips = trips_before(history, dumps, int(numbers[day_start]))
        closing[day_start : day_start + 24], scatter[day_start : day_start + 24] = trips.closing, trips.scatter
    margin = np.maximum(history.limit(OPEN, "below_closing"), 4.0 * scatter)
    low = known & (level_max < closing - margin)
    found = []
    for first, stop in joined_runs(low, ~known, 1):
        if stop - first < max(2, history.limit(OPEN, "least_time") / HOUR_S):
            continue
        if not _lies_flat(history, (first, stop), level_min, level_max) or _level_saws(history, slice(first, stop)):
            continue
        number = int(numbers[first])
        if not _ran_down(history, slice(first, stop), trips_before(history, dumps, number)):
            continue
        begin = float(history.hour_s[first])
        end = float(history.hour_s[stop - 1] + HOUR_S)
        before = int(np.searchsorted(dumps.opened, begin + HOUR_S)) - 1
        onset = float(dumps.opened[before]) if before >= 0 and begin - dumps.opened[before] < 2 * HOUR_S else begin
        usual, _ = _own_drain(dumps, max(before, 0))
        trips = trips_before(history, dumps, max(before, 0))
        span = (onset, end if stop < len(low) else history.until_s)
        confidence = 0.8 if _meter_moves(history, (begin, end)) or history.meter is None else 0.5
        found.append(_open_candidate(history, span, (usual, span[1] - begin, confidence), trips))
    return found


def _highest_closing(history: History, dumps: Cycles) -> float:
    """Return the highest closing level that the vessel may have had, by its dumps and its settings. [m]"""
    stated = [dump.closes_at_m for dump in history.vessel.water_dump if dump.closes_at_m is not None]
    return max([*stated, *dumps.closing[np.isfinite(dumps.closing)]], default=float("nan"))


def _fell_fast(history: History, first: int, low: Floats, high: Floats) -> bool:
    """Return whether the level fell from a working dump's range to the low within two hours.

    A shut snap valve lets a level sink only by its seat, over days.
    """
    before = high[max(0, first - 2) : first]
    dumps = history.hour("dumps")[max(0, first - 4) : first + 1]
    return bool(np.isfinite(before).any() and np.nanmax(before) - low[first] > 0 and np.nansum(dumps) > 0)


def _lies_flat(history: History, span: tuple[int, int], low: Floats, high: Floats) -> bool:
    """Return whether the level does not fill again: a shut dump fills, a shut-in vessel has no inflow either."""
    first, stop = span
    begin, end = float(history.hour_s[first]), float(history.hour_s[stop - 1] + HOUR_S)
    switch = history.signal("water_dump_open", "mean")[first:stop]
    if np.isfinite(switch).mean() > 0.5 and np.nanmean(switch) < 0.5:
        return False
    if history.meter is not None and not _meter_moves(history, (begin, end)):
        return False
    if history.meter is None and not np.isfinite(switch).any() and not _fell_fast(history, first, low, high):
        return False
    mids = (low[first:stop] + high[first:stop]) / 2.0
    return bool(np.nanmax(mids) - mids[np.isfinite(mids)][0] < history.limit(OPEN, "below_closing"))
