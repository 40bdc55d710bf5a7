"""Where a mistake stands and how it is told: the gathering of problems before one error is raised."""

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

from nightgauge.errors import Problem

_SHOWN_CHARACTERS = 80  # a found value is there to be recognised, not to be read to its end


@dataclass(frozen=True)
class Scope:
    """A place in a file, and the list that mistakes found there are added to."""

    file: str
    place: str = ""
    problems: list[Problem] = field(default_factory=list)

    def inside(self, place: str) -> "Scope":
        """Return the scope of a place within this one."""
        return replace(self, place=self._at(place))

    def add(self, key: str, found: str, expected: str, remedy: str) -> None:
        """Note one mistake at a key of this place."""
        self.problems.append(Problem(self.file, self._at(key), found, expected, remedy))

    def _at(self, place: str) -> str:
        return f"{self.place}, {place}" if self.place else place


def shown(value: object) -> str:
    """Return a value as it is quoted in a message: on one line, and cut where it is long.

    Examples
    --------
    >>> shown("8 feets"), shown(True), shown({"a": 1}), shown([1, 2])
    ('"8 feets"', 'true', 'a table', 'a list of 2')

    """
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) > 10**_SHOWN_CHARACTERS:
        return "a whole number of very many digits"
    text = repr(value)[1:-1] if isinstance(value, str) else str(value)
    cut = text if len(text) <= _SHOWN_CHARACTERS else text[: _SHOWN_CHARACTERS - 1] + "…"
    return f'"{cut}"' if isinstance(value, str) else cut


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that looks most like this one, or None if none does.

    Examples
    --------
    >>> nearest("open_at", ["opens_at", "closes_at", "cv"])
    'opens_at'
    >>> nearest("colour", ["opens_at", "closes_at"]) is None
    True

    """
    return _nearest(word, tuple(known))


@cache  # a name that is wrong once is often wrong on every row
def _nearest(word: str, known: tuple[str, ...]) -> str | None:
    by_folded = {name.casefold(): name for name in known}
    matches = difflib.get_close_matches(word.casefold(), by_folded, n=1)
    return by_folded[matches[0]] if matches else None


def listed(words: Sequence[str], most: int = 12) -> str:
    """Return words as a list for a message; of very many the first.

    Examples
    --------
    >>> listed(["a", "b", "c"], most=2)
    'a, b and 1 more'

    """
    rest = len(words) - most
    return ", ".join(words[:most]) + (f" and {rest} more" if rest > 0 else "")


def remedy_for(word: str, known: Iterable[str]) -> str:
    """Return what to do about a word that is not known: the nearest one where there is one."""
    match = nearest(word, known)
    return f"did you mean {match}?" if match is not None else "correct it or take it out"
