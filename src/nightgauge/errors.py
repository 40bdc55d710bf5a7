"""Every error that stops a run, in one tree.

::

    NightgaugeError
    ├── SettingError        exit 2   the field folder or the arguments are wrong
    │   └── FieldFolderError         all problems of one folder at once
    ├── SourceError         exit 3   an export cannot be read to its end
    ├── StoreError          exit 4   the database cannot be used
    │   ├── StoreMissing             no night has run yet
    │   ├── StoreBusy                somebody else holds it (worth trying again)
    │   ├── StoreNotWritable         read-only folder, full disk
    │   ├── StoreDamaged             not a database, or broken
    │   └── StoreNewer               written by a newer version of the program
    ├── NoGoodNight         exit 5   no night finished in time
    └── ProgrammerError     exit 1   a frame or argument broke its contract: a bug

A bad *row* goes to quarantine and a bad *value* gets a flag: neither raises.
Messages say what, where, found, expected and the next step, in one line.
"""

from collections.abc import Sequence
from dataclasses import dataclass


class NightgaugeError(Exception):
    """Root of all errors raised on purpose."""

    exit_code = 1
    retryable = False


class SettingError(NightgaugeError):
    """A setting or an argument is wrong, and a person has to mend it."""

    exit_code = 2


@dataclass(frozen=True, order=True)
class Problem:
    """One mistake in a field folder: where it stands, what was found, what is accepted, what to do."""

    file: str
    place: str
    found: str
    expected: str
    remedy: str

    def __str__(self) -> str:
        """Return the problem as one line."""
        return f"{self.file}, {self.place}: found {self.found}, expected {self.expected}; {self.remedy}"


class FieldFolderError(SettingError):
    """The mistakes of one field folder, gathered before raising.

    Attributes
    ----------
    problems : tuple of Problem
        At least one, in file order.

    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class SourceError(NightgaugeError):
    """One export is refused whole; the others go on."""

    exit_code = 3


class StoreError(NightgaugeError):
    """The database cannot be used."""

    exit_code = 4


class StoreMissing(StoreError):
    """There is no database yet: no night has run on this field."""


class StoreBusy(StoreError):
    """Another process holds the database."""

    retryable = True


class StoreNotWritable(StoreError):
    """The database or its folder cannot be written."""


class StoreDamaged(StoreError):
    """The file is not a whole database."""


class StoreNewer(StoreError):
    """The database was written by a newer version of the program."""


class NoGoodNight(NightgaugeError):
    """The last good night is older than was asked for."""

    exit_code = 5


class ProgrammerError(NightgaugeError):
    """A frame or an argument broke its contract."""
