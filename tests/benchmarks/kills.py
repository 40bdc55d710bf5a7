"""Nights killed at random moments and started again: what is left must be what an undisturbed night leaves.

    uv run python tests/benchmarks/kills.py [--kills 200] [--seed 1] [--home duckdb|lake] [--folder DIR]

Each night runs in a process of its own, forked from one that has imported everything, and is killed (SIGKILL) once in
each of its steps, at a moment drawn at random from the time that the step takes; it is started again each time, at last
left alone, and its database compared with that of nights that nobody disturbed. The field is small, three vessels and
eight days; nights in turn take in late exports and a correction of a day long judged.
"""

import argparse
import json
import os
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import wraps
from importlib import import_module
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from pathlib import Path

import polars as pl

from nightgauge.field.read import read_field
from nightgauge.simulate import random_fleet, simulate_field
from nightgauge.store import Store

STEPS = ("reading", "deriving", "judging", "ledger", "page")
CLOCK = datetime(2026, 11, 1, tzinfo=UTC)
BASE, LAST = "2026-05-15T00:00", "2026-05-18T00:00"
"""End of the night that all begin from, and of the last of the three after it."""
FLOWS = Path(__file__).parents[2] / "flows"
OF_THE_RUN = {
    "migration": None,  # when the schema was made
    "night_step": None,  # seconds
    "night": ("night_id", "started_utc", "ended_utc"),
    "lake_part": ("part_id", "name", "size_bytes"),  # names are drawn, and how a day is cut into objects is free
    "lake_part_tag": ("part_id",),
}
"""Tables (None) or columns that tell of the run and not of the field."""
WAIT_S = 600.0
"""A night that takes longer hangs."""


def run_night(toml: str, until: str, told: Connection) -> None:
    """Run a night in this process, telling each step as it begins."""
    os.setsid()  # so that whatever it starts can be found by its session
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123  for as long as the process lives
    nightly = import_module("nightly")
    nights, reckoning = import_module("nightgauge.pipeline.nights"), import_module("nightgauge.pipeline.reckoning")
    for module, name, step in (
        (nightly.reading, "read_exports", "reading"),
        (nights, "derive_changed", "deriving"),
        (nights, "reckon", "reckoning"),
        (nights, "judge_vessels", "judging"),
        (nights, "_settle", "ledger"),
        (nightly.pages, "write_weekly", "page"),
        (nightly.keeping, "drop_old_samples", "dropping"),
    ):
        setattr(module, name, _telling(getattr(module, name), step, told))
    reckoning.PAST = timedelta(hours=1)  # so that days long judged are reckoned only where they are owed
    nightly.clock = lambda: CLOCK
    code = nightly.nightly.fn(Path(toml), until, with_server=False)
    told.send("end" if code == 0 else f"exit {code}")


def _telling(call: Callable[..., object], step: str, told: Connection) -> Callable[..., object]:
    @wraps(call)
    def telling(*arguments: object, **named: object) -> object:
        told.send(step)
        return call(*arguments, **named)

    return telling


@dataclass
class Ended:
    """How one process ended."""

    steps: list[tuple[str, float]]
    """Steps in turn and when they began. [s]"""
    was_killed: bool

    @property
    def last(self) -> str:
        """Return the step it was in."""
        return self.steps[-1][0] if self.steps else "start"

    def took(self) -> dict[str, list[float]]:
        """Return how long each step took, once for each time it ran. [s]"""
        took: dict[str, list[float]] = {}
        for (step, began), (_, ended) in zip(self.steps, self.steps[1:], strict=False):
            took.setdefault(step, []).append(ended - began)
        return took


class Kills:
    """Nights of one field, killed and compared."""

    def __init__(self, folder: Path, home: str, seed: int) -> None:
        self._folder = folder
        self._random = random.Random(seed)
        self._context = forkserver()
        self.counts: Counter[str] = Counter()
        make_field(folder / "base", home)
        self._run(folder / "base", BASE)
        add_later(folder / "base")
        shutil.copytree(folder / "base", folder / "undisturbed")
        self._took = self._run(folder / "undisturbed", LAST).took()
        self._expected = contents(folder / "undisturbed")

    def once(self, steps: tuple[str, ...]) -> None:
        """Kill a night in each of these steps, let it end, and compare."""
        field_folder = self._folder / "killed"
        shutil.rmtree(field_folder, ignore_errors=True)
        shutil.copytree(self._folder / "base", field_folder)
        for step in steps:
            ended = self._run(field_folder, LAST, kill_in=step)
            self.counts[ended.last if ended.was_killed else "too late"] += 1
            complain_if_half(field_folder)
        self._run(field_folder, LAST)
        complain_if_half(field_folder)
        left = [path.name for path in (field_folder / "reports").iterdir() if path.name.endswith(".part")]
        if left:
            raise AssertionError(f"half-written pages are left: {left}")
        compare(self._expected, contents(field_folder))

    def _run(self, field_folder: Path, until: str, kill_in: str | None = None) -> Ended:
        hear, told = self._context.Pipe(duplex=False)
        process = self._context.Process(target=run_night, args=(str(field_folder / "field.toml"), until, told))
        process.start()
        told.close()
        ended = Ended([], was_killed=False)
        turn = self._random.randrange(len(self._took[kill_in])) if kill_in else -1
        give_up = time.monotonic() + WAIT_S
        kill_at = give_up
        while True:
            if hear.poll(max(0.0, kill_at - time.monotonic())):
                try:
                    ended.steps.append((hear.recv(), time.monotonic()))
                except EOFError:
                    break
                if ended.last == kill_in and kill_at == give_up:
                    seen = sum(step == kill_in for step, _ in ended.steps) - 1
                    # A night that goes on where another was killed may run a step fewer times.
                    if seen >= turn or self._random.random() < 0.5:
                        kill_at = time.monotonic() + self._random.random() * self._took[kill_in][turn]
            else:
                process.kill()
                ended.was_killed = True
                break
        process.join()
        while ended.was_killed and hear.poll():  # what it said before it died
            try:
                ended.steps.append((hear.recv(), time.monotonic()))
            except EOFError:
                break
        if time.monotonic() > give_up:
            raise AssertionError(f"a night hangs in {ended.last}")
        if not ended.was_killed and ended.last != "end":
            raise AssertionError(f"a night that nobody killed came to its end in {ended.last}")
        complain_if_alive(process.pid or 0)
        return ended


def forkserver() -> ForkServerContext:
    """Return what forks processes that have imported everything and computed nothing, so that no thread is lost."""
    os.environ["PYTHONPATH"] = os.pathsep.join([str(FLOWS), str(Path(__file__).parent), *sys.path])
    context = get_context("forkserver")
    context.set_forkserver_preload(["nightly", "kills"])
    return context


def make_field(folder: Path, home: str) -> None:
    """Simulate the field; put exports of the last days aside, and a correction with them."""
    simulate_field(folder, random_fleet(3, 8, 5))
    toml = folder / "field.toml"
    if home == "lake":
        toml.write_text(toml.read_text().replace("\n[[vessel]]", '\nsamples = "lake"\n\n[[vessel]]', 1))
    days = sorted((folder / "streams").rglob("*.parquet"))
    (folder / "later").mkdir()
    for path in days[-3:]:
        path.rename(folder / "later" / path.name)
    rows = pl.read_parquet(days[1])
    moved = pl.when(pl.col("value").is_finite()).then(pl.col("value") * 1.02).otherwise(pl.col("value"))
    tag = pl.col("tag").str.contains("PI|PT")
    rows.filter(tag).with_columns(value=moved).write_parquet(folder / "later" / f"{days[1].stem}_corrected.parquet")


def add_later(folder: Path) -> None:
    """Let the exports that were put aside arrive."""
    for path in (folder / "later").iterdir():
        path.rename(folder / "streams" / path.name)


def contents(folder: Path) -> dict[str, pl.DataFrame]:
    """Return every table without what tells of the run, rows in order; samples from wherever they live."""
    tables: dict[str, pl.DataFrame] = {}
    with Store(read_field(folder / "field.toml").database).reading() as reader:
        con = reader._con
        for (name,) in con.sql("SELECT table_name FROM duckdb_tables() ORDER BY table_name").fetchall():
            aside = OF_THE_RUN.get(name, ())
            if aside is not None:
                rows = con.sql(f'FROM "{name}"').pl()
                tables[name] = rows.filter(pl.col("state") == "done") if name == "night" else rows
                tables[name] = tables[name].drop(aside)
        tables["sample"] = pl.concat(list(reader._home.everything()))
    settings = tables["field_setting"]
    tables["field_setting"] = settings.filter(pl.col("name") != "lake_id")
    if "lake_part" in tables:
        tables["lake_part"] = tables["lake_part"].group_by("group_number", "day").agg(pl.col("rows").sum())
        tables["lake_part_tag"] = tables["lake_part_tag"].group_by("tag_id").agg(pl.col("rows", "bad_rows").sum())
    return {name: rows.sort(rows.columns) for name, rows in tables.items()}


def compare(expected: dict[str, pl.DataFrame], found: dict[str, pl.DataFrame]) -> None:
    """Complain of tables that are not the same, to the bit."""
    for name, rows in expected.items():
        if not rows.equals(found[name], null_equal=True):
            more = found[name].join(rows, on=rows.columns, how="anti", nulls_equal=True)
            less = rows.join(found[name], on=rows.columns, how="anti", nulls_equal=True)
            raise AssertionError(f"{name}: {rows.height} rows, now {found[name].height}; {less=} {more=}")


def complain_if_half(folder: Path) -> None:
    """Complain of an export that is half loaded, or of half a page."""
    field_ = read_field(folder / "field.toml")
    with Store(field_.database).reading() as reader:
        files = reader.source_files()
        held = sum(piece.height for piece in reader._home.everything())
    loaded = int((files["rows_stored"] - files["rows_overwrote"]).sum())
    if held != loaded:
        raise AssertionError(f"{held} samples are stored, and the ledger says {loaded}")
    for page in field_.reports.glob("*.html"):
        if not page.read_text(encoding="utf-8").rstrip().endswith("</html>"):
            raise AssertionError(f"half a page: {page}")


def complain_if_alive(session: int) -> None:
    """Complain of processes that a night has started and that outlive it."""
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, _, its_session, *_ = stat.read_text().rpartition(")")[2].split()
        except (FileNotFoundError, ProcessLookupError):
            continue
        if int(its_session) == session and state != "Z":
            raise AssertionError(f"process {stat.parent.name} outlives its night")


@contextmanager
def place(folder: Path | None) -> Iterator[Path]:
    """Give a folder to work in."""
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        yield folder
        return
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)


@dataclass
class Outcome:
    """What was done to a field."""

    kills: int = 0
    rounds: int = 0
    by_step: dict[str, int] = field(default_factory=dict)


def run(kills: int, least: int, folder: Path, home: str = "duckdb", seed: int = 1) -> Outcome:
    """Kill nights until so many are dead, and at least so many in each step; raise at the first difference."""
    bench = Kills(folder, home, seed)
    outcome = Outcome()
    while outcome.kills < kills or any(bench.counts[step] < least for step in STEPS):
        missing = tuple(step for step in STEPS if bench.counts[step] < least) or STEPS
        bench.once(missing if outcome.rounds else STEPS)
        outcome.rounds += 1
        outcome.kills = sum(count for step, count in bench.counts.items() if step != "too late")
        sys.stderr.write(f"{outcome.kills} killed: {json.dumps(dict(bench.counts))}\n")
    outcome.by_step = dict(bench.counts)
    return outcome


def main() -> None:
    """Run what the command line asks for."""
    made = argparse.ArgumentParser(description="Kill nights at random moments and compare what is left.")
    made.add_argument("--kills", type=int, default=200)
    made.add_argument("--least", type=int, default=30, help="in each step")
    made.add_argument("--seed", type=int, default=1)
    made.add_argument("--home", choices=("duckdb", "lake"), default="duckdb")
    made.add_argument("--folder", type=Path)
    asked = made.parse_args()
    with place(asked.folder) as folder:
        outcome = run(asked.kills, asked.least, folder, asked.home, asked.seed)
    sys.stdout.write(f"{outcome.kills} kills in {outcome.rounds} rounds, all as undisturbed: {outcome.by_step}\n")


if __name__ == "__main__":
    import_module("kills").main()  # by its name, so that what is sent to processes is found there
