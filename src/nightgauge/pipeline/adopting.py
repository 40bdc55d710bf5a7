"""Adopting a field: exports that nobody has described, read raw, and drafted as a field folder."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from nightgauge.adopt import (
    Draft,
    Header,
    Readings,
    draft_of,
    guesses_of,
    merged_tags,
    merged_toml,
    number_states,
    seen_of,
    tags_text,
    toml_text,
    written_vessels,
)
from nightgauge.errors import SettingError, SourceError
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field, TagRow
from nightgauge.physics.geometry import Shell, shell
from nightgauge.pipeline.reviewing import review_of
from nightgauge.pipeline.telling import Tell, silent
from nightgauge.pipeline.unit_column import units_in
from nightgauge.report.adoption import adoption_page
from nightgauge.streams import UNKNOWN_TAG, Export, TagTable, fingerprint, read_export, relative_to
from nightgauge.units import Conversion
from nightgauge.vocabulary.flags import BAD

_ENDINGS = (".csv", ".csv.gz", ".csv.zst", ".parquet")
_LAST = ".drafted"
"""Folder that keeps what was drafted last, so that what people have changed since can be told from it."""
PAGE, UNPLACED = "adopted.html", "unplaced.csv"


@dataclass(frozen=True)
class Adopted:
    """What was read and drafted."""

    draft: Draft
    page: Path
    refused: tuple[str, ...]
    """Exports that cannot be read, with the reason."""
    files: int
    is_again: bool
    """There was a draft before, and what people had changed in it was kept."""


def adopt(exports: Sequence[Path], out: Path, zone: str | None, clock: datetime, tell: Tell = silent) -> Adopted:
    """Read exports and draft a field folder; a folder drafted before keeps what people have changed in it.

    Parameters
    ----------
    exports : sequence of Path
        Files, and folders that are searched for them.
    out : Path
        The field folder.
    zone : str, optional
        IANA zone of stamps without an offset; that of the folder's field.toml, else UTC.
    clock : datetime
        Time of reading.
    tell : callable
        Told how far it is.

    Raises
    ------
    SettingError
        If there is nothing to read, the zone is unknown, or the folder's files were not drafted here.
    FieldFolderError
        If the folder's field.toml or tags.csv has mistakes.

    """
    paths = _found(exports)
    before = _before(out)
    field = _field(out, zone, before)
    raw, refused = _read(paths, field, clock, tell)
    if not raw.tags:
        raise SettingError("no export could be read, so there is nothing to draft:\n" + "\n".join(refused))
    readings = number_states(raw).recent()
    seen = seen_of(readings, tell)
    known = written_vessels(before.last_tags, before.tags) if before.is_there else {}
    draft = draft_of(readings, seen, guesses_of(readings, seen), known, _shells(out, before))
    name = field.name if before.is_there else out.resolve().name
    header = Header(name, field.time_zone, before.is_there or zone is not None, _patterns(exports, out))
    toml = _write(out, before, toml_text(header, draft), draft)
    page = out / PAGE
    page.write_text(adoption_page(review_of(header.name, draft, toml, field.zone)), encoding="utf-8")
    return Adopted(draft, page, tuple(refused), len(paths), before.is_there)


@dataclass(frozen=True)
class _Before:
    """The two files as they stand and as they were drafted last; empty where there are none."""

    toml: str = ""
    tags: str = ""
    last_toml: str = ""
    last_tags: str = ""

    @property
    def is_there(self) -> bool:
        """Return whether there is a draft already."""
        return bool(self.toml)


def _found(exports: Sequence[Path]) -> list[Path]:
    paths: dict[Path, None] = {}
    for given in exports:
        if given.is_dir():
            inside = sorted(path for path in given.rglob("*") if path.is_file() and _is_export(path))
            paths |= dict.fromkeys(inside)
        elif given.is_file():
            paths[given] = None
        else:
            raise SettingError(f"{given}: found nothing there, expected an export or a folder of exports")
    if not paths:
        raise SettingError(
            f"{', '.join(map(str, exports))}: found no exports, expected files that end in {', '.join(_ENDINGS)}"
        )
    return list(paths)


def _is_export(path: Path) -> bool:
    hidden = any(part.startswith(".") for part in path.parts if part not in (".", ".."))
    return not hidden and path.name.lower().endswith(_ENDINGS)


def _before(out: Path) -> _Before:
    files = {"toml": out / "field.toml", "tags": out / "tags.csv"}
    last = {"toml": out / _LAST / "field.toml", "tags": out / _LAST / "tags.csv"}
    if not any(path.exists() for path in files.values()):
        return _Before()
    for path in (*files.values(), *last.values()):
        if not path.is_file():
            raise SettingError(
                f"{out} holds a field folder that was not drafted here ({path.name} is missing in {path.parent}); "
                "give another --out, so that nothing of yours is written over"
            )
    texts = [path.read_text(encoding="utf-8-sig") for path in (*files.values(), *last.values())]
    return _Before(*texts)


def _field(out: Path, zone: str | None, before: _Before) -> Field:
    """Return the field as far as reading exports needs it."""
    if before.is_there:
        field = read_field(out / "field.toml")
        chosen = zone or field.time_zone
        return Field(field.path, field.name, chosen, (), (), (), quality_codes=field.quality_codes,
                     time_format=field.time_format, ignore=field.ignore)  # fmt: skip
    found = Field((out / "field.toml").absolute(), out.name, zone or "UTC", (), (), ())
    try:
        _ = found.zone
    except (KeyError, ValueError, OSError) as error:
        raise SettingError(f'--time-zone: found "{zone}", expected an IANA zone like America/Denver') from error
    return found


def _shells(out: Path, before: _Before) -> dict[str, Shell]:
    """Return the inside of each vessel of the folder whose dimensions somebody has filled in."""
    vessels = read_field(out / "field.toml").vessels if before.is_there else ()
    insides = {one.id: shell(one.inside_diameter_m, one.length_m, one.heads, one.orientation) for one in vessels}
    return {vessel: inside for vessel, inside in insides.items() if inside is not None}


def _read(paths: Sequence[Path], field: Field, clock: datetime, tell: Tell) -> tuple[Readings, list[str]]:
    """Return all samples of all exports as they are written; what cannot be read is named."""
    gathered = _Gathered()
    refused = []
    units: dict[str, str] = {}
    for number, path in enumerate(paths, start=1):
        try:
            export = fingerprint(path, field.folder)
            gathered.take(export, field, clock)
            units |= units_in(path)
        except SourceError as error:
            refused.append(str(error))
        tell("reading exports", number, len(paths))
    return gathered.readings(units), refused


class _Gathered:
    """Raw samples of the exports read so far. A tag is a number until some value of it cannot be read as one."""

    def __init__(self) -> None:
        self.tags: dict[str, int] = {}
        self.is_text: set[str] = set()
        self.numbers: list[pl.DataFrame] = []
        self.texts: list[pl.DataFrame] = []
        self.hashes: set[str] = set()

    def take(self, export: Export, field: Field, clock: datetime) -> None:
        """Add an export's samples; one with the same content as another adds nothing."""
        if export.sha256 in self.hashes:
            return
        self.hashes.add(export.sha256)
        strangers = self._take(export, field, clock, None)
        if strangers:
            for tag in strangers:
                self.tags.setdefault(tag, len(self.tags))
            self._take(export, field, clock, frozenset(strangers))

    def _take(self, export: Export, field: Field, clock: datetime, only: frozenset[str] | None) -> list[str]:
        """Add the samples of known tags; return the tags that are not known yet."""
        parsed = read_export(export, field, self._table(), clock, only)
        reason = pl.col("reason").str
        strangers = parsed.quarantine.filter(reason.starts_with(UNKNOWN_TAG))["tag"].to_list()
        unread = parsed.quarantine.filter(~reason.starts_with(UNKNOWN_TAG) & pl.col("tag").is_in(list(self.tags)))
        wordy = {tag for tag in unread["tag"].unique().to_list() if tag not in self.is_text} & self._with_words(unread)
        samples = parsed.samples.filter(pl.col("flag") != BAD)
        again = [self.tags[tag] for tag in wordy]
        self._keep(samples.filter(~pl.col("tag_id").is_in(again)) if again else samples)
        if wordy:
            self.is_text |= wordy
            self._keep(read_export(export, field, self._table(), clock, frozenset(wordy)).samples.filter(
                pl.col("flag") != BAD))  # fmt: skip
        return strangers

    @staticmethod
    def _with_words(unread: pl.DataFrame) -> set[str]:
        """Return the tags that have values which are words: kept out for that, not for their stamp."""
        return set(unread.filter(pl.col("reason").str.contains("number"))["tag"].to_list())

    def _keep(self, samples: pl.DataFrame) -> None:
        time_s = pl.col("time_utc").dt.epoch("us") / 1e6
        texts = [self.tags[tag] for tag in self.is_text]
        is_text = pl.col("tag_id").is_in(texts)
        self.numbers.append(samples.filter(~is_text).select("tag_id", time_s=time_s, value="value"))
        if texts:
            self.texts.append(samples.filter(is_text).select("tag_id", time_s=time_s, text="text_value"))

    def _table(self) -> TagTable:
        return TagTable([(number, self._row(tag)) for tag, number in self.tags.items()])

    def _row(self, tag: str) -> TagRow:
        signal = "well_on_test" if tag in self.is_text else "vessel_pressure"
        return TagRow(tag, "", signal, "", Conversion(1.0, 0.0), 3600.0)

    def readings(self, units: dict[str, str]) -> Readings:
        """Return everything that was read; a tag with words has its numbers as words too."""
        texts = [self.tags[tag] for tag in self.is_text]
        worded = pl.concat(self.texts) if self.texts else pl.DataFrame(schema=_WORDED)
        numbers = pl.concat(self.numbers) if self.numbers else pl.DataFrame(schema=_NUMBERS)
        stray = numbers.filter(pl.col("tag_id").is_in(texts)).select(
            "tag_id", "time_s", text=pl.col("value").cast(pl.String)
        )
        worded = pl.concat([worded, stray]).drop_nulls("text")
        words = worded.group_by("tag_id").agg(pl.col("text").unique().sort()).sort("tag_id")
        codes = words.explode("text").with_columns(value=pl.int_range(pl.len()).over("tag_id").cast(pl.Float64))
        coded = worded.join(codes, on=["tag_id", "text"], how="left").select("tag_id", "time_s", "value")
        numbers = numbers.filter(~pl.col("tag_id").is_in(texts)) if texts else numbers
        coded = coded.with_columns(pl.col("tag_id").cast(numbers.schema["tag_id"]))
        whole = pl.concat([numbers, coded]) if len(coded) else numbers
        del numbers
        whole = whole.filter(pl.col("value").is_finite()).sort("tag_id", "time_s", maintain_order=True)
        if len(self.hashes) > 1:  # of what two exports hold the later read counts
            is_repeated = (pl.col("tag_id") == pl.col("tag_id").shift(-1)) & (
                pl.col("time_s") == pl.col("time_s").shift(-1)
            )
            whole = whole.filter(~is_repeated.fill_null(value=False))
        samples = whole.with_columns(pl.col("tag_id").cast(pl.Int32))
        by_tag = {int(tag): tuple(texts_) for tag, texts_ in words.iter_rows()}
        return Readings(tuple(self.tags), samples, by_tag, units)


_NUMBERS = {"tag_id": pl.Int32, "time_s": pl.Float64, "value": pl.Float64}
_WORDED = {"tag_id": pl.Int32, "time_s": pl.Float64, "text": pl.String}


def _patterns(exports: Sequence[Path], out: Path) -> tuple[str, ...]:
    """Return the globs of `streams` that find these exports from the field folder."""
    patterns = []
    for given in exports:
        relative = relative_to(given.resolve(), out.resolve())
        patterns += [f"{relative}/**/*.csv*", f"{relative}/**/*.parquet"] if given.is_dir() else [relative]
    return tuple(dict.fromkeys(patterns))


def _write(out: Path, before: _Before, toml: str, draft: Draft) -> str:
    """Write the files; return field.toml as it now stands."""
    tags = tags_text(draft.rows)
    (out / _LAST).mkdir(parents=True, exist_ok=True)
    now_toml = merged_toml(before.last_toml, before.toml, toml) if before.is_there else toml
    now_tags = merged_tags(before.last_tags, before.tags, tags) if before.is_there else tags
    for path, text in (
        (out / "field.toml", now_toml),
        (out / "tags.csv", now_tags),
        (out / UNPLACED, tags_text(draft.unplaced)),
        (out / _LAST / "field.toml", toml),
        (out / _LAST / "tags.csv", tags),
    ):
        path.write_text(text, encoding="utf-8")
    return now_toml
