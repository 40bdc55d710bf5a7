"""Handing work out to others: what a flow gives the night where workers on other machines shall do a part of it."""

from collections.abc import Callable, Iterable, Iterator
from typing import Protocol, TypeVar

Task = TypeVar("Task")
Done = TypeVar("Done")


class HandOut(Protocol):
    """Has work done on tasks elsewhere; both can be sent to another process."""

    def __call__(self, work: Callable[[Task], Done], tasks: Iterable[Task]) -> Iterator[Done]:
        """Yield what work makes of each task, in the order of the tasks, of which only some are taken ahead."""
        ...
