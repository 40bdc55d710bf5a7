"""Exports that vanish, grow or may not be read while a night reads: told, never half loaded, read when they can be."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from threading import Event
from typing import Any

import pytest

from nightgauge.field.read import read_field
from nightgauge.pipeline import reading
from nightgauge.store import Store

MakeField = Callable[..., Path]
DayFile = Callable[[Path, int], Path]


def clock() -> datetime:
    return datetime(2026, 11, 1, tzinfo=UTC)


def stored_rows(store: Store) -> int:
    with store.reading() as reader:
        files = reader.source_files()
        held = sum(piece.height for piece in reader._home.everything())
    assert held == files["rows_stored"].sum() - files["rows_overwrote"].sum()
    return held


@pytest.fixture
def disturbed(monkeypatch: pytest.MonkeyPatch) -> Callable[[Path, Callable[[], None]], None]:
    """Return what has something happen to an export after its hash is known and before it is parsed, once."""

    def arrange(path: Path, happening: Callable[[], None]) -> None:
        real, hash_of, left, is_hashed = reading.read_export, reading.fingerprint, [happening], Event()

        def hashed(export: Path, *others: Any) -> Any:
            found = hash_of(export, *others)
            if export == path:
                is_hashed.set()
            return found

        def read(export: Any, *others: Any, **named: Any) -> Any:
            if export.path == path and left:
                assert is_hashed.wait(60.0)
                left.pop()()
            return real(export, *others, **named)

        monkeypatch.setattr(reading, "fingerprint", hashed)
        monkeypatch.setattr(reading, "read_export", read)

    return arrange


def test_an_export_that_vanishes_while_it_is_read_is_told_and_read_when_it_is_back(
    make_field: MakeField, day_file: DayFile, disturbed: Any
) -> None:
    toml = make_field(3)
    field, away = read_field(toml), toml.parent / "away.csv"
    store, path = Store(field.database), day_file(toml, 1)
    disturbed(path, lambda: path.rename(away))
    first = reading.read_exports(field, store, clock)
    assert first.count("stored") == 2
    assert len([one for one in first.files if one.state != "stored" and one.path.endswith(path.name)]) == 1
    whole = stored_rows(store)
    away.rename(path)  # with its old size and time
    assert reading.read_exports(field, store, clock).count("stored") == 1
    assert stored_rows(store) == whole * 3 // 2


def test_an_export_that_grows_while_it_is_read_is_read_whole_the_next_time(
    make_field: MakeField, day_file: DayFile, disturbed: Any
) -> None:
    toml = make_field(2)
    field, path = read_field(toml), day_file(toml, 1)
    store, text = Store(field.database), path.read_text()
    lines = text.splitlines(keepends=True)
    path.write_text("".join(lines[:1000]))
    disturbed(path, lambda: path.write_text(text))
    first = reading.read_exports(field, store, clock)
    assert [one.state for one in first.files] == ["stored", "growing"]
    half = stored_rows(store)
    assert [one.state for one in reading.read_exports(field, store, clock).files] == ["stored"]
    assert stored_rows(store) == half + len(lines) - 1


def test_an_export_that_may_not_be_read_is_told_each_time_and_read_once_it_may(
    make_field: MakeField, day_file: DayFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    toml = make_field(2)
    field, path = read_field(toml), day_file(toml, 1)
    store, real = Store(field.database), Path.open

    def refused(self: Path, *others: Any, **named: Any) -> Any:
        # In the place of a right that is missing: tests may run as root, who is refused nothing.
        if self == path:
            raise PermissionError(13, "Permission denied")
        return real(self, *others, **named)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "open", refused)
        for stored in (1, 0):
            told = reading.read_exports(field, store, clock)
            assert told.count("stored") == stored
            (one,) = [outcome for outcome in told.files if outcome.state == "refused"]
            assert "Permission denied" in (one.reason or "")
    assert reading.read_exports(field, store, clock).count("stored") == 1
