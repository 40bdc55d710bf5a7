"""What every detector keeps to: the same answer twice, no look-ahead, nothing said of nothing."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from nightgauge.detect import DETECTORS, READ, find
from nightgauge.errors import ProgrammerError
from nightgauge.field.settings import Outage
from nightgauge.vocabulary.frames import DUMP_CYCLES, SIGNAL_HOURS, VESSEL_DAYS, VESSEL_HOURS
from nightgauge.vocabulary.kinds import KINDS
from nightgauge.vocabulary.signals import SIGNALS

EVERY = pytest.mark.parametrize("detector", DETECTORS, ids=lambda d: d.__module__.rpartition(".")[2])


@pytest.fixture
def troubled(sound_snap):
    """Return a vessel with something for most detectors: a stuck float, a drift, a frozen reading, bad carryover."""
    made = sound_snap(days=35, last_dump_h=24 * 33.0)
    late = made.t > 24 * 33
    columns = made.signals["interface_level"]
    for name in ("mean", "minimum", "maximum"):
        columns[name] = np.where(late, 1.5, columns[name])
    move = np.clip((made.t / 24 - 20) * 2.0, 0, None)
    made.signal("vessel_pressure", 310.0 + move + made.noise(1.0), 4.0).hours(oil_hold_kpag=310.0 + move)
    made.signal("inlet_pressure", 335.0 + move, 3.0)
    made.hours(water_in_oil_fraction=np.where(made.t > 24 * 28, 0.3, 0.02) + 0.002 * np.sin(made.t))
    made.signal("temperature", 35.0, 0.0, coverage=np.where(made.t > 24 * 30, 0.0, 1.0))
    return made


@EVERY
def test_the_same_history_gives_the_same_findings(detector, troubled):
    assert detector(troubled.history()) == detector(troubled.history())


@EVERY
def test_rows_after_the_night_are_never_read(detector, troubled):
    until_h = 24 * 33.0 + 12
    whole = troubled.history(until_h)
    end = whole.until
    cut = replace(
        whole,
        cycles=whole.cycles.filter(pl.col("opened_utc") < end),
        hours=whole.hours.filter(pl.col("hour_utc") < end),
        days=whole.days.filter(pl.col("day") < end.date() + timedelta(days=1)),
        signal_hours=whole.signal_hours.filter(pl.col("hour_utc") < end),
    )
    assert detector(whole) == detector(cut)


@EVERY
def test_the_columns_that_histories_are_read_by_are_enough(detector, troubled):
    whole = troubled.history()
    narrow = replace(whole, **{name: getattr(whole, name).select(columns) for name, columns in READ.items()})
    assert detector(narrow) == detector(whole)


def test_a_column_that_histories_are_not_read_by_is_refused_even_where_it_is_there(troubled):
    history = troubled.history()
    for ask in (history.hour, history.day, lambda name: history.signal("vessel_pressure", name)):
        with pytest.raises(ProgrammerError, match="oil_total is not among"):
            ask("coverage_oil_total")


@EVERY
def test_a_past_shifted_in_time_gives_findings_shifted_in_time(detector, troubled):
    by = timedelta(days=70)
    history = troubled.history()
    moved = replace(
        history,
        cycles=history.cycles.with_columns(pl.col("opened_utc", "shut_utc") + by),
        hours=history.hours.with_columns(pl.col("hour_utc") + by),
        days=history.days.with_columns(pl.col("day") + by),
        signal_hours=history.signal_hours.with_columns(pl.col("hour_utc") + by),
        until=history.until + by,
    )
    here = [(c.kind, c.element, c.onset + by, c.last_seen + by, c.confidence) for c in detector(history)]
    assert [(c.kind, c.element, c.onset, c.last_seen, c.confidence) for c in detector(moved)] == here


@EVERY
@pytest.mark.parametrize("days", [0, 1])
def test_nothing_or_a_single_day_says_nothing(detector, past, days):
    made = past(days=max(days, 1))
    history = made.signal("interface_level", 1.1, 0.05).hours(dumps=1.0).dumps([5.0]).history()
    if days == 0:
        history = replace(
            history, cycles=DUMP_CYCLES.empty(), hours=VESSEL_HOURS.empty(), days=VESSEL_DAYS.empty(),
            signal_hours=SIGNAL_HOURS.empty(),
        )  # fmt: skip
    assert detector(history) == []


@EVERY
def test_columns_without_a_single_value_say_nothing(detector, past):
    made = past(days=20)
    for name, signal in SIGNALS.items():
        if signal.kind != "text":
            made.signal(name, np.nan, np.nan, coverage=np.nan, samples=0, changes=0)
    assert detector(made.hours(coverage=np.nan).history()) == []


@EVERY
def test_signals_that_never_change_say_nothing(detector, past):
    made = past(days=30)
    for name, signal in SIGNALS.items():
        if signal.kind != "text":
            made.signal(name, 1.0, 0.0, changes=0)
    made.hours(dumps=0, water_load_m3_per_day=100.0, oil_hold_kpag=310.0, water_in_oil_fraction=0.02)
    assert detector(made.history()) == []


@EVERY
def test_a_sound_vessel_has_no_finding(detector, sound_snap, sound_throttling):
    assert detector(sound_snap(days=42).history()) == []
    assert detector(sound_throttling(days=42).history()) == []


@EVERY
def test_a_vessel_out_of_service_is_not_judged(detector, sound_snap):
    made = sound_snap(days=30, last_dump_h=24 * 20.0)
    start = made.history().when(made.history().start_s + 24 * 20 * 3600)
    made.outages = (Outage("V1", start, start + timedelta(days=10)),)
    made.signal("vessel_pressure", np.where(made.t > 24 * 20, 0.0, 310.0), 3.0)
    made.hours(oil_hold_kpag=np.where(made.t > 24 * 20, 0.0, 310.0))
    assert detector(made.history()) == []


def test_every_finding_carries_what_a_reader_needs(troubled):
    judgement = find(troubled.history())
    assert {"float_stuck_closed", "oil_valve_setpoint_drift"} <= {c.kind for c in judgement.candidates}
    for candidate in judgement.candidates:
        kind = KINDS[candidate.kind]
        assert candidate.onset <= candidate.last_seen <= troubled.history().until
        assert 0.0 < candidate.confidence < 1.0
        assert candidate.summary.endswith(".")
        assert candidate.evidence
        assert candidate.checks == (*kind.checks, *kind.cautions)
        assert kind.cautions


def test_nothing_ever_says_healthy_or_safe_to_open():
    words = " ".join(" ".join((k.says, k.looks_for, k.fewer, *k.checks, *k.cautions)) for k in KINDS.values()).lower()
    assert not any(word in words for word in ("healthy", "safe to open", " ok "))


def test_a_limit_of_field_toml_changes_the_judgement_and_is_named(sound_snap):
    made = sound_snap(days=28)
    opened = np.asarray(made.cycles["opened"])
    for name in ("opening_level_m", "closing_level_m"):
        made.cycles[name] = made.cycles[name] + np.where(opened > 24 * 22, 0.03, 0.0)
    assert [c.kind for c in find(made.history()).candidates] == ["interface_setpoint_step"]
    made.limits = {"interface_setpoint_drift": {"least_move": 0.1}, "interface_setpoint_step": {"least_move": 0.1}}
    assert find(made.history()).candidates == ()
    made.limits = {"interface_setpoint_drift": {"least_move": 0.015}, "interface_setpoint_step": {"least_move": 0.015}}
    (found,) = find(made.history()).candidates
    assert "Limits set in field.toml: least_move" in found.summary
