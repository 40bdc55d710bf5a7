"""Reading whole field folders: right ones become numbers in SI, wrong ones one error with all that is wrong."""

import errno
import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nightgauge.errors import FieldFolderError, SettingError
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field

Read = Callable[..., Field]
Problems = Callable[..., list[str]]

FULL = """
name = "Quillet Bench"
time_zone = "America/Denver"
display_units = "metric"
atmospheric_pressure = "12.3 psi"
tags = "tags.csv"
streams = ["streams/**/*.csv*", "streams/**/*.parquet"]
database = "data/night.duckdb"
quality_codes = "opc_ua"
time_format = "%d.%m.%Y %H:%M:%S"
as_of = "2026-05-18T00:00"
ignore = ["*.SPARE"]

[limits.dump_leaking]
leak_share = "8 %"

[[vessel]]
id = "QB-101"
name = "East battery knockout"
service = "free-water knockout"
orientation = "horizontal"
inside_diameter = "8 ft"
length = "20 ft"
heads = "2:1 ellipsoidal"
normal_interface = "44 in"
normal_oil_level = "66 in"
max_working_pressure = "125 psig"
mist_extractor = false
baffle_at = "10 ft"
settling_length = "16 ft"
solids_depth = "2 in"
oil_gravity = "27 degAPI"
water_specific_gravity = 1.08
gas_specific_gravity = 0.75
temperature = "95 degF"
required_retention = { water = "8 min", oil = "10 min" }
[vessel.water_dump]
action = "snap"
opens_at = "46 in"
closes_at = "42 in"
cv = 90
downstream_pressure = "15 psig"
elevation = "0 in"
[vessel.oil_valve]
holds = "45 psig"
kind = "spring"
downcomer = "6 ft"
[vessel.gas_valve]
holds = "49 psig"
[vessel.limits.float_stuck_closed]
periods = 4

[[well]]
id = "QB-W12"
vessel = "QB-101"
lift = "ESP"
productivity_index = "6 bbl/day/psi"

[[outage]]
vessel = "QB-101"
from = "2026-05-02T06:00"
to = "2026-05-02T18:00"
note = "anode inspection"
"""

FOOT_M, INCH_M = 0.3048, 0.0254
PSI_KPA = 6.894757293168361
BARREL_M3 = 0.158987294928


def test_every_key_of_the_format_arrives_in_si(read: Read) -> None:
    # Expected values are the definitions of foot, inch, pound and barrel (NIST SP 811 appendix B), by hand.
    field = read(field=FULL, vessel="")
    vessel = field.vessels[0]
    assert vessel.inside_diameter_m == pytest.approx(8 * FOOT_M)
    assert vessel.length_m == pytest.approx(20 * FOOT_M)
    assert vessel.normal_interface_m == pytest.approx(44 * INCH_M)
    assert vessel.normal_oil_level_m == pytest.approx(66 * INCH_M)
    assert vessel.max_working_pressure_kpag == pytest.approx(125 * PSI_KPA)
    assert vessel.baffle_at_m == pytest.approx(10 * FOOT_M)
    assert vessel.settling_length_m == pytest.approx(16 * FOOT_M)
    assert vessel.solids_depth_m == pytest.approx(2 * INCH_M)
    assert vessel.temperature_c == pytest.approx(35.0)
    assert (vessel.oil_gravity_degapi, vessel.water_specific_gravity, vessel.gas_specific_gravity) == (27, 1.08, 0.75)
    assert (vessel.required_water_retention_min, vessel.required_oil_retention_min) == (8.0, 10.0)
    assert (vessel.service, vessel.heads, vessel.mist_extractor) == ("free-water knockout", "2:1 ellipsoidal", False)
    dump = vessel.water_dump[0]
    assert dump.opens_at_m == pytest.approx(46 * INCH_M)
    assert dump.closes_at_m == pytest.approx(42 * INCH_M)
    assert dump.downstream_pressure_kpag == pytest.approx(15 * PSI_KPA)
    assert (dump.action, dump.cv, dump.elevation_m) == ("snap", 90.0, 0.0)
    assert vessel.oil_valve[0].holds_kpag == pytest.approx(45 * PSI_KPA)
    assert vessel.oil_valve[0].downcomer_m == pytest.approx(6 * FOOT_M)
    assert vessel.gas_valve[0].holds_kpag == pytest.approx(49 * PSI_KPA)
    assert vessel.limits == {"float_stuck_closed": {"periods": 4.0}}
    assert field.limits == {"dump_leaking": {"leak_share": pytest.approx(0.08)}}
    assert field.atmospheric_pressure_kpa == pytest.approx(12.3 * PSI_KPA)
    assert field.wells[0].productivity_index_m3_per_day_per_kpa == pytest.approx(6 * BARREL_M3 / PSI_KPA)


def test_times_without_an_offset_are_of_the_fields_zone(read: Read) -> None:
    field = read(field=FULL, vessel="")
    # Denver in May is six hours behind UTC (daylight time)
    assert field.as_of == datetime(2026, 5, 18, 6, tzinfo=UTC)
    assert field.outages[0].from_utc == datetime(2026, 5, 2, 12, tzinfo=UTC)
    assert field.outages[0].to_utc == datetime(2026, 5, 3, 0, tzinfo=UTC)


def test_files_stand_beside_field_toml_unless_it_says_otherwise(read: Read, tmp_path: Path) -> None:
    field = read(field=FULL, vessel="")
    assert field.database == tmp_path / "data" / "night.duckdb"
    assert field.reports == tmp_path / "reports"
    assert field.folder == tmp_path


def test_what_is_not_said_takes_the_defaults_of_the_format(read: Read) -> None:
    field = read(field='name = "A"\ntime_zone = "UTC"\ntags = "tags.csv"\nstreams = ["*.csv"]\n')
    assert field.display_units == "oilfield"
    assert field.quality_codes == "opc_classic"
    assert field.database.name == "nightgauge.duckdb"
    assert field.atmospheric_pressure_kpa == pytest.approx(14.696 * PSI_KPA)
    assert (field.as_of, field.time_format, field.ignore, field.wells, field.outages) == (None, None, (), (), ())


def test_a_vessel_needs_no_more_than_an_id_and_a_service(read: Read) -> None:
    vessel = read(vessel='[[vessel]]\nid = "QB-101"\nservice = "scrubber"\n').vessels[0]
    assert vessel.water_dump_at(datetime(2026, 5, 1, tzinfo=UTC)).opens_at_m is None


def test_the_folder_and_a_relative_path_do_as_well(write: Callable[..., Path], monkeypatch: pytest.MonkeyPatch) -> None:
    path = write()
    monkeypatch.chdir(path.parent)
    assert read_field(Path("field.toml")) == read_field(path) == read_field(path.parent)
    assert read_field(Path("field.toml")).database.is_absolute()


def test_the_same_folder_reads_the_same_twice(write: Callable[..., Path]) -> None:
    path = write()
    assert read_field(path) == read_field(path)


def test_all_mistakes_of_a_folder_are_told_at_once_each_with_its_place(problems: Problems) -> None:
    found = problems(
        '[vessel.water_dump]\nopen_at = "46 in"\ncloses_at = "42 psi"\n'
        '[[well]]\nid = "W1"\nvessel = "QB-102"\n'
        '[[outage]]\nvessel = "QB-101"\nfrom = "2026-05-03"\nto = "2026-05-02"\n',
        field='name = "A"\ntime_zone = "America/Denvr"\ntags = "tags.csv"\nstreams = ["*.csv"]\ncolour = 3\n',
        tags="tag,vessel,signal,unit\nT1,QB-101,presure,psig\nT2,QB-9,oil_level,psi\n",
    )
    expected = [
        'field.toml, time_zone: found "America/Denvr", expected an IANA time zone like "America/Denver"; '
        "did you mean America/Denver?",
        "field.toml, colour: found an unknown key",
        "field.toml, vessel QB-101, water_dump, open_at: found an unknown key",
        'field.toml, vessel QB-101, water_dump, closes_at: found "42 psi", expected a length with its unit, '
        'like "42 in" (',
        'field.toml, well W1, vessel: found "QB-102", expected the id of a [[vessel]]: QB-101; did you mean QB-101?',
        'field.toml, outage 1, to: found "2026-05-02", expected a time after "2026-05-03"',
        'tags.csv, line 2, signal: found "presure"',
        'tags.csv, line 3, vessel: found "QB-9"',
        'tags.csv, line 3, unit: found "psi", expected a unit of length for oil_level, or % with zero and span',
    ]
    assert len(found) == len(expected)
    for line, beginning in zip(found, expected, strict=True):
        assert line.startswith(beginning)


def test_an_unknown_key_suggests_the_nearest_known_one(problems: Problems) -> None:
    assert problems("[vessel.water_dump]\nopen_at = '46 in'\n")[0].endswith("did you mean opens_at?")


def test_a_missing_required_key_is_named(problems: Problems) -> None:
    found = problems(field='name = "A"\n')
    missing = [line.split(":")[0] for line in found]
    assert missing == ["field.toml, time_zone", "field.toml, tags", "field.toml, streams"]
    assert all("found nothing" in line for line in found)


@pytest.mark.parametrize(
    ("line", "place", "found"),
    [
        ("name = 3", "name", "found 3"),
        ('name = " "', "name", 'found " "'),
        ('name = "a\\u0000b"', "name", r'found "a\x00b"'),
        ("streams = 'streams/*.csv'", "streams", "put it between square brackets"),
        ("streams = []", "streams", "found an empty list"),
        ("streams = [3]", "streams", "found a list of 1"),
        ("streams = ['/data/*.csv']", "streams", 'found "/data/*.csv"'),
        ("streams = ['str**/*.csv']", "streams", 'found "str**/*.csv"'),
        ("streams = ['.']", "streams", 'found "."'),
        ("display_units = 'imperial'", "display_units", 'one of "oilfield", "metric"'),
        ("atmospheric_pressure = '14.7'", "atmospheric_pressure", "has no unit"),
        ("atmospheric_pressure = '12.3 psig'", "atmospheric_pressure", "between 45 and 110 kPa absolute"),
        ("atmospheric_pressure = '123 psi'", "atmospheric_pressure", "between 45 and 110 kPa absolute"),
        ("atmospheric_pressure = 12.3", "atmospheric_pressure", "write number and unit between quotes"),
        ("as_of = '18 May 2026'", "as_of", "is no time"),
        ("as_of = 12", "as_of", "is no time"),
        ("as_of = '2026-03-08T02:30'", "as_of", "the clocks skip it"),
        ("time_zone = 5", "time_zone", "found 5"),
        ("time_zone = '../etc'", "time_zone", 'found "../etc"'),
        ("time_zone = 'America'", "time_zone", 'found "America"'),
        ("vessel = 3", "vessel", "expected [[vessel]] tables"),
        ("well = { id = 'W' }", "well", "expected [[well]] tables"),
        ("outage = [1]", "outage", "expected [[outage]] tables"),
        ("limits = 3", "limits", "found 3"),
    ],
)
def test_a_wrong_value_at_the_top_is_told_with_its_key(problems: Problems, line: str, place: str, found: str) -> None:
    base = {
        "name": '"A"', "time_zone": '"America/Denver"', "tags": '"tags.csv"', "streams": '["*.csv"]',
    }  # fmt: skip
    base.pop(place, None)
    text = "\n".join([*(f"{key} = {value}" for key, value in base.items()), line, ""])
    lines = problems(
        field=text, vessel="" if place == "vessel" else "[[vessel]]\nid = 'QB-101'\nservice = 'scrubber'\n"
    )
    assert len(lines) == 1
    assert lines[0].startswith(f"field.toml, {place}:")
    assert found in lines[0]


def test_toml_dates_do_as_well_as_texts(read: Read) -> None:
    field = read("[vessel.water_dump]\nvalid_from = 2026-05-02\n")
    assert field.vessels[0].water_dump[0].valid_from == datetime(2026, 5, 2, 6, tzinfo=UTC)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b'name = "A"\ntime_zone = \n', 'line 2, column 13: found "time_zone =", expected TOML (Invalid value);'),
        (b'name = "A', "expected TOML"),
        (
            b"name = 'a'\nname = 'b'\n",
            "line 2, column 11: found \"name = 'b'\", expected TOML (Cannot overwrite a value);",
        ),
        (b"a = " + b"[" * 5000, "expected TOML"),
        (b"[vessel]\n[vessel]\n", "in double brackets"),
        (b'name = "Caf\xe9"\n', "field.toml, line 1: found bytes that are not UTF-8"),
        (b'\n\nname = "\xff\xfe"\n', "field.toml, line 3: found bytes that are not UTF-8"),
    ],
)
def test_a_file_that_is_no_toml_is_told_with_its_line(tmp_path: Path, content: bytes, says: str) -> None:
    path = tmp_path / "field.toml"
    path.write_bytes(content)
    with pytest.raises(FieldFolderError) as raised:
        read_field(path)
    assert says in str(raised.value)


def test_tags_are_looked_at_even_where_field_toml_is_no_toml(problems: Problems) -> None:
    found = problems(field="name = \n", tags="tag,vessel,signal,unit\nT,QB-101,oil_level,psi\n")
    assert [line.split(":")[0] for line in found] == ["field.toml, line 1, column 8", "tags.csv, line 2, unit"]


def test_a_byte_order_mark_before_the_toml_is_passed_over(write: Callable[..., Path]) -> None:
    path = write()
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert read_field(path).name == "Quillet Bench"


def test_a_path_to_nothing_is_told(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match=r"field\.toml, file: found no such file, expected .*field\.toml"):
        read_field(tmp_path)
    with pytest.raises(SettingError, match=r"other\.toml, file: found no such file"):
        read_field(tmp_path / "other.toml")
    with pytest.raises(SettingError, match="found"):
        read_field(tmp_path / "a\x00b")


def test_a_file_that_may_not_be_read_is_told(write: Callable[..., Path], monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path) -> bytes:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))

    path = write()
    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(SettingError, match="file: found Permission denied"):
        read_field(path)


def test_a_missing_tags_csv_is_told_beside_other_mistakes(problems: Problems) -> None:
    found = problems("colour = 3\n", tags=None)
    assert [line.split(":")[0] for line in found] == ["field.toml, vessel QB-101, colour", "tags.csv, file"]


def test_a_tags_csv_that_is_a_folder_is_told(write: Callable[..., Path], tmp_path: Path) -> None:
    path = write(tags=None)
    (tmp_path / "tags.csv").mkdir()
    with pytest.raises(SettingError, match=r"tags\.csv, file: found Is a directory"):
        read_field(path)


def test_a_field_without_vessels_is_told_once(problems: Problems) -> None:
    assert problems(vessel="") == [
        "field.toml, vessel: found nothing, expected at least one [[vessel]]; describe the vessels"
    ]


def told_of(path: Path) -> list[str]:
    """Return the problems of a folder, none if it is right; any other error passes on."""
    try:
        read_field(path)
    except FieldFolderError as error:
        return str(error).split("\n")
    return []


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.integers(0, len(FULL)), st.integers(0, 12), st.text(max_size=4))
def test_a_slip_of_the_pen_anywhere_is_read_or_told(tmp_path: Path, at: int, cut: int, typed: str) -> None:
    path = tmp_path / "field.toml"
    path.write_text(FULL[:at] + typed + FULL[at + cut :], "utf-8", "surrogatepass")
    (tmp_path / "tags.csv").write_text("tag,vessel,signal,unit\n")
    told = told_of(path)
    assert all(line.isprintable() and ": found " in line and "; " in line for line in told)


KEYS = st.sampled_from(
    [
        "name", "time_zone", "tags", "streams", "vessel", "well", "outage", "limits", "id", "service", "water_dump",
        "oil_valve", "valid_from", "holds", "opens_at", "cv", "required_retention", "water", "from", "to", "database",
        "float_stuck_closed", "periods", "inside_diameter", "temperature", "nonsense", "as_of", "ignore",
    ]
)  # fmt: skip
VALUES = st.recursive(
    st.one_of(
        st.text(max_size=8), st.integers(), st.booleans(), st.floats(), st.just("8 ft"), st.just("45 psig"),
        st.just("2026-05-02"), st.just("snap"), st.just("QB-101"),
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=2), st.dictionaries(KEYS, inner, max_size=3)),
    max_leaves=6,
)  # fmt: skip


def as_toml(value: object) -> str:
    """Return a value as inline TOML."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {as_toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(item) for item in value) + "]"
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(letter):08x}" for letter in value) + '"'
    return str(value)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(table=st.dictionaries(KEYS, VALUES, max_size=8), tags=st.text(max_size=60))
def test_whatever_a_person_writes_the_only_error_is_the_folders_own(
    tmp_path: Path, table: dict[str, object], tags: str
) -> None:
    path = tmp_path / "field.toml"
    path.write_text("\n".join(f"{key} = {as_toml(value)}" for key, value in table.items()), "utf-8", "surrogatepass")
    (tmp_path / "tags.csv").write_text(tags, "utf-8", "surrogatepass")
    with pytest.raises(FieldFolderError, match="found"):  # without a vessel no folder is right
        read_field(path)
