"""Whatever bytes an export, tags.csv or field.toml is made of: rows that add up, or an error that says what to mend.

    uv run --group dev python tests/benchmarks/fuzz_exports.py --seconds 1800 [--corpus DIR] [FILE ...]

Coverage-guided (atheris, libFuzzer). Bytes that end in another exception, or in counts that do not add up, are left in
the corpus folder as `found-*`, one for each place in the code, and fuzzing goes on; more than 2 GiB or 30 s end it and
leave `oom-*` or `timeout-*`. A FILE given is only tried once. The first byte says what the rest is, so that each way
of reading is reached at once.
"""

import argparse
import gzip
import io
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["nightgauge"]):
    from nightgauge.errors import FieldFolderError, NightgaugeError, SourceError
    from nightgauge.field.read import read_field
    from nightgauge.streams import TagTable, content, fingerprint, read, read_export, samples

import pyarrow as pa
import pyarrow.parquet as pq

CLOCK = datetime(2026, 11, 20, tzinfo=UTC)
FIELD_TOML = b"""name = "Fuzzed"
time_zone = "America/Denver"
tags = "tags.csv"
streams = ["*.export"]
ignore = ["*.SPARE"]

[[vessel]]
id = "V-1"
service = "separator"
"""
TAGS_CSV = b"""tag,vessel,signal,unit,states,from,to
P,V-1,vessel_pressure,psig,,,
L,V-1,interface_level,in,,,
S,V-1,water_dump_open,,OPEN=1;SHUT OFF=0;5=1,,
W,V-1,well_on_test,,,,
D,V-1,temperature,degF,,,2026-05-01
D,V-1,temperature,degC,,2026-06-01,
"""
LONG = b"""tag,timestamp,value,quality
P,2026-05-01T00:00:00Z,45.5,Good
L,2026-11-01T01:30:00,44,192
S,1777700000000,OPEN,bad
W,2026-05-01 00:00,"QB ""7""
",0x40
X,2026-05-01,1e999,odd
"""
WIDE = b"""Time;P;L;S;W\r\n2026-11-01 01:10;1,5;2;true;A\r\n2026-11-01 01:10;;;;\r\n"""


def parquet_of(columns: dict[str, list[object]], **how: object) -> bytes:
    """Return a Parquet file of a few columns."""
    out = io.BytesIO()
    pq.write_table(pa.table(columns), out, **how)
    return out.getvalue()


TYPED = parquet_of(
    {
        "tag": ["P", "L", "S", "W", None, "X"] * 4,
        "ts": [CLOCK, None, CLOCK] * 8,
        "value": ["1", "2.5", "OPEN", "A", "", None] * 4,
        "quality": [192, 0, None] * 8,
    }
)
TYPED_WIDE = parquet_of(
    {"ts": [1_777_700_000_000, None] * 4, "P": [1.5, None] * 4, "S": [True, None] * 4, "W": ["A", None] * 4},
    compression="none",
)


def patched(whole: bytes, edits: bytes) -> bytes:
    """Return a file with some bytes changed: each edit is two bytes of place and one of content."""
    changed = bytearray(whole)
    for at in range(0, len(edits) - 2, 3):
        changed[int.from_bytes(edits[at : at + 2], "big") % len(changed)] = edits[at + 2]
    return bytes(changed)


def zstd(text: bytes) -> bytes:
    """Return a text packed with Zstandard."""
    return bytes(pa.compress(text, codec="zstd", asbytes=True))


EXPORTS: tuple[Callable[[bytes], bytes], ...] = (
    lambda data: data,
    lambda data: b"tag,timestamp,value,quality\n" + data,
    lambda data: b"Time;P;L;S;W\n" + data,
    lambda data: b"tag,time,value\n" + b"P,2026-05-01T00:00Z,1\n" * 4 + data,
    gzip.compress,
    zstd,
    lambda data: data.decode("latin-1").encode("utf-16"),
    lambda data: patched(gzip.compress(LONG, mtime=0), data),
    lambda data: patched(zstd(LONG), data),
    lambda data: patched(TYPED, data),
    lambda data: patched(TYPED_WIDE, data),
    lambda data: b"PAR1" + data + b"PAR1",
)
"""Ways to make an export of the bytes; the settings' two files stand after them."""
SETTINGS = ("tags.csv", "field.toml")


def in_turn(work: Callable[[object], object], items: Iterable[object]) -> Iterator[object]:
    """Do in one thread what readers do in several: quicker for small files, and the same from run to run."""
    return map(work, items)


class Tried:
    """A field folder in which bytes are tried, one after the other."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._reset()
        self.field = read_field(folder / "field.toml")
        self.tags = TagTable(tuple(enumerate(self.field.tags, 1)))

    def _reset(self) -> None:
        (self.folder / "field.toml").write_bytes(FIELD_TOML)
        (self.folder / "tags.csv").write_bytes(TAGS_CSV)

    def once(self, data: bytes) -> None:
        """Try some bytes; raises what should never be raised."""
        if not data:
            return
        way, rest = data[0] % (len(EXPORTS) + len(SETTINGS)), data[1:]
        if way < len(EXPORTS):
            # Small blocks, so that rows are cut by them; the byte that says the way says this too.
            content.BLOCK_BYTES = (8 << 20, 64)[data[0] // 128]
            self._export(EXPORTS[way](rest))
        else:
            self._settings(SETTINGS[way - len(EXPORTS)], rest)

    def _export(self, whole: bytes) -> None:
        path = self.folder / "fuzzed.export"
        path.write_bytes(whole)
        try:
            found = read_export(fingerprint(path, self.folder), self.field, self.tags, CLOCK)
        except SourceError as error:
            if "\n" in str(error):
                raise AssertionError("an error of several lines") from error
            return
        kept_out = int(found.quarantine["rows"].sum())
        accounted = found.samples.height + found.losers.height + found.rows_repeated + kept_out
        if accounted != found.rows_read:
            raise AssertionError(f"{found.rows_read} rows read, {accounted} accounted for")
        if found.samples.select("tag_id", "time_utc").is_duplicated().any():
            raise AssertionError("two samples of one tag and time")

    def _settings(self, name: str, whole: bytes) -> None:
        (self.folder / name).write_bytes(whole)
        try:
            read_field(self.folder / "field.toml")
        except (FieldFolderError, NightgaugeError) as error:
            if error.exit_code != 2:
                raise
        finally:
            self._reset()


def seeds(folder: Path) -> None:
    """Write the inputs to begin with: one for each way."""
    folder.mkdir(parents=True, exist_ok=True)
    texts = (
        LONG,
        LONG[28:],
        WIDE[14:],
        LONG[28:],
        LONG,
        WIDE,
        LONG,
        b"\0\5\1",
        b"\0\5\1",
        b"\0\5\1",
        b"\1\5\1",
        b"\x15",
    )
    for way, text in enumerate((*texts, TAGS_CSV, FIELD_TOML)):
        for small in (0, 1):
            number = way + small * (256 // (2 * (len(EXPORTS) + len(SETTINGS))) + 1) * (len(EXPORTS) + len(SETTINGS))
            if number < 256:
                (folder / f"way-{way}-{small}").write_bytes(bytes([number]) + text)


class Keeper:
    """Tries bytes, keeps those that end as they never should, and goes on."""

    def __init__(self, tried: Tried, folder: Path) -> None:
        self.tried, self.folder = tried, folder
        self.known: set[str] = set()

    def once(self, data: bytes) -> None:
        """Try some bytes; keep them if nothing at the same place in the code was kept before."""
        try:
            self.tried.once(data)
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException as error:  # engines raise panics that are no Exception
            frames = [f for f in traceback.extract_tb(error.__traceback__) if "nightgauge" in f.filename]
            place = f"{Path(frames[-1].filename).stem}-{frames[-1].lineno}-{type(error).__name__}"
            if place not in self.known:
                self.known.add(place)
                (self.folder / f"found-{place}").write_bytes(data)
                traceback.print_exc()


def main() -> None:
    """Fuzz for a while, or try files once."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seconds", type=int, default=1800)
    asked.add_argument("--corpus", type=Path, default=Path(tempfile.gettempdir()) / "nightgauge_fuzz")
    asked.add_argument("files", nargs="*", type=Path)
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as made:
        tried = Tried(Path(made))
        if options.files:
            for path in options.files:
                tried.once(path.read_bytes())
            return
        corpus = options.corpus / "corpus"
        seeds(corpus)
        flags = [
            f"-max_total_time={options.seconds}", f"-artifact_prefix={options.corpus}/", "-rss_limit_mb=2048",
            "-timeout=30", "-max_len=2048", "-len_control=20", "-print_final_stats=1", str(corpus),
        ]  # fmt: skip
        read.side_by_side = samples.side_by_side = in_turn
        atheris.Setup([sys.argv[0], *flags], Keeper(tried, options.corpus).once)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
