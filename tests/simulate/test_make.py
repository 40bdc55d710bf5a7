"""Whole folders: readable, the same for the same seed, and nothing lost on the way out."""

import gzip
import hashlib
from dataclasses import replace

import polars as pl
import pytest

from nightgauge.errors import ProgrammerError
from nightgauge.field.read import read_field
from nightgauge.simulate import quillet_bench, random_fleet, simulate_field
from nightgauge.simulate.design import Design
from nightgauge.simulate.make import simulate_samples
from nightgauge.simulate.plan import ExportGroup, Fault

ALL = ("vessel_pressure", "interface_level", "water_dump_open", "water_total", "oil_water_cut", "scrubber_level")


def slow(plan):
    """Return the plan with steps and scans so long that it runs in no time."""
    vessels = (replace(v, instruments=tuple(replace(i, scan_s=60.0) for i in v.instruments)) for v in plan.vessels)
    return replace(plan, vessels=tuple(vessels), step_s=30.0)


def digest(folder):
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


@pytest.fixture(scope="module")
def plan(make_vessel, make_plan):
    vessels = (
        make_vessel(Design("A", water_bpd=2500.0), signals=ALL),
        make_vessel(Design("B", water_bpd=900.0, action="throttling"), signals=("vessel_pressure", "water_rate")),
        make_vessel(Design("C"), signals=("interface_level", "water_dump_open")),
    )
    groups = (
        ExportGroup("long", ("A",), "long-csv", "day", "offset", "gz", repeats=3, late_days=(0,)),
        ExportGroup("wide", ("B",), "wide-parquet", "week", "epoch_ms", quality="none"),
        ExportGroup("semi", ("C",), "long-csv", "day", "local", "", ";", "opc"),
    )
    return slow(make_plan(*vessels, days=2, exports=groups))


@pytest.fixture(scope="module")
def folder(plan, tmp_path_factory):
    made = tmp_path_factory.mktemp("field")
    simulate_field(made, plan)
    return made


@pytest.fixture(scope="module")
def samples(plan):
    return simulate_samples(plan)


def test_the_folder_is_read_without_a_complaint_and_says_what_was_planned(folder, plan):
    field = read_field(folder / "field.toml")
    assert [v.id for v in field.vessels] == ["A", "B", "C"]
    assert field.as_of == plan.end
    assert field.signals_of("A") == frozenset(ALL)
    for vessel, planned in zip(field.vessels, plan.vessels, strict=True):
        assert vessel.inside_diameter_m == pytest.approx(planned.settings.inside_diameter_m, rel=1e-3)
        assert vessel.water_dump[0].cv == planned.settings.water_dump[0].cv
        assert vessel.oil_valve[0].holds_kpag == pytest.approx(planned.settings.oil_valve[0].holds_kpag, rel=1e-3)
        assert vessel.required_water_retention_min == planned.settings.required_water_retention_min


def test_the_same_plan_gives_the_same_bytes(folder, plan, tmp_path):
    simulate_field(tmp_path, plan)
    assert digest(tmp_path) == digest(folder)


def test_every_sample_of_a_long_export_is_in_one_file(folder, samples):
    rows = [
        gzip.decompress(p.read_bytes()).decode().splitlines()[1:] for p in sorted((folder / "streams/long").iterdir())
    ]
    mine = samples.filter(pl.col("tag") < len(ALL)).height
    assert len(set().union(*rows)) == mine
    # The first day came late, after the second, and a late file repeats nothing.
    assert sum(map(len, rows)) == mine


def test_long_stamps_carry_the_offset_and_states_their_words(folder):
    first = sorted((folder / "streams/long").iterdir())[0]
    header, *rows = gzip.decompress(first.read_bytes()).decode().splitlines()
    assert header == "tag,timestamp,value,quality"
    assert all(row.split(",")[1].endswith("-06:00") for row in rows)
    assert {r.split(",")[2] for r in rows if r.startswith("ZSO")} == {"OPEN", "CLOSED"}


def test_a_wide_export_has_a_column_per_tag_and_all_good_samples(folder, samples, plan):
    wide = pl.read_parquet(folder / "streams/wide/*.parquet")
    assert wide.columns == ["timestamp", "PIT-B", "FIT-BW"]
    places = range(len(ALL), len(ALL) + 2)
    assert sum(wide[c].count() for c in wide.columns[1:]) == samples.filter(pl.col("tag").is_in(places)).height
    assert wide["timestamp"].dtype == pl.Int64
    assert wide["timestamp"].is_sorted()


def test_semicolons_and_numeric_quality(folder):
    text = sorted((folder / "streams/semi").iterdir())[0].read_text().splitlines()
    assert text[0] == "tag;timestamp;value;quality"
    assert {line.split(";")[3] for line in text[1:]} == {"192"}
    assert not text[1].split(";")[1].endswith("00:00")


def test_overlapping_files_repeat_the_last_rows(make_vessel, make_plan, tmp_path):
    group = ExportGroup("g", ("A",), "long-csv", "day", "utc", repeats=4)
    plan = make_plan(make_vessel(signals=("interface_level",)), days=2, exports=(group,))
    simulate_field(tmp_path, slow(plan))
    first, second = (p.read_text().splitlines()[1:] for p in sorted((tmp_path / "streams/g").iterdir()))
    assert second[:4] == first[-4:]


def test_a_vessel_does_not_depend_on_how_many_others_there_are():
    few, many = random_fleet(2, 10, seed=4), random_fleet(5, 10, seed=4)
    assert few.vessels == many.vessels[:2]


def test_a_plant_beside_another_leaves_its_samples_as_they_were(make_vessel, make_plan):
    first = make_vessel(Design("A"), signals=("interface_level", "water_total"))
    second = replace(make_vessel(Design("B"), signals=("interface_level",)), plant=1)
    alone, both = simulate_samples(slow(make_plan(first))), simulate_samples(slow(make_plan(first, second)))
    assert both.filter(pl.col("tag") < 2).equals(alone)
    assert both.filter(pl.col("tag") == 2).height > 10


def test_plants_have_chance_of_their_own(make_vessel, make_plan):
    noisy = [replace(make_vessel(Design(name), signals=("interface_level",)), plant=k) for k, name in enumerate("AB")]
    samples = simulate_samples(slow(make_plan(*noisy)))
    one, other = (samples.filter(pl.col("tag") == tag)["value"].to_list() for tag in (0, 1))
    assert one != other


def test_mixed_plants_are_refused(make_vessel, make_plan):
    later = replace(make_vessel(Design("A")), plant=1)
    with pytest.raises(ProgrammerError, match="in order of their plant"):
        make_plan(later, make_vessel(Design("B")))


def test_another_seed_gives_another_fleet():
    assert random_fleet(2, 10, seed=4).vessels != random_fleet(2, 10, seed=5).vessels


def test_a_sound_fleet_has_no_faults_and_one_kind_has_no_other():
    assert not any(v.faults for v in random_fleet(20, 42, seed=1, faults=()).vessels)
    kinds = {f.kind for v in random_fleet(20, 42, seed=1, faults=["dump_leaking"]).vessels for f in v.faults}
    assert kinds == {"dump_leaking"}


def test_a_random_fleet_makes_a_readable_folder(tmp_path):
    simulate_field(tmp_path, slow(random_fleet(14, 1, seed=2)))
    field = read_field(tmp_path / "field.toml")
    assert len(field.vessels) == 14
    assert len(list((tmp_path / "streams").rglob("*.*"))) == 2


def test_quillet_bench_is_what_its_readme_says():
    bench = quillet_bench()
    assert bench.end.isoformat() == "2026-05-18T06:00:00+00:00"
    assert (bench.days, len(bench.vessels)) == (42, 8)
    assert {f.kind for v in bench.vessels for f in v.faults} == {
        "float_stuck_closed", "dump_leaking", "oil_valve_setpoint_drift", "vessel_undersized", "anode_current_lost",
        "well_test_decline",
    }  # fmt: skip
    wells = [w.settings.id for v in bench.vessels for w in v.wells]
    assert len(wells) == len(set(wells))


def test_faults_of_instruments_reach_the_samples(make_vessel, make_plan):
    frozen = Fault("instrument_frozen", 3 * 3600.0, 20 * 3600.0, signal="interface_level")
    gap = Fault("data_gap", 3 * 3600.0, 20 * 3600.0)
    plan = make_plan(
        make_vessel(Design("A"), faults=[frozen], signals=("interface_level",)),
        make_vessel(Design("B"), faults=[gap], signals=("interface_level",)),
        make_vessel(Design("C"), signals=("interface_level",)),
    )
    kept = simulate_samples(slow(plan)).filter(pl.col("second").is_between(3.1 * 3600.0, 19.9 * 3600.0))
    by_tag = {t: kept.filter(pl.col("tag") == t) for t in range(3)}
    assert by_tag[0].height > 10
    assert by_tag[0]["value"].n_unique() == 1
    assert by_tag[1].is_empty()
    assert by_tag[2]["value"].n_unique() > 100


def test_a_step_or_scan_that_does_not_come_out_even_is_refused(make_vessel, make_plan):
    with pytest.raises(ProgrammerError, match=r"step of 7\.0 s does not divide a minute"):
        make_plan(make_vessel(), step_s=7.0)
    with pytest.raises(ProgrammerError, match=r"scans of \[10\.0\] s: expected multiples of the step, 4\.0 s"):
        make_plan(make_vessel(), step_s=4.0)
