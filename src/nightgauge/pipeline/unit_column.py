"""The units that some exports carry in a column of their own: for drafting a field, and only there."""

import gzip
from pathlib import Path

import polars as pl

from nightgauge.streams.headers import TAG_NAMES

_UNIT_NAMES = ("unit", "units", "uom", "eu", "engunit", "engunits", "engineeringunit", "engineeringunits")
"""Usual headers, letters only, lower case. Common practice, no source."""
_SEPARATORS = (",", ";", "\t")


def units_in(path: Path) -> dict[str, str]:
    """Return the unit by tag that a long export has in a column of its own; nothing where it has none.

    Only plain, gzip and zstd CSV in UTF-8 and Parquet are looked at: a unit is a help, not a must.
    """
    try:
        frame = _two_columns(path)
    except (pl.exceptions.PolarsError, OSError, UnicodeDecodeError, EOFError):
        return {}
    if frame is None:
        return {}
    known = frame.drop_nulls().with_columns(pl.all().cast(pl.String).str.strip_chars())
    return dict(known.filter(pl.col("unit") != "").unique("tag", keep="last").iter_rows())


def _two_columns(path: Path) -> pl.DataFrame | None:
    if path.name.lower().endswith(".parquet"):
        scan = pl.scan_parquet(path)
        chosen = _chosen(scan.collect_schema().names())
        return None if chosen is None else scan.select(tag=chosen[0], unit=chosen[1]).unique().collect()
    header = _first_line(path)
    for separator in _SEPARATORS:
        chosen = _chosen([name.strip('"') for name in header.split(separator)])
        if chosen is not None:
            frame = pl.read_csv(path, separator=separator, columns=list(chosen), infer_schema=False)
            return frame.select(tag=chosen[0], unit=chosen[1]).unique()
    return None


def _first_line(path: Path) -> str:
    name = path.name.lower()
    if name.endswith(".gz"):
        with gzip.open(path, "rt", encoding="utf-8-sig") as file:
            return file.readline().strip()
    if name.endswith(".zst"):
        return ",".join(pl.read_csv(path, n_rows=0, separator="\x1f", infer_schema=False).columns)
    with path.open(encoding="utf-8-sig") as plain:
        return plain.readline().strip()


def _chosen(names: list[str]) -> tuple[str, str] | None:
    keys = ["".join(c for c in name if c.isalpha()).casefold() for name in names]
    tag = next((names[keys.index(name)] for name in TAG_NAMES if name in keys), None)
    unit = next((names[keys.index(name)] for name in _UNIT_NAMES if name in keys), None)
    return None if tag is None or unit is None else (tag, unit)
