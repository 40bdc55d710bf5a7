"""Commands on fields whose faults are known: simulate."""

from pathlib import Path
from typing import Annotated

import typer

from nightgauge.cli.printing import say
from nightgauge.errors import SettingError
from nightgauge.simulate import random_fleet, simulate_field
from nightgauge.simulate.faults import KINDS


def simulate(
    out: Annotated[Path, typer.Argument(metavar="OUT", help="Folder to write the field to.", show_default=False)],
    vessels: Annotated[int, typer.Option(min=1, help="How many vessels.")] = 8,
    days: Annotated[int, typer.Option(min=1, help="How many days.")] = 42,
    seed: Annotated[int, typer.Option(help="The same seed gives the same field.")] = 1,
    faults: Annotated[
        str | None, typer.Option(metavar="KIND,KIND", help="Kinds to draw from; all without it, `none` for none.")
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
    unknown = sorted(set(kinds) - set(KINDS))
    if unknown:
        raise SettingError(f"--faults: {', '.join(unknown)} cannot be simulated; there are {', '.join(KINDS)}")
    return kinds
