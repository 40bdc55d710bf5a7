"""Commands about the runs and what they derived: nights, cycles."""

from datetime import timedelta
from typing import Annotated

import typer

from nightgauge.cli.arguments import As, FieldToml, VesselId, clock, duration_s, vessel_of
from nightgauge.cli.printing import Format, say, show
from nightgauge.errors import StoreMissing
from nightgauge.field.calendar import parse_until
from nightgauge.field.read import read_field
from nightgauge.pipeline.watching import require_recent
from nightgauge.store import Store
from nightgauge.units import DIMENSIONS, System, to_display
from nightgauge.vocabulary.frames import DUMP_CYCLES, FIRST_TIME, Column

# Of a vessel's dumps every rate is a liquid's; gas rates share the inside unit.
_DIMENSION_OF = {dimension.si: name for name, dimension in DIMENSIONS.items() if name != "gas rate"}
_SHOWN_TO_PEOPLE = (
    "opened_utc", "shut_utc", "opening_level_m", "closing_level_m", "volume_geometry_m3", "volume_meter_m3",
    "fill_s", "drain_s", "inflow_m3_per_day", "cv_effective", "evidence",
)  # fmt: skip
_DETAIL = 200
"""Characters of a detail that a table shows. House choice: two lines of a wide terminal."""


def nights(
    field_toml: FieldToml,
    max_age: Annotated[
        str | None, typer.Option(metavar="DURATION", help="End with 5 when the last good night is older, as 26h.")
    ] = None,
    steps: Annotated[
        bool, typer.Option("--steps", help="The steps of each instead: seconds, rows, what and why.")
    ] = False,
    form: As = Format.table,
) -> None:
    """The runs and what each did."""
    field = read_field(field_toml)
    store = Store(field.database)
    oldest = None if max_age is None else timedelta(seconds=duration_s("--max-age", max_age))
    try:
        with store.reading() as reader:
            frame = reader.night_steps() if steps else reader.nights()
    except StoreMissing:
        if oldest is None:
            raise
    else:
        rows = [_for_people(row) for row in frame.to_dicts()] if form is Format.table else frame.to_dicts()
        show(rows, frame.columns, form, field.zone)
    if oldest is not None:
        require_recent(store, oldest, clock())


def _for_people(row: dict[str, object]) -> dict[str, object]:
    """Return the row with a detail that is short enough for a line; JSON and CSV have all of it."""
    detail = str(row["detail"] or "")
    return row | {"detail": detail if len(detail) <= _DETAIL else f"{detail[: _DETAIL - 1]}…"}


def cycles(
    field_toml: FieldToml,
    vessel: VesselId,
    first: Annotated[str | None, typer.Option("--from", metavar="D", help="From this time on.")] = None,
    last: Annotated[str | None, typer.Option("--to", metavar="D", help="Before this time.")] = None,
    form: As = Format.table,
) -> None:
    """One vessel's dump cycles: display units in a table, SI with the unit in the name for scripts."""
    field = read_field(field_toml)
    vessel_id = vessel_of(field, vessel).id
    with Store(field.database).reading() as reader:
        until = reader.last_night() or clock()
        start = FIRST_TIME if first is None else parse_until(first, field.zone)
        frame = reader.cycles(vessel_id, start, until if last is None else parse_until(last, field.zone))
    if form is not Format.table:
        show(frame.to_dicts(), list(DUMP_CYCLES.schema), form, field.zone)
        return
    columns = [column for column in DUMP_CYCLES.columns if column.name in _SHOWN_TO_PEOPLE]
    headers = [_header(column, field.display_units) for column in columns]
    rows = [
        {
            header: _shown(row[column.name], column, field.display_units)
            for header, column in zip(headers, columns, strict=True)
        }
        for row in frame.iter_rows(named=True)
    ]
    show(rows, headers, form, field.zone)
    say(f"{len(rows)} dumps")


def _header(column: Column, system: System) -> str:
    plain = {"opened_utc": "opened", "shut_utc": "shut", "evidence": "evidence", "cv_effective": "Cv"}
    if column.name in plain:
        return plain[column.name]
    dimension = _DIMENSION_OF[column.unit]
    words = column.name.removesuffix("_m3_per_day").removesuffix("_m3").removesuffix("_m").removesuffix("_s")
    return f"{words.replace('_', ' ')} [{DIMENSIONS[dimension].display(system)}]"


def _shown(value: object, column: Column, system: System) -> object:
    if not isinstance(value, float) or column.unit not in _DIMENSION_OF:
        return value
    return to_display(value, _DIMENSION_OF[column.unit], system)[0]
