from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from nightgauge.derive.cycles import chosen, from_switch
from nightgauge.derive.dumps import UNSEEN
from nightgauge.derive.level_dumps import from_level
from nightgauge.derive.meter_dumps import from_meter, meter_of
from nightgauge.field.settings import WaterDump

START_S = datetime(2026, 3, 2, tzinfo=UTC).timestamp()
GAP = WaterDump(action="snap", opens_at_m=1.15, closes_at_m=1.05)


def seconds(times_us):
    return [None if t == UNSEEN else t / 1e6 - START_S for t in times_us.tolist()]


def dumps(evidence):
    return list(zip(seconds(evidence.dumps.opened_us), seconds(evidence.dumps.shut_us), strict=True))


def times_of(cycles):
    opened = cycles["opened_utc"].to_physical().to_numpy() / 1e6 - START_S
    shut = cycles["shut_utc"].to_physical().cast(pl.Float64).to_numpy() / 1e6 - START_S
    return opened, shut


def test_a_switch_tells_openings_and_shuttings_as_reported(make_track):
    found = from_switch(make_track("water_dump_open", [0, 0, 1, 1, 0, 0, 1, 0], period_s=30))
    assert dumps(found) == [(60.0, 120.0), (180.0, 210.0)]


def test_a_switch_agrees_with_a_plain_walk(make_track, naive):
    rng = np.random.default_rng(8)
    states = np.repeat(np.arange(200) % 2, rng.integers(1, 9, 200)).astype(float)
    found = from_switch(make_track("water_dump_open", states.tolist(), period_s=10))
    assert dumps(found) == naive.switch_dumps([(10.0 * k, s) for k, s in enumerate(states)])


def test_a_dump_under_way_has_no_shutting(make_track):
    assert dumps(from_switch(make_track("water_dump_open", [0, 1, 1], period_s=30))) == [(30.0, None)]


def test_an_opening_before_the_first_sample_is_not_seen(make_track):
    assert dumps(from_switch(make_track("water_dump_open", [1, 1, 0, 1, 0], period_s=30))) == [
        (None, 60.0),
        (90.0, 120.0),
    ]


def test_a_long_gap_hides_the_shutting_before_it_and_the_opening_after(make_track):
    found = from_switch(make_track("water_dump_open", [0, 1, None, 1, 0], times_s=[0, 60, 90, 4000, 4060]))
    assert dumps(found) == [(60.0, None), (None, 4060.0)]


def test_one_bad_sample_parts_no_dump(make_track):
    assert dumps(from_switch(make_track("water_dump_open", [0, 1, None, 1, 0], period_s=30))) == [(30.0, 120.0)]


def test_a_contact_that_bounces_counts_once(make_track):
    found = from_switch(make_track("water_dump_open", [0, 1, 0, 1, 0], times_s=[0, 100, 101, 102, 160]))
    assert dumps(found) == [(100.0, 160.0)]


def test_short_fills_of_a_short_cycling_valve_are_no_bounce(make_track):
    found = from_switch(make_track("water_dump_open", [0, 1, 0, 1, 0], times_s=[0, 100, 110, 125, 160]))
    assert len(dumps(found)) == 2


def test_a_switch_scanned_too_slowly_says_so(make_track):
    # Dumps of a single scan each: others fell between two scans.
    assert from_switch(make_track("water_dump_open", [0, 0, 0, 1] * 10 + [0], period_s=60)).misses
    assert not from_switch(make_track("water_dump_open", [0, 0, 1, 1, 1] * 10 + [0], period_s=60)).misses


def test_a_switch_that_reports_changes_is_not_taken_for_slow(make_track):
    times = [k * 1200 + x for k in range(12) for x in (0, 40)]
    assert not from_switch(make_track("water_dump_open", [1, 0] * 12, times_s=times)).misses


@pytest.fixture
def steady(make_saw):
    """Some 19 cycles an hour: fills of 2 to 3 minutes, dumps of 40 s."""
    rng = np.random.default_rng(6)
    return make_saw(rng.uniform(700.0, 1100.0, 200).tolist(), dump_m3_per_day=4000.0)


SIGNALS = ("water_dump_open", "water_total", "interface_level")


@pytest.mark.parametrize("signal", SIGNALS)
@pytest.mark.parametrize("period_s", [5.0, 10.0])
def test_each_evidence_alone_finds_every_dump_within_a_scan(steady, derive, signal, period_s):
    """Truth: the closed form of the tiny plant."""
    opened, shut = times_of(derive(steady.samples(signal, period_s=period_s), hours=6).cycles)
    true = steady.opened_s[steady.opened_s < 6 * 3600]
    assert opened.size == true.size
    assert np.abs(opened - true).max() <= period_s
    assert np.nanmax(np.abs(shut - steady.shut_s[: true.size])) <= period_s


def test_the_evidences_of_one_vessel_agree(steady, derive):
    samples = steady.samples(*SIGNALS, period_s=5.0)
    parts = {s: derive(samples.filter(pl.col("signal") == s), hours=6).cycles for s in SIGNALS}
    together = derive(samples, hours=6).cycles
    assert [parts[s]["evidence"].unique().to_list() for s in SIGNALS] == [["switch"], ["meter"], ["level"]]
    for part in parts.values():
        assert part.height == together.height
        assert np.abs(times_of(part)[0] - times_of(together)[0]).max() <= 5.0
    both = together.drop_nulls(["volume_geometry_m3", "volume_meter_m3"])
    assert both.height >= together.height - 2
    # Volume by geometry against the meter: a scan of 5 s in a dump of 40 s, little of which is inflow.
    ratio = (both["volume_geometry_m3"] / both["volume_meter_m3"]).to_numpy()
    assert np.abs(ratio - 1.0).max() < 0.02


@pytest.mark.parametrize("signal", SIGNALS)
def test_times_come_from_one_signal_alone(steady, derive, signal):
    samples = steady.samples(*SIGNALS, period_s=5.0)
    others = [s for s in SIGNALS if SIGNALS.index(s) > SIGNALS.index(signal)]
    alone = derive(samples.filter(pl.col("signal") == signal), hours=6).cycles
    with_others = derive(samples.filter(pl.col("signal").is_in([signal, *others])), hours=6).cycles
    assert alone.select("opened_utc", "shut_utc").equals(with_others.select("opened_utc", "shut_utc"))


@pytest.mark.parametrize("noise_m", [0.001, 0.004])
def test_noise_of_a_level_reading_moves_no_dump_by_more_than_a_few_scans(steady, derive, noise_m):
    opened, _ = times_of(derive(steady.samples("interface_level", period_s=5.0, noise_m=noise_m), hours=6).cycles)
    true = steady.opened_s[steady.opened_s < 6 * 3600]
    assert opened.size == true.size
    # Two fifths of a scan in the median; four scans where the noise is a twenty-fifth of the gap.
    assert np.abs(np.median(opened - true)) < 2.0
    assert np.abs(opened - true).max() < 20.0


def test_scans_of_a_minute_still_count_dumps_that_last_less(make_saw, derive):
    saw = make_saw([60.0, 66.0, 58.0] * 12)
    assert np.max(saw.shut_s - saw.opened_s) < 60.0
    true = int(np.sum(saw.opened_s < 86400.0))
    for signal in ("interface_level", "water_total"):
        assert derive(saw.samples(signal, period_s=60.0)).cycles.height == true


def test_a_coarse_pulse_still_counts_dumps(make_saw, derive):
    # Dumps of about 1.4 m3 and a barrel a pulse: 0.159 m3.
    saw = make_saw([500.0] * 200)
    found = derive(saw.samples("water_total", period_s=5.0, pulse_m3=0.158987294928), hours=12).cycles
    true = saw.opened_s[saw.opened_s < 12 * 3600]
    assert found.height == true.size
    assert np.abs(times_of(found)[0] - true).max() < 15.0


def test_a_wide_dead_band_still_counts_dumps(make_saw, signal_samples, derive):
    """An exception is kept when the level has moved by a fifth of the gap, or after ten minutes."""
    saw = make_saw([200.0, 220.0] * 60)
    when = saw.scan(5.0)
    level, kept = saw.level(when), [0]
    for k in range(1, when.size):
        if abs(level[k] - level[kept[-1]]) > 0.02 or when[k] - when[kept[-1]] >= 600.0:
            kept.append(k)
    found = derive(signal_samples("interface_level", level[kept].tolist(), times_s=when[kept]), hours=12).cycles
    assert found.height == int(np.sum(saw.opened_s < 12 * 3600))


def test_turning_points_alone_still_count_dumps(make_saw, signal_samples, derive):
    saw = make_saw([900.0, 1000.0] * 100)
    level = saw.level(saw.knots_s)
    found = derive(signal_samples("interface_level", level.tolist(), times_s=saw.knots_s), hours=6).cycles
    true = saw.opened_s[saw.shut_s < 6 * 3600]
    assert found.height == true.size
    # Dumps of 38 and 40 s: nothing tells how long before its trough a level that stood for minutes began to fall.
    assert np.abs(times_of(found)[0] - true).max() < 2.0


def test_a_level_too_noisy_for_its_gap_is_no_evidence(make_track):
    rng = np.random.default_rng(1)
    found = from_level(make_track("interface_level", (1.1 + 0.04 * rng.standard_normal(2000)).tolist()), GAP)
    assert found.dumps.size == 0
    assert found.known[0].size == 0


def test_a_still_level_is_evidence_of_no_dumps(make_track):
    rng = np.random.default_rng(1)
    for dump in (GAP, WaterDump()):
        found = from_level(make_track("interface_level", (1.1 + 0.001 * rng.standard_normal(2000)).tolist()), dump, 2.4)
        assert found.dumps.size == 0
        assert found.known[0].size == 1


def test_better_evidence_goes_first_and_the_next_fills_its_gaps(make_track):
    switch = from_switch(make_track("water_dump_open", [0, 1, 0, None], times_s=[0, 100, 140, 400], until_s=2000))
    level = from_level(
        make_track(
            "interface_level", [1.05, 1.15, 1.05, 1.15, 1.05, 1.15], times_s=[0, 101, 142, 900, 950, 1900], until_s=2000
        ),
        GAP,
    )
    found = chosen([switch, level])
    assert seconds(found.dumps.opened_us) == [100.0, 900.0]
    assert found.evidence == ("switch", "level")


def test_a_steady_flow_is_no_evidence_of_dumps(make_track):
    total = np.cumsum(np.full(500, 0.5) + 0.01 * np.sin(np.arange(500)))
    track = make_track("water_total", total.tolist(), period_s=10)
    found = from_meter(track, meter_of(track))
    assert found.dumps.size == 0
    assert found.known[0].size == 0


def test_a_throttling_dump_has_no_cycles_but_is_known(make_saw, derive, knockout):

    throttling = replace(knockout, water_dump=(WaterDump(action="throttling", holds_m=1.1, band_m=0.1),))
    found = derive(make_saw([2000.0] * 100).samples("interface_level", "water_total"), throttling, hours=2)
    assert found.cycles.height == 0
    assert found.hours["coverage"].to_list()[0] > 0.99
    assert found.hours["dumps"].to_list() == [None, None]


def test_a_position_in_continuous_use_makes_a_throttling_dump(signal_samples, derive, knockout):

    unset = replace(knockout, water_dump=())
    position = 0.4 + 0.1 * np.sin(np.arange(720) / 40)
    level = 1.1 + 0.05 * np.sin(np.arange(720) / 40)
    samples = pl.concat(
        [
            signal_samples("water_dump_position", position.tolist(), period_s=10),
            signal_samples("interface_level", level.tolist(), period_s=10),
        ]
    )
    assert derive(samples, unset, hours=2).cycles.height == 0
    assert derive(samples.filter(pl.col("signal") == "interface_level"), unset, hours=2).cycles.height == 3


def test_in_a_two_phase_vessel_the_float_rides_on_the_oil_level(make_saw, derive, knockout):
    saw = make_saw([600.0] * 60)
    renamed = saw.samples("interface_level").with_columns(signal=pl.lit("oil_level"))
    two_phase = replace(knockout, normal_interface_m=None)
    assert derive(renamed, two_phase, hours=2).cycles.height == int(np.sum(saw.opened_s < 7200.0))
    assert derive(renamed, knockout, hours=2).cycles.height == 0


def test_spikes_of_a_level_reading_are_no_dumps(make_saw, derive):
    saw = make_saw([500.0] * 60)
    samples = saw.samples("interface_level", period_s=5.0)
    spoilt = samples.with_row_index().with_columns(
        pl.when(pl.col("index") % 97 == 50)
        .then(1.9)
        .when(pl.col("index") % 97 == 80)
        .then(0.2)
        .otherwise("value")
        .alias("value")
    )
    found, clean = (derive(s, hours=3).cycles for s in (spoilt.drop("index"), samples))
    assert found.height == clean.height
    assert np.abs(times_of(found)[0] - times_of(clean)[0]).max() < 20.0


def test_waves_of_slugs_on_the_rise_are_no_dumps(make_saw, signal_samples, derive):
    saw = make_saw([100.0] * 24)
    when = saw.scan(10.0)
    # A wave of a tenth of the gap every five minutes, on fills of half an hour.
    level = saw.level(when) + 0.005 * np.sin(2 * np.pi * when / 300.0)
    found = derive(signal_samples("interface_level", level.tolist(), times_s=when), hours=8).cycles
    assert found.height == int(np.sum(saw.opened_s < 8 * 3600.0))


def levels_of_legs(make_track, *legs):
    """A level of straight legs (seconds, level at the end), scanned every ten seconds from 1.05 m on."""
    knots = np.cumsum([0.0, *(length for length, _ in legs)])
    when = np.arange(0.0, knots[-1], 10.0)
    level = np.interp(when, knots, [1.05, *(level for _, level in legs)])
    return from_level(make_track("interface_level", level.tolist(), times_s=when), GAP)


CYCLE = ((900, 1.15), (60, 1.05))


def test_a_level_that_stands_after_a_dump_says_that_the_valve_shut(make_track):
    found = levels_of_legs(make_track, *CYCLE, *CYCLE, (3600, 1.05))
    assert dumps(found)[-1] == (pytest.approx(1860, abs=1), pytest.approx(1920, abs=10))


def test_a_dump_that_has_just_ended_is_not_known_to_be_over(make_track):
    assert dumps(levels_of_legs(make_track, *CYCLE, *CYCLE, (40, 1.05)))[-1][1] is None


def test_a_level_that_stands_far_below_the_closing_level_says_that_the_valve_is_open(make_track):
    falling = ((900, 1.15), (600, 0.2), (7200, 0.2))
    assert dumps(levels_of_legs(make_track, *CYCLE, *falling))[-1][1] is None
    opened, shut = dumps(levels_of_legs(make_track, *CYCLE, *falling, (3600, 1.05), *CYCLE))[1]
    assert opened == pytest.approx(1860, abs=10)
    # Open until the level rises: a tenth of the fall is within the noise.
    assert shut == pytest.approx(1860 + 600 + 7200, abs=420)


def test_single_bad_samples_of_a_level_part_no_dump(make_saw, derive):
    saw = make_saw([700.0] * 60)
    samples = saw.samples("interface_level", period_s=5.0).with_row_index()
    is_bad = pl.col("index") % 7 == 3
    spoilt = samples.with_columns(
        pl.when(is_bad).then(None).otherwise("value").alias("value"),
        pl.when(is_bad)
        .then(pl.lit("bad"))
        .otherwise(pl.col("flag").cast(pl.String))
        .cast(samples["flag"].dtype)
        .alias("flag"),
    )
    found, clean = (derive(s.drop("index"), hours=2).cycles for s in (spoilt, samples))
    assert found.height == clean.height
    assert np.abs(times_of(found)[0] - times_of(clean)[0]).max() < 5.0
    assert found["fill_s"].null_count() == 1


def test_a_silent_totaliser_that_went_on_by_many_dumps_knows_none_of_them(make_saw, derive):
    samples = make_saw([600.0] * 200).samples("water_total", period_s=10.0)
    start = samples["time_utc"].min()
    hole = (start + timedelta(hours=2), start + timedelta(hours=4))
    found = derive(samples.filter(~pl.col("time_utc").is_between(*hole)), hours=6)
    assert found.hours["coverage"].to_list() == pytest.approx([1.0, 1.0, 0.0, 0.0, 1.0, 1.0], abs=0.01)
    assert found.cycles.filter(pl.col("opened_utc").is_between(*hole)).height <= 1
    # What came in meanwhile is still known: the register went on.
    assert found.hours["water_load_m3_per_day"].to_numpy() == pytest.approx(600.0, rel=0.03)


def test_a_silent_totaliser_that_stood_still_says_that_there_was_no_dump(signal_samples, derive):
    times = [0, 3600, 3620, 3640, 3660, 14400, 14420, 14440, 14460]
    total = signal_samples("water_total", [0.0, 0.0, 1.0, 2.0, 2.0, 2.0, 3.0, 4.0, 4.0], times_s=times)
    found = derive(total, hours=5)
    assert found.hours["coverage"].to_list() == [1.0] * 5
    assert found.hours["dumps"].to_list() == [0, 1, 0, 0, 1]
