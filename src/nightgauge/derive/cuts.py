"""The known intervals of a vessel's signals, cut at the hours of one day."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from nightgauge.derive.known import Pieces, Track, integral, per_bin, pieces
from nightgauge.derive.plant import Plant
from nightgauge.derive.quantiles import quantiles
from nightgauge.derive.spans import SECOND_US, Floats
from nightgauge.derive.totals import Counted
from nightgauge.vocabulary.signals import SIGNALS, base_name


@dataclass(frozen=True)
class Cuts:
    """The known intervals of each signal, cut at the hours of the day."""

    plant: Plant

    @cached_property
    def count(self) -> int:
        """Return the number of hours."""
        return int(self.plant.day.hours_us.size)

    @cached_property
    def length_s(self) -> Floats:
        """Return the length of each hour. [s]"""
        return self.plant.day.lengths_us / SECOND_US

    @cached_property
    def by_signal(self) -> Mapping[str, Pieces]:
        """Return the pieces of each signal."""
        edges = self.plant.day.edges_us
        return {name: pieces(track, edges) for name, track in self.plant.seen.tracks.items()}

    @cached_property
    def _known_s(self) -> Mapping[str, Floats]:
        return {name: per_bin(np.add, cut.length_s, cut.bin, self.count, 0.0) for name, cut in self.by_signal.items()}

    def known_s(self, signal: str) -> Floats:
        """Return how long a signal is known in each hour, 0 without it. [s]"""
        found = self._known_s.get(signal)
        return np.zeros(self.count) if found is None else found

    @cached_property
    def most_known_s(self) -> Mapping[str, Floats]:
        """Return how long each signal of the format is known in each hour; of one of several parts, the best. [s]"""
        most = {name: np.zeros(self.count) for name in SIGNALS}
        for name, known in self._known_s.items():
            most[base_name(name)] = np.maximum(most[base_name(name)], known)
        return most

    def mean(self, signal: str) -> Floats:
        """Return the time-weighted mean of each hour, NaN where the signal is not known."""
        cut = self.by_signal.get(signal)
        if cut is None:
            return np.full(self.count, np.nan)
        with np.errstate(invalid="ignore", divide="ignore"):
            return integral(cut, self.count) / self.known_s(signal)

    def day_mean(self, signal: str) -> float:
        """Return the time-weighted mean over the day, NaN where the signal is not known."""
        mean, known_s = self.mean(signal), self.known_s(signal)
        some = known_s > 0.0
        return float(np.average(mean[some], weights=known_s[some])) if np.any(some) else float("nan")

    def median(self, signal: str) -> Floats:
        """Return the time-weighted median of each hour."""
        cut = self.by_signal.get(signal)
        if cut is None or cut.bin.size == 0:
            return np.full(self.count, np.nan)
        return quantiles(cut, self.count, (0.5,))[0]

    def lowest(self, signal: str) -> Floats:
        """Return the lowest value of each hour."""
        cut = self.by_signal.get(signal)
        if cut is None:
            return np.full(self.count, np.nan)
        return per_bin(np.minimum, np.minimum(cut.start_value, cut.end_value), cut.bin, self.count, np.nan)


def metered(counted: Counted | None, meter: Track | None, cuts: Cuts) -> Floats:
    """Return what a meter counted in each hour, NaN where it is not known at all. [m3]"""
    if counted is None or meter is None:
        return np.full(cuts.count, np.nan)
    volume = counted.per_hour(cuts.plant.day.edges_us)
    return np.where(cuts.known_s(meter.signal) > 0.0, volume, np.nan)
