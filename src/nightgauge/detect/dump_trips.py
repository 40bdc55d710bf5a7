"""Snap dumps that trip late and uneven, or far too often: gap, scatter and size of the dumps against their past."""

import numpy as np

from nightgauge.detect.history import Floats, History, Mask
from nightgauge.detect.past import NORMAL_MAD, first_weeks, median, spread
from nightgauge.detect.windows import Windows, episodes, reference_windows, windows_of
from nightgauge.detect.wording import Draft, day_of, quantity
from nightgauge.vocabulary.findings import Candidate

_STILL_SAWS = 0.8
"""Share of the usual hourly range of the level above which the sawtooth is what it was. House choice."""
STICKING, SHORT = "float_sticking", "dump_short_cycling"


def find(history: History) -> list[Candidate]:
    """Return sticking floats and short-cycling dumps of a snap dump."""
    if history.is_throttling or len(history.dumps) < 20:
        return []
    return [*_sticking(history), *_short_cycling(history)]


def _rough(part: Floats) -> float:
    """Return scatter from neighbour to neighbour: a drift within the window adds nothing to it."""
    return float(NORMAL_MAD * np.median(np.abs(np.diff(part))) / np.sqrt(2.0)) if len(part) > 2 else float("nan")


def _spread_of(part: Floats) -> float:
    """Return a scatter that feels the tail: the mean absolute step from dump to dump, as of a normal distribution."""
    if len(part) <= 2:
        return float("nan")
    # A sum over the number: asking for the mean itself costs more than all the rest on these short stretches.
    steps = np.abs(part[1:] - part[:-1])
    return float(np.add.reduce(steps) / len(steps) * np.sqrt(np.pi) / 2.0)


def _sticking(history: History) -> list[Candidate]:
    dumps = history.dumps
    least = int(history.limit(STICKING, "dumps"))
    windows = windows_of(history, history.limit(STICKING, "dumps"))
    gap = dumps.opening - dumps.closing
    gaps = windows.medians(gap, least)
    uneven = np.hypot(windows.each(dumps.opening, _spread_of, least), windows.each(dumps.closing, _spread_of, least))
    known = np.isfinite(gaps) & np.isfinite(uneven)
    reference = reference_windows(windows, np.where(known, gaps, np.nan))
    if reference.sum() < 3:
        return []
    gap_ref, uneven_ref = median(gaps[reference]), median(uneven[reference])
    gap_scatter = spread(gaps[reference])
    line = max(history.limit(STICKING, "scatter_growth") * uneven_ref, history.limit(STICKING, "least_scatter"))
    wide = max(history.limit(STICKING, "gap_growth") * gap_ref, gap_ref + 4.0 * gap_scatter)
    some_wide = gap_ref + max(0.05 * gap_ref, 3.0 * gap_scatter)
    half_line = max(0.5 * (line + uneven_ref), 1.3 * uneven_ref)
    with np.errstate(invalid="ignore"):
        over = known & (((uneven > line) & (gaps > some_wide)) | ((gaps > wide) & (uneven > half_line)))
        half = known & (uneven > 1.25 * uneven_ref) & (gaps > gap_ref + 0.25 * (some_wide - gap_ref))
    found = []
    for onset, end, is_over in episodes(windows, over, half, known):
        here = known & (windows.begin_s >= onset) & (windows.end_s <= end)
        now_gap, now_uneven = median(gaps[here][-3:]), median(uneven[here][-3:])
        draft = Draft(history, STICKING, "water_dump")
        strength = min(now_uneven / line, 2.0) - 1.0
        draft.confidence = 0.7 + 0.15 * max(0.0, strength) + 0.05 * min(2.0, (end - onset) / (2 * 86400.0))
        draft.severity, draft.ended_s = now_gap - gap_ref, end if is_over else None
        draft.over(onset, end)
        draft.found("gap between opening and closing level", now_gap, "m", gap_ref)
        draft.found("scatter of the trip levels", now_uneven, "m", uneven_ref)
        draft.not_because("gap widened by hand", "a hand widens it at once and without scatter")
        draft.not_because("instrument_noisy", "noise does not widen the gap")
        words = (
            f"Float trips late and uneven since {day_of(history, onset)}: gap {quantity(history, now_gap, 'length')}"
        )
        words += f" ({quantity(history, gap_ref, 'length')} before), scatter {quantity(history, now_uneven, 'length')}"
        words += f" ({quantity(history, uneven_ref, 'length')} before)"
        found.append(draft.done(_closed(history, words, end, is_over=is_over), onset, end))
    return found


def _closed(history: History, words: str, end: float, *, is_over: bool) -> str:
    return f"{words}; over since {day_of(history, end)}." if is_over else f"{words}."


def _sizes(history: History) -> tuple[Floats, str, str]:
    """Return the size of each dump by the best witness there is, with its name and inside unit."""
    dumps = history.dumps
    gap = dumps.opening - dumps.closing
    for values, name, unit in (
        (gap, "gap between opening and closing level", "m"),
        (dumps.volume_meter, "volume of a dump by meter", "m3"),
        (dumps.drain, "time open", "s"),
    ):
        if np.isfinite(values).mean() > 0.5:
            return values, name, unit
    return np.full(len(dumps), np.nan), "", ""


def _short_cycling(history: History) -> list[Candidate]:
    sizes, name, unit = _sizes(history)
    least = int(history.limit(SHORT, "dumps"))
    windows = windows_of(history, history.limit(SHORT, "dumps") / 2.0)
    size = windows.medians(sizes, 3)
    rate = _rates(windows)
    known = np.isfinite(size)
    reference = reference_windows(windows, size)
    if not unit or reference.sum() < 3:
        return []
    size_ref, rate_ref = median(size[reference]), median(rate[reference])
    known &= ~_level_still_saws(history, windows)
    smaller, more = history.limit(SHORT, "size_share"), history.limit(SHORT, "rate_growth")
    with np.errstate(invalid="ignore"):
        over = known & (size < smaller * size_ref) & (rate > more * rate_ref) & (windows.stop - windows.first >= least)
        half = known & (size < 0.5 * (1.0 + smaller) * size_ref) & (rate > 0.5 * (1.0 + more) * rate_ref)
    found = []
    for onset, end, is_over in episodes(windows, over, half, known):
        here = known & (windows.begin_s >= onset) & (windows.end_s <= end)
        now_size, now_rate = median(size[here][-3:]), median(rate[here][-3:])
        draft = Draft(history, SHORT, "water_dump")
        draft.confidence = 0.8 + 0.15 * min(1.0, smaller * size_ref / max(now_size, 1e-9) - 1.0)
        draft.severity, draft.ended_s = size_ref / max(now_size, 1e-9), end if is_over else None
        draft.over(onset, end)
        draft.found(name, now_size, unit, size_ref)
        draft.found("dumps a day", now_rate, "", rate_ref)
        draft.not_because("more inflow", "more inflow makes dumps more frequent, never smaller")
        words = f"Water dump trips {now_rate:.0f} times a day since {day_of(history, onset)}, {rate_ref:.0f} before,"
        words += f" each {100 * now_size / size_ref:.0f} % of its former size"
        found.append(draft.done(_closed(history, words, end, is_over=is_over), onset, end))
    return found


def _level_still_saws(history: History, windows: Windows) -> Mask:
    """Return the windows in which the level goes on making its usual sawtooth: then dumps have not become small.

    A meter that is read coarsely can fall apart into many dumps; the level does not.
    """
    saw = history.signal("interface_level", "p90") - history.signal("interface_level", "p10")
    usual = median(saw[first_weeks(history, np.isfinite(saw))])
    starts = np.searchsorted(history.hour_s, windows.begin_s)
    stops = np.searchsorted(history.hour_s, windows.end_s)
    now = np.array([median(saw[a:b]) for a, b in zip(starts, stops, strict=True)])
    with np.errstate(invalid="ignore"):
        return np.asarray(now > _STILL_SAWS * usual)


def _rates(windows: Windows) -> Floats:
    return np.asarray((windows.stop - windows.first) * 86400.0 / np.maximum(windows.end_s - windows.begin_s, 1.0))
