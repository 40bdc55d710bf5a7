"""Which model finds odd days best: isolation forest, robust covariance or principal-component residuals.

    uv run python tests/benchmarks/unusual.py --cache DIR [--seeds N ...] [--vessels N] [--days N]

Sound simulated vessels with their nuisances give the ordinary days, scaled and freed of the load as the detector
does it; odd ones are made of them by moving indicators by some of the vessel's own deviations. Simulated vessels
are evener than gauges show, so that the floors of the deviations hide their scatter; with a part of the floors it
shows. All models learn from the same six weeks, and each is compared at the score that 2 % of its ordinary days pass.
Last, the share of ordinary days that the detector would tell on noise whose nature is known.
"""

import argparse
import os
import sys
import time
import warnings
from collections.abc import Callable
from functools import cached_property
from pathlib import Path

os.environ.setdefault("POLARS_MAX_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import frames
import numpy as np
from sklearn.covariance import MinCovDet
from sklearn.ensemble import IsolationForest
from worlds import Simulated

from nightgauge.derive import derive_vessel
from nightgauge.detect import History
from nightgauge.detect.history import Floats
from nightgauge.detect.unusual import read_days, weeks_of
from nightgauge.detect.unusual_model import Residue, Scaling, drawn_in, from_usual, score
from nightgauge.simulate import Plan, random_fleet
from nightgauge.vocabulary.frames import VESSEL_DAYS
from nightgauge.vocabulary.kinds import KINDS

FALSE_SHARE = 0.02
FLOOR_SHARES = (1.0, 0.3, 0.1)
LEAST_INDICATORS = 5
_LEAST_DAYS = int(KINDS["unusual_day"].limit("days").default)
CHANCE = KINDS["unusual_day"].limit("chance").default
LEAST_SCORE = KINDS["unusual_day"].limit("deviations").default
Model = Callable[[Floats], Callable[[Floats], Floats]]
"""From reference days to the score of days; higher is odder."""


class Sound(Simulated):
    """A fleet without faults."""

    @property
    def name(self) -> str:
        """Return a name that tells it from the fleet with faults."""
        return f"sound-{super().name}"

    @cached_property
    def plan(self) -> Plan:
        """Return the fleet as drawn; the same every time."""
        return random_fleet(self.vessels, self.days, self.seed, faults=())


def isolation_forest(before: Floats) -> Callable[[Floats], Floats]:
    """Return the score of how few cuts set a day apart."""
    forest = IsolationForest(n_estimators=100, random_state=0).fit(np.nan_to_num(before))
    return lambda days: -forest.score_samples(np.nan_to_num(days))


def robust_covariance(before: Floats) -> Callable[[Floats], Floats]:
    """Return the distance by the covariance of the three quarters of the days that lie closest."""
    with warnings.catch_warnings():
        # Few days for many indicators: it says so, and the figures show it.
        warnings.simplefilter("ignore")
        fitted = MinCovDet(support_fraction=0.75, random_state=0).fit(np.nan_to_num(before))
    return lambda days: np.sqrt(fitted.mahalanobis(np.nan_to_num(days)))


def component_residuals(before: Floats) -> Callable[[Floats], Floats]:
    """Return what the detector uses."""
    residue = Residue.learned(before)
    return lambda days: score(residue(days))


MODELS: dict[str, Model] = {
    "isolation forest": isolation_forest,
    "robust covariance": robust_covariance,
    "component residuals": component_residuals,
}


def one_far(days: Floats, before: Floats, rng: np.random.Generator) -> Floats:
    """Return the days with one indicator far off."""
    moved = days.copy()
    moved[np.arange(len(days)), rng.integers(days.shape[1], size=len(days))] += 8.0 * rng.choice((-1.0, 1.0), len(days))
    return moved


def four_near(days: Floats, before: Floats, rng: np.random.Generator) -> Floats:
    """Return the days with four indicators off by as much as each is alone once in some weeks."""
    places = np.argsort(rng.random(days.shape), axis=1)[:, :4]
    moved = days.copy()
    np.put_along_axis(
        moved, places, np.take_along_axis(moved, places, 1) + 3.0 * rng.choice((-1.0, 1.0), places.shape), 1
    )
    return moved


def parted(days: Floats, before: Floats, rng: np.random.Generator) -> Floats:
    """Return the days with the two indicators apart that go together most."""
    together = _correlation(drawn_in(before)) - np.eye(days.shape[1])
    one, other = np.unravel_index(np.argmax(np.abs(together)), together.shape)
    moved = days.copy()
    moved[:, one] += 3.0
    moved[:, other] -= 3.0 * np.sign(together[one, other])
    return moved


def _correlation(z: Floats) -> Floats:
    away = z - z.mean(axis=0)
    size = np.maximum(np.sqrt((away**2).sum(axis=0)), 1e-9)
    return np.asarray(away.T @ away / np.outer(size, size))


def _evenly_followed(rng: np.random.Generator, shape: tuple[int, ...]) -> Floats:
    values = rng.normal(size=shape)
    for day in range(1, len(values)):
        values[day] = 0.6 * values[day - 1] + 0.8 * values[day]
    return values


Noise = Callable[[np.random.Generator, tuple[int, ...]], Floats]
NOISES: dict[str, Noise] = {
    "normal noise": lambda rng, shape: rng.normal(size=shape),
    "normal, 0.6 of it from the day before": _evenly_followed,
    "Student's t of 5": lambda rng, shape: rng.standard_t(5, shape),
    "Student's t of 3": lambda rng, shape: rng.standard_t(3, shape),
}

ODD = {"one by 8": one_far, "four by 3": four_near, "a pair parted by 3": parted}


def main() -> int:
    """Print the comparison, with the detector's floors and with parts of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--seeds", type=int, nargs="+", default=[701])
    parser.add_argument("--vessels", type=int, default=16)
    parser.add_argument("--days", type=int, default=84)
    asked = parser.parse_args()
    for share in FLOOR_SHARES:
        worlds = [Sound(seed, asked.vessels, asked.days) for seed in asked.seeds]
        weeks = [week for world in worlds for week in scaled_weeks(world, asked.cache, share)]
        sizes = sorted(here.shape[1] for _, here in weeks)
        days = sum(len(here) for _, here in weeks)
        sys.stdout.write(
            f"floors x {share:g}: {len(weeks)} models, {days} ordinary days, {sizes[0]} to {sizes[-1]} indicators\n"
        )
        for name, model in MODELS.items():
            sys.stdout.write(f"  {name:20} {compared(model, weeks)}\n")
    for name, noise in NOISES.items():
        sys.stdout.write(f"{name}: {passed(noise):.2%} of ordinary days told, {CHANCE:.2%} asked for\n")
    return 0


def passed(noise: Noise) -> float:
    """Return the share of noise days that the detector's residue and line would tell, floors left out.

    Five and twelve indicators, of which two directions are common; 21 to 42 days to learn from.
    """
    rng = np.random.default_rng(1)
    told: list[Floats] = []
    for count in (5, 12):
        for learned in (21, 28, 42):
            for _ in range(80):
                values = rng.normal(size=(28 + learned, 2)) @ rng.normal(size=(2, count))
                values += noise(rng, values.shape)
                differences, _ = from_usual(values)
                loads, _ = from_usual(rng.normal(size=(len(values), 2)))
                before, here = slice(14, 14 + learned), slice(14 + learned, None)
                scaling = Scaling.learned(differences[before], loads[before], np.full(count, 1e-6), _LEAST_DAYS)
                residue = Residue.learned(scaling(differences[before], loads[before]))
                line = residue.line(np.ones(count, dtype=bool), CHANCE)
                told.append(score(residue(scaling(differences[here], loads[here]))) > max(line, LEAST_SCORE))
    return float(np.mean(np.concatenate(told)))


def compared(model: Model, weeks: list[tuple[Floats, Floats]]) -> str:
    """Return the share of odd days that a model finds, and what its learning costs."""
    rng = np.random.default_rng(0)
    scores: dict[str, list[Floats]] = {odd: [] for odd in ("ordinary", *ODD)}
    spent = 0.0
    for before, here in weeks:
        begun = time.perf_counter()
        scored = model(before)
        spent += time.perf_counter() - begun
        usual = float(np.median(scored(before)))
        scores["ordinary"].append(scored(here) / usual)
        for odd, make in ODD.items():
            scores[odd].append(scored(make(here, before, rng)) / usual)
    line = float(np.quantile(np.concatenate(scores["ordinary"]), 1.0 - FALSE_SHARE))
    found = ", ".join(f"{odd} {np.mean(np.concatenate(scores[odd]) > line):.0%}" for odd in ODD)
    return f"{found}; {1e3 * spent / len(weeks):.1f} ms to learn"


def scaled_weeks(world: Sound, cache: Path, floor_share: float) -> list[tuple[Floats, Floats]]:
    """Return the reference days and the ordinary days of each vessel's last weeks, in deviations."""
    home = cache / world.name
    field = world.lay(home)
    start, end = world.span(home, field)
    (home / "derived").mkdir(exist_ok=True)
    found = []
    for place, vessel in enumerate(field.vessels):
        if not frames.is_saved(home / "derived", place):
            samples = world.samples(home, field, vessel.id)
            derived = derive_vessel(vessel, field, samples, start, end, VESSEL_DAYS.empty())
            frames.save(derived, home / "derived", place)
        rows = frames.load(home / "derived", place)
        history = History(vessel, field, rows.cycles, rows.hours, rows.days, rows.signal_hours, rows.tests, end)
        days = read_days(history)
        for week in weeks_of(history, days) if days is not None else ():
            floors = floor_share * np.array([indicator.floor for indicator in days.indicators])
            scaling = Scaling.learned(week.before, week.loads_before, floors, _LEAST_DAYS)
            here, before = scaling(week.values, week.loads), scaling(week.before, week.loads_before)
            known = np.isfinite(here).all(axis=0) & np.isfinite(scaling.scale)
            if known.sum() >= LEAST_INDICATORS:
                found.append((before[:, known], here[:, known]))
    return found


if __name__ == "__main__":
    sys.exit(main())
