"""One vessel as derive sees it on one day: its settings in force and its signals by the part they play."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from nightgauge.derive.grid import Day
from nightgauge.derive.known import Track
from nightgauge.derive.meter_dumps import meter_of
from nightgauge.derive.readings import Seen
from nightgauge.derive.spans import Floats, Times
from nightgauge.derive.totals import Counted
from nightgauge.field.settings import Field, Vessel, WaterDump
from nightgauge.physics.geometry import Shell, shell

_IN_USE = 0.1
"""Travel between the 10th and 90th percentile share at which a position is a throttling valve's. [1] House choice."""


@dataclass(frozen=True)
class Plant:
    """A vessel with what may be seen of it."""

    vessel: Vessel
    field: Field
    day: Day
    seen: Seen

    def track(self, signal: str) -> Track | None:
        """Return a signal, or None if the vessel has no sample of it here."""
        return self.seen.tracks.get(signal)

    @cached_property
    def dump(self) -> WaterDump:
        """Return the water dump's settings on this day."""
        return self.vessel.water_dump_at(self.day.start)

    @cached_property
    def shell(self) -> Shell | None:
        """Return the vessel's inside, if its dimensions are known."""
        vessel = self.vessel
        return shell(vessel.inside_diameter_m, vessel.length_m, vessel.heads, vessel.orientation)

    @cached_property
    def interface(self) -> Track | None:
        """Return the level that the dump's float rides on: in a two-phase vessel that is the oil level."""
        level = self.track("interface_level")
        if level is None and self.vessel.normal_interface_m is None:
            return self.track("oil_level")
        return level

    @cached_property
    def is_throttling(self) -> bool:
        """Return whether the dump throttles: as set, else as its position shows."""
        if self.dump.action is not None:
            return self.dump.action == "throttling"
        position = self.track("water_dump_position")
        if position is None or position.value.size < 3:
            return False
        between = (position.value > _IN_USE) & (position.value < 1.0 - _IN_USE)
        return bool(np.mean(between) > 0.5)

    @property
    def water(self) -> Counted | None:
        """Return what the water meter counted: by its totaliser, else by its rate."""
        return self._counted("water")

    @property
    def oil(self) -> Counted | None:
        """Return what the oil meter counted."""
        return self._counted("oil")

    @property
    def water_meter(self) -> Track | None:
        """Return the signal of the water meter that is used."""
        return self._meter("water")

    def _meter(self, liquid: str) -> Track | None:
        total = self.track(f"{liquid}_total")
        return total if total is not None and total.start_us.size else self.track(f"{liquid}_rate")

    def _counted(self, liquid: str) -> Counted | None:
        meter = self._meter(liquid)
        return None if meter is None else self.counted(meter)

    def counted(self, meter: Track) -> Counted:
        """Return what a totaliser or a rate meter of the vessel counted."""
        if meter.signal not in self._counts:
            self._counts[meter.signal] = meter_of(meter, self.raw_unit(meter.signal))
        return self._counts[meter.signal]

    @cached_property
    def _counts(self) -> dict[str, Counted]:
        return {}

    def raw_unit(self, signal: str) -> float:
        """Return one unit of a totaliser's register, 0 if the tag is not described. [m3]"""
        rows = [t for t in self.field.tags_of(self.vessel.id) if t.signal == signal]
        started = [t for t in rows if t.from_utc is None or t.from_utc <= self.day.start]
        return started[-1].conversion.factor if started else 0.0

    def water_volume_m3(self, level_m: Floats) -> Floats:
        """Return the volume below each level, NaN where the dimensions are not known. [m3]"""
        if self.shell is None:
            return np.full(np.shape(level_m), np.nan)
        return np.asarray(self.shell.volume_m3(level_m))


def level_at(track: Track | None, when_us: Times) -> Floats:
    """Return a signal's value at each time, NaN without the signal."""
    return np.full(when_us.shape, np.nan) if track is None else track.at(when_us)
