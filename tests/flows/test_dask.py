"""Groups of vessels on Dask workers: the same database to the bit, whoever derives and whoever dies."""

import os
import signal
import subprocess
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from polars.testing import assert_frame_equal

import dask_workers
import nightly
from nightgauge.errors import SettingError
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline import deriving, nights, reading
from nightgauge.pipeline.handing import HandOut
from nightgauge.store import Store
from nightgauge.store.frames_io import select
from nightgauge.store.schema import FIELD_SETTINGS, LAKE_GROUPS, LAKE_PART_TAGS, LAKE_PARTS, TABLES
from nightgauge.vocabulary.frames import SAMPLES

FIRST = datetime(2026, 5, 1, tzinfo=UTC)
DAY = timedelta(days=1)
OF_THE_HOME = {frame.name for frame in (SAMPLES, FIELD_SETTINGS, LAKE_GROUPS, LAKE_PARTS, LAKE_PART_TAGS)}
"""Tables that tell where samples live; all others must not."""
OF_THE_CLOCK = ("modified_utc",)
MakeField = Callable[..., Path]


def clock() -> datetime:
    return datetime(2026, 11, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    """Give the address of a scheduler with two workers, processes of their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "cpu_count", lambda: 2)
        with dask_workers.scheduler_at(None) as address:
            yield address


@pytest.fixture(autouse=True)
def _a_vessel_a_group(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hand out the two vessels of the small field one by one."""
    monkeypatch.setattr(deriving, "GROUP", 1)


def in_lake(toml: Path) -> Path:
    """Give the field a lake for its samples."""
    toml.write_text('samples = "lake"\n' + toml.read_text())
    return toml


def run_nights(toml: Path, hand_out: HandOut | None = None) -> Field:
    """Read and judge night by night, two days late at first, and a correction at last."""
    field = read_field(toml)
    store = Store(field.database)
    for until in (FIRST + 3 * DAY, FIRST + 4 * DAY):
        reading.read_exports(field, store, clock)
        for due in nights.nights_due(field, store, until):
            report = nights.run_night(field, store, due, clock, hand_out=hand_out)
            assert not report.failed
    return field


def tables(field: Field) -> dict[str, pl.DataFrame]:
    """Return all that a database says, but for where samples live and when files were made."""
    with Store(field.database).reading() as reader:
        found = {frame.name: select(reader._con, frame) for frame in TABLES if frame.name not in OF_THE_HOME}
    return {name: rows.drop(OF_THE_CLOCK, strict=False) for name, rows in found.items()}


def assert_same(one: Field, other: Field) -> None:
    expected, found = tables(one), tables(other)
    assert expected["finding"].height > 0
    assert expected["dump_cycle"].height > 0
    for name, rows in expected.items():
        assert_frame_equal(rows, found[name], check_exact=True)


def test_a_night_leaves_the_same_database_wherever_samples_live_and_whoever_derives(
    make_field: MakeField, scheduler: str
) -> None:
    stuck = {3: 20000.0}
    alone = run_nights(make_field(4, stuck, name="alone"))
    lake = run_nights(in_lake(make_field(4, stuck, name="lake")))
    assert_same(alone, lake)
    with dask_workers.workers(scheduler, with_server=False) as crew:
        assert crew.ahead >= 2
        assert_same(alone, run_nights(in_lake(make_field(4, stuck, name="dask")), crew))


def killing_once(hand_out: HandOut, mark: Path) -> HandOut:
    """Return a handing out in which the worker that takes the first task of all dies over it."""

    def handed(work: Callable[[Any], Any], tasks: Iterable[Any]) -> Iterator[Any]:
        def deadly(task: Any) -> Any:
            if not mark.exists():
                mark.touch()
                os.kill(os.getpid(), signal.SIGKILL)
            return work(task)

        return hand_out(deadly, tasks)

    return handed


def test_a_worker_killed_midway_costs_nothing_but_its_group_again(
    make_field: MakeField, scheduler: str, tmp_path: Path
) -> None:
    alone = run_nights(make_field(4, {3: 20000.0}, name="alone"))
    mark = tmp_path / "killed"
    with dask_workers.workers(scheduler, with_server=False) as crew:
        killed = run_nights(in_lake(make_field(4, {3: 20000.0}, name="killed")), killing_once(crew, mark))
    assert mark.exists()
    assert_same(alone, killed)


def test_results_come_in_the_order_of_the_tasks_and_few_are_taken_ahead(scheduler: str) -> None:
    taken = []

    def tasks() -> Iterator[int]:
        for number in range(12):
            taken.append(number)
            yield number

    with dask_workers.workers(scheduler, with_server=False) as crew:
        results = crew(lambda number: number * number, tasks())
        assert next(results) == 0
        assert len(taken) == crew.ahead
        assert list(results) == [number * number for number in range(1, 12)]


def test_what_a_worker_raises_ends_the_night(scheduler: str) -> None:
    def fail(_: int) -> None:
        raise SettingError("the lake is dry")

    with (
        dask_workers.workers(scheduler, with_server=False) as crew,
        pytest.raises(SettingError, match="the lake is dry"),
    ):
        list(crew(fail, [1]))


def test_samples_in_the_database_cannot_be_handed_out(make_field: MakeField) -> None:
    with pytest.raises(SettingError, match=r'set samples = "lake" there'):
        dask_workers.require_lake(read_field(make_field(1)))


def test_a_scheduler_that_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dask_workers, "ANSWER_S", 0.5)
    with (
        pytest.raises(SettingError, match=r"no Dask scheduler answers at tcp://127\.0\.0\.1:1 "),
        dask_workers.scheduler_at("tcp://127.0.0.1:1"),
    ):
        pass


def test_the_command_hands_out_to_workers_of_this_machine(
    make_field: MakeField, run: Callable[..., subprocess.CompletedProcess[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("PREFECT_API_URL", raising=False)
    ended = run("flows/nightly.py", in_lake(make_field(2)), "--engine", "dask")
    assert (ended.returncode, ended.stderr) == (0, "")
    assert "2 vessels derived" in ended.stdout


def ask(monkeypatch: pytest.MonkeyPatch, *arguments: str | Path) -> int:
    """Run the nightly flow's command line in this process."""
    monkeypatch.delenv("PREFECT_API_URL", raising=False)
    monkeypatch.setattr("sys.argv", ["nightly.py", *map(str, arguments)])
    return nightly.main()


def test_the_command_says_what_to_set_where_samples_cannot_be_handed_out(
    make_field: MakeField, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(SettingError, match=r'set samples = "lake" there'):
        ask(monkeypatch, make_field(1), "--engine", "dask")


def test_a_scheduler_alone_is_a_mistake(
    make_field: MakeField, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        ask(monkeypatch, make_field(1), "--scheduler", "tcp://127.0.0.1:1")
    assert ended.value.code == 2
    assert "--scheduler goes with --engine dask" in capsys.readouterr().err
