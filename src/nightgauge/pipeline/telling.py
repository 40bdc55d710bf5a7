"""How a long step says how far it is."""

from collections.abc import Callable
from datetime import datetime

Tell = Callable[[str, int, int], None]
"""Progress: what is being done, how many are done, of how many."""
Clock = Callable[[], datetime]
"""The time now, in UTC."""


def silent(what: str, done: int, total: int) -> None:
    """Tell nobody."""
