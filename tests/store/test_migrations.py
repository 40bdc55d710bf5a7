"""Numbered steps lead from nothing to the schema that the frames declare, and refuse what they do not know."""

import re
from pathlib import Path
from typing import Any

import duckdb
import pytest

from nightgauge.errors import StoreDamaged, StoreError, StoreMissing, StoreNewer
from nightgauge.store import Store, Writer, migrations
from nightgauge.store.migrations import MIGRATIONS, Migration
from nightgauge.store.schema import TABLES, create_statements


def columns_of(connection: duckdb.DuckDBPyConnection) -> list[tuple[str, str, str]]:
    """Return table, column and type of every table but the record of steps, columns in their order."""
    found = connection.sql(
        """SELECT table_name, column_name, data_type FROM duckdb_columns()
        WHERE NOT internal AND table_name IN (SELECT table_name FROM duckdb_tables())
            AND table_name <> 'migration' ORDER BY table_name, column_index"""
    )
    return found.fetchall()


def test_the_migrated_schema_is_the_one_the_frames_declare(writer: Writer) -> None:
    with duckdb.connect(":memory:") as declared:
        for statement in create_statements():
            declared.execute(statement)
        expected = set(columns_of(declared))
    found = set(columns_of(writer._con))
    missing = [f'ALTER TABLE {t} ADD COLUMN "{c}" {kind};' for t, c, kind in sorted(expected - found)]
    assert not missing, "a frame changed: add a step to store/steps and migrations.py with\n" + "\n".join(missing)
    assert found == expected


def test_every_frame_has_a_table(writer: Writer) -> None:
    assert {frame.name for frame in TABLES} == {table for table, _, _ in columns_of(writer._con)}


def test_steps_are_numbered_without_gaps() -> None:
    assert [step.number for step in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))


def test_step_files_stand_in_the_order_of_their_numbers() -> None:
    names = sorted(path.name for path in (Path(migrations.__file__).parent / "steps").glob("*.sql"))
    assert [int(re.match(r"\d{4}", name)[0]) for name in names] == [step.number for step in MIGRATIONS]  # type: ignore[index]


def test_each_step_is_recorded_once(store: Store) -> None:
    with store.writing() as w:
        assert [row[:2] for row in w._con.sql("SELECT number, name FROM migration").fetchall()] == [
            (step.number, step.name) for step in MIGRATIONS
        ]


@pytest.fixture
def _next_step(monkeypatch: pytest.MonkeyPatch) -> None:
    def add_column(con: duckdb.DuckDBPyConnection) -> None:
        con.execute("ALTER TABLE well_test ADD COLUMN flow_m3_per_day DOUBLE")

    step = Migration(len(MIGRATIONS) + 1, "gas of well tests", add_column)
    monkeypatch.setattr(migrations, "MIGRATIONS", (*MIGRATIONS, step))
    monkeypatch.setattr(migrations, "NEWEST", step.number)


def test_an_older_database_is_brought_up_to_date_by_a_writer_with_its_rows(
    store: Store, make: Any, request: pytest.FixtureRequest
) -> None:
    with store.writing() as w:
        w.land(make.export(), make.parsed([(1, 0, 1.0, "good")]), make.read_at)
    request.getfixturevalue("_next_step")
    with store.writing() as w:
        assert "flow_m3_per_day" in w._con.sql("FROM well_test").columns
    with store.reading() as r:
        assert r.vessel_samples("V-1", make.at(0), make.at(1)).height == 1


def test_an_older_database_is_not_read_before_a_night_has_brought_it_up_to_date(
    store: Store, request: pytest.FixtureRequest
) -> None:
    request.getfixturevalue("_next_step")
    with pytest.raises(StoreError, match=r"older version of the program .* run the nightly flow once"), store.reading():
        pass


def test_a_step_that_fails_leaves_the_schema_as_it_was(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(con: duckdb.DuckDBPyConnection) -> None:
        con.execute("DROP TABLE sample")
        raise RuntimeError("the step broke")

    step = Migration(len(MIGRATIONS) + 1, "breaks", fail)
    with monkeypatch.context() as patch:
        patch.setattr(migrations, "MIGRATIONS", (*MIGRATIONS, step))
        patch.setattr(migrations, "NEWEST", step.number)
        with pytest.raises(RuntimeError, match="the step broke"), store.writing():
            pass
    with store.reading() as r:
        assert r.data_span("V-1") is None


@pytest.mark.parametrize("door", ["reading", "writing"])
def test_a_newer_database_is_neither_read_nor_written(store: Store, door: str) -> None:
    with store.writing() as w:
        w._con.execute("INSERT INTO migration VALUES (999, 'from the future', now())")
    with pytest.raises(StoreNewer, match="schema 999"), getattr(store, door)():
        pass


@pytest.mark.parametrize("door", ["reading", "writing"])
def test_somebody_elses_database_is_left_alone(tmp_path: Path, door: str) -> None:
    path = tmp_path / "other.duckdb"
    with duckdb.connect(path) as other:
        other.execute("CREATE TABLE accounts (name VARCHAR)")
    with (
        pytest.raises(StoreDamaged, match="not one of this program: it has tables like accounts"),
        getattr(Store(path), door)(),
    ):
        pass


def test_an_empty_database_counts_as_none(tmp_path: Path) -> None:
    path = tmp_path / "empty.duckdb"
    duckdb.connect(path).close()
    with pytest.raises(StoreMissing, match="no night has run"), Store(path).reading():
        pass
