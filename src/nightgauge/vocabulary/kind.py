"""What a kind of finding is declared with, and the words and limits that several kinds share."""

from dataclasses import dataclass

from nightgauge.vocabulary.limits import Limit

Needs = frozenset[str]
"""A set of signals that is enough together."""

HOUSE = "house choice"
PRACTICE = "common practice, no source"
FORMAT = "fixed by the project's format page"

PSI, INCH, HOUR, DAY = 6.894757293168361, 0.0254, 3600.0, 86400.0
"""Units that limits are thought in, in the units used inside. [kPa], [m], [s], [s]"""

ISOLATE = (
    "Stored pressure and moving linkage: isolate, bleed down, lock out and gas-test by the site's own procedure "
    "before touching the valve or the float; competent people decide."
)
STORED_PRESSURE = (
    "Stored pressure and hot fluids: isolate, bleed down, lock out and gas-test by the site's own procedure before "
    "any work there; competent people decide."
)
LOOK_ONLY = "Look and measure only; relief valves and working pressure are never changed to suit a finding."
SOUR = "Treat the stream as holding hydrogen sulphide until a gas test at the place says otherwise."


@dataclass(frozen=True)
class Kind:
    """One kind of finding, as detectors, `explain`, `check` and the README's table know it."""

    name: str
    says: str
    """One line: what the finding says."""
    element: str
    """The part it is told of, in words for people ("water_dump", "oil_valve or gas_valve", "instrument:<signal>")."""
    failure_mode: str | None
    """ISO 14224 code, from secondary copies of the standard."""
    looks_for: str
    """The physical signature and what it is compared with."""
    needs: tuple[Needs, ...]
    """Each set is enough to show the fault; empty: no signal needed."""
    fewer: str
    """What is still said with fewer signals than the best set."""
    limits: tuple[Limit, ...] = ()
    checks: tuple[str, ...] = ()
    """What to look at on site, in order."""
    cautions: tuple[str, ...] = ()

    def limit(self, name: str) -> Limit:
        """Return the limit of this name; KeyError if the kind has none."""
        for limit in self.limits:
            if limit.name == name:
                return limit
        raise KeyError(f"{self.name} has no limit {name!r}; it has {', '.join(self.limit_names) or 'none'}")

    @property
    def limit_names(self) -> tuple[str, ...]:
        """Return the names that `[limits.<kind>]` may set."""
        return tuple(limit.name for limit in self.limits)


def any_of(*sets: str) -> tuple[Needs, ...]:
    """Return sets of signals from texts such as "interface_level water_meter"; a meter is a total or a rate."""
    found: list[Needs] = []
    for text in sets:
        names = text.split()
        if "water_meter" in names:
            rest = [n for n in names if n != "water_meter"]
            found += [frozenset([*rest, "water_total"]), frozenset([*rest, "water_rate"])]
        else:
            found.append(frozenset(names))
    return tuple(found)


REFERENCE_TIME = Limit(
    "reference_time",
    "duration",
    14 * DAY,
    "two weeks hold both the days and the week-ends of a field's routine; shorter past is used, and said, while it is "
    "all there is",
    HOUSE,
)
SETTLED_TIME = Limit(
    "settled_time",
    "duration",
    7 * DAY,
    "a step that stays for a week was meant: it becomes the reference and is cleared as taken as the new setting",
    FORMAT,
)


FIVE_DEVIATIONS = Limit(
    "deviations",
    "number",
    5.0,
    "standard deviations of the vessel's own daily scatter; five keeps a fleet of a hundred vessels with a dozen "
    "indicators each below one chance alarm a year if the scatter is near normal",
    HOUSE,
)
