"""The commands' home: one application, one place where errors become a line and an exit code."""

import sys

import typer

from nightgauge.cli import field_commands, finding_commands, night_commands, trial_commands
from nightgauge.errors import FieldFolderError, NightgaugeError

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Which separation vessels of an oil field need a visit, why, and since when.",
)
for _module in (field_commands, finding_commands, night_commands, trial_commands):
    for _command in _module.COMMANDS:
        app.command()(_command)


def main() -> None:
    """Run the command line; end with the error's exit code."""
    try:
        app()
    except FieldFolderError as error:
        sys.stderr.write("".join(f"{problem}\n" for problem in error.problems))
        sys.exit(error.exit_code)
    except NightgaugeError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # The reader of a pipe has seen enough; Python would otherwise complain once more at its end.
        sys.stderr.close()
