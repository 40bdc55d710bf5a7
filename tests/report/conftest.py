"""Builders of a small invented field, its frames by hand, and the page made from them."""

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from nightgauge.field.settings import BackPressureValve, Field, Vessel, WaterDump
from nightgauge.report.valve import ValveView
from nightgauge.report.weekly import WeekView
from nightgauge.vocabulary.frames import (
    DUMP_CYCLES,
    FINDING_EVENTS,
    FINDINGS,
    NIGHTS,
    QUARANTINE,
    SOURCE_FILES,
    TIME,
    VESSEL_DAYS,
    VESSEL_HOURS,
    VESSEL_SAMPLES,
)

_VOID = {"meta", "br", "hr", "img", "link", "input", "rect", "circle", "path", "line"}


@dataclass
class Element:
    tag: str
    attributes: dict[str, str | None]
    text: str = ""
    children: list["Element"] = field(default_factory=list)


class Page(HTMLParser):
    """A page's elements in order, each with the text it holds; unclosed elements are kept for the asking."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[Element] = []
        self.open: list[Element] = []
        self.unclosed: list[str] = []
        self.feed(text)
        self.close()
        self.unclosed += [one.tag for one in self.open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, dict(attrs))
        self.elements.append(element)
        if self.open:
            self.open[-1].children.append(element)
        if tag not in _VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, dict(attrs))
        self.elements.append(element)
        if self.open:
            self.open[-1].children.append(element)

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open[-1].tag != tag:
            self.unclosed.append(self.open.pop().tag)
        if self.open:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        for element in self.open:
            element.text += data

    def all(self, tag: str, **attributes: str) -> list[Element]:
        """Return the elements of a tag whose attributes hold these words; "class_" stands for "class"."""

        def fits(one: Element) -> bool:
            wanted = ((name.rstrip("_"), value) for name, value in attributes.items())
            return one.tag == tag and all(value in (one.attributes.get(name) or "").split() for name, value in wanted)

        return [one for one in self.elements if fits(one)]

    def one(self, tag: str, **attributes: str) -> Element:
        (found,) = self.all(tag, **attributes)
        return found

    @property
    def ids(self) -> list[str]:
        return [one.attributes["id"] or "" for one in self.elements if "id" in one.attributes]

    @property
    def charts(self) -> list[dict[str, Any]]:
        return [json.loads(script.text) for chart in self.all("div", class_="chart")
                for script in chart.children if script.tag == "script"]  # fmt: skip


INCH_M = 0.0254
PSI_KPA = 6.894757293168361
BARREL_M3 = 0.158987294928
ZONE = ZoneInfo("America/Denver")
MONDAY = date(2026, 5, 18)
UNTIL = datetime(2026, 5, 25, tzinfo=ZONE)
FIRST_DAY = date(2026, 4, 13)
HOSTILE = "<script>alert('x')</script>"


def _vessel(vessel_id: str, **over: object) -> Vessel:
    settings: dict[str, object] = {
        "service": "free-water knockout",
        "orientation": "horizontal",
        "inside_diameter_m": 8 * 12 * INCH_M,
        "length_m": 20 * 12 * INCH_M,
        "heads": "2:1 ellipsoidal",
        "normal_interface_m": 44 * INCH_M,
        "normal_oil_level_m": 66 * INCH_M,
        "baffle_at_m": 10 * 12 * INCH_M,
        "max_working_pressure_kpag": 125 * PSI_KPA,
        "required_water_retention_min": 8.0,
        "required_oil_retention_min": 10.0,
        "water_dump": (WaterDump(action="snap", opens_at_m=46 * INCH_M, closes_at_m=42 * INCH_M, cv=90.0),),
        "oil_valve": (BackPressureValve(holds_kpag=45 * PSI_KPA, kind="spring"),),
        "gas_valve": (BackPressureValve(holds_kpag=49 * PSI_KPA, kind="spring"),),
    }
    return Vessel(id=vessel_id, **(settings | over))  # type: ignore[arg-type]


def _make_field(**over: object) -> Field:
    vessels = (
        _vessel("TB-1", name="North knockout"),
        _vessel("TB-2"),
        _vessel("TB-3", name="Test vessel", service="test vessel", orientation="vertical",
                inside_diameter_m=1.2, length_m=3.0,
                baffle_at_m=None, normal_interface_m=1.2, normal_oil_level_m=2.2,
                water_dump=(WaterDump(action="throttling", holds_m=1.2, band_m=0.1),)),
        _vessel("TB-4", normal_oil_level_m=None, heads=None, inside_diameter_m=None),
        _vessel(HOSTILE, name=HOSTILE),
    )  # fmt: skip
    settings: dict[str, object] = {
        "path": Path("field.toml"),
        "name": "Tarn Bottom",
        "time_zone": "America/Denver",
        "tags": (),
        "streams": (),
        "vessels": vessels,
    }
    return Field(**(settings | over))  # type: ignore[arg-type]


def _midnight(day: date) -> datetime:
    return datetime.combine(day, datetime.min.time(), ZONE)


def _days(field: Field) -> pl.DataFrame:
    rows = []
    for at, vessel in enumerate(field.vessels[:-1]):
        for number in range(42):
            wave = math.sin(1.7 * number + at)
            sunk = max(0, number - 26) * 0.26 * PSI_KPA if vessel.id == "TB-2" else 0.0
            rows.append({
                "vessel": vessel.id, "day": FIRST_DAY + timedelta(days=number),
                "dumps": None if at == 3 else (3 if vessel.id == "TB-1" and number > 39 else round(31 + 2 * wave)),
                "open_s": 31 * 360.0, "water_load_m3_per_day": (1900 + 60 * wave) * BARREL_M3,
                "oil_load_m3_per_day": (420 + 30 * wave) * BARREL_M3,
                "water_retention_min": 9.4 + wave, "water_required_min": 8.0,
                "oil_retention_min": 24.0 + wave, "oil_required_min": 10.0,
                "water_short_h": max(0.0, 4 + 6 * wave), "oil_short_h": 0.0, "inflow_h": 24.0,
                "oil_hold_kpag": 45 * PSI_KPA + 1.2 * wave - sunk, "gas_clip_kpag": 49 * PSI_KPA + 1.1 * wave,
                "opening_level_m": (46 + 0.1 * wave) * INCH_M, "closing_level_m": (42 + 0.1 * wave) * INCH_M,
                "held_interface_m": 1.2 + 0.01 * wave, "water_in_oil_fraction": 0.011 + 0.002 * wave,
                "coverage": 0.0 if at == 3 and number > 36 else 0.97, "cv_effective": 88 + wave,
            })  # fmt: skip
    return VESSEL_DAYS.build(pl.DataFrame(rows, infer_schema_length=None))


def _hours(field: Field) -> pl.DataFrame:
    start = _midnight(FIRST_DAY).astimezone(UTC)
    rows = []
    for vessel in field.vessels[:3]:
        for number in range(42 * 24):
            load = 1 + 0.35 * math.sin(number / 24 * 2 * math.pi) + 0.15 * math.sin(number / 7.3)
            rows.append({
                "vessel": vessel.id, "hour_utc": start + timedelta(hours=number), "dumps": 1 + number % 2,
                "water_retention_min": 9.4 / load, "water_required_min": 8.0, "oil_retention_min": 24 / load,
                "oil_required_min": 10.0, "water_load_m3_per_day": 300 * load, "coverage": 1.0,
            })  # fmt: skip
    return VESSEL_HOURS.build(pl.DataFrame(rows, infer_schema_length=None))


def _cycles(field: Field) -> pl.DataFrame:
    start = _midnight(FIRST_DAY).astimezone(UTC)
    rows = []
    for vessel in field.vessels[:2]:
        for number in range(42 * 31):
            opened = start + timedelta(days=number / 31)
            if vessel.id == "TB-1" and opened > STUCK_SINCE:
                continue
            wave = math.sin(number / 3)
            rows.append({
                "vessel": vessel.id, "opened_utc": opened, "shut_utc": opened + timedelta(minutes=6),
                "opening_level_m": (46 + 0.15 * wave) * INCH_M, "closing_level_m": (42 + 0.15 * wave) * INCH_M,
                "volume_geometry_m3": 9.6 + wave / 3, "volume_meter_m3": 9.5 + wave / 3,
                "fill_s": 2400.0, "drain_s": 360.0,
                "cv_effective": 88 + 3 * wave, "evidence": "switch", "inflow_m3_per_day": 300.0,
            })  # fmt: skip
    return DUMP_CYCLES.build(pl.DataFrame(rows))


STUCK_SINCE = datetime(2026, 5, 22, 10, 10, tzinfo=UTC)


def _trace() -> pl.DataFrame:
    """Four-minute samples of an interface that saw-tooths until Friday 04:10, then rises."""
    start = STUCK_SINCE - timedelta(hours=24)
    rows = []
    for number in range(72 * 15):
        time = start + timedelta(minutes=4 * number)
        phase = (number % 11) / 11
        level = 42 + 4 * phase if time < STUCK_SINCE else 46 + min(20.0, (time - STUCK_SINCE) / timedelta(hours=2))
        is_bad = 300 <= number < 330
        rows.append({"signal": "interface_level", "time_utc": time, "value": None if is_bad else level * INCH_M,
                     "flag": "bad" if is_bad else "good", "max_gap_s": 3600.0})  # fmt: skip
    return VESSEL_SAMPLES.build(pl.DataFrame(rows, schema_overrides={"time_utc": TIME}))


def _finding(number: int, vessel: str, kind: str, element: str, **over: object) -> dict[str, object]:
    row: dict[str, object] = {
        "id": f"F{number:03d}", "vessel": vessel, "element": element, "kind": kind, "failure_mode": "FTR",
        "priority": "medium", "confidence": 0.8, "state": "standing", "mark": None,
        "onset": datetime(2026, 5, 9, 6, tzinfo=UTC), "first_reported": datetime(2026, 5, 12, 6, tzinfo=UTC),
        "last_seen": UNTIL.astimezone(UTC), "cleared_at": None, "summary": "it does what it should not",
        "evidence": json.dumps([]), "instead": json.dumps([]), "checks": json.dumps([]), "effect": None,
        "severity": 1.0, "quiet_nights": 0, "also": json.dumps([]), "last_night": UNTIL.astimezone(UTC),
    }  # fmt: skip
    return row | over


def _findings() -> pl.DataFrame:
    rows = [
        _finding(1, "TB-1", "float_stuck_closed", "water_dump", failure_mode="FTO", priority="high", confidence=0.97,
                 state="new", onset=STUCK_SINCE, first_reported=datetime(2026, 5, 23, 6, tzinfo=UTC),
                 summary="has not dumped for 68 h while water came in at 1,900 bbl/day",
                 evidence=json.dumps([
                     {"name": "highest interface", "value": 66 * INCH_M, "unit": "m", "expected": 46 * INCH_M,
                      "from": "2026-05-22T10:10:00+00:00", "to": "2026-05-25T06:00:00+00:00"},
                     {"name": "time without a dump", "value": 68 * 3600.0, "unit": "s", "expected": "about 40 min",
                      "from": None, "to": None},
                     {"name": "water inflow", "value": 1900 * BARREL_M3, "unit": "m3/day", "expected": None,
                      "from": None, "to": None}]),
                 instead=json.dumps([{"kind": "instrument_frozen", "why": "the level moves by 20 in"}]),
                 checks=json.dumps(["float arm and linkage, from outside", "pilot supply to the dump valve",
                                    "sight glass against the transmitter; by the site's procedure"]),
                 effect=json.dumps({
                     "value": 310 * BARREL_M3, "unit": "m3/day", "is_upper_bound": True,
                     "basis": "water to the oil side: load × share",
                     "terms": [{"name": "water load", "value": 1900 * BARREL_M3, "unit": "m3/day"},
                               {"name": "share", "value": 310 / 1900, "unit": "1"}]}),
                 also=json.dumps(["water_in_oil"])),
        _finding(2, "TB-2", "oil_valve_setpoint_drift", "oil_valve",
                 summary="holds 41.1 psig, 3.9 psi below its own past, sinking since 9 May",
                 evidence=json.dumps([{"name": "pressure held", "value": 41.1 * PSI_KPA, "unit": "kPag",
                                       "expected": 45 * PSI_KPA, "from": "2026-05-18T06:00:00+00:00",
                                       "to": "2026-05-25T06:00:00+00:00"}]),
                 checks=json.dumps(["spring and its adjusting screw", "gauge against transmitter"])),
        _finding(3, "TB-3", "vessel_undersized", "vessel", failure_mode=None, confidence=0.6, priority="medium",
                 onset=datetime(2026, 5, 1, 6, tzinfo=UTC), summary="was short of retention in 31 % of the hours"),
        _finding(4, "TB-1", "instrument_noisy", "instrument:temperature", failure_mode="AIR", priority="low"),
        _finding(5, "TB-2", "dump_leaking", "water_dump", failure_mode="LCP",
                 mark=json.dumps({"as": "planned", "note": "seat on order", "by": "A. Reader",
                                  "at": "2026-05-20T15:00:00+00:00"})),
        _finding(6, "TB-3", "water_in_oil", "vessel", state="cleared", failure_mode=None,
                 cleared_at=datetime(2026, 5, 19, 18, tzinfo=UTC),
                 mark=json.dumps({"as": "fixed", "note": HOSTILE, "by": None, "at": "2026-05-19T18:00:00+00:00"})),
        _finding(7, "TB-1", "unusual_day", "vessel", state="withdrawn", failure_mode=None, priority="low"),
        _finding(8, "TB-4", "data_gap", "vessel", failure_mode=None, priority="low", state="new",
                 first_reported=datetime(2026, 5, 21, 6, tzinfo=UTC), summary="nothing known since 20 May"),
    ]  # fmt: skip
    return FINDINGS.build(pl.DataFrame(rows, infer_schema_length=None))


def _events() -> pl.DataFrame:
    def at(day: int) -> datetime:
        return datetime(2026, 5, day, 6, tzinfo=UTC)

    rows = [
        ("F001", at(23), "reported", None), ("F001", at(24), "surer", "0.97 after 0.82"),
        ("F002", at(12), "reported", None), ("F002", at(20), "worse", "3.9 psi after 2.0 psi"),
        ("F006", at(20), "cleared", "back in its usual range since Tuesday"), ("F005", at(21), "marked", "planned"),
        ("F007", at(22), "withdrawn", None),
    ]  # fmt: skip
    return FINDING_EVENTS.build(pl.DataFrame(rows, schema=["finding_id", "at_utc", "event", "detail"], orient="row"))


def _nights() -> pl.DataFrame:
    rows = []
    for number in range(14):
        until = _midnight(date(2026, 5, 12) + timedelta(days=number)).astimezone(UTC)
        rows.append({"night_id": number + 1, "until_utc": until, "started_utc": until, "ended_utc": until,
                     "state": "failed" if number == 9 else "done", "detail": "3 exports"})  # fmt: skip
    return NIGHTS.build(pl.DataFrame(rows))


def _make_view(**over: object) -> WeekView:
    field = over.pop("field", None) or _make_field()
    assert isinstance(field, Field)
    files = SOURCE_FILES.build({
        "file_id": [1, 2], "path": ["streams/a.csv", "streams/b.csv"], "state": ["stored", "refused"],
        "rows_read": [1200, 0], "rows_stored": [1195, 0], "rows_repeated": [2, 0], "rows_replaced": [1, 0],
        "rows_quarantined": [2, 0],
    })  # fmt: skip
    quarantine = QUARANTINE.build(
        {"file_id": [1, 1], "row_number": [7, 9], "rows": [1, 1], "reason": ["not a number"] * 2}
    )
    frames: dict[str, object] = {
        "nights": _nights(), "findings": _findings(), "events": _events(), "days": _days(field), "hours": _hours(field),
        "cycles": _cycles(field), "traces": {"F001": _trace(), "F005": _trace()},
        "unjudged": {"TB-4": ["dumps: no level, switch or meter since Wednesday"]},
        "files": files, "quarantine": quarantine,
    }  # fmt: skip
    return WeekView(field=field, **({"monday": MONDAY, "until": UNTIL} | frames | over))  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def read_page() -> Callable[[str], Page]:
    """Return a reader of pages: elements, texts, ids and the specifications of the charts."""
    return Page


@pytest.fixture(scope="session")
def make_field() -> Callable[..., Field]:
    return _make_field


@pytest.fixture(scope="session")
def make_vessel() -> Callable[..., Vessel]:
    return _vessel


@pytest.fixture(scope="session")
def make_view() -> Callable[..., WeekView]:
    return _make_view


def _week_trace() -> pl.DataFrame:
    """Five weeks of a saw-tooth that matches TB-2's cycles: down 4 in in six minutes, up again until the next."""
    start = _midnight(FIRST_DAY + timedelta(days=7)).astimezone(UTC)
    times, levels, pressures = [], [], []
    for number in range(35 * 31):
        opened = start + timedelta(days=number / 31)
        for minutes, level in ((0.0, 46.0), (3.0, 44.0), (6.0, 42.0)):
            times.append(opened + timedelta(minutes=minutes))
            levels.append(level * INCH_M)
            pressures.append((45 + 0.5 * math.sin(number)) * PSI_KPA)
    both = [
        {"signal": [signal] * len(times), "time_utc": times, "value": values, "flag": ["good"] * len(times),
         "max_gap_s": [7200.0] * len(times)}
        for signal, values in (("interface_level", levels), ("vessel_pressure", pressures))
    ]  # fmt: skip
    return VESSEL_SAMPLES.build(
        pl.concat([pl.DataFrame(one) for one in both]).with_columns(pl.col("time_utc").cast(TIME))
    )


def _make_valve_view(**over: object) -> ValveView:
    field = _make_field()
    frames: dict[str, object] = {
        "field": field, "vessel": "TB-2", "element": "water_dump", "start": _midnight(MONDAY), "end": UNTIL,
        "until": UNTIL, "samples": _week_trace(), "cycles": _cycles(field), "days": _days(field),
        "findings": _findings(),
    }  # fmt: skip
    return ValveView(**(frames | over))  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def make_valve_view() -> Callable[..., ValveView]:
    return _make_valve_view


@pytest.fixture(scope="session")
def make_findings() -> Callable[..., pl.DataFrame]:
    """Return a builder of FINDINGS from the columns that matter to a test."""

    def build(*rows: Mapping[str, object]) -> pl.DataFrame:
        made = [_finding(at, "TB-1", "dump_leaking", "water_dump") | dict(row) for at, row in enumerate(rows, start=1)]
        return FINDINGS.build(pl.DataFrame(made, infer_schema_length=None))

    return build
