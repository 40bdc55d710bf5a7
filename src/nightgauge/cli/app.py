"""The commands' home: one application, one place where errors become a line and an exit code."""

import sys
from collections.abc import Sequence
from importlib import import_module

import typer

from nightgauge.errors import FieldFolderError, NightgaugeError

HOMES = {
    "adopt": "adopt_commands",
    "check": "field_commands",
    "explain": "field_commands",
    "weekly": "page_commands",
    "valve": "page_commands",
    "findings": "finding_commands",
    "mark": "finding_commands",
    "capacity": "capacity_commands",
    "wells": "well_commands",
    "nights": "night_commands",
    "cycles": "night_commands",
    "backup": "backup_commands",
    "restore": "backup_commands",
    "simulate": "trial_commands",
    "score": "trial_commands",
}
"""Command to the module it lives in. Only what is asked for is imported: charts and statistics take seconds to load."""


def application(arguments: Sequence[str]) -> typer.Typer:
    """Return the application with the command that the arguments ask for, or, where they name none, with all."""
    made = typer.Typer(
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        help="Which separation vessels of an oil field need a visit, why, and since when.",
    )
    made.callback()(_nothing)
    asked = [name for name in arguments[:1] if name in HOMES] or list(HOMES)
    for name in asked:
        home = import_module(f"nightgauge.cli.{HOMES[name]}")
        made.command(name)(getattr(home, name))
    return made


def _nothing() -> None:
    """Which separation vessels of an oil field need a visit, why, and since when."""


def main() -> None:
    """Run the command line; end with the error's exit code."""
    try:
        application(sys.argv[1:])()
    except FieldFolderError as error:
        sys.stderr.write("".join(f"{problem}\n" for problem in error.problems))
        sys.exit(error.exit_code)
    except NightgaugeError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # The reader of a pipe has seen enough; Python would otherwise complain once more at its end.
        sys.stderr.close()
