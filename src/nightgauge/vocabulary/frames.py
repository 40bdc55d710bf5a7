"""The frames that rooms hand to each other, each declared once: column, dtype, unit, meaning.

The database's tables, the checks between rooms and the README's glossary are made from these
declarations. Times are UTC with microseconds. Null means not known; it never means zero.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property

import polars as pl

from nightgauge.errors import ProgrammerError
from nightgauge.vocabulary.flags import FLAG
from nightgauge.vocabulary.signals import SIGNALS

TIME = pl.Datetime("us", "UTC")
FIRST_TIME = datetime(1990, 1, 1, tzinfo=UTC)
"""No sample is older: earlier stamps are kept out. Fixed by the field format."""


@dataclass(frozen=True)
class Column:
    """One column of a frame."""

    name: str
    dtype: pl.DataType | type[pl.DataType]
    unit: str
    """Unit of a quantity, as `units` writes it; "" for what is none."""
    meaning: str


@dataclass(frozen=True)
class Frame:
    """Schema of one frame: what a row is, how rows are ordered, which columns there are."""

    name: str
    row: str
    order: tuple[str, ...]
    columns: tuple[Column, ...]

    @cached_property
    def schema(self) -> dict[str, pl.DataType | type[pl.DataType]]:
        """Return column name to polars dtype, in order."""
        return {column.name: column.dtype for column in self.columns}

    def empty(self) -> pl.DataFrame:
        """Return the frame without rows."""
        return pl.DataFrame(schema=self.schema)

    def build(self, data: pl.DataFrame | Mapping[str, object]) -> pl.DataFrame:
        """Return the data with exactly this frame's columns, types and order of rows.

        Columns that are missing become null. Raises ProgrammerError on a column the frame does not have
        or a value that does not fit its type.
        """
        frame = data if isinstance(data, pl.DataFrame) else pl.DataFrame(data)
        self._refuse_unknown(frame.columns)
        try:
            built = frame.select(
                (pl.col(name) if name in frame.columns else pl.lit(None)).cast(dtype).alias(name)
                for name, dtype in self.schema.items()
            )
        except pl.exceptions.PolarsError as error:
            raise ProgrammerError(f"frame {self.name}: {error}") from error
        return built.sort(self.order, nulls_last=True, maintain_order=True)

    def check(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Return the frame unchanged if its columns and types are exactly these, else raise ProgrammerError."""
        if frame.schema != pl.Schema(self.schema):
            raise ProgrammerError(f"frame {self.name}: found {frame.schema}, expected {self.schema}")
        return frame

    def _refuse_unknown(self, names: Iterable[str]) -> None:
        unknown = set(names) - set(self.schema)
        if unknown:
            raise ProgrammerError(f"frame {self.name} has no column {', '.join(sorted(unknown))}")


def _text(name: str, meaning: str) -> Column:
    return Column(name, pl.String, "", meaning)


def _time(name: str, meaning: str) -> Column:
    return Column(name, TIME, "", meaning)


def _count(name: str, meaning: str) -> Column:
    return Column(name, pl.Int64, "", meaning)


def _number(name: str, unit: str, meaning: str) -> Column:
    return Column(name, pl.Float64, unit, meaning)


SAMPLES = Frame(
    "sample",
    "one stored sample",
    ("tag_id", "time_utc"),
    (
        Column("tag_id", pl.Int32, "", "row of `tag`"),
        _time("time_utc", "time stamp"),
        _number("value", "", "value in the signal's unit; null for texts and for bad samples without a number"),
        _text("text_value", "text of a text signal, else null"),
        Column("flag", FLAG, "", "good, uncertain or bad"),
        Column("file_id", pl.Int32, "", "export it came from"),
    ),
)

QUARANTINE = Frame(
    "quarantine",
    "one row kept out (one per tag for unknown tags, and for rows beyond the first 10,000 of a reason)",
    ("file_id", "row_number"),
    (
        Column("file_id", pl.Int32, "", "export it came from"),
        _count("row_number", "line of the file (header is line 1); Parquet rows from 1"),
        _count("rows", "how many rows this stands for"),
        _text("reason", "why it was kept out"),
        _text("raw_text", "what was found, at most 200 characters"),
        _text("tag", "the tag as written, where there was one"),
        _time("reread_utc", "clock of the reading again that found the row; null = found at the first reading"),
        _time("superseded_utc", "clock of the reading again that took this row's place; null = still kept out"),
    ),
)

SOURCE_FILES = Frame(
    "source_file",
    "one export as read",
    ("file_id",),
    (
        Column("file_id", pl.Int32, "", "number in order of reading"),
        _text("path", "path relative to the field folder"),
        _text("sha256", "hash of the content"),
        _text("state", "stored, duplicate or refused"),
        _text("reason", "why it was refused, or of which file it is a duplicate"),
        _count("rows_read", "rows (wide: filled cells) read = stored + repeated + replaced + quarantined"),
        _count("rows_stored", "rows stored"),
        _count("rows_repeated", "rows equal to one already stored or earlier in the file"),
        _count("rows_replaced", "rows that lost to a later row of the same file"),
        _count("rows_overwrote", "of the stored: rows that displaced another file's sample"),
        _count("rows_quarantined", "rows kept out"),
        _count("rows_ignored", "rows of tags named in `ignore`, not counted as read"),
        _count("rows_uncertain", "of the stored: rows flagged uncertain"),
        _count("rows_assumed_first", "rows in the doubled autumn hour taken as its first pass"),
        _time("first_utc", "earliest stored time"),
        _time("last_utc", "latest stored time"),
        _time("read_at_utc", "clock at reading"),
        _count("size_bytes", "size when read"),
        _time("modified_utc", "modification time when read"),
    ),
)

TAGS = Frame(
    "tag",
    "one row of tags.csv",
    ("tag_id",),
    (
        Column("tag_id", pl.Int32, "", "number, kept for good"),
        _text("tag", "name in the historian"),
        _text("vessel", "vessel id"),
        _text("signal", "signal name"),
        _text("unit", "unit of the raw value"),
        _number("factor", "", "stored value = raw x factor + constant"),
        _number("constant", "", "stored value = raw x factor + constant"),
        _text("states", "text states, as in tags.csv"),
        _time("from_utc", "first time the row is valid, null = always"),
        _time("to_utc", "first time it is no longer valid, null = never"),
        _number("max_gap_s", "s", "longest silence over which the value is still known"),
        _time("removed_utc", "clock when tags.csv no longer had the row; null = in use"),
    ),
)

VESSEL_SAMPLES = Frame(
    "vessel_samples",
    "one sample of one vessel, as handed to derive (not stored)",
    ("signal", "time_utc"),
    (
        _text("signal", "signal name"),
        _time("time_utc", "time stamp"),
        _number("value", "", "value in the signal's unit; null where bad or text"),
        _text("text_value", "text of a text signal"),
        Column("flag", FLAG, "", "good, uncertain or bad"),
        _number("max_gap_s", "s", "longest silence after this sample over which the value is still known"),
    ),
)

DUMP_CYCLES = Frame(
    "dump_cycle",
    "one dump of the water dump valve",
    ("vessel", "opened_utc"),
    (
        _text("vessel", "vessel id"),
        _time("opened_utc", "valve opened"),
        _time("shut_utc", "valve shut; null while the dump is under way"),
        _number("opening_level_m", "m", "interface at opening"),
        _number("closing_level_m", "m", "interface at shutting"),
        _number("volume_geometry_m3", "m3", "V(opening) - V(closing) + inflow x drain"),
        _number("volume_meter_m3", "m3", "volume by the outlet meter"),
        _number("fill_s", "s", "previous shutting to this opening; null over a gap"),
        _number("drain_s", "s", "opening to shutting"),
        _number("inflow_m3_per_day", "m3/day", "water inflow over this cycle, previous shutting to this shutting"),
        _number("cv_effective", "gpm/psi^0.5", "effective flow coefficient while open"),
        _text("evidence", "switch, meter or level"),
        _number("pressure_kpag", "kPag", "mean vessel pressure while open"),
        _number("pressure_sag_kpa", "kPa", "pressure at opening minus lowest pressure while open"),
        _number("leak_m3", "m3", "meter volume between the previous shutting and this opening"),
        _number("lowest_level_m", "m", "lowest interface while open"),
        _text("well_on_test", "well routed to the vessel at opening"),
    ),
)

_HOUR_AND_DAY = (
    _count("dumps", "dumps that opened in the period; null where no evidence is known"),
    _number("open_s", "s", "time the water dump was open"),
    _number("water_m3", "m3", "water that left, by meter or else by geometry"),
    _number("oil_m3", "m3", "oil stream that left, by meter"),
    _number("gas_m3", "m3", "gas that left, standard conditions"),
    _number("water_load_m3_per_day", "m3/day", "water inflow, time-weighted"),
    _number("oil_load_m3_per_day", "m3/day", "oil-outlet stream"),
    _number("water_retention_min", "min", "water volume present / water load"),
    _number("oil_retention_min", "min", "oil volume present / oil load"),
    _number("water_required_min", "min", "required water retention at this temperature"),
    _number("oil_required_min", "min", "required oil retention at this temperature"),
    _number("gas_load_fraction", "1", "gas rate / gas capacity"),
    _number("oil_hold_kpag", "kPag", "pressure held by the oil valve, at the reference load"),
    _number("gas_clip_kpag", "kPag", "pressure at which the gas valve clips the peaks"),
    _number("water_in_oil_fraction", "1", "water in the oil outlet, flow-weighted where metered"),
    _number("oil_in_water_mg_l", "mg/L", "oil in the water outlet"),
    _count("scrubber_dumps", "dumps of the scrubber"),
    _number("scrubber_dumps_per_1000m3_gas", "1/1000m3", "scrubber dumps per 1000 m3 of gas"),
    _number("pressure_sag_kpa", "kPa", "median pressure minus lowest pressure"),
    _number("spill_s", "s", "time the interface stood above the oil weir"),
    _number("coverage", "1", "share of the period with evidence for dump cycles"),
    _number("leak_m3", "m3", "meter volume while the dump was known to be shut"),
    _number("shut_s", "s", "time the dump was known to be shut with the meter known"),
    _number("above_opening_s", "s", "time the interface stood above the opening level with the dump not open"),
    _number("below_closing_s", "s", "time the dump was open with the interface below the closing level"),
    _text("well_on_test", "well routed to the vessel for most of the period"),
    *(_number(f"coverage_{name}", "1", f"share of the period in which {name} is known") for name in SIGNALS),
)

VESSEL_HOURS = Frame(
    "vessel_hour",
    "one vessel, one hour",
    ("vessel", "hour_utc"),
    (_text("vessel", "vessel id"), _time("hour_utc", "start of the hour"), *_HOUR_AND_DAY),
)

VESSEL_DAYS = Frame(
    "vessel_day",
    "one vessel, one day of the field's zone",
    ("vessel", "day"),
    (
        _text("vessel", "vessel id"),
        Column("day", pl.Date, "", "day of the field's zone"),
        *_HOUR_AND_DAY,
        _number("water_short_h", "h", "hours with inflow in which water retention was short"),
        _number("oil_short_h", "h", "hours with inflow in which oil retention was short"),
        _number("inflow_h", "h", "hours with inflow"),
        _number("held_interface_m", "m", "mean interface (throttling dumps: the level held)"),
        _number("opening_level_m", "m", "median opening level of the day's dumps"),
        _number("closing_level_m", "m", "median closing level of the day's dumps"),
        _number("cv_effective", "gpm/psi^0.5", "median effective flow coefficient"),
        _number("oil_droop_kpa_per_m3_per_day", "kPa/(m3/day)", "rise of the held pressure with oil (else water) load"),
        _number("gas_droop_kpa_per_m3_per_day", "kPa/(m3/day)", "rise of the clipped pressure with gas rate"),
    ),
)

SIGNAL_HOURS = Frame(
    "signal_hour",
    "one signal of one vessel, one hour",
    ("vessel", "signal", "hour_utc"),
    (
        _text("vessel", "vessel id"),
        _text("signal", "signal name"),
        _time("hour_utc", "start of the hour"),
        _number("coverage", "1", "share of the hour in which the value is known"),
        _count("samples", "samples that are not bad"),
        _count("bad_samples", "bad samples"),
        _count("changes", "samples that differ from the one before"),
        _number("still_s", "s", "at the hour's end: time since the value last changed, by samples seen"),
        _number("first", "", "value at the start of the known part, in the signal's unit"),
        _number("last", "", "value at the end of the known part"),
        _number("mean", "", "time-weighted mean over the known part (states: share of time at 1)"),
        _number("minimum", "", "lowest value"),
        _number("maximum", "", "highest value"),
        _number("p10", "", "10th percentile, time-weighted"),
        _number("p90", "", "90th percentile, time-weighted"),
        _number("deviation", "", "standard deviation, time-weighted"),
        _number("swing", "", "median peak-to-trough height of the swings through the hour's slow mean"),
        _number("swing_period_s", "s", "median period of those swings; null with fewer than two"),
        _number("swing_regularity", "1", "1 - relative spread of the periods, 0 to 1"),
        _number(
            "net_change",
            "",
            "totalisers: volume counted, resets and roll-over taken out; others: last - first",
        ),
    ),
)

WELL_TESTS = Frame(
    "well_test",
    "one test of one well",
    ("well", "start_utc"),
    (
        _text("well", "well id"),
        _text("vessel", "test vessel"),
        _time("start_utc", "well turned in"),
        _time("end_utc", "well turned out, or the last data time"),
        _number(
            "water_m3_per_day",
            "m3/day",
            "water rate over the steady part, also of the water in the oil where its share is known",
        ),
        _number(
            "oil_m3_per_day",
            "m3/day",
            "oil rate over the steady part; the whole stream where no share of water is known",
        ),
        _number("water_cut_fraction", "1", "water / (water + oil)"),
        _text("state", "accepted, rejected or running"),
        _text("reason", "why it was rejected; of any test, that the schedule has another well"),
        _text("source", "where the well's run is known from: well_on_test, tests, routing or gauges"),
        _time("steady_utc", "start of the part that the rates are of, after the purge"),
        _number("gas_m3_per_day", "m3/day", "gas rate over the steady part, standard conditions"),
        _number("net_oil_m3_per_day", "m3/day", "oil without water at standard conditions"),
        _number("water_uncertainty_m3_per_day", "m3/day", "standard uncertainty of the water rate"),
        _number("oil_uncertainty_m3_per_day", "m3/day", "standard uncertainty of the oil rate"),
        _number("net_oil_uncertainty_m3_per_day", "m3/day", "standard uncertainty of the net oil"),
    ),
)

VESSEL_CAPACITY = Frame(
    "vessel_capacity",
    "one limit of one vessel against the load it saw, as of the last night",
    ("vessel", "limit"),
    (
        _text("vessel", "vessel id"),
        _text("limit", "water retention, oil retention, water settling, oil settling, gas, water dump or oil valve"),
        _text("phase", "water, oil or gas: whose rate it limits"),
        _time("from_utc", "start of the days whose load counts"),
        _time("until_utc", "end of the days whose load counts"),
        _number(
            "capacity_m3_per_day",
            "m3/day",
            "rate it can take, gas at standard conditions; null where something is missing",
        ),
        _number("median_load_m3_per_day", "m3/day", "median load of the days"),
        _number("high_load_m3_per_day", "m3/day", "90th percentile of the days' loads"),
        _number("worst_load_m3_per_day", "m3/day", "largest load of a day"),
        Column("worst_day", pl.Date, "", "day of the largest load"),
        _number("used_fraction", "1", "90th percentile of the loads / capacity"),
        Column("binds", pl.Boolean, "", "whether it is the limit used most"),
        _text("basis", "how the capacity was reckoned, or what is missing for it"),
    ),
)

BACK_PRESSURE = Frame(
    "back_pressure",
    "one vessel, one day: the pressure held above what is needed, and the production it costs at most",
    ("vessel", "day"),
    (
        _text("vessel", "vessel id"),
        Column("day", pl.Date, "", "day of the field's zone"),
        _number("held_kpag", "kPag", "pressure held by the oil valve"),
        _number("needed_kpag", "kPag", "pressure that is needed, or else that the valve is set to"),
        _text("needed_by", "key of field.toml that gives the pressure needed: needs, or holds; null without either"),
        _number("excess_kpa", "kPa", "pressure held above that; 0 while none is held above"),
        _number("header_kpag", "kPag", "median pressure of the production header"),
        _number("line_loss_kpa", "kPa", "header less vessel pressure, median"),
        _number("droop_kpa_per_m3_per_day", "kPa/(m3/day)", "rise of the vessel pressure with the load on the day"),
        _count("wells", "wells that flow to the vessel on the day, or on part of it"),
        _text("wells_without_index", "JSON list of those without a productivity index: their part is not in"),
        _text("wells_without_water_cut", "JSON list of those with one and no water cut: their oil is not in"),
        _number(
            "liquid_m3_per_day_per_kpa",
            "m3/day/kPa",
            "liquid that each kPa holds back at most; null where no well has a productivity index",
        ),
        _number("oil_m3_per_day_per_kpa", "m3/day/kPa", "oil of it; null where no water cut is known"),
        _number("liquid_loss_m3_per_day", "m3/day", "liquid held back by the excess, at most"),
        _number("oil_loss_m3_per_day", "m3/day", "oil of it, at most"),
        _number("oil_loss_money", "", "what that oil is worth, in the currency of field.toml"),
    ),
)

CARRYOVER = Frame(
    "carryover",
    "one vessel, one day: water that left with the oil and what heating it takes, oil that left with the water",
    ("vessel", "day"),
    (
        _text("vessel", "vessel id"),
        Column("day", pl.Date, "", "day of the field's zone"),
        _number("water_with_oil_m3", "m3", "water in the oil stream"),
        _number("temperature_c", "degC", "temperature at which it leaves: measured, or else as set"),
        _number("oil_with_water_m3", "m3", "oil in the water stream, at 60 degF"),
        _number("heat_mj", "MJ", "heat that the water takes in the heater that follows, at most"),
        _number("fuel_mj", "MJ", "fuel for it at the stated efficiency"),
        _number("fuel_money", "", "what the fuel costs, in the currency of field.toml"),
        _number("oil_money", "", "what the oil is worth, in the currency of field.toml"),
    ),
)

ANODES = Frame(
    "anode",
    "one anode as of the last night",
    ("vessel", "anode"),
    (
        _text("vessel", "vessel id"),
        _text("anode", "anode id"),
        _text("material", "magnesium, zinc or aluminium"),
        _time("until_utc", "data up to here"),
        _time("from_utc", "mass known at this time: installed, or last inspection"),
        _number("first_mass_kg", "kg", "mass at that time"),
        _number("charge_ah", "Ah", "charge that went through since, unknown time taken at the mean current"),
        _number("mass_left_kg", "kg", "mass left"),
        _number("left_fraction", "1", "usable mass left / usable mass when new"),
        _number("current_a", "A", "median current of the last days"),
        _number("life_left_days", "days", "until the usable mass is gone, at that current"),
        _number("shortest_life_days", "days", "lower end of its 80 % interval"),
        _number("longest_life_days", "days", "upper end of its 80 % interval"),
        Column("spent_on", pl.Date, "", "day on which the usable mass is gone"),
        Column("inspect_by", pl.Date, "", "next inspection"),
        _text("basis", "how it was reckoned, or what is missing for it"),
    ),
)

FINDINGS = Frame(
    "finding",
    "one finding",
    ("vessel", "onset", "id"),
    (
        _text("id", "stable id"),
        _text("vessel", "vessel id"),
        _text("element", "part of the vessel"),
        _text("kind", "what is wrong"),
        _text("failure_mode", "ISO 14224 code or null"),
        _text("priority", "high, medium or low"),
        _number("confidence", "1", "0 to 1"),
        _text("state", "new, standing, cleared or withdrawn"),
        _text("mark", "JSON {as, note, by, at} or null"),
        _time("onset", "estimated start of the fault"),
        _time("first_reported", "the night it was first told"),
        _time("last_seen", "last data time with evidence"),
        _time("cleared_at", "data time it ended, or null"),
        _text("summary", "one sentence with the numbers that matter"),
        _text("evidence", "JSON list of {name, value, unit, expected, from, to}"),
        _text("instead", "JSON list of {kind, why}"),
        _text("checks", "JSON list of texts"),
        _text("effect", "JSON {value, unit, basis, terms, is_upper_bound} or null"),
        _number("severity", "", "size of the fault in the kind's own measure, for worse and weaker"),
        _count("quiet_nights", "nights in a row that could judge and saw nothing"),
        _text("also", "JSON list of kinds told inside this finding as its consequences"),
        _time("last_night", "until of the night that last touched it"),
    ),
)

FINDING_EVENTS = Frame(
    "finding_event",
    "what happened to a finding in one night",
    ("finding_id", "at_utc"),
    (
        _text("finding_id", "finding"),
        _time("at_utc", "until of the night, or the clock of a mark"),
        _text("event", "reported, surer, weaker, worse, cleared, returned, withdrawn or marked"),
        _text("detail", "in words"),
    ),
)

NIGHTS = Frame(
    "night",
    "one run",
    ("night_id",),
    (
        Column("night_id", pl.Int32, "", "number"),
        _time("until_utc", "data judged up to here"),
        _time("started_utc", "clock at start"),
        _time("ended_utc", "clock at end"),
        _text("state", "running, done, failed or killed"),
        _text("detail", "what it did, or why it failed"),
    ),
)

NIGHT_STEPS = Frame(
    "night_step",
    "one step of a night that ended, or of a whole run (reading, page, dropping)",
    ("step_id",),
    (
        _count("step_id", "number, in the order in which they ended"),
        Column("night_id", pl.Int32, "", "row of `night`; null for a step of the whole run"),
        _text("step", "reading, deriving, reckoning, judging, keeping, page or dropping"),
        _time("started_utc", "clock at start"),
        _number("took_s", "s", "clock at its end less clock at its start"),
        _count("rows_in", "rows that went in: of exports, samples, candidates; null where rows do not tell"),
        _count("rows_out", "rows that came out: samples, derived and reckoned rows, candidates, events"),
        _text("detail", "JSON: what was done, what was skipped or failed, and why"),
    ),
)

STORED_FRAMES = (
    SAMPLES, QUARANTINE, SOURCE_FILES, TAGS, DUMP_CYCLES, VESSEL_HOURS, VESSEL_DAYS, SIGNAL_HOURS,
    WELL_TESTS, VESSEL_CAPACITY, BACK_PRESSURE, CARRYOVER, ANODES, FINDINGS, FINDING_EVENTS, NIGHTS,
    NIGHT_STEPS,
)  # fmt: skip
"""The frames that are tables of the database."""
