"""How the database is opened, and how its refusals read."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import duckdb
import pytest

from nightgauge.errors import StoreBusy, StoreDamaged, StoreError, StoreMissing, StoreNewer, StoreNotWritable
from nightgauge.store import Store
from nightgauge.store.connection import connect, told_as_store_error

NOBODY = 65534


def test_a_reader_never_makes_the_database(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "nightgauge.duckdb"
    with (
        pytest.raises(StoreMissing, match="no night has run on this field; run the nightly flow first"),
        Store(path).reading(),
    ):
        pass
    assert not path.parent.exists()


def test_a_writer_makes_the_folder_and_the_database(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "nightgauge.duckdb"
    with Store(path).writing():
        pass
    assert path.is_file()


@pytest.mark.parametrize("read_only", [True, False])
def test_every_connection_is_offline_in_utc_and_locked(store: Store, *, read_only: bool) -> None:
    connection = connect(store.path, read_only=read_only, wait_s=0.0)
    settings = {
        name: connection.sql(f"SELECT current_setting('{name}')").fetchall()[0][0]
        for name in ("autoinstall_known_extensions", "autoload_known_extensions", "enable_external_access", "TimeZone")
    }
    with pytest.raises(duckdb.InvalidInputException, match="configuration has been locked"):
        connection.execute("SET autoload_known_extensions = true")
    connection.close()
    assert settings.pop("TimeZone") == "UTC"
    assert not any(settings.values())


def test_no_other_file_can_be_read_through_it(store: Store, tmp_path: Path) -> None:
    other = tmp_path / "other.csv"
    other.write_text("a\n1\n")
    with store.reading() as r, pytest.raises(duckdb.PermissionException, match="disabled"):
        r._con.sql(f"FROM read_csv('{other}')").fetchall()


@pytest.mark.parametrize("read_only", [True, False])
@pytest.mark.parametrize(
    "statement",
    [
        "INSTALL httpfs", "LOAD httpfs", "LOAD '{0}/other.duckdb_extension'", "ATTACH '{0}/other.duckdb'",
        "COPY (SELECT 1) TO '{0}/out.csv'", "EXPORT DATABASE '{0}/out'", "FROM read_text('{0}/other.csv')",
        "FROM '{0}/other.csv'", "FROM glob('{0}/*')", "FROM read_parquet('http://127.0.0.1:9/x.parquet')",
        "SET enable_external_access = true", "SET allowed_directories = ['/']", "SET temp_directory = '{0}/out'",
        "SET secret_directory = '{0}/out'", "RESET lock_configuration", "IMPORT DATABASE '{0}/out'",
    ],
)  # fmt: skip
def test_nothing_outside_is_loaded_read_or_written(
    store: Store, tmp_path: Path, statement: str, *, read_only: bool
) -> None:
    (tmp_path / "other.csv").write_text("a\n1\n")
    opened = store.reading() if read_only else store.writing()
    with opened as door, pytest.raises(duckdb.Error, match=r"disabled|locked|not allowed|[Cc]annot"):
        door._con.execute(statement.format(tmp_path)).fetchall()
    assert not list(tmp_path.glob("out*"))


def test_frames_of_the_program_are_no_tables(store: Store) -> None:
    sample_frame = duckdb  # any name in sight of the call
    assert sample_frame
    with store.reading() as r, pytest.raises(duckdb.CatalogException, match="does not exist"):
        r._con.execute("FROM sample_frame").fetchall()


def test_a_file_that_is_no_database_is_damaged(tmp_path: Path) -> None:
    path = tmp_path / "nightgauge.duckdb"
    path.write_text("not a database " * 1000)
    for door in (Store(path).reading, Store(path).writing):
        with pytest.raises(StoreDamaged, match=r"nightgauge\.duckdb is not a whole database"), door():
            pass
    assert path.read_text().startswith("not a database")


def filled(path: Path, make: Any) -> bytes:
    """Return the bytes of a database that holds some samples."""
    with Store(path).writing() as w:
        w.sync_tags(make.field(), make.read_at)
        rows = [(1, float(minute), minute * 0.1, "good") for minute in range(5_000)]
        w.land(make.export(), make.parsed(rows), make.read_at)
    return path.read_bytes()


@pytest.mark.parametrize("kept", [0.2, 0.6, 0.95])
def test_a_database_cut_short_is_damaged(tmp_path: Path, make: Any, kept: float) -> None:
    path = tmp_path / "nightgauge.duckdb"
    whole = filled(path, make)
    path.write_bytes(whole[: int(len(whole) * kept)])
    with pytest.raises(StoreDamaged, match="restore it from a backup"), Store(path).reading() as r:
        r.vessel_samples("V-1", make.at(0), make.at(9_999))


def test_a_database_with_flipped_bytes_is_damaged(tmp_path: Path, make: Any) -> None:
    path = tmp_path / "nightgauge.duckdb"
    whole = bytearray(filled(path, make))
    whole[12_288:] = bytes(byte ^ 0xFF for byte in whole[12_288:])
    path.write_bytes(whole)
    with pytest.raises(StoreDamaged, match="checksum"), Store(path).reading():
        pass


def test_a_folder_in_the_databases_place_is_not_writable(tmp_path: Path) -> None:
    with pytest.raises(StoreNotWritable, match="check the folder"), Store(tmp_path).writing():
        pass


def test_a_folder_that_cannot_be_made_is_not_writable(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    store = Store(tmp_path / "file" / "nightgauge.duckdb")
    for door in (store.writing, store.night_lock):
        with pytest.raises(StoreNotWritable, match="cannot be made"), door():
            pass


def told_by_child(path: Path, prologue: str, *bodies: str) -> list[str]:
    """Return what a child process gets from each piece of code on a database: the error as "Class: message", or ""."""
    code = f"""
import os, resource, signal, sys
from datetime import UTC, datetime
from pathlib import Path
from nightgauge.store import Store
path = Path(sys.argv[1])
now = datetime.now(UTC)
{prologue}
for body in sys.argv[2:]:
    try:
        exec(body)
        print()
    except Exception as error:
        print(type(error).__name__ + ": " + str(error))
"""
    command = [sys.executable, "-c", code, str(path), *bodies]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()


def test_a_read_only_folder_is_told_and_can_still_be_read(make: Any) -> None:
    # Not tmp_path: its parents are closed to the other user that root has to become to be refused anything.
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "nightgauge.duckdb"
        filled(path, make)
        path.chmod(0o444)
        folder.chmod(0o555)
        old, new, lock, read = told_by_child(
            path,
            f"os.getuid() or os.setuid({NOBODY})",
            "with Store(path).writing() as w: w.begin_night(now, now)",
            "with Store(path.with_name('new.duckdb')).writing() as w: w.begin_night(now, now)",
            "with Store(path).night_lock(): pass",
            "with Store(path).reading() as r: assert r.data_span('V-1') is not None",
        )
        folder.chmod(0o755)
    assert old.startswith(f"StoreNotWritable: the database {path} cannot be used")
    assert new.startswith(f"StoreNotWritable: the database {folder / 'new.duckdb'} cannot be used")
    assert lock.startswith(f"StoreNotWritable: the lock file {path}.lock cannot be made")
    assert read == ""


def test_a_full_disk_is_told_and_loses_nothing_stored(tmp_path: Path, make: Any) -> None:
    path = tmp_path / "nightgauge.duckdb"
    size = len(filled(path, make))
    # A limit on the size of files stands for the end of the disk: the engine meets it at the same call.
    limits = f"resource.setrlimit(resource.RLIMIT_FSIZE, 2 * [{size + 300_000}])"
    limit = f"signal.signal(signal.SIGXFSZ, signal.SIG_IGN); {limits}"
    fill = "with Store(path).writing() as w: w._con.execute('CREATE TABLE big AS SELECT random() FROM range(3000000)')"
    assert told_by_child(path, limit, fill)[0].startswith("StoreNotWritable: no room on the disk")
    with Store(path).reading() as r:
        assert r.vessel_samples("V-1", make.at(0), make.at(9_999)).height == 5_000


def test_one_process_that_reads_while_it_writes_is_told_that_it_is_itself(store: Store) -> None:
    with store.writing(), pytest.raises(StoreBusy, match="this process itself"), store.reading(wait_s=0.0):
        pass


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ('Could not set lock on file "x": Conflicting lock is held in y (PID 12)', StoreBusy, "in use by process 12;"),
        ("Could not write file: No space left on device", StoreNotWritable, "no room on the disk"),
        # From memory of the engine's sources: a real file of a later format is not to be had yet.
        ("Trying to read a database file with version number 99", StoreNewer, "newer version"),
        ("Out of Memory Error: failed to offload data block", StoreError, "too little memory"),
    ],
)
def test_the_engines_words_become_ours(text: str, kind: type[StoreError], words: str) -> None:
    with pytest.raises(kind, match=words), told_as_store_error(Path("x")):
        raise duckdb.IOException(text)


def test_what_means_a_bug_goes_through(store: Store) -> None:
    with store.reading() as r, pytest.raises(duckdb.CatalogException, match="nowhere"):
        r._con.sql("FROM nowhere")


def test_the_callers_own_file_errors_are_not_taken_for_the_databases(store: Store) -> None:
    with pytest.raises(FileNotFoundError, match="missing"), store.writing():
        os.stat("missing.csv")  # noqa: PTH116
