"""Arguments that several commands share."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from nightgauge.cli.printing import Format
from nightgauge.errors import SettingError
from nightgauge.field.settings import Field, Vessel
from nightgauge.units import UnitProblem, parse

FieldToml = Annotated[Path, typer.Argument(metavar="FIELD_TOML", help="The field's field.toml.", show_default=False)]
As = Annotated[Format, typer.Option("--format", help="Table for people, JSON or CSV for scripts.")]
VesselId = Annotated[str, typer.Argument(metavar="VESSEL", help="Id of the vessel.", show_default=False)]


def clock() -> datetime:
    """Return the time now, in UTC."""
    return datetime.now(UTC)


def duration_s(option: str, text: str) -> float:
    """Return a duration such as "10min" in seconds, or say which option is wrong."""
    try:
        return parse(text, "duration")
    except UnitProblem as problem:
        raise SettingError(f"{option}: {problem}") from problem


def vessel_of(field: Field, vessel_id: str) -> Vessel:
    """Return the vessel, or say which there are."""
    vessel = field.vessel(vessel_id)
    if vessel is None:
        known = ", ".join(v.id for v in field.vessels)
        raise SettingError(f"vessel {vessel_id!r} is not in {field.path}; it has {known}")
    return vessel
