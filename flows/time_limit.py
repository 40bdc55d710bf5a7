"""The end of a night that hangs."""

import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from nightgauge.errors import NoGoodNight


@contextmanager
def limited(limit_s: float | None, before_the_end: Callable[[NoGoodNight], object]) -> Iterator[None]:
    """End this process, with the exit code of `NoGoodNight`, where what runs inside takes longer than allowed.

    The process ends as if it were killed, which nights are made to survive: what hangs inside a library, or catches
    every error to go on with the next vessel, could not be ended otherwise. `before_the_end` is told first.
    """
    if limit_s is None:
        yield
        return
    timer = threading.Timer(limit_s, _end, (limit_s, before_the_end))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _end(limit_s: float, before_the_end: Callable[[NoGoodNight], object]) -> None:
    late = NoGoodNight(
        f"the night was not done within {limit_s:g} s and was ended; the next one goes on where it stood."
        " Give more with --timeout where it only had much to read"
    )
    try:
        sys.stderr.write(f"{late}\n")
        sys.stderr.flush()
        before_the_end(late)
    finally:
        os._exit(late.exit_code)
