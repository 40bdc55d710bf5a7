"""Carryover: water in the oil, oil in the water, liquid in the gas, against the vessel's normal at the same load."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import poisson

from nightgauge.detect.costs import oil_in_the_water, water_in_the_oil
from nightgauge.detect.history import HOUR_S, Floats, History, Mask
from nightgauge.detect.past import first_weeks, joined_runs, median, per_well, spread
from nightgauge.detect.wording import Draft, day_of, quantity
from nightgauge.vocabulary.findings import Candidate

_RARE = 3e-4
"""Chance of a week's count of rare scrubber dumps below which it is none: once in sixty years of weeks. House
choice."""
_RARE_GROWTH = 3.0
"""Times the expected count of a week that is told. House choice: gas and mist come in gusts, beyond Poisson's law."""
_SMOOTH_HOURS = 6
"""Width of the running median before judging: an upset of an hour or two is no finding. House choice."""


@dataclass(frozen=True)
class Indicator:
    """One carryover indicator by the hour."""

    kind: str
    name: str
    values: Floats
    unit: str
    dimension: str
    least: float


def indicators(history: History) -> list[Indicator]:
    """Return the indicators that the vessel has."""
    found = []
    for kind, column, unit, dimension, signal, name in (
        ("water_in_oil", "water_in_oil_fraction", "1", "fraction", "oil_water_cut", "water in the oil outlet"),
        ("oil_in_water", "oil_in_water_mg_l", "mg/L", "concentration", "water_oil_content", "oil in the water outlet"),
    ):
        values = history.hour(column)
        if not np.isfinite(values).any():
            values = history.mean(signal)
        if np.isfinite(values).any():
            least = history.limit(kind, "least_rise")
            found.append(Indicator(kind, name, values, unit, dimension, least))
    return found


def find(history: History) -> list[Candidate]:
    """Return spans in which an indicator stood above this vessel's normal for the same load."""
    found = []
    for indicator in indicators(history):
        found += _find_one(history, indicator)
    return [*found, *_liquid_in_gas(history)]


def running_median(values: Floats, width: int) -> Floats:
    """Return the centred-on-the-past running median: each hour with the `width - 1` before it."""
    if not len(values):
        return values
    padded = np.concatenate((np.full(width - 1, np.nan), values))
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)
    enough = np.isfinite(windows).sum(axis=1) >= max(1, width // 2)
    result = np.full(len(values), np.nan)
    if enough.any():
        result[enough] = np.nanmedian(windows[enough], axis=1)
    return result


def _find_one(history: History, indicator: Indicator) -> list[Candidate]:
    kind = indicator.kind
    reference = first_weeks(history, np.isfinite(indicator.values))
    values = running_median(per_well(indicator.values, history.well, reference), _SMOOTH_HOURS)
    expected, scatter = _expected(history, values, reference)
    known = np.isfinite(values) & np.isfinite(expected)
    floor = np.maximum(indicator.least, history.limit(kind, "deviations") * scatter)
    line = np.maximum(history.limit(kind, "growth") * expected, expected + floor)
    with np.errstate(invalid="ignore"):
        high = known & (values > line)
    least_hours = history.limit(kind, "least_time") / HOUR_S
    found = []
    for first, stop in joined_runs(high, ~known, 6):
        if int(high[first:stop].sum()) < least_hours or int(reference.sum()) < 48:
            continue
        found.append(_candidate(history, indicator, (first, stop), (values, expected)))
    return found


def _expected(history: History, values: Floats, reference: Mask) -> tuple[Floats, float]:
    """Return the normal value at each hour's load, and its scatter, from the reference weeks.

    Where the load is known the reference is cut into low, middle and high load; a load never seen takes the nearest.
    """
    scatter = spread(values[reference])
    base = median(values[reference])
    load = history.hour("water_load_m3_per_day")
    both = reference & np.isfinite(values) & np.isfinite(load)
    expected = np.full(len(values), base)
    if both.sum() < 96:
        return expected, scatter
    edges = np.quantile(load[both], [1 / 3, 2 / 3])
    band = np.digitize(load, edges)
    for number in range(3):
        own = values[both & (band == number)]
        if len(own) >= 12:
            expected[(band == number) & np.isfinite(load)] = float(np.median(own))
    return expected, scatter


def _candidate(
    history: History, indicator: Indicator, span: tuple[int, int], series: tuple[Floats, Floats]
) -> Candidate:
    first, stop = span
    values, expected = series
    begin = float(history.hour_s[max(0, first - _SMOOTH_HOURS // 2)])
    end = min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
    is_over = history.until_s - end >= 12 * HOUR_S and np.isfinite(values[stop:]).sum() >= 6
    found, normal = median(values[first:stop]), median(expected[first:stop])
    draft = Draft(history, indicator.kind, "vessel")
    draft.confidence = 0.6 + 0.25 * min(1.0, (stop - first) / 72.0) + 0.05 * min(2.0, found / max(normal, 1e-9) / 4.0)
    draft.severity = found - normal
    draft.ended_s = end if is_over else None
    draft.over(begin, end)
    draft.found(indicator.name, found, indicator.unit, normal)
    at_high = _at_high_load(history, span)
    if at_high is not None:
        word = "high load: size" if at_high else "ordinary or low load: not size, look at float, interface and chemical"
        draft.not_because("vessel_undersized", f"it came at {word}")
    draft.not_because("analyser drift", "a sample settles it")
    if not is_over:
        cost = water_in_the_oil if indicator.kind == "water_in_oil" else oil_in_the_water
        draft.effect = cost(history, (begin, end), found, normal)
    now, usual = (quantity(history, x, indicator.dimension) for x in (found, normal))
    load_words = "" if at_high is None else f", at {'high' if at_high else 'ordinary or low'} load"
    words = f"{indicator.name.capitalize()} at {now}, {usual} is usual, since {day_of(history, begin)}{load_words}"
    return draft.done(f"{words}{'; over since ' + day_of(history, end) if is_over else ''}.", begin, end)


def _at_high_load(history: History, span: tuple[int, int]) -> bool | None:
    load = history.hour("water_load_m3_per_day")
    here, all_ = load[span[0] : span[1]], load[np.isfinite(load)]
    if not np.isfinite(here).any() or len(all_) < 96:
        return None
    return bool(median(here) > np.quantile(all_, 0.75))


def _times(rate: float, normal: float, dumps: Floats) -> str:
    """Return how often a scrubber dumps and did, by the day, or by the week where a day has too few to count."""
    if min(rate, normal) >= 1.0:
        return f"{rate:.0f} times a day, {normal:.0f}"
    known = dumps[np.isfinite(dumps)]
    return f"{7 * 24 * float(np.mean(known)):.0f} times a week, {7 * normal:.0f}"


def _more_in_a_week(history: History, dumps: Floats, gas_ratio: Floats, reference: Mask) -> Mask:
    """Return the hours whose week before held far more of a scrubber's rare dumps than chance brings.

    A scrubber that dumps once in days has no count of a day to judge: rare events in a week go by Poisson's law.
    """
    known = np.isfinite(dumps)
    width = 7 * 24
    week = np.convolve(np.nan_to_num(dumps), np.ones(width))[: len(dumps)]
    hours = np.convolve(known.astype(np.float64), np.ones(width))[: len(dumps)]
    # Half a dump more than was counted: a past without any does not prove that there are none.
    rate = (float(np.nansum(dumps[reference])) + 0.5) / max(float(reference.sum()), 1.0)
    expected = rate * hours * np.maximum(1.0, np.nan_to_num(gas_ratio, nan=1.0))
    chance = poisson.sf(week - 1.0, np.maximum(expected, 1e-6))
    enough = (week >= history.limit("liquid_in_gas", "least_dumps")) & (hours >= 0.5 * width)
    return np.asarray(enough & (chance < _RARE) & (week > _RARE_GROWTH * expected))


def _liquid_in_gas(history: History) -> list[Candidate]:
    """Return days in which the scrubber dumped far more for the same gas than it used to."""
    kind = "liquid_in_gas"
    dumps = history.hour("scrubber_dumps")
    if not np.isfinite(dumps).any():
        return []
    gas = history.hour("gas_m3")
    known = np.isfinite(dumps)
    reference = first_weeks(history, known)
    if int(reference.sum()) < 72:
        return []
    width = 24
    count = np.convolve(np.nan_to_num(dumps), np.ones(width))[: len(dumps)]
    hours = np.convolve(known.astype(float), np.ones(width))[: len(dumps)]
    per_day = np.where(hours >= 12, count * 24.0 / np.maximum(hours, 1.0), np.nan)
    usual = median(per_day[reference])
    # Gas that flows more brings more liquid: the expected dumps go up with it, never down.
    flow = running_median(gas, width)
    usual_flow = median(flow[reference])
    ratio = np.where(np.isfinite(flow), flow / usual_flow, 1.0) if usual_flow > 0 else np.ones(len(flow))
    expected = usual * np.maximum(1.0, np.nan_to_num(ratio, nan=1.0))
    scatter = max(spread(per_day[reference]), float(np.sqrt(max(usual, 0.0))) / 2.0)
    floor = np.maximum(history.limit(kind, "least_dumps"), history.limit(kind, "deviations") * scatter)
    with np.errstate(invalid="ignore"):
        high = (per_day > history.limit(kind, "growth") * expected) & (per_day > expected + floor)
    high |= _more_in_a_week(history, dumps, ratio, reference)
    found = []
    for first, stop in joined_runs(high & np.isfinite(per_day), ~np.isfinite(per_day), 6):
        if stop - first < history.limit(kind, "least_time") / HOUR_S:
            continue
        begin = float(history.hour_s[max(0, first - width // 2)])
        end = min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
        is_over = history.until_s - end >= 12 * HOUR_S
        rate, normal = median(per_day[first:stop]), median(expected[first:stop])
        draft = Draft(history, kind, "vessel")
        draft.confidence = 0.7 + 0.2 * min(1.0, (stop - first) / 72.0)
        draft.severity, draft.ended_s = rate / max(normal, 0.5), end if is_over else None
        draft.over(begin, end)
        draft.found("scrubber dumps a day", rate, "", normal)
        draft.not_because("more gas", "the expected count has been raised with the gas rate")
        words = f"Scrubber dumps {_times(rate, normal, dumps[first:stop])} are usual, since {day_of(history, begin)}"
        tail = f"; over since {day_of(history, end)}" if is_over else ""
        found.append(draft.done(f"{words}{tail}.", begin, end))
    return found
