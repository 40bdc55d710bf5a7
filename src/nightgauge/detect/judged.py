"""Which kinds could be judged in the last night, and why the others could not: no data is not a quiet night."""

import numpy as np

from nightgauge.detect.anodes import of_anodes
from nightgauge.detect.history import DAY_S, HOUR_S, History
from nightgauge.detect.unusual import needed_days
from nightgauge.detect.well_records import KIND as WELL_TEST
from nightgauge.detect.well_records import records
from nightgauge.detect.wells import moved_together
from nightgauge.detect.wording import moment
from nightgauge.vocabulary.kinds import KINDS, Kind
from nightgauge.vocabulary.kinds_anode import ANODES
from nightgauge.vocabulary.signals import base_name, signal_words

_OF_ANODES = frozenset(kind.name for kind in ANODES)
_LEAST_SHARE = 0.5
"""Share of the last day in which a signal has to be known for the night to have judged it. House choice."""


def judged_kinds(history: History) -> tuple[frozenset[str], dict[str, str]]:
    """Return the kinds judged in the last night, and the reason for each that could not be."""
    if history.until_s - history.start_s < HOUR_S:
        return frozenset(), dict.fromkeys(KINDS, "no data yet")
    last_day = history.hours_between(history.until_s - DAY_S, history.until_s)
    if history.in_outage[last_day].mean() > _LEAST_SHARE:
        return frozenset(), dict.fromkeys(KINDS, "out of service by field.toml")
    shares = _known_shares(history, last_day)
    unjudged = {}
    for name, kind in KINDS.items():
        why = _why_not(history, kind, shares)
        if why is not None:
            unjudged[name] = why
    return frozenset(KINDS) - unjudged.keys(), unjudged


def _beside_signals(history: History, kind: str) -> str | None:
    """Return what a kind lacks that is no signal."""
    if kind == "vessel_undersized" and not _sized(history):
        return "needs dimensions, a load and a required retention"
    if kind == "pressure_near_limit" and history.vessel.max_working_pressure_kpag is None:
        return "needs max_working_pressure in field.toml"
    if kind == "unusual_day" and len(history.day_s) < needed_days(history):
        return f"needs {needed_days(history)} days of past, {len(history.day_s)} are there"
    if kind in _OF_ANODES and not of_anodes(history):
        return "needs an [[anode]] in field.toml"
    return _why_no_wells(history) if kind == WELL_TEST else None


def _why_no_wells(history: History) -> str | None:
    """Return why no well can be told: its tests are its data, whether or not one is on test in the last night."""
    most = max((len(record.begun) for record in records(history)), default=0)
    least = round(history.limit(WELL_TEST, "tests")) + 1
    if most >= least:
        together = moved_together(history)
        if not together:
            return None
        return f"tests of {', '.join(together)} fell as most others did: check the vessel's meter before any well"
    return f"needs {least} accepted tests of a well, {most or 'none'} {'is' if most < 2 else 'are'} there"


def _known_shares(history: History, hours: slice) -> dict[str, float]:
    """Return for each of the format's signals the share of the hours in which it is known; of parts, the best known."""
    shares: dict[str, float] = {}
    for signal in sorted(history.signals):
        share = float(np.mean(history.known(signal)[hours]))
        shares[base_name(signal)] = max(share, shares.get(base_name(signal), 0.0))
    return shares


def _why_not(history: History, kind: Kind, shares: dict[str, float]) -> str | None:
    lacking = _beside_signals(history, kind.name)
    if lacking is not None:
        return lacking
    if kind.name == WELL_TEST:
        return None
    if kind.name == "anode_spent" and history.anodes["left_fraction"].count():
        return None
    if not kind.needs:
        return None
    had = [needs for needs in kind.needs if needs <= shares.keys()]
    if not had:
        least = min(kind.needs, key=lambda needs: (len(needs), sorted(needs)))
        return f"needs {' with '.join(s.replace('_', ' ') for s in sorted(least))}"
    if any(all(shares.get(s, 0.0) >= _LEAST_SHARE for s in needs) for needs in had):
        return None
    missing = min((s for s in had[0] if shares.get(s, 0.0) < _LEAST_SHARE), default=sorted(had[0])[0])
    return _silence(history, missing)


def _silence(history: History, signal: str) -> str:
    parts = [history.known(name) for name in history.signals if base_name(name) == signal]
    known = np.flatnonzero(np.logical_or.reduce(parts))
    name = signal_words(signal)
    if not len(known):
        return f"no {name} yet"
    return f"no {name} since {moment(history, float(history.hour_s[known[-1]] + HOUR_S))}"


def _sized(history: History) -> bool:
    if not len(history.day_s):
        return False
    recent = history.day_s >= history.until_s - 7 * DAY_S
    names = ("water_short_h", "oil_short_h", "gas_load_fraction")
    return any(bool(np.isfinite(history.day(name)[recent]).any()) for name in names)
