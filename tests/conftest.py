"""A small field that tests of several rooms run: exports written by hand, one day a file."""

import subprocess
import sys
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import settings

from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.simulate.folder import field_toml, tags_csv
from nightgauge.simulate.instruments import to_shown
from nightgauge.simulate.make import simulate_samples
from nightgauge.simulate.plan import Plan
from nightgauge.vocabulary.frames import VESSEL_SAMPLES
from nightgauge.vocabulary.signals import SIGNALS

# The same examples in every run, so that a red run is the change's own doing; `--hypothesis-profile=explore` looks on.
settings.register_profile("fixed", derandomize=True)
settings.register_profile("explore", max_examples=1000)
settings.load_profile("fixed")

collect_ignore = ["benchmarks/fuzz_exports.py"]  # it rewrites the code of what it imports, to see which lines run

ROOT = Path(__file__).resolve().parent.parent
FIRST = datetime(2026, 5, 1, tzinfo=UTC)
PERIOD_S = 1800.0
DRAIN_S = 180.0
OPENS_M, CLOSES_M = 1.2, 1.0

FIELD_TOML = """
name = "Two Kettles"
time_zone = "UTC"
display_units = "metric"
tags = "tags.csv"
streams = ["streams/*.csv"]
as_of = "{as_of}"

[[vessel]]
id = "TK-1"
service = "free-water knockout"
orientation = "horizontal"
inside_diameter = "2.4 m"
length = "6 m"
heads = "2:1 ellipsoidal"
normal_interface = "1.1 m"
normal_oil_level = "1.6 m"
oil_gravity = "27 degAPI"
temperature = "40 degC"
water_specific_gravity = 1.05
[vessel.water_dump]
action = "snap"
opens_at = "1.2 m"
closes_at = "1.0 m"
[vessel.oil_valve]
holds = "300 kPag"

[[vessel]]
id = "TK-2"
service = "separator"
"""

TAGS_CSV = """tag,vessel,signal,unit
LT-1,TK-1,interface_level,m
ZS-1,TK-1,water_dump_open,
PT-1,TK-1,vessel_pressure,kPag
PT-2,TK-2,vessel_pressure,kPag
"""


def day_of_samples(day: int, stuck_from_s: float | None = None) -> pl.DataFrame:
    """Return one day of the two vessels at 60 s: a sawtooth level, its switch, quiet pressures.

    From `stuck_from_s` (seconds of the day) on the dump of TK-1 no longer opens and the level rises on.
    """
    seconds = np.arange(0, 86400, 60, dtype=np.float64)
    absolute = day * 86400.0 + seconds
    phase = absolute % PERIOD_S
    fill = (phase - DRAIN_S) / (PERIOD_S - DRAIN_S)
    level = np.where(phase < DRAIN_S, OPENS_M - (OPENS_M - CLOSES_M) * phase / DRAIN_S,
                     CLOSES_M + (OPENS_M - CLOSES_M) * fill)  # fmt: skip
    is_open = phase < DRAIN_S
    if stuck_from_s is not None:
        since = seconds - stuck_from_s
        stuck = since >= 0
        level = np.where(stuck, np.minimum(CLOSES_M + 0.2 * since / PERIOD_S, 1.6), level)
        is_open &= ~stuck
    noise = np.random.default_rng(day)
    stamps = [(FIRST + timedelta(days=day, seconds=s)).strftime("%Y-%m-%dT%H:%M:%SZ") for s in seconds]
    columns = {
        "LT-1": level,
        "ZS-1": is_open.astype(float),
        "PT-1": 300.0 + noise.normal(0.0, 0.5, len(seconds)),
        "PT-2": 250.0 + noise.normal(0.0, 0.5, len(seconds)),
    }
    frames = [pl.DataFrame({"tag": tag, "timestamp": stamps, "value": np.round(v, 4)}) for tag, v in columns.items()]
    return pl.concat(frames)


@pytest.fixture
def make_field(tmp_path: Path) -> Callable[..., Path]:
    """Return a maker of field folders: `make_field(days, stuck={day: second})` gives the field.toml."""

    def make(days: int, stuck: Mapping[int, float] | None = None, name: str = "field") -> Path:
        folder = tmp_path / name
        (folder / "streams").mkdir(parents=True)
        as_of = (FIRST + timedelta(days=days)).strftime("%Y-%m-%dT%H:%M:%S+00:00")
        (folder / "field.toml").write_text(FIELD_TOML.format(as_of=as_of))
        (folder / "tags.csv").write_text(TAGS_CSV)
        for day in range(days):
            day_of_samples(day, (stuck or {}).get(day)).write_csv(export_of(folder, day))
        return folder / "field.toml"

    return make


def export_of(folder: Path, day: int) -> Path:
    """Return the path of one day's export."""
    return folder / "streams" / f"{(FIRST + timedelta(days=day)).date().isoformat()}.csv"


@pytest.fixture
def day_file() -> Callable[[Path, int], Path]:
    """Return the function that names one day's export of a field.toml."""
    return lambda field_toml, day: export_of(field_toml.parent, day)


@pytest.fixture
def run() -> Callable[..., subprocess.CompletedProcess[str]]:
    """Return a runner of the project's command lines: `run("flows/nightly.py", ...)` or `run("nightgauge", ...)`."""

    def run_it(program: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
        start = (
            [sys.executable, "-c", "from nightgauge.cli import main; main()"]
            if program == "nightgauge"
            else [sys.executable, str(ROOT / program)]
        )
        return subprocess.run(
            [*start, *map(str, arguments)], capture_output=True, text=True, check=False, cwd=ROOT, timeout=300
        )

    return run_it


@pytest.fixture(scope="session")
def planted(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Plan], tuple[Field, pl.DataFrame]]:
    """Return a maker of a plan's field and of its first vessel's VESSEL_SAMPLES, as a historian keeps them."""

    def make(plan: Plan) -> tuple[Field, pl.DataFrame]:
        folder = tmp_path_factory.mktemp("planted")
        (folder / "tags.csv").write_text(tags_csv(plan), encoding="utf-8")
        (folder / "field.toml").write_text(field_toml(plan), encoding="utf-8")
        return read_field(folder / "field.toml"), _samples_of(plan)

    return make


def _samples_of(plan: Plan) -> pl.DataFrame:
    kept = simulate_samples(plan)
    parts = []
    for place, one in enumerate(plan.vessels[0].instruments):
        shown = to_shown(one, plan.atmosphere_kpa)
        mine = kept.filter((pl.col("tag") == place) & ~pl.col("is_bad"))
        parts.append(mine.select(
            time_utc=pl.lit(plan.start) + pl.duration(microseconds=(pl.col("second") * 1e6).round().cast(pl.Int64)),
            value=pl.col("value") * shown.factor + shown.constant,
            signal=pl.lit(one.signal), flag=pl.lit("good"), max_gap_s=pl.lit(SIGNALS[one.signal].max_gap_s),
        ))  # fmt: skip
    return VESSEL_SAMPLES.build(pl.concat(parts))
