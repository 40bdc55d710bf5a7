"""Many dumps as few marks: each shown, or its neighbours' median and range; one far off flattens nothing."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from nightgauge.report.charts import Layer
from nightgauge.report.dumps import dump_layers
from nightgauge.report.valve import ValveView

START = datetime(2026, 5, 1, tzinfo=UTC)
MakeView = Callable[..., ValveView]


def _layers(make_valve_view: MakeView, drain_s: list[float], unit: str = "s") -> dict[str, Layer]:
    view = make_valve_view()
    times = [START + timedelta(minutes=10 * at) for at in range(len(drain_s))]
    cycles = pl.DataFrame({"opened_utc": times, "drain_s": drain_s}).with_columns(
        pl.col("opened_utc").cast(pl.Datetime("us", "UTC"))
    )
    scene = type(view.scene)(**{**view.scene.__dict__, "cycles": cycles})
    made = dump_layers(scene, "drain_s", unit, (START, START + timedelta(minutes=10 * len(drain_s))))
    return {layer.kind: layer for layer in made}


def test_few_dumps_are_a_dot_each(make_valve_view: MakeView) -> None:
    made = _layers(make_valve_view, [200.0, 210.0, 205.0])
    assert made.keys() == {"points"}
    assert made["points"].columns["y"] == [200.0, 210.0, 205.0]


def test_many_dumps_are_medians_with_their_lowest_and_highest(make_valve_view: MakeView) -> None:
    values = [200.0 + (37 * at) % 50 for at in range(2800)]  # 20 dumps to each of 140 columns
    made = _layers(make_valve_view, values)
    first = sorted(values[:20])
    assert made["points"].columns["y"][0] == pytest.approx((first[9] + first[10]) / 2)
    assert (made["range"].columns["y"][0], made["range"].columns["y2"][0]) == (first[0], first[-1])
    assert len(made["points"].columns["y"]) == 140
    assert made["points"].columns["found"][0].startswith("median of 20 dumps")


def test_one_dump_far_off_stands_at_the_edge_with_its_true_number(make_valve_view: MakeView) -> None:
    made = _layers(make_valve_view, [200.0 + at % 10 for at in range(100)] + [90_000.0])
    assert max(made["points"].columns["y"]) == 209.0
    (edge,) = made["outside"].columns["y"]
    assert 209.0 < edge < 300.0
    assert made["outside"].columns["found"] == ["25 h"]


def test_long_times_can_be_drawn_in_minutes(make_valve_view: MakeView) -> None:
    assert _layers(make_valve_view, [1200.0, 1260.0], "min")["points"].columns["y"] == [20.0, 21.0]


def test_a_number_nobody_knows_gives_no_layer(make_valve_view: MakeView) -> None:
    scene = make_valve_view().scene
    assert dump_layers(scene, "pressure_kpag", "kPag", (START, START + timedelta(days=7))) == ()
