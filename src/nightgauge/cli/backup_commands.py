"""Commands that copy a field's database and put a copy back: backup, restore."""

from pathlib import Path
from typing import Annotated

import typer

from nightgauge.cli.arguments import FieldToml, duration_s
from nightgauge.cli.printing import say
from nightgauge.field.read import read_field
from nightgauge.store import Copied, Store

Wait = Annotated[str, typer.Option(metavar="DURATION", help="How long to try where the database is in use.")]


def backup(
    field_toml: FieldToml,
    to: Annotated[Path, typer.Argument(metavar="TO", help="File to write the copy to.", show_default=False)],
    replace: Annotated[bool, typer.Option("--replace", help="Replace a file of that name.")] = False,
    wait: Wait = "60 s",
) -> None:
    """Copy the field's database, with its lake where that is a folder; nights may go on meanwhile."""
    copied = Store(read_field(field_toml).database).backup(to, may_replace=replace, wait_s=duration_s("--wait", wait))
    say(f"{to} is a whole copy: {_size(copied)}")
    if copied.lake_left_out is not None:
        say(f"the samples are not in it: they are in the lake at {copied.lake_left_out}; copy that by its own means")


def restore(
    field_toml: FieldToml,
    copy: Annotated[Path, typer.Argument(metavar="FROM", help="A file that backup wrote.", show_default=False)],
    replace: Annotated[bool, typer.Option("--replace", help="Give up the database that is there.")] = False,
    wait: Wait = "0 s",
) -> None:
    """Put a copy in the place of the field's database; the next night reads what came since."""
    store = Store(read_field(field_toml).database)
    copied = store.restore(copy, may_replace=replace, wait_s=duration_s("--wait", wait))
    say(f"{store.path} is the copy {copy} now: {_size(copied)}; the next night reads what came since")
    if copied.lake_left_out is not None:
        say(f"its samples are those of the lake at {copied.lake_left_out}, which was left as it is")


def _size(copied: Copied) -> str:
    return f"{copied.size_bytes / 1e6:,.1f} MB"
