"""The reading, not the vessel: frozen, noisy, or silent signals."""

import numpy as np

from nightgauge.detect.history import HOUR_S, Floats, History, Mask
from nightgauge.detect.past import first_weeks, joined_runs, median, quantile
from nightgauge.detect.wording import Draft, day_of, duration, moment
from nightgauge.vocabulary.findings import Candidate
from nightgauge.vocabulary.signals import signal_of, signal_words

FROZEN, NOISY, GAP = "instrument_frozen", "instrument_noisy", "data_gap"
_PARTNERS = {
    "vessel_pressure": ("inlet_pressure",),
    "inlet_pressure": ("vessel_pressure",),
    "interface_level": ("water_dump_position", "water_rate", "vessel_pressure"),
    "oil_level": ("vessel_pressure", "oil_rate"),
}
"""Signals that move when the process moves, for each signal that is judged for stillness."""


def find(history: History) -> list[Candidate]:
    """Return frozen, noisy and silent signals."""
    found: list[Candidate] = []
    gaps = _gaps(history)
    for signal in sorted(history.signals):
        if signal_of(signal).kind != "analogue":
            continue
        if signal in _PARTNERS:
            found += _frozen(history, signal)
        found += _noisy(history, signal)
    return [*found, *gaps]


def _movement(history: History, signal: str) -> Floats:
    """Return how much in each hour another signal shows that this one should have moved, in dumps or their like."""
    witness = np.zeros(len(history.hour_s))
    dumps = _dumps_without(history, signal)
    witness = np.maximum(witness, np.nan_to_num(dumps))
    for partner in _PARTNERS.get(signal, ()):
        span = history.signal(partner, "maximum") - history.signal(partner, "minimum")
        usual = median(span[np.isfinite(span)])
        if usual > 0:
            # An hour in which the partner moves as it usually does counts as a third of a dump.
            witness = np.maximum(witness, np.where(np.nan_to_num(span) >= 0.5 * usual, 1.0 / 3.0, 0.0))
    return witness


def _dumps_without(history: History, signal: str) -> Floats:
    """Return dumps per hour by evidence other than this signal."""
    counts = np.zeros(len(history.hour_s))
    dumps = history.dumps
    other = np.array([e != "level" for e in dumps.evidence], dtype=bool) if signal == "interface_level" else None
    opened = dumps.opened if other is None else dumps.opened[other]
    slots = ((opened - history.start_s) // HOUR_S).astype(int)
    inside = (slots >= 0) & (slots < len(counts))
    np.add.at(counts, slots[inside], 1.0)
    return counts


def _frozen(history: History, signal: str) -> list[Candidate]:
    changes, known = history.signal(signal, "changes"), history.known(signal)
    if not known.any():
        return []
    low, high = history.signal(signal, "minimum"), history.signal(signal, "maximum")
    still = known & (np.nan_to_num(changes) == 0) & (high - low <= 1e-9)
    moved = _movement(history, signal)
    usual_moves = known & (moved > 0) & ~still
    if usual_moves.sum() < 24:
        return []
    longest = _longest_still(still, known)
    found = []
    for first, stop in joined_runs(still, ~known, 0):
        inner = slice(first, stop)
        hours = stop - first
        needed = max(history.limit(FROZEN, "least_time") / HOUR_S, history.limit(FROZEN, "still_growth") * longest)
        if hours < needed or moved[inner].sum() < history.limit(FROZEN, "dumps"):
            continue
        found.append(_frozen_candidate(history, signal, (first, stop), float(moved[inner].sum())))
    return found


def _longest_still(still: Mask, known: Mask) -> float:
    """Return the longest ordinary stillness in hours: the 90th percentile of the runs, so that a fault is no rule."""
    lengths = [b - a for a, b in joined_runs(still, ~known, 0)]
    if len(lengths) < 5:
        return 0.5
    return float(np.quantile(lengths, 0.9))


def _frozen_candidate(history: History, signal: str, span: tuple[int, int], moves: float) -> Candidate:
    first, stop = span
    still_s = history.signal(signal, "still_s")[first]
    begin = float(history.hour_s[first])
    if np.isfinite(still_s):
        begin = min(begin, float(history.hour_s[first] + HOUR_S - still_s))
    end = min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
    known_after = history.known(signal)[stop:]
    draft = Draft(history, FROZEN, f"instrument:{signal}")
    draft.ended_s = end if known_after.any() else None
    draft.confidence = 0.75 + 0.2 * min(1.0, moves / 20.0)
    draft.severity = (end - begin) / HOUR_S
    draft.over(begin, end)
    draft.found("time without any change", end - begin, "s", None)
    value = history.signal(signal, "mean")[first]
    draft.found("reading", float(value), signal_of(signal).si, None)
    draft.found("dumps or like moves that it did not show", moves, "", 0.0)
    draft.not_because("quiet process", "other signals of the vessel moved as they always do")
    name = signal_words(signal)
    verb = "has stood" if draft.ended_s is None else "stood"
    words = f"Reading of {name} {verb} still for {duration(end - begin)} (since {moment(history, begin)})"
    return draft.done(f"{words} while the vessel went on working.", begin, end)


def _noisy(history: History, signal: str) -> list[Candidate]:
    known = history.known(signal)
    samples = np.nan_to_num(history.signal(signal, "samples"))
    bad = np.nan_to_num(history.signal(signal, "bad_samples"))
    share_bad = np.where(samples + bad >= 4, bad / np.maximum(samples + bad, 1.0), 0.0)
    reference = first_weeks(history, known)
    if int(reference.sum()) < 72:
        return []
    scatter = roughness(history, signal)
    usual = quantile(scatter[reference], 0.9)
    with np.errstate(invalid="ignore"):
        rough = (scatter > history.limit(NOISY, "growth") * usual) if usual > 0 else np.zeros(len(scatter), bool)
    hours_needed = history.limit(NOISY, "least_time") / HOUR_S
    unknown = ~known & (share_bad == 0)
    found = []
    for first, stop in joined_runs(rough | (share_bad > history.limit(NOISY, "bad_share")), unknown, 3):
        if stop - first < hours_needed:
            continue
        begin = float(history.hour_s[first])
        end = min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
        draft = Draft(history, NOISY, f"instrument:{signal}")
        draft.priority, draft.confidence = "low", 0.7
        draft.severity = median(scatter[first:stop]) / usual if usual > 0 else 0.0
        draft.ended_s = end if stop < len(known) else None
        draft.over(begin, end)
        draft.found("swing within the hour", median(scatter[first:stop]), signal_of(signal).si, usual)
        draft.found("share of bad samples", float(np.mean(share_bad[first:stop])), "1", 0.0)
        name = signal_words(signal)
        words = f"Reading of {name} scatters far more than it used to since {day_of(history, begin)}."
        found.append(draft.done(words, begin, end))
    return found


def roughness(history: History, signal: str) -> Floats:
    """Return the scatter of each hour with its slow move taken out, as far as the hour's figures tell."""
    deviation = history.signal(signal, "deviation")
    ramp = np.abs(history.signal(signal, "last") - history.signal(signal, "first")) / np.sqrt(12.0)
    return np.asarray(np.sqrt(np.maximum(deviation**2 - ramp**2, 0.0)), dtype=np.float64)


def _gaps(history: History) -> list[Candidate]:
    """Return signals that came and then were silent; one finding for the vessel if all are."""
    need = history.limit(GAP, "least_time") / HOUR_S
    coverage = history.limit(GAP, "coverage")
    silent: dict[str, Mask] = {}
    for signal in sorted(history.signals):
        share = np.where(history.in_outage, 1.0, np.nan_to_num(history.signal(signal, "coverage")))
        came = np.maximum.accumulate(share >= coverage) if len(share) else np.zeros(0, bool)
        if came.any() and signal_of(signal).kind != "text":
            silent[signal] = came & (share < coverage)
    if not silent:
        return []
    everything = np.logical_and.reduce(list(silent.values()))
    found = [_gap(history, "vessel", run, "all signals") for run in _long_runs(everything, need)]
    for signal, mask in silent.items():
        for run in _long_runs(mask & ~everything, need):
            # A signal's silence that is mostly the vessel's is told there.
            found.append(_gap(history, f"instrument:{signal}", run, signal_words(signal)))
    return found


def _long_runs(mask: Mask, need: float) -> list[tuple[int, int]]:
    return [r for r in joined_runs(mask, np.zeros(len(mask), bool), 1) if r[1] - r[0] >= need]


def _gap(history: History, element: str, run: tuple[int, int], what: str) -> Candidate:
    first, stop = run
    begin = float(history.hour_s[first])
    is_over = stop < len(history.hour_s)
    end = float(history.hour_s[stop - 1] + HOUR_S) if is_over else history.until_s
    draft = Draft(history, GAP, element)
    long = (end - begin) >= history.limit(GAP, "visit_time")
    draft.priority = "medium" if long else "low"
    draft.confidence, draft.severity = 0.95, (end - begin) / HOUR_S
    draft.ended_s = end if is_over else None
    draft.over(begin, end)
    draft.found("time without data", end - begin, "s", 0.0)
    subject = "No data" if element == "vessel" else f"No data from {what}"
    tail = f" until {moment(history, end)}" if is_over else ""
    words = f"{subject} since {moment(history, begin)}{tail} ({duration(end - begin)})"
    return draft.done(f"{words}: what needs it could not be judged.", begin, end)
