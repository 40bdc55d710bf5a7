"""Commands about findings: findings, mark."""

import json
from enum import StrEnum
from typing import Annotated

import polars as pl
import typer

from nightgauge import ledger
from nightgauge.cli.arguments import As, FieldToml, clock, vessel_of
from nightgauge.cli.printing import Format, say
from nightgauge.errors import SettingError
from nightgauge.field.read import read_field
from nightgauge.report.findings import as_csv, as_json, as_table
from nightgauge.store import Store
from nightgauge.vocabulary.frames import FINDING_EVENTS


class State(StrEnum):
    """States of a finding, and any."""

    new = "new"
    standing = "standing"
    cleared = "cleared"
    withdrawn = "withdrawn"
    any = "any"


class Mark(StrEnum):
    """What a person may say of a finding."""

    known = "known"
    planned = "planned"
    fixed = "fixed"
    wrong = "wrong"


def findings(
    field_toml: FieldToml,
    vessel: Annotated[str | None, typer.Option(metavar="V", help="Only this vessel.")] = None,
    state: Annotated[State | None, typer.Option(help="Only this state; all but withdrawn without it.")] = None,
    form: As = Format.table,
) -> None:
    """The findings, what needs a visit first."""
    field = read_field(field_toml)
    with Store(field.database).reading() as reader:
        frame = reader.findings()
    if vessel is not None:
        frame = frame.filter(pl.col("vessel") == vessel_of(field, vessel).id)
    wanted = None if state is None else state.value
    if form is Format.json:
        say(json.dumps(as_json(frame, field, state=wanted), ensure_ascii=False, indent=1))
    elif form is Format.csv:
        typer.echo(as_csv(frame, field, state=wanted), nl=False)
    else:
        typer.echo(as_table(frame, field, state=wanted), nl=False)


def mark(
    field_toml: FieldToml,
    finding_id: Annotated[str, typer.Argument(metavar="FINDING_ID", help="Id of the finding.", show_default=False)],
    as_: Annotated[Mark, typer.Option("--as", help="What you say of it.", show_default=False)],
    note: Annotated[str, typer.Option(help="Why, in a few words.", show_default=False)],
    by: Annotated[str | None, typer.Option(metavar="NAME", help="Who says so.")] = None,
) -> None:
    """Say once that a finding is known, planned, fixed or wrong; its state is not changed by it."""
    field = read_field(field_toml)
    with Store(field.database).writing() as writer:
        frame = writer.findings().filter(pl.col("id") == finding_id)
        if frame.is_empty():
            raise SettingError(f"there is no finding {finding_id!r}; `nightgauge findings {field_toml}` lists them")
        text, event = ledger.mark(frame.row(0, named=True), as_.value, note, by, clock())
        writer.set_mark(finding_id, text, FINDING_EVENTS.build(pl.DataFrame([event])))
    say(f"{finding_id}: marked {event['detail']}")
