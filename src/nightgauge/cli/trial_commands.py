"""Commands on fields whose faults are known: simulate, score."""

from dataclasses import asdict, fields
from datetime import date
from pathlib import Path
from typing import Annotated

import polars as pl
import typer

from nightgauge.cli.arguments import As, FieldToml
from nightgauge.cli.printing import Format, say, show
from nightgauge.errors import SettingError
from nightgauge.field.calendar import day_bounds
from nightgauge.field.read import read_field
from nightgauge.report.findings import as_json
from nightgauge.score import FIRST_WEEKS, Outcome, read_truth, seen_of
from nightgauge.score import score as judge
from nightgauge.simulate import random_fleet, simulate_field
from nightgauge.simulate.faults import ASKED, KINDS
from nightgauge.store import Store
from nightgauge.vocabulary.frames import FIRST_TIME


def simulate(
    out: Annotated[Path, typer.Argument(metavar="OUT", help="Folder to write the field to.", show_default=False)],
    vessels: Annotated[int, typer.Option(min=1, help="How many vessels.")] = 8,
    days: Annotated[int, typer.Option(min=1, help="How many days.")] = 42,
    seed: Annotated[int, typer.Option(help="The same seed gives the same field.")] = 1,
    faults: Annotated[
        str | None,
        typer.Option(
            metavar="KIND,KIND",
            help="Kinds to draw from; without it all but those of wells and anodes, `none` for none.",
        ),
    ] = None,
) -> None:
    """A made-up field with known faults: exports, settings, tags and truth.csv."""
    if out.exists() and any(out.iterdir()):
        raise SettingError(f"{out} is not empty; give a new folder, so that nothing of yours is written over")
    simulate_field(out, random_fleet(vessels, days, seed, _kinds(faults)))
    say(f"{out / 'field.toml'}: {vessels} vessels, {days} days, seed {seed}; what was planted is in truth.csv")


def _kinds(text: str | None) -> list[str] | None:
    if text is None:
        return None
    if text == "none":
        return []
    kinds = [kind.strip() for kind in text.split(",") if kind.strip()]
    known = (*KINDS, *ASKED)
    unknown = sorted(set(kinds) - set(known))
    if unknown:
        raise SettingError(f"--faults: {', '.join(unknown)} cannot be simulated; there are {', '.join(known)}")
    return kinds


def score(field_toml: FieldToml, form: As = Format.table) -> None:
    """Findings against the known faults of truth.csv: found, named right, how soon, how many false, how sure."""
    field = read_field(field_toml)
    truth = read_truth(field.folder / "truth.csv")
    with Store(field.database).reading() as reader:
        findings = as_json(reader.findings(), field, state="any")
        until = reader.last_night()
        first = None if until is None else reader.days(FIRST_TIME, until)["day"].min()
        if until is None or not isinstance(first, date):
            raise SettingError("no night has judged any data yet; run the nightly flow or a replay first")
        start = day_bounds(field.zone, first)[0]
        cycles = pl.concat([reader.cycles(vessel.id, start, start + FIRST_WEEKS) for vessel in field.vessels])
    result = judge(findings, truth, seen_of(field, start, until, cycles))
    if form is Format.table:
        say(result.table())
        return
    rows = [asdict(outcome) | {"kinds": "|".join(outcome.kinds)} for outcome in result.outcomes]
    show(rows, [f.name for f in fields(Outcome)], form, field.zone)
