"""The tags of a field as arrays: from a name and a time to the row of tags.csv and what its values mean."""

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.field.settings import TagRow
from nightgauge.vocabulary.signals import signal_of

Integers = npt.NDArray[np.int64]
Indices = npt.NDArray[np.int32]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FAR = 1 << 62
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


class TagTable:
    """Rows of tags.csv with the numbers the store gave them.

    A *group* is all rows of one tag name; an *index* is a place in `rows`.
    """

    def __init__(self, rows: Sequence[tuple[int, TagRow]]) -> None:
        self.rows = tuple(rows)
        self.tag_ids = np.array([tag_id for tag_id, _ in self.rows], np.int32)
        self.factor = np.array([row.conversion.factor for _, row in self.rows], np.float64)
        self.constant = np.array([row.conversion.constant for _, row in self.rows], np.float64)
        kinds = [signal_of(row.signal).kind for _, row in self.rows]
        self.is_text = np.array([kind == "text" for kind in kinds], np.bool_)
        self.is_state = np.array([kind == "state" for kind in kinds], np.bool_)

    @cached_property
    def by_number(self) -> Indices:
        """Return the indices by their number in the store."""
        return np.argsort(self.tag_ids, kind="stable").astype(np.int32)

    @cached_property
    def rank(self) -> npt.NDArray[np.unsignedinteger]:
        """Return the place of each index by number, in the smallest type: numpy sorts up to 16 bits by radix."""
        rank = np.empty(len(self.tag_ids), np.min_scalar_type(max(len(self.tag_ids), 1)))
        rank[self.by_number] = np.arange(len(self.tag_ids))
        return rank

    @cached_property
    def groups(self) -> Mapping[str, int]:
        """Return tag name to group."""
        names = dict.fromkeys(row.tag for _, row in self.rows)
        return {name: group for group, name in enumerate(names)}

    @cached_property
    def group_of(self) -> Indices:
        """Return the group of each index."""
        return np.array([self.groups[row.tag] for _, row in self.rows], np.int32)

    @cached_property
    def _always(self) -> Indices:
        """Return by group the index that is valid at all times, or -1 where the rows are dated."""
        always = np.full(len(self.groups), -1, np.int32)
        for index, (_, row) in enumerate(self.rows):
            if row.from_utc is None and row.to_utc is None:
                always[self.groups[row.tag]] = index
        return always

    @cached_property
    def _dated(self) -> Mapping[int, tuple[Integers, Integers, Indices]]:
        """Return by group the starts, the ends and the indices of its dated rows, by start."""
        spans: dict[int, list[tuple[int, int, int]]] = {}
        for index, (_, row) in enumerate(self.rows):
            group = self.groups[row.tag]
            if self._always[group] < 0:
                spans.setdefault(group, []).append((_us(row.from_utc, -_FAR), _us(row.to_utc, _FAR), index))
        return {
            group: (
                np.array([start for start, _, _ in sorted(rows)], np.int64),
                np.array([end for _, end, _ in sorted(rows)], np.int64),
                np.array([index for _, _, index in sorted(rows)], np.int32),
            )
            for group, rows in spans.items()
        }

    def index_at(self, group: Indices, time_us: Integers) -> Indices:
        """Return the index that is valid for each group at its time, or -1 where none is."""
        index = self._always[group]
        dated = np.flatnonzero(index < 0)
        if not len(dated):
            return index
        order = dated[np.argsort(group[dated], kind="stable")]
        for rows in np.split(order, np.flatnonzero(np.diff(group[order])) + 1):
            starts, ends, indices = self._dated[int(group[rows[0]])]
            span = np.searchsorted(starts, time_us[rows], side="right") - 1
            is_valid = (span >= 0) & (time_us[rows] < ends[span])
            index[rows] = np.where(is_valid, indices[span], -1)
        return index

    @cached_property
    def states(self) -> pl.DataFrame:
        """Return columns `index`, `key`, `state`: each text as written in tags.csv."""
        return self._states({index: dict(row.states) for index, (_, row) in enumerate(self.rows)})

    @cached_property
    def folded_states(self) -> pl.DataFrame:
        """Return the same without letter case and spaces, where no two texts of a tag then disagree."""
        folded: dict[int, dict[str, float]] = {}
        for index, (_, row) in enumerate(self.rows):
            by_key: dict[str, set[float]] = {}
            for text, state in row.states.items():
                by_key.setdefault(folded_text(text), set()).add(state)
            folded[index] = {key: next(iter(states)) for key, states in by_key.items() if len(states) == 1}
        return self._states(folded)

    @cached_property
    def numeric_states(self) -> pl.DataFrame:
        """Return columns `index`, `number`, `state`: texts of tags.csv that are numbers."""
        rows = self.states.filter(pl.col("key").str.contains(f"^(?:{_NUMBER.pattern})$"))
        return rows.select("index", pl.col("key").cast(pl.Float64).alias("number"), "state").unique(
            ["index", "number"], keep="first", maintain_order=True
        )

    def _states(self, texts: Mapping[int, Mapping[str, float]]) -> pl.DataFrame:
        rows = [(index, text, state) for index, by_text in texts.items() for text, state in by_text.items()]
        return pl.DataFrame(rows, schema={"index": pl.Int32, "key": pl.String, "state": pl.Float64}, orient="row")


def folded_text(text: str) -> str:
    """Return a text in lower case without spaces."""
    return "".join(text.split()).lower()


def _us(moment: datetime | None, otherwise: int) -> int:
    return otherwise if moment is None else (moment - _EPOCH) // timedelta(microseconds=1)
