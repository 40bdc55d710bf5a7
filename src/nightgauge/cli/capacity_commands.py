"""The command about room: capacity."""

import re
import textwrap
from collections.abc import Sequence
from typing import Annotated

import polars as pl
import typer

from nightgauge.capacity import Added, Change, Outlook
from nightgauge.cli.arguments import As, FieldToml, vessel_of
from nightgauge.cli.printing import Format, say, show
from nightgauge.errors import SettingError
from nightgauge.field.problems import listed, remedy_for
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline.capacity import Asked, ask, of_all
from nightgauge.store import Store
from nightgauge.units import UnitProblem, parse, to_display

CAUTION = (
    "An estimate from dimensions, settings and loads seen, for even flow and clean vessels. Settings, trims and "
    "pressures are changed by competent people under the site's own procedure; working pressure and relief valves are "
    "never changed to suit it."
)
_COLUMNS = ("limit", "capacity", "median", "high", "worst", "unit", "worst day", "used %", "binds", "basis")
_FOR_PEOPLE = _COLUMNS[:-1]  # a basis is a sentence, and told below the table
_TAKES_NOTHING = "takes nothing"
_LINE = 100
_STATED = re.compile(r"\s*(.+?)\s+(water|oil)\s*")


def capacity(
    field_toml: FieldToml,
    vessel: Annotated[str | None, typer.Argument(metavar="[VESSEL]", help="Id of a vessel; without it all.")] = None,
    water_rate: Annotated[str | None, typer.Option(metavar="RATE", help='What if: "3000 bbl/day".')] = None,
    oil_rate: Annotated[str | None, typer.Option(metavar="RATE", help='What if: "400 bbl/day".')] = None,
    interface: Annotated[str | None, typer.Option(metavar="LEVEL", help='What if: "46 in".')] = None,
    pressure: Annotated[str | None, typer.Option(metavar="PRESSURE", help='What if: "50 psig".')] = None,
    add_well: Annotated[
        list[str] | None,
        typer.Option(metavar="WELL", help='What if: id of a tested well, or "900 bbl/day water, 60 bbl/day oil".'),
    ] = None,
    form: As = Format.table,
) -> None:
    """What vessels can take against the load they see, and what if."""
    field = read_field(field_toml)
    asked = (water_rate, oil_rate, interface, pressure, add_well)
    store = Store(field.database)
    if vessel is None:
        if any(asked):
            raise SettingError("a what-if is asked of one vessel; name it after FIELD_TOML")
        _show_all(of_all(store), field, form)
        return
    known = ask(field, store, vessel_of(field, vessel))
    air = field.atmospheric_pressure_kpa
    change = Change(
        _quantity(water_rate, "--water-rate", "liquid rate", air),
        _quantity(oil_rate, "--oil-rate", "liquid rate", air),
        _quantity(interface, "--interface", "length", air),
        _quantity(pressure, "--pressure", "pressure", air),
        tuple(well_of(text, known) for text in add_well or ()),
    )
    _show_one(known, change if any(asked) else None, form)


def _quantity(text: str | None, option: str, dimension: str, air_kpa: float) -> float | None:
    if text is None:
        return None
    try:
        value = parse(text, dimension, air_kpa)
    except UnitProblem as problem:
        raise SettingError(f"{option}: {problem}") from problem
    if value < 0.0:
        raise SettingError(f"{option}: {text!r} is below 0; give what it would be, not the change")
    return value


def well_of(text: str, known: Asked) -> Added:
    """Return a well that is asked for: by its latest accepted test, or by what the text says it brings.

    Parameters
    ----------
    text : str
        Id of a well, or its rates: "900 bbl/day water, 60 bbl/day oil", or either.
    known : Asked
        With the field's wells and tests.

    Raises
    ------
    SettingError
        If it is neither.

    """
    stated = [_STATED.fullmatch(part) for part in text.split(",")]
    if all(stated):
        rates = {one[2]: _quantity(one[1], "--add-well", "liquid rate", 0.0) for one in stated if one}
        return Added(f"a well of {text.strip()}", rates.get("water"), rates.get("oil"))
    tests = known.tests.filter((pl.col("state") == "accepted") & (pl.col("well") == text)).sort("start_utc")
    if not tests.is_empty():
        last = tests.row(-1, named=True)
        water, oil, gas = (last[f"{phase}_m3_per_day"] for phase in ("water", "oil", "gas"))
        return Added(text, water, oil, gas, last["start_utc"])
    wells = [well.id for well in known.field.wells]
    or_stated = 'or say what it brings, like "900 bbl/day water, 60 bbl/day oil"'
    if text in wells:
        raise SettingError(f"--add-well: {text!r} has no accepted test; take one that has, {or_stated}")
    step = f"{remedy_for(text, wells)}, {or_stated}".replace("?,", "?")
    raise SettingError(f"--add-well: {text!r} is no well of field.toml, which has {listed(wells) or 'none'}; {step}")


def _shown(frame: pl.DataFrame, field: Field) -> list[dict[str, object]]:
    """Return rows of VESSEL_CAPACITY as people read them."""
    return [_row(row, field) for row in frame.iter_rows(named=True)]


def _row(row: dict[str, object], field: Field) -> dict[str, object]:
    dimension = "gas rate" if row["phase"] == "gas" else "liquid rate"

    def rate(name: str) -> float | None:
        value = row[f"{name}_m3_per_day"]
        return round(to_display(value, dimension, field.display_units)[0], 1) if isinstance(value, float) else None

    used = row["used_fraction"]
    return {
        "vessel": row["vessel"], "limit": row["limit"], "capacity": rate("capacity"), "median": rate("median_load"),
        "high": rate("high_load"), "worst": rate("worst_load"),
        "unit": to_display(0.0, dimension, field.display_units)[1], "worst day": row["worst_day"],
        "used %": round(used * 100, 1) if isinstance(used, float) else None,
        "binds": "binds" if row["binds"] else _TAKES_NOTHING if row["capacity_m3_per_day"] == 0.0 else "",
        "basis": row["basis"],
    }  # fmt: skip


_RATES = ("capacity", "median", "high", "worst", "load (high)", "room")


def _for_people(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    """Return rows with whole rates: nobody reads the tenth of a barrel a day."""
    return [
        {name: round(value) if name in _RATES and isinstance(value, float) else value for name, value in row.items()}
        for row in rows
    ]


def _show_all(frame: pl.DataFrame, field: Field, form: Format) -> None:
    """Print each vessel's limit that is used most; vessels of which none is known at the end."""
    rows = _shown(frame, field)
    if form is not Format.table:
        show(rows, ("vessel", *_COLUMNS), form, field.zone)
        return
    binding = [row for row in rows if row["binds"] == "binds"]
    binding.sort(key=lambda row: -float(str(row["used %"])))
    told = [{**row, "binding limit": row["limit"], "load (high)": row["high"], "room": _room(row)} for row in binding]
    show(
        _for_people(told),
        ("vessel", "binding limit", "capacity", "load (high)", "room", "unit", "used %"),
        form,
        field.zone,
    )
    for row in rows:
        if row["binds"] == _TAKES_NOTHING:
            say(f"\n{row['vessel']}: {row['limit']} {_TAKES_NOTHING}: {row['basis']}")
    silent = sorted({vessel.id for vessel in field.vessels} - {str(row["vessel"]) for row in binding})
    if silent:
        say(f"\nno load or no limit is known of {', '.join(silent)}; `nightgauge capacity FIELD_TOML VESSEL` says why")
    say("\nload (high): nine days of ten of the last four weeks lie below it\n")
    say(textwrap.fill(CAUTION, _LINE))


def _room(row: dict[str, object]) -> float | None:
    capacity_, high = row["capacity"], row["high"]
    return round(capacity_ - high, 1) if isinstance(capacity_, float) and isinstance(high, float) else None


def _show_one(known: Asked, change: Change | None, form: Format) -> None:
    outlook = None if change is None else known.outlook(change)
    now = _shown(known.now() if outlook is None else outlook.before, known.field)
    zone = known.field.zone
    if form is not Format.table:
        after = [] if outlook is None else _shown(outlook.after, known.field)
        show(
            [{"case": "now", **row} for row in now] + [{"case": "what if", **row} for row in after],
            ("case", "vessel", *_COLUMNS),
            form,
            zone,
        )
        return
    say(f"{known.vessel.id} now, loads of the last four weeks")
    show(_for_people(now), _FOR_PEOPLE, form, zone)
    _list("how each was reckoned", [f"{row['limit']}: {row['basis']}" for row in now])
    if outlook is not None:
        _show_what_if(outlook, known.field)
    _list("what would give more, as it works now", known.more())
    say("\nhigh: nine days of ten lie below it; a limit that binds is the one used most\n")
    say(textwrap.fill(CAUTION, _LINE))


def _show_what_if(outlook: Outlook, field: Field) -> None:
    say("\nwhat if")
    after = _shown(outlook.after, field)
    show(_for_people(after), _FOR_PEOPLE, Format.table, field.zone)
    _list("what it comes to", outlook.sentences)


def _list(head: str, lines: Sequence[str]) -> None:
    if lines:
        say(f"\n{head}")
        say("\n".join(textwrap.fill(f"- {line}", _LINE, subsequent_indent="  ") for line in lines))
