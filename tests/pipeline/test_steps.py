"""The steps of a night: what each took and came to, in the database and in the log."""

import json
import logging
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline import nights, reading
from nightgauge.pipeline.steps import LOGGED, Steps, kept_step
from nightgauge.store import Store

FIRST = datetime(2026, 5, 1, tzinfo=UTC)
MakeField = Callable[..., Path]


def ticking(step_s: float = 2.0) -> Callable[[], datetime]:
    """Return a clock that has moved on by so much each time somebody looks."""
    ticks = iter(range(1_000_000))
    return lambda: datetime(2026, 11, 1, tzinfo=UTC) + timedelta(seconds=step_s * next(ticks))


@pytest.fixture
def heard() -> Iterator[list[logging.LogRecord]]:
    """Listen to what the steps tell the log."""
    records: list[logging.LogRecord] = []

    class Ear(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            records.append(record)

    log, ear = logging.getLogger(LOGGED), Ear()
    log.addHandler(ear)
    log.setLevel(logging.INFO)
    yield records
    log.removeHandler(ear)
    log.setLevel(logging.NOTSET)


def one_night(toml: Path, days: int) -> Field:
    field = read_field(toml)
    reading.read_exports(field, Store(field.database), ticking())
    nights.run_night(field, Store(field.database), FIRST + timedelta(days=days), ticking())
    return field


def steps_of(field: Field) -> pl.DataFrame:
    with Store(field.database).reading() as reader:
        return reader.night_steps()


def test_a_step_takes_what_the_clock_says_between_its_beginning_and_its_end() -> None:
    steps = Steps(ticking(2.0))
    with steps.step("deriving"):
        pass
    assert [(step.name, step.took_s) for step in steps.done] == [("deriving", 2.0)]


def test_a_step_that_fails_is_kept_with_what_went_wrong() -> None:
    steps = Steps(ticking())
    with pytest.raises(RuntimeError, match="no more ink"), steps.step("page"):
        raise RuntimeError("no more ink")
    assert steps.done[0].detail == {"failed": "RuntimeError: no more ink"}


def test_the_log_hears_a_step_begin_before_it_ends(heard: list[logging.LogRecord]) -> None:
    steps = Steps(ticking(), FIRST)
    with steps.step("judging") as step:
        assert [record.getMessage() for record in heard] == ["judging begins"]
        step.note(3, 2, vessels=1)
    assert heard[-1].getMessage() == "judging ends"
    assert heard[-1].facts == {  # type: ignore[attr-defined]
        "until": FIRST.isoformat(), "took_s": 2.0, "rows_in": 3, "rows_out": 2, "vessels": 1,
    }  # fmt: skip


def test_a_night_keeps_its_steps_in_their_order_with_rows_that_are_those_of_the_tables(make_field: MakeField) -> None:
    field = one_night(make_field(3, {2: 20000.0}), 3)
    kept = steps_of(field)
    assert kept["step"].to_list() == ["deriving", "reckoning", "judging", "keeping"]
    assert kept["night_id"].to_list() == [1] * 4
    assert kept["step_id"].to_list() == [1, 2, 3, 4]
    with Store(field.database).reading() as reader:
        stored = sum(
            int(reader._con.sql(f"SELECT count(*) FROM {table}").fetchall()[0][0])
            for table in ("dump_cycle", "vessel_hour", "vessel_day", "signal_hour", "well_test")
        )
        samples = int(reader._con.sql("SELECT count(*) FROM sample").fetchall()[0][0])
        events = reader.finding_events().height
    deriving, keeping = kept.row(0, named=True), kept.row(3, named=True)
    # A first night derives one span of each vessel, from all its samples.
    assert (deriving["rows_in"], deriving["rows_out"]) == (samples, stored)
    assert keeping["rows_out"] == events > 0


def test_what_was_not_judged_is_told_with_its_reason_and_vessels(make_field: MakeField) -> None:
    field = one_night(make_field(2), 2)
    (judging,) = steps_of(field).filter(pl.col("step") == "judging")["detail"]
    skipped = json.loads(judging)["skipped"]
    assert "TK-2" in skipped["needs interface level"]["vessels"]
    assert "TK-1" not in skipped["needs interface level"]["vessels"]


def test_a_night_that_fails_keeps_the_steps_it_came_to(make_field: MakeField, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("the scale is bent")

    monkeypatch.setattr(nights, "reckon", broken)
    toml = make_field(1)
    with pytest.raises(RuntimeError, match="the scale is bent"):
        one_night(toml, 1)
    kept = steps_of(read_field(toml))
    assert kept["step"].to_list() == ["deriving", "reckoning"]
    assert json.loads(kept["detail"][1]) == {"failed": "RuntimeError: the scale is bent"}


def test_the_reading_of_a_run_is_kept_with_what_was_left_alone_and_what_was_refused(make_field: MakeField) -> None:
    field = one_night(make_field(2), 2)
    (field.folder / "streams" / "junk.csv").write_text("colour,size\nred,3\n")
    store = Store(field.database)
    with kept_step(store, ticking(), "reading") as step:
        reading.note_reading(step, reading.read_exports(field, store, ticking()))
    last = steps_of(field).row(-1, named=True)
    assert (last["step_id"], last["night_id"], last["step"], last["rows_in"]) == (5, None, "reading", 0)
    detail = json.loads(last["detail"])
    assert detail["unchanged"] == 2
    assert detail["exports"] == {"refused": 1}
    assert "junk.csv" in next(iter(detail["not_read"]))


def test_a_step_of_a_run_that_fails_is_kept_and_its_error_goes_on(make_field: MakeField) -> None:
    field = one_night(make_field(1), 1)
    with pytest.raises(OSError, match="no paper"), kept_step(Store(field.database), ticking(), "page"):
        raise OSError("no paper")
    last = steps_of(field).row(-1, named=True)
    assert (last["step"], json.loads(last["detail"])) == ("page", {"failed": "OSError: no paper"})
