"""How well `nightgauge adopt` tells tags of simulated fleets, whose truth is known, under several habits of naming.

    uv run python tests/benchmarks/adoption.py --cache DIR --seeds 4101 4102 --vessels 60

A tag's signal is right when it is the true one. A vessel is right when the tag stands in the drafted vessel that
holds the most tags of its true one, each drafted vessel standing for one true vessel at most. Confidently wrong is
what was wrong at a confidence of 0.8 or more. A tag without a guess or without a vessel is not right.
"""

import argparse
import json
import re
import string
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl
from scipy.optimize import linear_sum_assignment

from nightgauge.adopt import Guess, Readings, guesses_of, number_states, seen_of
from nightgauge.simulate import Mixture, Plan, random_fleet
from nightgauge.simulate.make import simulate_samples, wells_on_test
from nightgauge.simulate.plan import Instrument
from nightgauge.simulate.ranges import RANGES

DAYS = 14
_START_S = 1_777_000_000.0
_SURE = 0.8
_MOVES_WITH_NONE = {"temperature", "scrubber_level", "scrubber_dump_open"}

Owner = tuple[str, Instrument]
Rng = np.random.Generator
Habit = Callable[[Sequence[Owner], Rng], list[str]]


def _parts(owner: Owner) -> tuple[str, str, str]:
    """Return letters, number and what stands behind it, from the simulator's own tag."""
    found = re.fullmatch(r"([A-Z]+)-(\d+)([A-Z0-9]*)", owner[1].tag)
    assert found is not None
    return found[1], found[2], found[3]


def letters_first(owners: Sequence[Owner], _: Rng) -> list[str]:
    return [instrument.tag for _, instrument in owners]


def letters_last(owners: Sequence[Owner], _: Rng) -> list[str]:
    return [f"{number}.{letters}{'.' if behind else ''}{behind}" for letters, number, behind in map(_parts, owners)]


def area_prefix(owners: Sequence[Owner], _: Rng) -> list[str]:
    """Each area counts its vessels anew, so that the number alone does not tell the vessel."""
    made = []
    for owner in owners:
        letters, number, behind = _parts(owner)
        area, place = divmod(int(number) - 1, 12)
        made.append(f"AR{area + 1}_{letters}_{place + 1:02d}{behind}")
    return made


_WORDS = {
    "vessel_pressure": "Vessel Press", "inlet_pressure": "Inlet Header Press", "water_downstream_pressure":
    "Water Line Press", "oil_downstream_pressure": "Oil Line Press", "interface_level": "Interface Lvl", "oil_level":
    "Oil Lvl", "water_dump_open": "Dump Valve Sts", "water_dump_position": "Dump Valve Pos", "water_rate":
    "Water Flow", "oil_rate": "Oil Flow", "water_total": "Water Meter", "oil_total": "Oil Meter", "gas_rate":
    "Gas Flow", "oil_water_cut": "BSW", "water_oil_content": "OIW ppm", "temperature": "Temp", "scrubber_level":
    "Scrubber Lvl", "scrubber_dump_open": "Scrubber Dump", "well_on_test": "Test Well",
}  # fmt: skip


def plain_words(owners: Sequence[Owner], _: Rng) -> list[str]:
    return [f"Sep {int(_parts(owner)[1])} {_WORDS[owner[1].signal]}" for owner in owners]


def numbers_only(owners: Sequence[Owner], rng: Rng) -> list[str]:
    """A vessel's number and a point's, the same point for the same signal on every vessel."""
    points = dict(zip(_WORDS, rng.permutation(90)[: len(_WORDS)] + 10, strict=True))
    return [f"{100 + int(_parts(owner)[1])}{points[owner[1].signal]}" for owner in owners]


def numbers_in_turn(owners: Sequence[Owner], _: Rng) -> list[str]:
    """A vessel's number and a running one: the name says nothing of the signal."""
    counted: dict[str, int] = {}
    made = []
    for owner in owners:
        counted[owner[0]] = counted.get(owner[0], 0) + 1
        made.append(f"{_parts(owner)[1]}-{counted[owner[0]]:02d}")
    return made


def _lower(owners: Sequence[Owner], _: Rng) -> list[str]:
    return [f"v{number}_{letters}{behind}".lower() for letters, number, behind in map(_parts, owners)]


def mixed(owners: Sequence[Owner], rng: Rng) -> list[str]:
    """Twelve vessels an operator, each operator with a habit of its own."""
    habits: tuple[Habit, ...] = (letters_first, letters_last, plain_words, numbers_only, _lower)
    operator = [(int(_parts(owner)[1]) - 1) // 12 for owner in owners]
    first = int(rng.integers(len(habits)))
    made = [""] * len(owners)
    for number in sorted(set(operator)):
        mine = [place for place, one in enumerate(operator) if one == number]
        names = habits[(first + number) % len(habits)]([owners[place] for place in mine], rng)
        for place, name in zip(mine, names, strict=True):
            made[place] = name
    return made


def leftovers(owners: Sequence[Owner], rng: Rng) -> list[str]:
    """One tag in twelve still has the number that is another vessel's today."""
    made = letters_first(owners, rng)
    numbers = sorted({_parts(owner)[1] for owner in owners})
    for place, owner in enumerate(owners):
        letters, number, behind = _parts(owner)
        if rng.random() < 1.0 / 12.0:
            for other in rng.permutation(numbers).tolist():
                if other != number and f"{letters}-{other}{behind}" not in made:
                    made[place] = f"{letters}-{other}{behind}"
                    break
    return made


def random_strings(owners: Sequence[Owner], rng: Rng) -> list[str]:
    letters = np.array(list(string.ascii_uppercase + string.digits))
    return ["".join(rng.choice(letters, 7)) for _ in owners]


HABITS: dict[str, Habit] = {
    "letters first": letters_first,
    "letters last": letters_last,
    "area prefix": area_prefix,
    "plain words": plain_words,
    "numbers only": numbers_only,
    "mixed": mixed,
    "leftovers": leftovers,
}
"""Names that say something; numbers in turn say only the vessel and are shown beside them."""
OTHERS: dict[str, Habit] = {"numbers in turn": numbers_in_turn, "random strings": random_strings}


@dataclass(frozen=True)
class Fleet:
    """A simulated fleet: its tags' owners, and its samples as the historian keeps them."""

    owners: tuple[Owner, ...]
    samples: pl.DataFrame
    texts: dict[int, tuple[str, ...]]

    def named(self, habit: Habit, seed: int) -> Readings:
        """Return the fleet's readings under names of a habit."""
        names = habit(self.owners, np.random.default_rng([seed, 77]))
        return number_states(Readings(tuple(names), self.samples, self.texts))


def fleet(seed: int, vessels: int, ranges: str, cache_: Path) -> Fleet:
    """Return a fleet of two weeks; its samples stay in the cache."""
    plan = random_fleet(vessels, DAYS, seed, mixture=Mixture(ranges=RANGES[ranges]))
    path = cache_ / f"{ranges}-{seed}-{vessels}.parquet"
    if not path.is_file():
        cache_.mkdir(parents=True, exist_ok=True)
        simulate_samples(plan).sort("tag", "second").write_parquet(path)
    owners = tuple((vessel.id, instrument) for vessel in plan.vessels for instrument in vessel.instruments)
    texts = _texts(plan, owners)
    on_test = [place for place, owner in enumerate(owners) if owner[1].signal == "well_on_test"]
    known = ~pl.col("is_bad") & (~pl.col("tag").is_in(on_test) | (pl.col("value") >= 0.0))
    samples = pl.read_parquet(path).filter(known)
    samples = samples.select(tag_id="tag", time_s=pl.col("second") + _START_S, value="value")
    return Fleet(owners, samples, texts)


def _texts(plan: Plan, owners: Sequence[Owner]) -> dict[int, tuple[str, ...]]:
    found: dict[int, tuple[str, ...]] = {}
    for place, (vessel, instrument) in enumerate(owners):
        if instrument.signal == "well_on_test":
            found[place] = tuple(well.settings.id for well in wells_on_test(plan, vessel))
        elif instrument.states:
            found[place] = tuple(instrument.states)
    return found


def told(owners: Sequence[Owner], guesses: Sequence[Guess]) -> pl.DataFrame:
    """Return one row per tag: what it is, what it was taken for, how surely, and whether that is right."""
    truth = {name: place for place, name in enumerate(dict.fromkeys(vessel for vessel, _ in owners))}
    groups = {number: place for place, number in enumerate(sorted({g.vessel for g in guesses if g.vessel >= 0}))}
    overlap = np.zeros((len(groups), len(truth)))
    for (vessel, _), guess in zip(owners, guesses, strict=True):
        if guess.vessel >= 0:
            overlap[groups[guess.vessel], truth[vessel]] += 1
    stands_for = dict(zip(*(side.tolist() for side in linear_sum_assignment(-overlap)), strict=True))
    return pl.DataFrame(
        [
            {
                "tag": guess.tag,
                "vessel": vessel,
                "signal": instrument.signal,
                "guess": guess.signal,
                "confidence": guess.confidence,
                "why": guess.why,
                "is_right": guess.signal == instrument.signal,
                "vessel_confidence": guess.vessel_confidence,
                "vessel_why": guess.vessel_why,
                "is_at_home": guess.vessel >= 0 and stands_for.get(groups[guess.vessel]) == truth[vessel],
                "told": "; ".join(guess.told),
            }
            for (vessel, instrument), guess in zip(owners, guesses, strict=True)
        ]
    )


def summed(rows: pl.DataFrame) -> dict[str, float]:
    """Return the shares that the targets speak of."""
    placeable = rows.filter(~pl.col("signal").is_in(_MOVES_WITH_NONE))
    wrong = (~pl.col("is_right") & (pl.col("confidence") >= _SURE)) | (
        ~pl.col("is_at_home") & (pl.col("vessel_confidence") >= _SURE)
    )
    return {
        "tags": rows.height,
        "signal_right": rows["is_right"].mean(),
        "vessel_right": rows["is_at_home"].mean(),
        "vessel_right_of_placeable": placeable["is_at_home"].mean(),
        "signal_right_of_placeable": placeable["is_right"].mean(),
        "confidently_wrong": rows.select(wrong.mean()).item(),
        "sure_of_signal": (rows["confidence"] >= _SURE).mean(),
    }  # type: ignore[return-value]


def run(seeds: Sequence[int], cache_: Path, vessels: int = 60, ranges: str = "usual",
        habits: dict[str, Habit] | None = None) -> dict[str, dict[str, float]]:  # fmt: skip
    """Return what was told rightly, by habit over all fleets of the seeds."""
    found: dict[str, list[pl.DataFrame]] = {}
    for seed in seeds:
        one = fleet(seed, vessels, ranges, cache_)
        for name, habit in (habits or {**HABITS, **OTHERS}).items():
            found.setdefault(name, []).append(rows_of(one, habit, seed))
    return {name: summed(pl.concat(rows)) for name, rows in found.items()}


def rows_of(one: Fleet, habit: Habit, seed: int) -> pl.DataFrame:
    """Return the rows of one fleet under one habit."""
    readings = one.named(habit, seed)
    return told(one.owners, guesses_of(readings, seen_of(readings, _silent)))


@cache
def _silent(_what: str, _done: int, _of: int) -> None:
    return None


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--seeds", type=int, nargs="+", required=True)
    parser.add_argument("--vessels", type=int, default=60)
    parser.add_argument("--ranges", choices=sorted(RANGES), default="usual")
    parser.add_argument("--habits", nargs="+", choices=[*HABITS, *OTHERS], default=[*HABITS, *OTHERS])
    asked = parser.parse_args()
    started = time.process_time()
    habits = {name: habit for name, habit in {**HABITS, **OTHERS}.items() if name in asked.habits}
    figures = run(asked.seeds, asked.cache, asked.vessels, asked.ranges, habits)
    for name, of in figures.items():
        print(f"{name:16} " + "  ".join(f"{key} {value:.3g}" for key, value in of.items()))  # noqa: T201
    print(json.dumps({"processor_s": round(time.process_time() - started, 1)}))  # noqa: T201


if __name__ == "__main__":
    main()
