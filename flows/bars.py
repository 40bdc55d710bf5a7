"""Progress for people: bars on a terminal, with the time left; silence in a pipe."""

import sys
from functools import cache

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

from nightgauge.pipeline.telling import Tell, silent


class Bars:
    """One bar for each step that is under way; they leave no trace when all are done."""

    def __init__(self, console: Console) -> None:
        self._shown = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeRemainingColumn(),
            console=console,
            transient=True,
        )
        self._steps: dict[str, TaskID] = {}

    def tell(self, what: str, done: int, total: int) -> None:
        """Show how far a step is."""
        if not self._steps:
            self._shown.start()
        if what not in self._steps:
            self._steps[what] = self._shown.add_task(what, total=total)
        self._shown.update(self._steps[what], completed=done, total=total)
        if done >= total:
            self._shown.remove_task(self._steps.pop(what))
        if not self._steps:
            self._shown.stop()


@cache
def _of_terminal() -> Bars:
    return Bars(Console(stderr=True))


def progress() -> Tell:
    """Return the bars of this process where somebody sees them."""
    return _of_terminal().tell if sys.stderr.isatty() else silent
