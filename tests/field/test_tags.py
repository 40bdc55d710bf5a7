"""Reading tags.csv: what each row makes of a raw value, the dialects of the file, and every mistake in it."""

from collections.abc import Callable
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.field.problems import Scope
from nightgauge.field.settings import Field, TagRow
from nightgauge.field.tables import Place
from nightgauge.field.tags import overlap, read_tags
from nightgauge.units import Conversion

Read = Callable[..., Field]
Problems = Callable[..., list[str]]
RowOf = Callable[..., TagRow]

INCH_M = 0.0254
PSI_KPA = 6.894757293168361
ATMOSPHERE_KPA = 12.3 * PSI_KPA


@pytest.mark.parametrize(
    ("row", "raw", "stored"),
    [
        # by hand, from the definitions of inch, pound and barrel
        ("T,QB-101,vessel_pressure,psig", 45.0, 45 * PSI_KPA),
        ("T,QB-101,vessel_pressure,psi", 45.0, 45 * PSI_KPA),
        ("T,QB-101,vessel_pressure,psia", 57.3, 45 * PSI_KPA),
        ("T,QB-101,interface_level,in", 44.0, 44 * INCH_M),
        ("T,QB-101,water_dump_position,%", 25.0, 0.25),
        ("T,QB-101,oil_water_cut,%", 1.5, 0.015),
        ("T,QB-101,water_total,bbl", 10.0, 1.58987294928),
        ("T,QB-101,water_rate,bbl/day", 1000.0, 158.987294928),
        ("T,QB-101,gas_rate,Mcf/d", 1.0, 28.316846592),
        ("T,QB-101,temperature,degF", 95.0, 35.0),
        ("T,QB-101,water_oil_content,mg/L", 30.0, 30.0),
        ("T,QB-101,anode_current,mA", 250.0, 0.25),
        ("T,QB-101,water_dump_open,", 1.0, 1.0),
        ("T,QB-101,water_dump_open,state", 1.0, 1.0),
    ],
)
def test_a_raw_value_is_stored_in_si(read: Read, row: str, raw: float, stored: float) -> None:
    tag = read(tags=f"tag,vessel,signal,unit\n{row}\n").tags[0]
    assert tag.conversion.apply(raw) == pytest.approx(stored, rel=1e-12)


def test_scale_and_offset_come_before_the_unit(row_of: RowOf) -> None:
    # 4 to 20 mA over 0 to 100 psig: 12 mA is 50 psig
    row = row_of("scale,offset", "T,QB-101,vessel_pressure,psig,6.25,-25")
    assert row.conversion.apply(12.0) == pytest.approx(50 * PSI_KPA)


def test_scale_and_offset_come_before_the_atmosphere_too(row_of: RowOf) -> None:
    row = row_of("scale,offset", "T,QB-101,vessel_pressure,psia,0.5,2")
    assert row.conversion.apply(100.0) == pytest.approx(52 * PSI_KPA - ATMOSPHERE_KPA)


def test_a_level_in_percent_lies_between_zero_and_span(row_of: RowOf) -> None:
    row = row_of("zero,span", "T,QB-101,interface_level,%,12 in,80 in")
    assert row.conversion.apply(0.0) == pytest.approx(12 * INCH_M)
    assert row.conversion.apply(100.0) == pytest.approx(80 * INCH_M)
    assert row.conversion.apply(50.0) == pytest.approx(46 * INCH_M)


def test_a_level_in_percent_that_comes_as_a_fraction_is_scaled_first(row_of: RowOf) -> None:
    row = row_of("zero,span,scale", "T,QB-101,oil_level,%,0 m,2 m,100")
    assert row.conversion.apply(0.5) == pytest.approx(1.0)


def test_a_contact_that_opens_when_the_dump_shuts_is_turned_by_scale_and_offset(row_of: RowOf) -> None:
    row = row_of("scale,offset", "T,QB-101,water_dump_open,,-1,1")
    assert (row.conversion.apply(1.0), row.conversion.apply(0.0)) == (0.0, 1.0)


def test_states_are_texts_for_shut_and_open(row_of: RowOf) -> None:
    row = row_of("states", "T,QB-101,water_dump_open,,OPEN=1; NOT OPEN=0;A=B=1;")
    assert row.states == {"OPEN": 1.0, "NOT OPEN": 0.0, "A=B": 1.0}


def test_a_text_signal_keeps_its_text(read: Read) -> None:
    row = read(tags="tag,vessel,signal,unit\nT,QB-101,well_on_test,\n").tags[0]
    assert row.conversion == Conversion(1.0, 0.0)


@pytest.mark.parametrize(
    ("signal", "unit", "seconds"),
    [("vessel_pressure", "psig", 3600.0), ("water_total", "bbl", 86400.0), ("water_dump_open", "", 86400.0)],
)
def test_without_max_gap_a_row_takes_the_formats(read: Read, signal: str, unit: str, seconds: float) -> None:
    assert read(tags=f"tag,vessel,signal,unit\nT,QB-101,{signal},{unit}\n").tags[0].max_gap_s == seconds


def test_max_gap_is_a_duration(row_of: RowOf) -> None:
    assert row_of("max_gap", "T,QB-101,vessel_pressure,psig,30 min").max_gap_s == 1800.0


def test_from_and_to_are_of_the_fields_zone(row_of: RowOf) -> None:
    row = row_of("from,to", "T,QB-101,vessel_pressure,psig,2026-05-01,2026-05-02T06:00Z")
    assert row.from_utc == datetime(2026, 5, 1, 6, tzinfo=UTC)
    assert row.to_utc == datetime(2026, 5, 2, 6, tzinfo=UTC)


def test_rows_of_one_tag_may_follow_each_other(read: Read) -> None:
    field = read(
        tags="tag,vessel,signal,unit,from,to\n"
        "T,QB-101,interface_level,in,,2026-05-01\n"
        "T,QB-101,interface_level,cm,2026-05-01,2026-05-10\n"
        "T,QB-101,oil_level,cm,2026-05-10,\n"
    )
    assert [row.signal for row in field.tags] == ["interface_level", "interface_level", "oil_level"]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (",", ","),
        (",2026-05-02", "2026-05-01,"),
        ("2026-05-01,2026-05-03", "2026-05-02,2026-05-04"),
        (",", "2026-05-01,"),
    ],
)
def test_rows_of_one_tag_that_overlap_are_told(problems: Problems, first: str, second: str) -> None:
    found = problems(
        tags=f"tag,vessel,signal,unit,from,to\nT,QB-101,oil_level,in,{first}\nT,QB-101,oil_level,cm,{second}\n"
    )
    assert len(found) == 1
    assert found[0].startswith('tags.csv, line 3, tag: found "T" again while line 2 still holds')


def test_a_file_from_a_spreadsheet_with_semicolons_reads_the_same(read: Read) -> None:
    plain = (
        "tag,vessel,signal,unit,scale,states\n"
        "P 1,QB-101,vessel_pressure,psig,0.5,\n"
        "S,QB-101,water_dump_open,,,ON=1;OFF=0\n"
    )
    sheet = (
        "\ufeffTag;Vessel;SIGNAL;unit;scale;states\r\n"
        '"P 1"; QB-101;vessel_pressure;psig;0,5;\r\n'
        "\r\n"
        'S;QB-101;water_dump_open;;;"ON=1;OFF=0"\r\n'
        ";;;;;\r\n"
    )
    tabbed = plain.replace(",", "\t")
    assert read(tags=plain).tags == read(tags=sheet).tags == read(tags=tabbed).tags


def test_names_with_odd_characters_are_kept_as_they_are(read: Read) -> None:
    vessel = '[[vessel]]\nid = "Gräfin №4, \\"old\\" / west"\nservice = "separator"\n'
    field = read(vessel=vessel, tags='tag,vessel,signal,unit\n"A,B ""x""","Gräfin №4, ""old"" / west",oil_level,m\n')
    assert field.tags[0].tag == 'A,B "x"'
    assert field.tags[0].vessel == field.vessels[0].id


def test_columns_may_come_in_any_order_and_cells_at_the_end_may_be_left_out(read: Read) -> None:
    field = read(tags="unit,signal,tag,vessel,to,max_gap\npsig,vessel_pressure,T,QB-101\n")
    assert field.tags[0].tag == "T"


def test_a_column_for_remarks_is_passed_over(row_of: RowOf) -> None:
    assert row_of("note", "T,QB-101,vessel_pressure,psig,moved in May").tag == "T"


@pytest.mark.parametrize(
    ("tags", "says"),
    [
        ("", "tags.csv, header: found nothing, expected columns tag, vessel, signal, unit"),
        ("\n\n", "tags.csv, header: found nothing"),
        ("tag,vessel,signal\nT,QB-101,oil_level\n", "tags.csv, line 1, column unit: found nothing"),
        ("tag,vessel,signal,unit,scal\n", 'line 1, column "scal": found an unknown column'),
        ("tag,vessel,signal,unit,scal\n", "did you mean scale?"),
        ("tag,vessel,signal,unit,unit\n", 'line 1, column "unit": found 2 times'),
        ("tag|vessel|signal|unit\n", 'column "tag|vessel|signal|unit": found an unknown column'),
        ("tag,vessel,signal,unit\nT,QB-101,oil_level,in,,x\n", "line 2, cells: found 6 cells, expected at most 4"),
        ('tag,vessel,signal,unit\nT,QB-101,oil_level,in\n"U,QB\n', "line 3, quotes: found unexpected end of data"),
        ('tag,vessel,signal,unit\n\n\n"T"x,QB-101,oil_level,in\n', "line 4, quotes: found ',' expected after '\"'"),
        ("tag,vessel,signal,unit\n,QB-101,oil_level,in\n", 'line 2, tag: found "", expected the tag\'s name'),
        ("tag,vessel,signal,unit\nT,QB101,oil_level,in\n", 'line 2, vessel: found "QB101"'),
        ("tag,vessel,signal,unit\nT,QB101,oil_level,in\n", "did you mean QB-101?"),
        ("tag,vessel,signal,unit\nT,QB-101,oil level,in\n", "did you mean oil_level?"),
        ("tag,vessel,signal,unit\nT,QB-101,oil_level,\n", 'line 2, unit: found "", expected a unit of length'),
        ("tag,vessel,signal,unit\nT,QB-101,oil_water_cut,\n", 'line 2, unit: found "", expected a unit of fraction'),
        ("tag,vessel,signal,unit\nT,QB-101,water_dump_open,psi\n", "expected nothing: water_dump_open is a state"),
        ("tag,vessel,signal,unit\nT,QB-101,well_on_test,psi\n", "expected nothing: well_on_test is a text"),
        ("tag,vessel,signal,unit\nT,QB-101,oil_level,%\n", "line 2, zero:"),
        ("tag,vessel,signal,unit\nT,QB-101,oil_level,%\n", "line 2, span:"),
        ("tag,vessel,signal,unit,zero,span\nT,QB-101,oil_level,%,2 ft,24 in\n", "a height other than zero"),
        ("tag,vessel,signal,unit,zero,span\nT,QB-101,oil_level,%,2,x\n", "'2' has no unit"),
        ("tag,vessel,signal,unit,zero,span\nT,QB-101,oil_level,in,2 in,3 in\n", "they are for levels in %"),
        ("tag,vessel,signal,unit,zero\nT,QB-101,vessel_pressure,psi,2 in\n", "line 2, zero, span:"),
        ("tag,vessel,signal,unit,scale\nT,QB-101,oil_level,in,two\n", 'line 2, scale: found "two"'),
        ("tag,vessel,signal,unit,scale\nT,QB-101,oil_level,in,0\n", "expected a number other than 0"),
        ("tag,vessel,signal,unit,offset\nT,QB-101,oil_level,in,nan\n", 'line 2, offset: found "nan"'),
        ("tag,vessel,signal,unit,scale\nT,QB-101,well_on_test,,2\n", "nothing: the signal is a text"),
        ("tag,vessel,signal,unit,states\nT,QB-101,oil_level,in,OPEN=1\n", "expected nothing: oil_level is no state"),
        ("tag,vessel,signal,unit,states\nT,QB-101,water_dump_open,,OPEN\n", "like OPEN=1;CLOSED=0"),
        ("tag,vessel,signal,unit,states\nT,QB-101,water_dump_open,,OPEN=2\n", "like OPEN=1;CLOSED=0"),
        ("tag,vessel,signal,unit,states\nT,QB-101,water_dump_open,,A=1;A=0\n", '"A" comes twice'),
        ("tag,vessel,signal,unit,max_gap\nT,QB-101,oil_level,in,5\n", "a duration with its unit"),
        ("tag,vessel,signal,unit,max_gap\nT,QB-101,oil_level,in,0 h\n", "a duration of more than 0"),
        ("tag,vessel,signal,unit,from\nT,QB-101,oil_level,in,May\n", 'line 2, from: found "May"'),
        ("tag,vessel,signal,unit,from,to\nT,QB-101,oil_level,in,2026-05-02,2026-05-02\n", "expected a time after"),
        (b"tag,vessel,signal,unit\nT\xe9,QB-101,oil_level,in\n", "tags.csv, line 2: found bytes that are not UTF-8"),
        ("tag,vessel,signal,unit\nT,QB-101,oil_level,in".encode("utf-16"), "line 1: found bytes that are not UTF-8"),
    ],
)
def test_a_mistake_is_told_with_line_and_column(problems: Problems, tags: str | bytes, says: str) -> None:
    assert any(says in line for line in problems(tags=tags))


def test_line_numbers_count_lines_of_the_file_also_after_a_name_over_two_lines(problems: Problems) -> None:
    found = problems(tags='tag,vessel,signal,unit\n"T\n1",QB-101,oil_level,in\nU,QB-101,oil_level,psi\n')
    assert [line.split(":")[0] for line in found] == ["tags.csv, line 4, unit"]


def test_every_mistake_of_a_row_is_told(problems: Problems) -> None:
    found = problems(tags="tag,vessel,signal,unit,scale,max_gap,from,to\n,nobody,oil_level,psi,x,y,z,2026-05-02\n")
    assert [line.split(":")[0].removeprefix("tags.csv, line 2, ") for line in found] == [
        "tag", "vessel", "scale", "unit", "max_gap", "from",
    ]  # fmt: skip


STAMPS = st.one_of(st.none(), st.integers(1, 4).map(lambda day: datetime(2026, 1, day, tzinfo=UTC)))


@given(STAMPS, STAMPS, STAMPS, STAMPS)
def test_rows_overlap_exactly_when_an_hour_lies_in_both(
    a: datetime | None, b: datetime | None, c: datetime | None, d: datetime | None
) -> None:
    def row(start: datetime | None, end: datetime | None) -> TagRow:
        return TagRow("T", "V", "oil_level", "m", Conversion(1, 0), 3600.0, from_utc=start, to_utc=end)

    def holds(when: datetime, start: datetime | None, end: datetime | None) -> bool:
        return (start is None or start <= when) and (end is None or when < end)

    if (a is not None and b is not None and a >= b) or (c is not None and d is not None and c >= d):
        return  # not a row that can be read
    starts = [when for when in (a, c) if when is not None] or [datetime(2020, 1, 1, tzinfo=UTC)]
    early = [datetime(2020, 1, 1, tzinfo=UTC)] if None in (a, c) else []
    in_both = any(holds(when, a, b) and holds(when, c, d) for when in [*starts, *early])
    assert overlap(row(a, b), row(c, d)) == in_both


@given(st.text(alphabet=st.sampled_from(list('tagvesliun,;"\n\r \t=%01.QB-psi\x00é'))))
def test_no_text_breaks_the_reader(rest: str) -> None:
    scope = Scope("tags.csv")
    rows = read_tags("tag,vessel,signal,unit,states\n" + rest, ["QB-101"], Place(ZoneInfo("UTC")), scope)
    assert rows == () or all(row.vessel == "QB-101" for row in rows)
    assert all(str(problem).startswith("tags.csv, ") for problem in scope.problems)
