"""Work on pieces in threads: the array libraries let go of the interpreter while they work."""

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

WORKERS = min(os.cpu_count() or 1, 4)
"""Pieces worked on at once. House choice: each holds a few times its text in memory, and the landing is one writer."""
AHEAD = 2
"""Pieces that wait besides: enough that no worker idles while a result is taken up."""


def side_by_side(work: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
    """Yield the results of the items in their order, a few items being worked on at once.

    What goes wrong with an item is raised at its turn; what goes wrong in `items` itself, as soon as it is met.
    """
    waiting: deque[Future[Result]] = deque()
    with ThreadPoolExecutor(WORKERS) as pool:
        try:
            for item in items:
                waiting.append(pool.submit(work, item))
                if len(waiting) >= WORKERS + AHEAD:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()
