"""Samples to historian exports: long or wide, CSV or Parquet, by day or week, with the historian's habits."""

import gzip
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from nightgauge.simulate.anodes import measured
from nightgauge.simulate.plan import DAY_S, ExportGroup, Instrument, Plan
from nightgauge.vocabulary.signals import SIGNALS

_QUALITY = {"words": ("Good", "Bad"), "opc": ("192", "0")}


@dataclass(frozen=True)
class _Piece:
    """One file to be: name without ending, and its rows."""

    name: str
    rows: pl.DataFrame


def write_exports(folder: Path, plan: Plan, samples: pl.DataFrame, names: list[list[str]]) -> None:
    """Write the samples (KEPT) of every export group below `folder`.

    `names` gives, for each tag, the texts that stand for its numbers 0, 1, ... (empty where numbers are kept).
    """
    process = [(v.id, i) for v in plan.vessels for i in v.instruments]
    owners = [*process, *((vessel.id, instrument) for vessel, _, instrument in measured(plan))]
    rows = _texts(samples, owners, names)
    for group in plan.exports:
        held = range(len(process)) if group.holds == "process" else range(len(process), len(owners))
        places = [place for place in held if owners[place][0] in group.vessels]
        mine = rows.filter(pl.col("tag").is_in(places)).sort("second", "tag")
        if group.quality == "none":
            mine = mine.filter(~pl.col("is_bad"))
        (folder / group.name).mkdir(parents=True, exist_ok=True)
        for piece in _pieces(plan, group, mine):
            _write(folder / group.name, plan, group, piece)


def _texts(samples: pl.DataFrame, owners: list[tuple[str, Instrument]], names: list[list[str]]) -> pl.DataFrame:
    """Return the samples with the tag's name and the value as text and as number."""
    tags = pl.DataFrame(
        {
            "tag": pl.Series(range(len(owners)), dtype=pl.Int32),
            "tag_name": [i.tag for _, i in owners],
            "is_text": [bool(n) for n in names],
            "is_state": [SIGNALS[i.signal].kind == "state" for _, i in owners],
        }
    )
    words = pl.DataFrame(
        [(place, float(number), word) for place, texts in enumerate(names) for number, word in enumerate(texts)],
        schema={"tag": pl.Int32, "value": pl.Float64, "word": pl.String},
        orient="row",
    )
    joined = samples.join(tags, on="tag", how="left").join(words, on=("tag", "value"), how="left")
    joined = joined.filter(~pl.col("is_text") | pl.col("word").is_not_null())
    whole = pl.col("value") == pl.col("value").round(0)
    plain = (
        pl.when(whole).then(pl.col("value").cast(pl.Int64).cast(pl.String)).otherwise(pl.col("value").cast(pl.String))
    )
    return joined.with_columns(pl.coalesce("word", plain).alias("text"))


def _pieces(plan: Plan, group: ExportGroup, rows: pl.DataFrame) -> Iterator[_Piece]:
    length = DAY_S if group.per == "day" else 7.0 * DAY_S
    # A scan at midnight belongs to the day that ends there: exports run to and including their last instant.
    day = (pl.col("second") / DAY_S).ceil().cast(pl.Int32) - 1
    on_time = rows.filter(~day.is_in(group.late_days))
    start = 0.0
    overlap = rows.clear()
    while start < plan.days * DAY_S:
        end = min(start + length, plan.days * DAY_S)
        mine = on_time.filter((pl.col("second") > start) & (pl.col("second") <= end))
        whole = pl.concat([overlap, mine])
        if whole.height:
            yield _Piece(f"{group.name}_{plan.at(start).astimezone(plan.zone):%Y%m%d}", whole)
        overlap = mine.tail(group.repeats)
        start = end
    for late in group.late_days:
        arrived = plan.at((late + 2) * DAY_S).astimezone(plan.zone)
        mine = rows.filter(day == late)
        if mine.height:
            yield _Piece(f"{group.name}_late_{arrived:%Y%m%d}", mine)


def _write(folder: Path, plan: Plan, group: ExportGroup, piece: _Piece) -> None:
    shape, kind = group.form.split("-")
    table = _wide(plan, group, piece.rows, kind) if shape == "wide" else _long(plan, group, piece.rows, kind)
    if kind == "parquet":
        table.write_parquet(folder / f"{piece.name}.parquet", compression="zstd", compression_level=15)
        return
    buffer = io.BytesIO()
    table.write_csv(buffer, separator=group.separator)
    path = folder / f"{piece.name}.csv"
    if group.compression == "gz":
        # A fixed time in the header: the same plan gives the same bytes.
        path.with_name(path.name + ".gz").write_bytes(gzip.compress(buffer.getvalue(), 9, mtime=0))
    elif group.compression == "zst":
        table.write_csv(path.with_name(path.name + ".zst"), separator=group.separator, compression="zstd")
    else:
        path.write_bytes(buffer.getvalue())


def _stamp(plan: Plan, group: ExportGroup, kind: str) -> pl.Expr:
    instant = (
        pl.lit(plan.start).dt.cast_time_unit("ms").dt.convert_time_zone("UTC")
        + pl.duration(milliseconds=(pl.col("second") * 1000.0).round(0).cast(pl.Int64))
    )  # fmt: skip
    if group.stamp == "epoch_ms":
        return instant.dt.epoch("ms")
    if group.stamp == "utc":
        return instant if kind == "parquet" else instant.dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    local = instant.dt.convert_time_zone(plan.time_zone)
    return local.dt.strftime("%Y-%m-%dT%H:%M:%S%:z" if group.stamp == "offset" else "%Y-%m-%d %H:%M:%S")


def _long(plan: Plan, group: ExportGroup, rows: pl.DataFrame, kind: str) -> pl.DataFrame:
    as_numbers = kind == "parquet" and not rows["is_text"].any()
    columns = [
        pl.col("tag_name").alias("tag"),
        _stamp(plan, group, kind).alias("timestamp"),
        (pl.col("value") if as_numbers else pl.col("text")).alias("value"),
    ]
    if group.quality != "none":
        good, bad = _QUALITY[group.quality]
        columns.append(pl.when("is_bad").then(pl.lit(bad)).otherwise(pl.lit(good)).alias("quality"))
    return rows.select(columns)


def _wide(plan: Plan, group: ExportGroup, rows: pl.DataFrame, kind: str) -> pl.DataFrame:
    """Return one row per instant and a column per tag; a wide export has no quality, so bad rows are left out."""
    good = rows.filter(~pl.col("is_bad"))
    is_text = good["is_text"].any() or kind == "csv"
    order = good.select("tag", "tag_name").unique().sort("tag")["tag_name"].to_list()
    table = good.pivot(on="tag_name", index="second", values="text" if is_text else "value", aggregate_function="last")
    return table.sort("second").select(_stamp(plan, group, kind).alias("timestamp"), *order)
