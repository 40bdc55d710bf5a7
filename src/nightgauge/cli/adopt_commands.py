"""The command that drafts a field: adopt."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from nightgauge.cli.arguments import clock
from nightgauge.cli.printing import say
from nightgauge.errors import SourceError
from nightgauge.pipeline.adopting import UNPLACED, Adopted
from nightgauge.pipeline.adopting import adopt as draft_field

_SURE, _LIKELY = 0.8, 0.5


def adopt(
    exports: Annotated[
        list[Path],
        typer.Argument(metavar="EXPORTS...", help="Historian exports, or folders of them.", show_default=False),
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="FOLDER", help="The field folder to draft.", show_default=False)
    ],
    time_zone: Annotated[
        str | None,
        typer.Option(metavar="ZONE", help="IANA zone of stamps without an offset, as America/Denver. [default: UTC]"),
    ] = None,
) -> None:
    """A draft of field.toml and tags.csv from exports, with a page to review it.

    Each tag's signal is told from how it behaves, its name (ISA-5.1 letters, plain words), a unit column where there is
    one, and tags of the same pattern on other vessels; its vessel from its name, confirmed by what moves with it.
    Settings that the data tell are filled in; the others are left as comments with a usual range, and
    `nightgauge check` lists them. Correct the two files and run it again: what you have changed stays.
    """
    adopted = draft_field(exports, out, time_zone, clock(), _progress)
    if sys.stderr.isatty():
        sys.stderr.write("\n")
    _print(adopted, out)
    if adopted.refused:
        raise SourceError(f"{len(adopted.refused)} of {adopted.files} exports could not be read; the rest was drafted")


def _progress(what: str, done: int, total: int) -> None:
    """Tell how far it is, on one line of a terminal."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r{what}: {done} of {total}\x1b[K")
        sys.stderr.flush()


def _print(adopted: Adopted, out: Path) -> None:
    draft = adopted.draft
    guesses = {guess.tag: guess for guess in draft.guesses}
    sure = sum(guesses[row.tag].confidence >= _SURE for row in draft.rows)
    doubtful = sum(guesses[row.tag].confidence < _LIKELY for row in draft.rows)
    again = ", what you had changed was kept" if adopted.is_again else ""
    say(f"{out / 'field.toml'} and tags.csv: {len(draft.vessels)} vessels, {len(draft.rows)} tags{again}")
    say(f"  {sure} tags sure, {len(draft.rows) - sure - doubtful} likely, {doubtful} doubtful")
    if draft.unplaced:
        say(f"  {len(draft.unplaced)} tags without a place: {out / UNPLACED}")
    told = [(guess.tag, remark) for guess in draft.guesses for remark in guess.told]
    for tag, remark in told:
        say(f"  {tag}: {remark}")
    for reason in adopted.refused:
        say(f"  {reason}")
    say(f"review it on {adopted.page}; then `nightgauge check {out / 'field.toml'}` lists what is still missing")
