"""From VESSEL_SAMPLES to the tracks of a vessel's signals: outages, silence, texts."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from operator import itemgetter

import numpy as np
import polars as pl

from nightgauge.derive.known import Readings, Track, track
from nightgauge.derive.spans import SECOND_US, Times, gaps_longer_than, overlap
from nightgauge.field.settings import Outage
from nightgauge.vocabulary.flags import BAD, FLAG
from nightgauge.vocabulary.signals import SIGNALS, base_name, signal_of

_BAD = FLAG.categories.to_list().index(BAD)
_EPOCH = datetime.fromisoformat("1970-01-01T00:00:00+00:00")


def to_us(when: datetime) -> int:
    """Return an aware time as whole microseconds since 1970."""
    return (when - _EPOCH) // timedelta(microseconds=1)


def readings_of(samples: pl.DataFrame) -> dict[str, Readings]:
    """Return the samples of each signal.

    Parameters
    ----------
    samples : VESSEL_SAMPLES
        One vessel, any order; fastest where each signal's rows stand together. Of two samples at one time the one of
        greater value stays, so that the order of rows never matters.

    """
    parts = sorted(_by_signal(samples), key=itemgetter(0))
    return {name: _readings(name, part) for name, part in parts if base_name(name) in SIGNALS}


def _by_signal(samples: pl.DataFrame) -> list[tuple[str, pl.DataFrame]]:
    """Return the rows of each signal."""
    signal = samples["signal"]
    changes = (signal.slice(1) != signal.slice(0, max(signal.len() - 1, 0))).arg_true() + 1
    heads = [0, *changes, samples.height] if samples.height else [0]
    parts = [(signal[a], samples.slice(a, b - a)) for a, b in pairwise(heads)]
    if len({name for name, _ in parts}) == len(parts):
        return parts
    parted = samples.partition_by("signal", as_dict=True, maintain_order=True)
    return [(str(key[0]), part) for key, part in parted.items()]


def _readings(name: str, part: pl.DataFrame) -> Readings:
    signal = signal_of(name)
    time_us = part["time_utc"].to_physical().to_numpy()
    if np.any(time_us[1:] <= time_us[:-1]):
        part = part.sort("time_utc", "value", "text_value")
        time_us = part["time_utc"].to_physical().to_numpy()
        last = np.append(time_us[1:] != time_us[:-1], True)
        part, time_us = part.filter(pl.Series(last)), time_us[last]
    labels: tuple[str, ...] = ()
    if signal.kind == "text":
        labels = tuple(part["text_value"].drop_nulls().unique().sort().to_list())
        codes = {label: float(code) for code, label in enumerate(labels)}
        value = part["text_value"].replace_strict(codes, default=None, return_dtype=pl.Float64).to_numpy()
    else:
        value = part["value"].to_numpy()
    usable = np.isfinite(value) & (part["flag"].to_physical().to_numpy() != _BAD)
    return Readings(name, signal.hold, time_us, value, usable, _gap_us(part["max_gap_s"], signal.max_gap_s), labels)


def _gap_us(gaps_s: pl.Series, usual_s: float) -> Times:
    """Return the longest silence after each sample; it is one for all but where tags took turns."""
    first, last = gaps_s.min(), gaps_s.max()
    if isinstance(first, float) and first == last and not gaps_s.has_nulls():
        return np.full(gaps_s.len(), round(first * SECOND_US), dtype=np.int64)
    return np.asarray(np.rint(gaps_s.fill_null(usual_s).to_numpy() * SECOND_US), dtype=np.int64)


@dataclass(frozen=True)
class Seen:
    """What may be seen of a vessel for the rows of one day."""

    readings: Mapping[str, Readings]
    """As they came, outages included."""
    tracks: Mapping[str, Track]
    """Known intervals, with outages and silence taken out."""
    start_us: int
    end_us: int


def seen(readings: Mapping[str, Readings], outages: Iterable[Outage], start_us: int, end_us: int) -> Seen:
    """Return the tracks of a vessel from the samples with start <= time < end and nothing else."""
    within = {name: one.between(start_us, end_us) for name, one in readings.items()}
    out = _outage_stretches(outages)
    tracks = {}
    for name, one in within.items():
        unknown = _silence(name, within, start_us, end_us) if signal_of(name).kind == "state" else None
        tracks[name] = track(_masked(one, out), end_us, unknown)
    return Seen(within, tracks, start_us, end_us)


def _outage_stretches(outages: Iterable[Outage]) -> tuple[Times, Times]:
    spans = sorted((to_us(one.from_utc), to_us(one.to_utc)) for one in outages)
    edges = np.array(spans, dtype=np.int64).reshape(-1, 2)
    return edges[:, 0], edges[:, 1]


def _masked(readings: Readings, out: tuple[Times, Times]) -> Readings:
    """Return the samples with an outage made of each outage: a bad sample at its start, none within."""
    start = out[0]
    if start.size == 0 or readings.time_us.size == 0:
        return readings
    kept = ~_within(readings.time_us, out)
    time = np.concatenate([readings.time_us[kept], start])
    order = np.argsort(time, kind="stable")
    added = np.full(start.size, np.nan)
    return replace(
        readings,
        time_us=time[order],
        value=np.concatenate([readings.value[kept], added])[order],
        usable=np.concatenate([readings.usable[kept], np.zeros(start.size, dtype=bool)])[order],
        max_gap_us=np.concatenate([readings.max_gap_us[kept], np.zeros(start.size, dtype=np.int64)])[order],
    )


def _within(time_us: Times, out: tuple[Times, Times]) -> np.ndarray:
    inside = np.zeros(time_us.shape, dtype=bool)
    for start, end in zip(*out, strict=True):
        inside |= (time_us >= start) & (time_us < end)
    return inside


def _silence(name: str, readings: Mapping[str, Readings], start_us: int, end_us: int) -> tuple[Times, Times] | None:
    """Return the stretches in which no other tag of the vessel says anything.

    Silent means: for longer than the shortest `max_gap` of the others, since then that one is unknown too.
    A vessel with a single tag has no others to judge by.
    """
    others = [one for other, one in readings.items() if other != name and one.time_us.size]
    if not others:
        return None
    longest = min(int(one.max_gap_us.min()) for one in others)
    silent = (np.array([start_us]), np.array([end_us]))
    for one in others:
        silent = overlap(silent, gaps_longer_than(one.time_us, longest, (start_us, end_us)))
    wide = silent[1] - silent[0] > longest
    return silent[0][wide], silent[1][wide]
