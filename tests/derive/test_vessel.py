from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nightgauge.derive import CONTEXT, derive_vessel
from nightgauge.errors import ProgrammerError
from nightgauge.field.settings import Vessel, WaterDump
from nightgauge.vocabulary.frames import (
    DUMP_CYCLES,
    SIGNAL_HOURS,
    VESSEL_DAYS,
    VESSEL_HOURS,
    VESSEL_SAMPLES,
    WELL_TESTS,
)
from nightgauge.vocabulary.signals import SIGNALS

START = datetime(2026, 3, 2, tzinfo=UTC)
FRAMES = {
    "cycles": (DUMP_CYCLES, "opened_utc"),
    "hours": (VESSEL_HOURS, "hour_utc"),
    "days": (VESSEL_DAYS, "day"),
    "signal_hours": (SIGNAL_HOURS, "hour_utc"),
    "tests": (WELL_TESTS, "start_utc"),
}


@pytest.fixture(scope="module")
def week(builders):
    """Six days of a vessel with everything that could reach from day to day: slow dumps, gaps, wells, gas, a reset."""
    rng = np.random.default_rng(12)
    saw = builders.saw(rng.uniform(20.0, 60.0, 130).tolist())
    samples = saw.samples("interface_level", "water_total", "water_dump_open", period_s=60.0, noise_m=0.002)
    when = np.arange(0.0, 6 * 86400.0, 120.0)
    names = np.where((when // 40_000) % 2 == 0, "A", "B").tolist()
    more = [
        builders.signal(
            "vessel_pressure", (300 + 5 * np.sin(when / 7000) + rng.standard_normal(when.size)).tolist(), times_s=when
        ),
        builders.signal("oil_rate", (100 + 40 * np.sin(when / 9000)).tolist(), times_s=when),
        builders.signal("gas_rate", np.maximum(5000 * np.sin(when / 30_000), 0.0).tolist(), times_s=when),
        builders.signal("well_on_test", names, times_s=when),
        builders.signal("temperature", (40 + np.sin(when / 50_000)).tolist(), times_s=when),
    ]
    together = pl.concat([samples, *more]).filter(pl.col("time_utc") < START + timedelta(days=6))
    hole = pl.col("time_utc").is_between(START + timedelta(days=3.4), START + timedelta(days=3.7))
    reset = (pl.col("signal") == "water_total") & (pl.col("time_utc") > START + timedelta(days=4.2))
    lost = together.filter((pl.col("signal") == "water_total") & (pl.col("time_utc") < START + timedelta(days=4.2)))[
        "value"
    ].max()
    return VESSEL_SAMPLES.build(
        together.filter(~hole).with_columns(
            pl.when(reset).then(pl.col("value") - lost).otherwise("value").alias("value")
        )
    )


def run(make_field, vessel, samples, start, until, earlier=None):
    past = VESSEL_DAYS.empty() if earlier is None else earlier
    return derive_vessel(vessel, make_field(vessel), samples.filter(pl.col("time_utc") < until), start, until, past)


def rows_from(derived, start):
    """The rows of each frame that begin at or after a time."""
    found = {}
    for name, (_, key) in FRAMES.items():
        frame = getattr(derived, name)
        found[name] = frame.filter(pl.col(key) >= (start.date() if key == "day" else start))
    return found


@pytest.mark.parametrize("day", [2, 3, 4, 5])
def test_rows_are_the_same_to_the_bit_wherever_the_deriving_began(week, make_field, knockout, day):
    start, until = START + timedelta(days=day), START + timedelta(days=6)
    whole = run(make_field, knockout, week, START, until)
    context = week.filter(pl.col("time_utc") >= start - CONTEXT)
    late = run(make_field, knockout, context, start, until, earlier=whole.days.filter(pl.col("day") < start.date()))
    for name, rows in rows_from(whole, start).items():
        assert rows.equals(getattr(late, name)), name


def test_a_day_is_final_once_the_next_one_is_over(week, make_field, knockout):
    start = START + timedelta(days=3)
    then = run(make_field, knockout, week, START, start + timedelta(days=2))
    later = run(make_field, knockout, week, START, START + timedelta(days=6))
    for name, rows in rows_from(later, start).items():
        key = FRAMES[name][1]
        end = start + timedelta(days=1)
        before = pl.col(key) < (end.date() if key == "day" else end)
        assert rows.filter(before).equals(rows_from(then, start)[name].filter(before)), name


def test_nothing_after_until_is_looked_at(week, make_field, knockout):
    until = START + timedelta(days=3)
    seen = run(make_field, knockout, week, START, until)
    unseen = derive_vessel(knockout, make_field(knockout), week, START, until, VESSEL_DAYS.empty())
    for name in FRAMES:
        assert getattr(seen, name).equals(getattr(unseen, name)), name


def test_the_order_of_rows_does_not_matter(week, make_field, knockout):
    until = START + timedelta(days=2)
    straight = run(make_field, knockout, week, START, until)
    shuffled = run(make_field, knockout, week.sample(fraction=1.0, shuffle=True, seed=3), START, until)
    for name in FRAMES:
        assert getattr(straight, name).equals(getattr(shuffled, name)), name


def test_a_shift_by_whole_days_shifts_the_rows(week, make_field, knockout):
    by, until = timedelta(days=28), START + timedelta(days=2)
    here = run(make_field, knockout, week, START, until)
    there = run(make_field, knockout, week.with_columns(pl.col("time_utc") + by), START + by, until + by)
    shifted = here.cycles.with_columns(pl.col("opened_utc", "shut_utc") + by)
    assert shifted.equals(there.cycles)
    assert here.hours.with_columns(pl.col("hour_utc") + by).equals(there.hours)


def test_frames_have_their_columns_types_and_order(week, make_field, knockout):
    found = run(make_field, knockout, week, START, START + timedelta(days=2))
    for name, (frame, _) in FRAMES.items():
        rows = frame.check(getattr(found, name))
        assert rows.height > 0, name
        assert rows.equals(rows.sort(frame.order, maintain_order=True)), name


def test_a_frame_of_other_columns_is_a_bug(make_field, knockout):
    with pytest.raises(ProgrammerError, match="vessel_samples"):
        derive_vessel(knockout, make_field(knockout), VESSEL_DAYS.empty(), START, START, VESSEL_DAYS.empty())


BARE = Vessel(id="T-1", service="separator")
odd_values = st.sampled_from(["none", "bad", "null", "constant", "zero", "huge", "two levels"])


def odd_samples(signal_samples, kind, count):
    parts = [VESSEL_SAMPLES.empty()]
    for name, signal in SIGNALS.items():
        if kind == "none" or count == 0:
            continue
        values = {
            "null": [None] * count,
            "zero": [0.0] * count,
            "huge": [1e12] * count,
            "two levels": [float(k % 2) for k in range(count)],
        }.get(kind, [1.0] * count)
        if signal.kind == "text":
            values = ["A"] * count
        flags = ["bad"] * count if kind == "bad" else None
        parts.append(signal_samples(name, values, period_s=1800.0, flags=flags))
    return pl.concat(parts)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(kind=odd_values, count=st.integers(0, 60), is_bare=st.booleans(), hours=st.floats(0.1, 50.0))
def test_odd_input_gives_every_hour_and_never_raises(signal_samples, derive, knockout, kind, count, is_bare, hours):
    found = derive(odd_samples(signal_samples, kind, count), BARE if is_bare else knockout, hours=hours)
    assert found.hours.height == int(np.ceil(hours))
    assert found.days.height == int(np.ceil(hours / 24))
    for frame in (found.hours, found.days, found.cycles, found.signal_hours):
        numbers = frame.select(pl.selectors.float())
        assert not numbers.select(pl.any_horizontal(pl.all().is_nan().any())).item()


def test_no_time_gives_no_rows(make_field, knockout):
    found = derive_vessel(knockout, make_field(knockout), VESSEL_SAMPLES.empty(), START, START, VESSEL_DAYS.empty())
    assert [getattr(found, name).height for name in FRAMES] == [0] * 5


def test_settings_change_from_their_date_on(make_saw, derive, knockout):
    raised = WaterDump(action="snap", opens_at_m=1.30, closes_at_m=1.20, valid_from=START + timedelta(days=1))
    first = WaterDump(action="snap", opens_at_m=1.12, closes_at_m=1.02)
    dated = replace(knockout, water_dump=(first, raised))
    samples = make_saw([300.0] * 330).samples("interface_level", "water_dump_open", period_s=60.0)
    above = derive(samples, dated, hours=48).days["above_opening_s"].to_list()
    assert above[1] == 0.0
    assert above[0] > 0.0
