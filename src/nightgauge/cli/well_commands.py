"""The command about wells: their tests."""

from typing import Annotated

import typer

from nightgauge.cli.arguments import As, FieldToml
from nightgauge.cli.printing import Format, say, show
from nightgauge.errors import SettingError
from nightgauge.field.problems import listed, remedy_for
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline.wells import Wells, ask_wells
from nightgauge.report.well_records import RATES, WellRecord
from nightgauge.store import Store
from nightgauge.units import to_display

_WITH_UNCERTAINTY = ("liquid", "water", "oil", "net_oil")
_SCRIPT = (
    "well", "vessel", "tested on", "last test", *(c for r in _WITH_UNCERTAINTY for c in (r, f"{r} ±")), "unit", "gas",
    "gas unit", "cut %", "change of", "change %", "change % ±", "record", "accepted", "failed", "last failed", "why",
)  # fmt: skip
_PEOPLE = ("well", "last test", "water", "oil", "net oil", "unit", "cut %", "change %", "accepted", "failed")


def wells(
    field_toml: FieldToml,
    well: Annotated[str | None, typer.Option(metavar="WELL", help="Id of a well; without it all.")] = None,
    form: As = Format.table,
) -> None:
    """Each well's tests: the last one, its change, what failed and why; sums against the vessels' meters."""
    field = read_field(field_toml)
    known = ask_wells(field, Store(field.database))
    records = [record for record in known.records if well in (None, record.well)]
    if well is not None and not records:
        names = [record.well for record in known.records]
        raise SettingError(f"there is no well {well!r}: {remedy_for(well, names)}; there are {listed(names) or 'none'}")
    rows = [_row(record, field) for record in records]
    if form is not Format.table:
        show(rows, _SCRIPT, form, field.zone)
        return
    tested = [row for row in rows if well is not None or row["accepted"] or row["failed"]]
    if tested:
        show([_for_people(row, field) for row in tested], _PEOPLE, form, field.zone)
        say("\nrates ± standard uncertainty; change: of the liquid against the well's own tests before, or of oil or")
        say("water alone where its tests give no more")
    silent = [str(row["well"]) for row in rows if row not in tested]
    if silent:
        say("\n" * bool(tested) + f"no test is known of {', '.join(silent)}")
    _show_failed(records, field, is_all=well is not None)
    if well is None:
        _show_sums(known, field)


def _row(record: WellRecord, field: Field) -> dict[str, object]:
    """Return one well as scripts read it, in the field's display units."""
    last, change = record.last or {}, record.change
    first_failed = record.failed[0] if record.failed else {}
    row: dict[str, object] = {
        "well": record.well,
        "vessel": record.vessel,
        "tested on": last.get("vessel"),
        "last test": last.get("start_utc"),
        "unit": to_display(0.0, "liquid rate", field.display_units)[1],
        "gas unit": to_display(0.0, "gas rate", field.display_units)[1],
        "cut %": _percent(record.cut),
        "accepted": record.accepted,
        "failed": len(record.failed),
        "last failed": first_failed.get("start_utc"),
        "why": first_failed.get("reason"),
    }
    for name in RATES:
        row[name] = _rate(last.get(f"{name}_m3_per_day"), "gas rate" if name == "gas" else "liquid rate", field)
        row[f"{name} ±"] = _rate(last.get(f"{name}_uncertainty_m3_per_day"), "liquid rate", field)
    if change is not None:
        row |= {"change of": change.rate, "change %": _percent(change.share),
                "change % ±": _percent(change.uncertainty), "record": change.tests}  # fmt: skip
    return row


def _rate(value: float | None, dimension: str, field: Field) -> float | None:
    return None if value is None else round(to_display(value, dimension, field.display_units)[0], 1)


def _percent(value: float | None) -> float | None:
    return None if value is None else round(100.0 * value, 1)


def _for_people(row: dict[str, object], field: Field) -> dict[str, object]:
    def with_error(value: object, error: object) -> str | None:
        if not isinstance(value, float):
            return None
        return f"{value:.0f}" if not isinstance(error, float) else f"{value:.0f} ± {error:.0f}"

    told = {name.replace("_", " "): with_error(row[name], row[f"{name} ±"]) for name in _WITH_UNCERTAINTY}
    change = with_error(row.get("change %"), row.get("change % ±"))
    sign = "+" if change and not change.startswith("-") else ""
    return row | told | {"change %": change and f"{sign}{change}", "last test": _day(row["last test"], field)}


def _day(time: object, field: Field) -> str | None:
    return None if time is None else f"{time.astimezone(field.zone):%Y-%m-%d}"  # type: ignore[attr-defined]


_FIRST = 20
"""Failed tests shown where all wells are. House choice: one screen."""


def _show_failed(records: list[WellRecord], field: Field, *, is_all: bool) -> None:
    failed = sorted((test for record in records for test in record.failed), key=lambda t: t["start_utc"], reverse=True)
    if not failed:
        return
    shown = failed if is_all else failed[:_FIRST]
    say(f"\ntests that failed{'' if len(shown) == len(failed) else f', the last {_FIRST} of {len(failed)}'}")
    rows = [{"well": t["well"], "test": _day(t["start_utc"], field), "why": t["reason"]} for t in shown]
    show(rows, ("well", "test", "why"), Format.table, field.zone)


def _show_sums(known: Wells, field: Field) -> None:
    if not known.allocations:
        return
    say("\nlatest accepted tests added up, against the median load of the last four weeks")
    rows = [
        {
            "vessel": one.vessel,
            "phase": one.phase,
            "wells": one.wells,
            "without a test": ", ".join(one.without) or None,
            "tests": round(_rate(one.tests_m3_per_day, "liquid rate", field) or 0.0),
            "load": round(_rate(one.load_m3_per_day, "liquid rate", field) or 0.0),
            "unit": to_display(0.0, "liquid rate", field.display_units)[1],
            "ratio": round(one.ratio, 2),
        }
        for one in known.allocations
    ]
    show(rows, tuple(rows[0]), Format.table, field.zone)
