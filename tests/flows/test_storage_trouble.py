"""Nights on a disk that is full or read-only, on a damaged or newer database: told, nothing lost, and then they go on.

The disk is a small file system in memory, which only root may mount; the tests skip, saying so, where that is refused.
"""

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import pytest

from nightgauge.field.read import read_field
from nightgauge.store import Store

Run = Callable[..., subprocess.CompletedProcess[str]]
MakeField = Callable[..., Path]


@pytest.fixture(autouse=True)
def no_server(monkeypatch: pytest.MonkeyPatch) -> None:
    """These runs are of a machine without a Prefect server."""
    monkeypatch.delenv("PREFECT_API_URL", raising=False)


def mounted(*arguments: str | Path) -> bool:
    """Return whether the kernel takes a mount."""
    return subprocess.run(["/bin/mount", *map(str, arguments)], capture_output=True, check=False).returncode == 0


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """Return a small disk."""
    place = tmp_path / "disk"
    place.mkdir()
    if not mounted("-t", "tmpfs", "-o", "size=300k", "tmpfs", place):
        pytest.skip("needs the right to mount a file system in memory")
    yield place
    subprocess.run(["/bin/umount", "--lazy", place], check=True)


def on_disk(toml: Path, disk: Path) -> Path:
    """Let a field's database and pages lie on a disk."""
    there = f'database = "{disk}/nightgauge.duckdb"\nreports = "{disk}/reports"\ntags ='
    toml.write_text(toml.read_text().replace("tags =", there, 1))
    return toml


def findings_and_days(toml: Path) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    with Store(read_field(toml).database).reading() as reader:
        con = reader._con
        return con.sql("FROM vessel_day ORDER BY ALL").fetchall(), con.sql("FROM dump_cycle ORDER BY ALL").fetchall()


def test_a_disk_that_fills_up_at_any_step_costs_nothing_but_the_time(
    make_field: MakeField, run: Run, disk: Path
) -> None:
    alone = make_field(3, {2: 20000.0}, name="alone")
    assert run("flows/nightly.py", alone).returncode == 0
    toml = on_disk(make_field(3, {2: 20000.0}), disk)
    whole = read_field(alone).database.stat().st_size
    for room in (300_000, whole // 2, whole + 400_000):
        assert mounted("-o", f"remount,size={room}", disk)
        ended = run("flows/nightly.py", toml)
        assert ended.returncode == 4, ended.stdout + ended.stderr
        (line,) = ended.stderr.splitlines()
        assert "no room on the disk" in line or "No space left on device" in line
    assert mounted("-o", "remount,size=60m", disk)
    assert run("flows/nightly.py", toml).returncode == 0
    assert findings_and_days(toml) == findings_and_days(alone)


def test_a_disk_that_became_read_only_is_told_and_can_still_be_read(
    make_field: MakeField, run: Run, disk: Path
) -> None:
    assert mounted("-o", "remount,size=60m", disk)
    toml = on_disk(make_field(2), disk)
    assert run("flows/nightly.py", toml).returncode == 0
    assert mounted("-o", "remount,ro", disk)
    ended = run("flows/nightly.py", toml)
    assert (ended.returncode, ended.stderr.count("\n")) == (4, 1)
    assert "Read-only file system" in ended.stderr
    assert run("nightgauge", "nights", toml).returncode == 0
    assert mounted("-o", "remount,rw", disk)
    assert run("flows/nightly.py", toml).returncode == 0


def test_a_database_that_is_damaged_or_newer_is_told_and_a_copy_put_back_goes_on(
    make_field: MakeField, run: Run, tmp_path: Path
) -> None:
    toml = make_field(2)
    database = read_field(toml).database
    assert run("flows/nightly.py", toml).returncode == 0
    copy = tmp_path / "copies" / "one.duckdb"
    made = run("nightgauge", "backup", toml, copy)
    assert (made.returncode, f"{copy} is a whole copy" in made.stdout) == (0, True)
    with duckdb.connect(database) as con:
        con.execute("INSERT INTO migration VALUES (999, 'from the future', now())")
    newer = run("flows/nightly.py", toml)
    assert (newer.returncode, "newer version of the program" in newer.stderr) == (4, True)
    database.write_bytes(database.read_bytes()[: database.stat().st_size // 3])
    damaged = run("flows/nightly.py", toml)
    assert (damaged.returncode, "restore it from a backup" in damaged.stderr) == (4, True)
    unasked = run("nightgauge", "restore", toml, copy)
    assert (unasked.returncode, "add --replace" in unasked.stderr) == (2, True)
    assert run("nightgauge", "restore", toml, copy, "--replace").returncode == 0
    after = run("flows/nightly.py", toml)
    assert (after.returncode, "nothing to judge" in after.stdout) == (0, True)
