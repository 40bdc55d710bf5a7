"""The door: transactions whole or absent, whatever ends the process, and one who writes at a time."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import pytest

from nightgauge.errors import StoreBusy
from nightgauge.store import Store

ROWS = 400_000

LANDING_CHILD = """
import os, sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
import polars as pl
from nightgauge.store import Store, store
from nightgauge.vocabulary.exports import *
from nightgauge.vocabulary.exports import EXPORT_SAMPLES

rows, when = int(sys.argv[2]), sys.argv[3]
start = datetime(2026, 3, 1, tzinfo=UTC)
samples = EXPORT_SAMPLES.build(pl.select(
    tag_id=pl.int_ranges(0, rows).explode() // (rows // 4) + 1,
    time_utc=pl.lit(start) + pl.duration(seconds=pl.int_ranges(0, rows).explode()),
    value=pl.lit(1.0),
    flag=pl.lit("good"),
))
nothing = EXPORT_QUARANTINE.empty()
tags = TAGS_SEEN.build({"tag": ["LI-1"], "rows": [rows]})
parsed = ParsedExport(samples, EXPORT_SAMPLES.empty(), nothing, rows, 0, 0, 0, tags, {})
export = Export(Path("big.csv"), "big.csv", "hash", 1, start)
opened = store.connect

class Kept:
    def __init__(self, connection): self.connection = connection
    def __getattr__(self, name): return getattr(self.connection, name)
    def close(self): sys.stdin.read()

if when == "committed":
    store.connect = lambda *args, **others: Kept(opened(*args, **others))
with Store(Path(sys.argv[1])).writing() as w:
    print("landing", flush=True)
    w.land(export, parsed, start + timedelta(days=40))
    print("landed", flush=True)
    if when == "landed":
        sys.stdin.read()
    if when == "committed":
        w._con.execute("COMMIT")
        w._con.execute("BEGIN")
        print("committed", flush=True)
        sys.stdin.read()
"""


@contextmanager
def child(code: str, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    """Run Python code in a process that is killed at the end whatever happens."""
    process = subprocess.Popen(
        [sys.executable, "-c", code, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def wait_for(line: str, process: subprocess.Popen[str]) -> None:
    output: IO[str] | None = process.stdout
    assert output is not None
    for found in output:
        if found.strip() == line:
            return
    raise AssertionError(f"the child ended without saying {line!r}")


def landed(store: Store) -> int:
    """Return how many samples there are, having made sure that the ledger and the ranges say the same."""
    with store.reading() as r:
        stored = r._con.sql("SELECT count(*) FROM sample").fetchall()[0][0]
        ledger = r.source_files()["rows_stored"].sum()
        ranges = r.changed_ranges().height
    assert stored == ledger
    assert (ranges > 0) == (stored > 0)
    return int(stored)


@pytest.mark.parametrize(("when", "expected"), [("landed", 0), ("committed", ROWS)])
def test_a_process_killed_around_the_commit_leaves_all_or_nothing(store: Store, when: str, expected: int) -> None:
    with child(LANDING_CHILD, str(store.path), str(ROWS), when) as process:
        wait_for(when, process)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
    assert landed(store) == expected
    with store.writing() as w:
        assert w.source_files().height == (expected > 0)


def test_a_process_killed_while_landing_leaves_all_or_nothing(store: Store, make: Any) -> None:
    with child(LANDING_CHILD, str(store.path), str(4 * ROWS), "") as process:
        wait_for("landing", process)
        time.sleep(0.1)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
    assert landed(store) in {0, 4 * ROWS}
    with store.writing() as w:
        counts = w.land(make.export("next.csv"), make.parsed([(1, -5, 1.0, "good")]), make.read_at)
        assert counts.rows_stored == 1


HOLDING_CHILD = """
import sys
from pathlib import Path
from nightgauge.store import Store
with getattr(Store(Path(sys.argv[1])), sys.argv[2])():
    print("held", flush=True)
    sys.stdin.readline()
print("released", flush=True)
sys.stdin.readline()
"""


def test_who_finds_the_database_held_is_told_by_whom_and_gets_it_after(store: Store) -> None:
    with child(HOLDING_CHILD, str(store.path), "writing") as process:
        wait_for("held", process)
        for door in (store.reading, store.writing):
            with pytest.raises(StoreBusy, match=rf"in use by process {process.pid};"), door(wait_s=0.0):
                pass
        assert process.stdin is not None
        process.stdin.write("\n")
        process.stdin.flush()
        with store.reading(wait_s=30.0) as r:
            assert r.source_files().is_empty()


def test_two_processes_read_at_once(store: Store) -> None:
    with child(HOLDING_CHILD, str(store.path), "reading") as process:
        wait_for("held", process)
        with store.reading(wait_s=0.0) as r:
            assert r.nights().is_empty()


def test_a_second_night_is_told_who_runs_the_first_and_a_killed_one_blocks_nobody(store: Store) -> None:
    with child(HOLDING_CHILD, str(store.path), "night_lock") as process:
        wait_for("held", process)
        with (
            pytest.raises(StoreBusy, match=rf"another night is running .* \(process {process.pid}\)"),
            store.night_lock(),
        ):
            pass
        # The lock is no hold on the database itself: readers go on.
        with store.reading(wait_s=0.0) as r:
            assert r.nights().is_empty()
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        with store.night_lock():
            pass


def test_a_night_that_waits_gets_the_lock_when_the_first_ends(store: Store) -> None:
    entered, end = threading.Event(), threading.Event()

    def first_night() -> None:
        with store.night_lock():
            entered.set()
            end.wait(timeout=60.0)

    thread = threading.Thread(target=first_night)
    thread.start()
    assert entered.wait(timeout=30.0)
    with pytest.raises(StoreBusy, match=rf"process {os.getpid()}"), store.night_lock():
        pass
    threading.Timer(0.2, end.set).start()
    with store.night_lock(wait_s=60.0):
        assert end.is_set()
    thread.join()


def test_the_lock_is_free_again_after_a_night_that_failed(store: Store) -> None:
    def fail() -> None:
        with store.night_lock():
            raise ValueError("a failed night")

    with pytest.raises(ValueError, match="a failed night"):
        fail()
    with store.night_lock():
        pass


def test_making_a_store_opens_nothing(tmp_path: Path) -> None:
    Store(tmp_path / "nightgauge.duckdb")
    assert list(tmp_path.iterdir()) == []
