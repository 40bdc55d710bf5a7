"""Copies of the database: whole while others write, checked before they replace anything, their lake with them."""

import errno
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from nightgauge.errors import SettingError, StoreBusy, StoreDamaged, StoreMissing, StoreNewer, StoreNotWritable
from nightgauge.store import Store, backup
from nightgauge.vocabulary.frames import SAMPLES


def samples_of(store: Store) -> pl.DataFrame:
    with store.reading() as r:
        return pl.concat([SAMPLES.empty(), *r._home.everything()]).sort(SAMPLES.order)


def land(store: Store, make: Any, number: int) -> None:
    """Store the samples of a day of its own."""
    with store.writing() as w:
        rows = [(1, number * 1440 + minute, float(minute), "good") for minute in range(0, 1440, 10)]
        w.land(make.export(f"{number}.csv"), make.parsed(rows), make.read_at)


@pytest.fixture(params=["duckdb", "lake"])
def filled(request: pytest.FixtureRequest, store: Store, make: Any) -> Store:
    """Return a database with a day of samples, in either home."""
    with store.writing() as w:
        w.sync_home(make.field(samples=request.param, lake=str(store.path.parent / "lake")))
    land(store, make, 0)
    return store


def test_a_copy_put_back_is_the_database_as_it_was(filled: Store, make: Any, tmp_path: Path) -> None:
    before = samples_of(filled)
    copied = filled.backup(tmp_path / "copies" / "one.duckdb")
    land(filled, make, 1)
    assert copied.lake_left_out is None
    assert filled.restore(tmp_path / "copies" / "one.duckdb", may_replace=True) == copied
    assert_frame_equal(samples_of(filled), before)
    land(filled, make, 2)
    assert samples_of(filled).height == 2 * before.height


def test_a_copy_makes_a_database_where_there_is_none(filled: Store, tmp_path: Path) -> None:
    before = samples_of(filled)
    filled.backup(tmp_path / "copies" / "one.duckdb")
    other = Store(tmp_path / "other" / "nightgauge.duckdb")
    other.path.parent.mkdir()
    shutil.rmtree(tmp_path / "lake", ignore_errors=True)
    filled.path.unlink()
    other.restore(tmp_path / "copies" / "one.duckdb")
    assert_frame_equal(samples_of(other), before)
    kept = {path.name for path in tmp_path.rglob("*") if path.is_file() and "other" in path.parts}
    assert not {name for name in kept if "part" in name.split(".")}


def test_a_copy_is_taken_between_transactions_and_holds_off_writers_only_meanwhile(
    filled: Store, make: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = []
    real = shutil.copyfileobj
    code = (
        "import sys\nfrom pathlib import Path\nfrom nightgauge.store import Store\nstore = Store(Path(sys.argv[1]))\n"
        "for door in (store.reading, store.writing):\n"
        "    try:\n        with door(wait_s=0.0): print('in')\n"
        "    except Exception as error: print(type(error).__name__)\n"
    )

    def while_others_try(*arguments: Any) -> None:
        real(*arguments)
        child = [sys.executable, "-c", code, str(filled.path)]
        told.append(subprocess.run(child, capture_output=True, text=True, check=True).stdout.split())

    monkeypatch.setattr(backup.shutil, "copyfileobj", while_others_try)
    filled.backup(tmp_path / "one.duckdb")
    assert told == [["in", "StoreBusy"]]
    land(filled, make, 1)


def test_what_a_killed_writer_has_committed_is_in_the_copy(filled: Store, tmp_path: Path) -> None:
    code = (
        "import os, signal, sys, duckdb\ncon = duckdb.connect(sys.argv[1])\n"
        "con.execute(\"INSERT INTO bookmark VALUES ('reckon_from', now())\")\nos.kill(os.getpid(), signal.SIGKILL)\n"
    )
    killed = subprocess.run([sys.executable, "-c", code, str(filled.path)], check=False)
    assert killed.returncode == -signal.SIGKILL
    assert filled.path.with_name(filled.path.name + ".wal").exists()
    filled.backup(tmp_path / "one.duckdb")
    with duckdb.connect(tmp_path / "one.duckdb", read_only=True) as con:
        assert con.sql("SELECT name FROM bookmark").fetchall() == [("reckon_from",)]
    assert [path.name for path in tmp_path.glob("*one.duckdb*") if path.is_file()] == ["one.duckdb"]


def test_a_log_that_is_left_does_not_come_into_what_is_restored(filled: Store, make: Any, tmp_path: Path) -> None:
    filled.backup(tmp_path / "one.duckdb")
    before = samples_of(filled)
    filled.path.write_bytes(b"no database any more" * 1000)
    filled.path.with_name(filled.path.name + ".wal").write_bytes(b"nor its log")
    filled.restore(tmp_path / "one.duckdb", may_replace=True)
    assert_frame_equal(samples_of(filled), before)


@pytest.mark.parametrize("filled", ["lake"], indirect=True)
def test_objects_that_a_night_replaces_meanwhile_are_copied_as_they_are_then(
    filled: Store, make: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    turns = iter([1, 2])
    real = backup._lake_of

    def then_a_night_goes_on(*arguments: Any) -> Any:
        lake = real(*arguments)
        for number in turns:
            with filled.writing() as w:
                w._home.clear()
            land(filled, make, number)
            break
        return lake

    monkeypatch.setattr(backup, "_lake_of", then_a_night_goes_on)
    filled.backup(tmp_path / "one.duckdb")
    monkeypatch.undo()
    other = Store(tmp_path / "other" / "nightgauge.duckdb")
    other.path.parent.mkdir()
    other.restore(tmp_path / "one.duckdb")
    assert_frame_equal(samples_of(other), samples_of(filled))
    objects = [path for path in (tmp_path / "one.duckdb.lake").rglob("*") if path.is_file()]
    assert len(objects) == 1


def test_a_lake_in_an_object_store_is_said_to_be_left_out(store: Store, make: Any, tmp_path: Path) -> None:
    with store.writing() as w:
        w.sync_home(make.field(samples="lake", lake="memory://lake"))
    assert store.backup(tmp_path / "one.duckdb").lake_left_out == "memory://lake"
    assert store.restore(tmp_path / "one.duckdb", may_replace=True).lake_left_out == "memory://lake"


def test_nothing_is_overwritten_unasked(filled: Store, tmp_path: Path) -> None:
    filled.backup(tmp_path / "one.duckdb")
    before = filled.path.read_bytes()
    for refused in (filled.backup, filled.restore):
        with pytest.raises(SettingError, match="already; add --replace"):
            refused(tmp_path / "one.duckdb")
    with pytest.raises(SettingError, match="is a folder"):
        filled.backup(tmp_path)
    assert filled.path.read_bytes() == before
    filled.backup(tmp_path / "one.duckdb", may_replace=True)


def test_there_is_nothing_to_copy_or_restore(tmp_path: Path) -> None:
    store = Store(tmp_path / "nightgauge.duckdb")
    with pytest.raises(StoreMissing, match="no night has run"):
        store.backup(tmp_path / "one.duckdb")
    with pytest.raises(SettingError, match=r"no file .*one\.duckdb to restore from"):
        store.restore(tmp_path / "one.duckdb")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("filled", ["duckdb"], indirect=True)
@pytest.mark.parametrize("place", [0.3, 0.5, 0.9])
def test_a_damaged_copy_is_told_before_anything_is_replaced(
    filled: Store, make: Any, tmp_path: Path, place: float
) -> None:
    for number in range(1, 60):
        land(filled, make, number)
    copy = tmp_path / "one.duckdb"
    filled.backup(copy)
    content = bytearray(copy.read_bytes())
    first = int(len(content) * place)
    content[first:] = bytes(byte ^ 0xFF for byte in content[first:])  # to its end: a block in between may be free
    copy.write_bytes(content)
    before = filled.path.read_bytes()
    with pytest.raises(StoreDamaged, match="is not a whole database"):
        filled.restore(copy, may_replace=True)
    assert filled.path.read_bytes() == before


@pytest.mark.parametrize("filled", ["lake"], indirect=True)
def test_a_copy_without_all_of_its_lake_is_damaged(filled: Store, tmp_path: Path) -> None:
    filled.backup(tmp_path / "one.duckdb")
    next((tmp_path / "one.duckdb.lake").rglob("*.parquet")).unlink()
    shutil.rmtree(tmp_path / "lake")
    with pytest.raises(StoreDamaged, match="does not hold all of the lake"):
        filled.restore(tmp_path / "one.duckdb", may_replace=True)


def test_a_copy_of_a_newer_version_is_refused(filled: Store, tmp_path: Path) -> None:
    filled.backup(tmp_path / "one.duckdb")
    with duckdb.connect(tmp_path / "one.duckdb") as con:
        con.execute("INSERT INTO migration VALUES (999, 'from the future', now())")
    before = filled.path.read_bytes()
    with pytest.raises(StoreNewer, match="schema 999"):
        filled.restore(tmp_path / "one.duckdb", may_replace=True)
    assert filled.path.read_bytes() == before


def test_a_database_is_not_replaced_while_a_night_runs(filled: Store, tmp_path: Path) -> None:
    filled.backup(tmp_path / "one.duckdb")
    with filled.night_lock(), pytest.raises(StoreBusy, match="another night is running"):
        filled.restore(tmp_path / "one.duckdb", may_replace=True)


def test_a_folder_that_cannot_be_made_is_told(filled: Store, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreNotWritable, match="cannot be made"):
        filled.backup(tmp_path / "file" / "one.duckdb")


def test_a_disk_that_is_full_is_told_and_leaves_no_half_copy(
    filled: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    filled.backup(tmp_path / "one.duckdb")
    before = (tmp_path / "one.duckdb").read_bytes()
    monkeypatch.setattr(backup.shutil, "copyfileobj", full)
    with pytest.raises(StoreNotWritable, match=r"one\.duckdb cannot be written: No space left"):
        filled.backup(tmp_path / "one.duckdb", may_replace=True)
    assert (tmp_path / "one.duckdb").read_bytes() == before
    assert not list(tmp_path.glob("*.part*"))
