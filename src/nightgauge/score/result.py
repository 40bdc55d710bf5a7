"""The score and its table."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from nightgauge.score.promptness import DRIFTS, STUCK
from nightgauge.score.reliability import Claim, reliability_table


@dataclass(frozen=True)
class Outcome:
    """What became of one known fault."""

    vessel: str
    kinds: tuple[str, ...]
    start: datetime
    end: datetime | None
    is_showable: bool | None
    """None: the format's table does not say, or the fleet is not known."""
    due: datetime | None = None
    """When it has to have been told; None where there is no such time or it is not known."""
    finding: str | None = None
    told_as: str | None = None
    first_reported: datetime | None = None
    nights: int | None = None
    """From the fault's start to the first report."""
    onset_error_days: float | None = None
    """Estimated onset minus start; negative is early."""

    @property
    def is_named_right(self) -> bool:
        """Return whether it was told as what it is, or as what cannot be told from it."""
        return self.told_as in self.kinds

    @property
    def is_prompt(self) -> bool | None:
        """Return whether it was told in time, None where there is no deadline."""
        if self.due is None:
            return None
        return self.first_reported is not None and self.first_reported < self.due


@dataclass(frozen=True)
class Score:
    """How findings stand against known faults."""

    outcomes: tuple[Outcome, ...]
    false: tuple[tuple[str, str, str], ...]
    """Id, vessel and kind of each false finding."""
    vessel_weeks: float | None = None
    claims: tuple[Claim, ...] = ()
    """How sure each medium or high finding was, and whether it was right."""

    @property
    def showable(self) -> tuple[Outcome, ...]:
        """Return the faults that the vessels' signals show."""
        return tuple(o for o in self.outcomes if o.is_showable)

    @property
    def found_share(self) -> float | None:
        """Return the share of showable faults that were found."""
        return _share(sum(o.finding is not None for o in self.showable), len(self.showable))

    @property
    def named_share(self) -> float | None:
        """Return the share of the showable faults found that were named right."""
        found = [o for o in self.showable if o.finding is not None]
        return _share(sum(o.is_named_right for o in found), len(found))

    @property
    def false_per_100_vessel_weeks(self) -> float | None:
        """Return the rate of false medium and high findings."""
        return 100.0 * len(self.false) / self.vessel_weeks if self.vessel_weeks else None

    def prompt(self, kinds: Collection[str]) -> tuple[int, int]:
        """Return how many showable faults of these kinds were told in time, and how many have a time."""
        due = [o for o in self.showable if o.due is not None and o.kinds[0] in kinds]
        return sum(bool(o.is_prompt) for o in due), len(due)

    def table(self) -> str:
        """Return the score as plain text: a row per kind, then the totals, promptness and the reliability curve.

        Found and named count showable faults; faults that the signals do not show, or that the format's
        table leaves out, stand in the last column as found / all.
        """
        kinds = sorted({o.kinds[0] for o in self.outcomes} | {kind for _, _, kind in self.false})
        rows = [_HEAD, *(self._row(kind) for kind in kinds), self._row(None)]
        widths = [max(len(row[column]) for row in rows) for column in range(len(_HEAD))]
        lines = ["  ".join(_pad(cell, w, first=not i) for i, (cell, w) in enumerate(zip(row, widths, strict=True)))
                 for row in rows]  # fmt: skip
        lines.insert(1, "-" * len(lines[0]))
        lines.insert(len(lines) - 1, "-" * len(lines[0]))
        return "\n".join([*(line.rstrip() for line in lines), "", *self._totals()])

    def _row(self, kind: str | None) -> tuple[str, ...]:
        mine = [o for o in self.outcomes if kind in (None, o.kinds[0])]
        shown = [o for o in mine if o.is_showable]
        rest = [o for o in mine if not o.is_showable]
        found = [o for o in shown if o.finding is not None]
        false = sum(kind in (None, told) for _, _, told in self.false)
        return (
            kind or "all",
            str(len(shown)),
            _with_share(len(found), len(shown)),
            _with_share(sum(o.is_named_right for o in found), len(found)),
            _middle([o.nights for o in found], "{:.0f}"),
            _middle([o.onset_error_days for o in found], "{:+.1f}"),
            str(false),
            f"{sum(o.finding is not None for o in rest)} / {len(rest)}" if rest else "",
        )

    def _totals(self) -> list[str]:
        rate = self.false_per_100_vessel_weeks
        count = f"false medium or high findings: {len(self.false)}"
        if rate is not None:
            count += f" in {self.vessel_weeks:.0f} vessel-weeks, {rate:.1f} per 100 vessel-weeks"
        lines = [count, *(self._in_time(words, kinds) for words, kinds in _DEADLINES if self.prompt(kinds)[1])]
        return [*lines, "", reliability_table(self.claims, "on the last night")] if self.claims else lines

    def _in_time(self, words: str, kinds: Collection[str]) -> str:
        told, due = self.prompt(kinds)
        return f"{words}: {told} of {due} ({100.0 * told / due:.0f} %)"


_DEADLINES = (
    ("stuck floats told the first night after the longer of 6 h and three own periods", STUCK),
    ("drifts told before they moved 3 % of the held pressure, at least 1.5 psi, or 2 in of level", DRIFTS),
)


def together(scores: Sequence[Score]) -> Score:
    """Return the score over several fleets; without a rate where one of them has none."""
    weeks = [s.vessel_weeks for s in scores]
    return Score(
        tuple(outcome for s in scores for outcome in s.outcomes),
        tuple(false for s in scores for false in s.false),
        None if None in weeks else sum(w for w in weeks if w is not None),
        tuple(claim for s in scores for claim in s.claims),
    )


_HEAD = ("kind", "showable", "found", "named right", "nights", "onset error, days", "false", "not showable")


def _share(part: int, whole: int) -> float | None:
    return part / whole if whole else None


def _with_share(part: int, whole: int) -> str:
    return f"{part} ({100.0 * part / whole:.0f} %)" if whole else ""


def _middle(values: Sequence[float | None], form: str) -> str:
    """Return the median of what is there."""
    there = [v for v in values if v is not None]
    return form.format(median(there)) if there else ""


def _pad(cell: str, width: int, *, first: bool) -> str:
    return cell.ljust(width) if first else cell.rjust(width)
