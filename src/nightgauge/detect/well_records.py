"""A well's record: its accepted tests on the vessel before the night's end, rate by rate."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.detect.history import Floats, History
from nightgauge.statistics.few import Shift, shift
from nightgauge.vocabulary.well_tests import REPEATS

Places = npt.NDArray[np.int64]
KIND = "well_test_decline"
CONFIRM = 3
"""Most tests in a row that are taken together: a fall that ramps over three is out as a whole before the last is."""
_NOTHING = 0.01
"""Share of the record's median that a rate of nothing is taken as: it has no logarithm. House choice."""


@dataclass(frozen=True)
class Rate:
    """One rate of a well's tests, in order of time; NaN where a test does not give it. [m3/day]"""

    name: str
    values: Floats
    uncertainties: Floats

    @cached_property
    def known(self) -> Places:
        """Return the places of the tests that give it."""
        return np.flatnonzero(np.isfinite(self.values))

    @cached_property
    def _logs(self) -> tuple[Floats, Floats]:
        usual = float(np.median(self.values[self.known]))
        values = np.maximum(self.values, max(_NOTHING * usual, 1e-9))
        return np.log(values), np.nan_to_num(self.uncertainties) / values

    def logs(self, places: Sequence[int] | Places) -> tuple[Floats, Floats]:
        """Return logarithms at places where it is known, and relative uncertainties, 0 where those are not."""
        at = np.asarray(places, dtype=np.int64)
        logs, uncertainties = self._logs
        return logs[at], uncertainties[at]

    def moved(self, before: Sequence[int] | Places, after: Sequence[int] | Places) -> Shift | None:
        """Return how the logarithms of the tests after lie to those before."""
        (y_before, u_before), (y_after, u_after) = self.logs(before), self.logs(after)
        return shift(y_before, y_after, u_before, u_after, REPEATS)


@dataclass(frozen=True)
class Record:
    """The accepted tests of one well before the night's end, in order. [s since 1970, m3/day]"""

    well: str
    begun: Floats
    ended: Floats
    rates: dict[str, Rate]
    cut: Floats
    """[1]"""

    def rate(self, name: str) -> Rate | None:
        """Return a rate if any test gives it; oil without water where every test with oil gives that."""
        if name == "oil" and len(self.rates["net oil"].known) == len(self.rates["oil"].known) > 0:
            name = "net oil"
        rate = self.rates[name]
        return rate if len(rate.known) else None

    @property
    def told_by(self) -> list[str]:
        """Return the rates whose fall is told: liquid and oil, water where no test gives oil."""
        return [name for name in ("liquid", "oil") if self.rate(name) is not None] or ["water"]


@dataclass(frozen=True)
class Fall:
    """A run of tests that are out, and the record that it is held against; places among the well's tests."""

    name: str
    record: tuple[int, ...]
    out: tuple[int, ...]
    moved: Shift
    """Of the first tests together that were out, or of the trend."""
    is_slow: bool = False
    ended_by: int | None = None
    """The first test that was back, or from which on the run is the well's record."""
    is_settled: bool = False

    @property
    def is_confirmed(self) -> bool:
        """Return whether more than one test says it."""
        return len(self.out) > 1

    @property
    def late(self) -> tuple[int, ...]:
        """Return the last tests that are out."""
        return self.out[-CONFIRM:]


def accepted_tests(history: History) -> pl.DataFrame:
    """Return the accepted tests of the vessel that ended before the night's end, by well and time."""
    tests = history.tests
    begun, ended = (_seconds(tests.get_column(name)) for name in ("start_utc", "end_utc"))
    is_over = (begun < history.until_s) & (ended <= history.until_s)
    wells, states = tests.get_column("well").to_list(), tests.get_column("state").to_list()
    rows = [row for row in np.flatnonzero(is_over).tolist() if states[row] == "accepted"]
    return tests[sorted(rows, key=lambda row: (wells[row], begun[row]))]


def _seconds(times: pl.Series) -> Floats:
    """Return times in microseconds as seconds since 1970, NaN where null."""
    return times.cast(pl.Int64).to_numpy().astype(np.float64) / 1e6


def records(history: History) -> list[Record]:
    """Return the records of all wells that the vessel has accepted tests of."""
    return history.shared("records of wells", lambda: _records(history))


def _records(history: History) -> list[Record]:
    tests = accepted_tests(history)
    if tests.is_empty():
        return []
    parts = tests.partition_by("well", as_dict=True, maintain_order=True)
    return [record_of(str(key[0]), part) for key, part in parts.items()]


def record_of(well: str, tests: pl.DataFrame) -> Record:
    """Return the record that accepted tests of one well make."""

    def column(name: str) -> Floats:
        return tests[name].cast(pl.Float64).to_numpy().astype(np.float64)

    rates = {
        name: Rate(name, column(f"{stem}_m3_per_day"), column(f"{stem}_uncertainty_m3_per_day"))
        for name, stem in (("water", "water"), ("oil", "oil"), ("net oil", "net_oil"))
    }
    water, oil = rates["water"], rates["oil"]
    errors = np.hypot(np.nan_to_num(water.uncertainties), np.nan_to_num(oil.uncertainties))
    rates["liquid"] = Rate("liquid", water.values + oil.values, errors)
    gas = column("gas_m3_per_day")
    rates["gas"] = Rate("gas", gas, np.full(len(gas), np.nan))
    begun, ended = (_seconds(tests.get_column(name)) for name in ("start_utc", "end_utc"))
    return Record(well, begun, ended, rates, column("water_cut_fraction"))
