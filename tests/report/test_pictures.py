"""Each kind's picture: what it draws, in the field's units, on the field's clock."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from nightgauge.report.charts import alternative, specification
from nightgauge.report.pictures import Picture, picture, picture_window
from nightgauge.report.scene import Scene
from nightgauge.report.weekly import WeekView
from nightgauge.vocabulary.kinds import KINDS

MakeView = Callable[..., WeekView]
STUCK_SINCE = datetime(2026, 5, 22, 10, 10, tzinfo=UTC)


@pytest.fixture(scope="module")
def view(make_view: MakeView) -> WeekView:
    return make_view()


def _scene(view: WeekView, finding_id: str, **over: object) -> Scene:
    row = view.findings.row(by_predicate=pl.col("id") == finding_id, named=True) | over
    vessel = view.field.vessel(row["vessel"])
    assert vessel is not None
    of_vessel = pl.col("vessel") == vessel.id
    return Scene(
        finding=row, vessel=vessel, field=view.field, until=view.until.astimezone(UTC),
        days=view.days.filter(of_vessel),
        hours=view.hours.filter(of_vessel), cycles=view.cycles.filter(of_vessel), trace=view.traces.get(finding_id),
    )  # fmt: skip


def _made(scene: Scene) -> Picture:
    made = picture(scene)
    assert made is not None
    return made


def test_a_stuck_float_shows_level_settings_dumps_and_onset(view: WeekView) -> None:
    made = _made(_scene(view, "F001"))
    (chart,) = made.charts
    assert made.title == "The interface passes the opening level and no dump follows"
    assert [mark.words for mark in chart.marks] == ["opens 46.0 in", "shuts 42.0 in"]
    assert [layer.kind for layer in chart.layers] == ["line", "strip"]
    assert max(y for y in chart.layers[0].columns["y"] if y is not None) == pytest.approx(66.0)  # 20 in above 46 in
    assert chart.onset_words == "since Fri 04:10"


def test_times_are_drawn_on_the_clock_of_the_field(view: WeekView) -> None:
    (chart,) = _made(_scene(view, "F001")).charts
    data = specification(chart)["datasets"]
    # 10:10 UTC is 04:10 on Denver's summer clock.
    assert datetime.fromtimestamp(data["turn0"]["t"][0] / 1000, UTC) == datetime(2026, 5, 22, 4, 10, tzinfo=UTC)


def test_bad_samples_leave_a_gap_and_not_a_line(view: WeekView) -> None:
    (chart,) = _made(_scene(view, "F001")).charts
    assert None in chart.layers[0].columns["y"]


def test_a_dump_that_is_still_open_is_drawn_to_the_edge(view: WeekView) -> None:
    scene = _scene(view, "F001")
    under_way = scene.cycles.tail(1).with_columns(shut_utc=pl.lit(None, dtype=pl.Datetime("us", "UTC")))
    chart = _made(Scene(**{**scene.__dict__, "cycles": under_way})).charts[0]
    (strip,) = [layer for layer in chart.layers if layer.kind == "strip"]
    data = specification(chart)["datasets"]["axes"]["t"]
    assert strip.columns["t2"] == [data[1]]


def test_without_a_level_the_dumps_of_each_hour_speak(view: WeekView) -> None:
    scene = _scene(view, "F001")
    made = _made(Scene(**{**scene.__dict__, "trace": None}))
    assert made.title == "Dumps of each hour around the onset"


def test_a_drift_shows_its_band_of_usual_days_and_its_setting(view: WeekView) -> None:
    made = _made(_scene(view, "F002"))
    (chart,) = made.charts
    assert made.title == "The oil valve’s hold has sunk"
    assert [layer.kind for layer in chart.layers] == ["band", "points"]
    assert [mark.words for mark in chart.marks] == ["set 45.0 psig"]
    low, high = chart.layers[0].columns["y"][0], chart.layers[0].columns["y2"][0]
    before = [
        y
        for y, said in zip(chart.layers[1].columns["y"], chart.layers[1].columns["when"], strict=True)
        if "Apr" in said
    ]
    assert sum(low <= y <= high for y in before) / len(before) == pytest.approx(0.8, abs=0.15)


def test_few_days_before_the_onset_give_no_band(view: WeekView) -> None:
    made = _made(_scene(view, "F002", onset=datetime(2026, 4, 15, 6, tzinfo=UTC)))
    assert [layer.kind for layer in made.charts[0].layers] == ["points"]


def test_retention_shows_the_requirement_and_the_hours_short(view: WeekView) -> None:
    retention, short = _made(_scene(view, "F003")).charts
    assert [layer.kind for layer in retention.layers] == ["area_below", "line", "dashed_line"]
    assert retention.y_domain == (0.0, 24.0)  # three times the 8 min required
    assert short.y_domain == (0.0, 24.0)  # hours of a day
    below = [y for y in retention.layers[0].columns["y"] if y is not None]
    assert below
    assert max(below) < 8.0


@pytest.mark.parametrize("kind", sorted(kind for kind in KINDS if not kind.startswith("anode_")))  # in test_anodes
def test_every_kind_has_a_picture_that_can_be_specified(view: WeekView, kind: str) -> None:
    element = "instrument:interface_level" if kind.startswith("instrument_") else "water_dump"
    made = _made(_scene(view, "F001", kind=kind, element=element))
    for chart in made.charts:
        spec = specification(chart)
        assert {part["data"]["name"] for part in spec["layer"]} == set(spec["datasets"])
        assert made.title in alternative(chart, made.title)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_window_of_samples_never_reaches_past_until(view: WeekView, kind: str) -> None:
    until = STUCK_SINCE + timedelta(hours=1)
    window = picture_window({"kind": kind, "onset": STUCK_SINCE}, until)
    assert window is None or window[0] < STUCK_SINCE < window[1] <= until


def test_marks_closer_than_a_line_of_text_share_one_label(view: WeekView) -> None:
    scene = _scene(view, "F002")
    (chart,) = _made(scene).charts
    near = tuple(type(chart.marks[0])(45.0 + at / 1000, f"set {at}") for at in range(2))
    spec = specification(type(chart)(**{**chart.__dict__, "marks": near}))
    (axis,) = [part["encoding"]["y"]["axis"] for part in spec["layer"] if part["data"]["name"] == "marks"]
    assert axis["values"] == [45.0]
    assert "set 0, set 1" in axis["labelExpr"]
    assert spec["datasets"]["marks"]["y"] == [45.0, 45.001]  # both lines are drawn


def _turned(view: WeekView, ended: datetime | None, onset: datetime = datetime(2026, 5, 9, 6, tzinfo=UTC)) -> list[Any]:
    """Return words and side of the thin lines of a daily picture, in order of time."""
    (chart,) = _made(_scene(view, "F002", onset=onset, cleared_at=ended)).charts
    spec = specification(chart)
    sides = {layer["data"]["name"]: layer["mark"]["align"] for layer in spec["layer"]
             if layer["mark"]["type"] == "text" and layer["data"]["name"].startswith("turn")}  # fmt: skip
    return [(spec["datasets"][name]["words"][0], sides.get(name)) for name in sorted(spec["datasets"])
            if name.startswith("turn")]  # fmt: skip


def test_words_of_onset_and_end_never_lie_over_each_other(view: WeekView) -> None:
    # The picture runs from 13 April to 24 May, 42 days: 0.3 of it are 12.6 days.
    assert _turned(view, None) == [("since 9 May", "center")]
    assert _turned(view, datetime(2026, 5, 10, 6, tzinfo=UTC)) == [("since 9 May", "right"), ("cleared", "left")]
    assert _turned(view, datetime(2026, 5, 23, 6, tzinfo=UTC)) == [("since 9 May", "center"), ("cleared", "right")]
    at_once = _turned(view, datetime(2026, 5, 24, 6, tzinfo=UTC), datetime(2026, 5, 22, 6, tzinfo=UTC))
    assert at_once == [("since Fri 00:00, cleared", "right"), ("", None)]
    early = _turned(view, datetime(2026, 4, 16, 6, tzinfo=UTC), datetime(2026, 4, 15, 6, tzinfo=UTC))
    assert early == [("", None), ("since 15 Apr, cleared", "left")]


def test_a_drifting_pressure_reading_is_shown_over_the_weeks_with_the_load_taken_out(view: WeekView) -> None:
    made = _made(_scene(view, "F002", kind="instrument_drift", element="instrument:vessel_pressure"))
    assert made.title == "The pressure reading has sunk"
    assert [layer.kind for layer in made.charts[0].layers] == ["band", "points"]


def test_a_throttling_vessel_is_drawn_by_its_water_where_others_are_by_their_dumps(view: WeekView) -> None:
    made = _made(_scene(view, "F003", kind="unusual_day"))
    assert made.charts[0].y_title == "water, bbl/day"


def test_a_leak_is_drawn_as_what_leaves_in_the_time_the_dump_was_shut(view: WeekView) -> None:
    scene = _scene(view, "F005")
    late = pl.col("day") >= pl.date(2026, 5, 9)
    # 5 bbl and 50 bbl in half a day shut are 10 and 100 bbl/day; a day shut for a minute says nothing.
    days = scene.days.with_columns(
        leak_m3=pl.when(late).then(50 * 0.158987294928).otherwise(5 * 0.158987294928),
        shut_s=pl.when(pl.col("day") == pl.date(2026, 5, 1)).then(60.0).otherwise(43200.0),
    )
    made = _made(replace(scene, days=days))
    assert made.title == "Water that leaves while the dump is shut has risen"
    (dots,) = [layer for layer in made.charts[0].layers if layer.kind == "points"]
    # 26 days from 13 April to 8 May but for the 1st, and 16 days to 24 May.
    assert dots.columns["y"] == pytest.approx([10.0] * 25 + [100.0] * 16)


def test_without_a_gas_meter_the_scrubbers_dumps_are_counted_by_the_day(view: WeekView) -> None:
    scene = _scene(view, "F002", kind="liquid_in_gas")
    late = pl.col("day") >= pl.date(2026, 5, 9)
    days = scene.days.with_columns(scrubber_dumps=pl.when(late).then(30).otherwise(4).cast(pl.Int64))
    made = _made(replace(scene, days=days))
    assert made.title == "The scrubber’s dump count has crept up"
    assert made.charts[0].y_title == "dumps"
