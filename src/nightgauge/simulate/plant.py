"""The plant: water, oil and gas of all vessels stepped forward together.

Each step is a mass balance. Inflow comes from the wells; water leaves through the dump valve by its Cv,
the gas pressure and the liquid standing above the outlet; oil leaves over the weir through a spring
valve which passes gas where no liquid stands at it; what gas is left lifts the gas valve. The gas is
ideal and keeps its temperature. Pressures are found half-implicitly: each spring answers the pressure
that the step would end with if both valves were shut, so a stiff spring does not ring at 5 s.

Vessels are columns: one pass over time, NumPy over the vessels.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightgauge.simulate.curves import Curves
from nightgauge.simulate.inflow import Inflow
from nightgauge.simulate.vessels import GRAVITY_KPA_PER_M, Statics
from nightgauge.units import STANDARD_ATMOSPHERE_KPA

Array = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

RECORDED = (
    "pressure_kpag", "water_level_m", "liquid_level_m", "dump_open", "dump_water", "dump_oil", "dump_gas",
    "oil_outlet_oil", "oil_outlet_water", "oil_outlet_gas", "gas_out", "gas_oil", "gas_water",
    "water_in", "oil_in", "gas_in",
    "water_downstream_kpag",
)  # fmt: skip
"""Levels in m, flows in m3/s; dump_gas and oil_outlet_gas at vessel pressure, gas_out and gas_in at standard."""

_EDGE_M = 0.04  # over this height an interface at a nozzle or weir draws both phases; vortex, common practice
_LIQUID_THROUGH = 0.2  # volumes of liquid in place of one of gas through the gas valve
_FLOOD_FROM = 0.93  # share of the height from which liquid is drawn into the gas outlet
_FORCED = 10.0  # travels of demand that no friction withstands
_MEAN_PULL = 0.8  # mean size of a standard normal draw: scatter about a mark does not move the mark
_MOST_CHOKE = 1.2  # wells make no more than this share of their rate, however low the pressure
_NEAR_M = 0.1  # liquid cannot rise by more in a minute: flooding is looked for once a minute
_SMOOTHING_MIN = 60.0  # settling follows the load of about the last hour
_GAS_THROUGH = 8.0  # volumes of gas in place of one of water: root of the densities' ratio, less what chokes


@dataclass(frozen=True)
class Trace:
    """What happened in each step: `values[i, step, vessel]` for the i-th name of `RECORDED`."""

    step_s: float
    first_second: float
    values: Array
    cut_by_retention: Array
    """Water in the oil by retention and upset alone, (minutes, vessels). [1]"""
    oil_in_water_mg_l: Array
    """By retention alone, (minutes, vessels)."""

    def __getitem__(self, name: str) -> Array:
        """Return one variable, (steps, vessels)."""
        found: Array = self.values[RECORDED.index(name)]
        return found


def _between(value: Array, low: Array | float, high: Array | float) -> Array:
    """Return values clipped; np.clip costs several times as much on short arrays, and this runs in every step."""
    return np.minimum(np.maximum(value, low), high)


def _slipped(pull: Array, position: Array, stick: Array) -> Array:
    """Return where a sticking stem stands: where it stood, or, once pulled hard enough, where it is pulled to."""
    return np.where(np.abs(pull - position) > stick, _between(pull, 0.0, 1.0), position)


class Plant:
    """The state of all vessels, and how it moves.

    Parameters
    ----------
    statics : Statics
        The vessels.
    step_s : float
        Time step, dividing a minute. [s]
    rng : Generator
        Draws where the floats let go.

    """

    def __init__(self, statics: Statics, step_s: float, rng: np.random.Generator) -> None:
        s = self.s = statics
        self.dt = step_s
        self.rng = rng
        n = s.total_m3.size
        self.water = s.start_water_m3.copy()
        self.oil = s.start_oil_m3.copy()
        gas_space = s.total_m3 - self.water - self.oil + s.line_pack_m3
        self.pressure = s.oil_holds_kpag.copy()
        self.gas = (self.pressure + s.atmosphere_kpa) * gas_space  # pressure times volume, [kPa m3]
        self.wants = np.zeros(n, dtype=bool)
        self.goal = np.zeros(n)
        self.travel = np.zeros(n)
        self.oil_pull = np.full(n, 0.2)
        self.gas_pull = np.zeros(n)
        self.oil_open = np.full(n, 0.2)
        self.gas_open = np.zeros(n)
        self.dump_flow = np.zeros(n)
        self.water_load = np.full(n, 1e-9)
        self.oil_load = np.full(n, 1e-9)
        self.is_loaded = False
        self.open_pull, self.shut_pull = np.abs(rng.normal(size=(2, n)))
        self.now: dict[str, Array] = {}
        self.flooded = np.zeros(n)
        # Constants of a step, computed once.
        self._row = np.arange(n) * s.points
        self._per_volume = (s.points - 1) / s.total_m3
        self._oil_head = GRAVITY_KPA_PER_M * s.oil_gravity
        self._water_head = GRAVITY_KPA_PER_M * (s.water_gravity - s.oil_gravity)
        self._outlet_head = GRAVITY_KPA_PER_M * s.water_gravity * s.outlet_m
        self._stroke = np.minimum(step_s / s.stroke_s, 1.0)
        self._flood_from = _FLOOD_FROM * s.height_m
        self._flood_over = 0.05 * s.height_m
        self._find_levels()

    def run(self, inflow: Inflow, curves: Curves, first_minute: int, minutes: int) -> Trace:
        """Step through some minutes; `curves` starts at `first_minute`, `inflow` at the plan's start."""
        per_minute = round(60.0 / self.dt)
        n = self.water.size
        values = np.empty((len(RECORDED), minutes * per_minute, n))
        cut, oil_in_water = np.empty((minutes, n)), np.empty((minutes, n))
        for minute in range(minutes):
            self._set_minute(inflow, curves, first_minute + minute, minute)
            cut[minute], oil_in_water[minute] = self.cut, self.oil_in_water
            for step in range(minute * per_minute, (minute + 1) * per_minute):
                self._step(values[:, step, :])
        return Trace(self.dt, first_minute * 60.0, values, cut, oil_in_water)

    # ---- once a minute -------------------------------------------------------------------------------

    def _set_minute(self, inflow: Inflow, curves: Curves, at: int, row: int) -> None:
        """Take the minute's inflow and settings, and what moves slowly with them."""
        s = self.s
        self.now = {name: value[row] for name, value in curves.values.items()}
        choke = _between(1.0 - s.inflow_per_kpa * (self.pressure - s.oil_holds_kpag), 0.0, _MOST_CHOKE)
        self.in_water = inflow.water_m3_per_s[at] * choke
        self.in_oil = inflow.oil_m3_per_s[at] * choke
        self.in_gas = inflow.gas_m3_per_s[at] * choke
        self.is_forced = bool(np.any(self.now["jam_shut"] + self.now["jam_open"] + self.now["hand_open"]))
        self.is_flooding = bool(np.any(self.liquid_level > self._flood_from - _NEAR_M))
        self._set_springs()
        self._set_trips()
        self._set_carryover(inflow.temperature_c[at])

    def _set_springs(self) -> None:
        s = self.s
        absolute = self.pressure + s.atmosphere_kpa
        space = s.total_m3 - self.water - self.oil + s.line_pack_m3
        per_flow = self.dt * absolute / space
        self.oil_slope = 1.0 / (s.oil_droop_kpa + per_flow * s.oil_capacity * (1.0 + s.oil_gas_ratio))
        self.gas_slope = 1.0 / (s.gas_droop_kpa + per_flow * s.gas_capacity)
        self.oil_pace = np.where(self.now["oil_lag_s"] > 0.0, self.dt / np.maximum(self.now["oil_lag_s"], self.dt), 1.0)
        self.gas_pace = np.where(self.now["gas_lag_s"] > 0.0, self.dt / np.maximum(self.now["gas_lag_s"], self.dt), 1.0)
        self.is_sticking = bool(np.any(self.now["oil_stick"] + self.now["gas_stick"]))

    def _set_trips(self) -> None:
        """Place the marks where the float lets go: the setting, and what friction adds on either side."""
        self.opens_at = (
            self.now["opens_at_m"]
            + self.now["scatter_m"] * (self.open_pull - _MEAN_PULL)
            + self.now["stick_m"] * self.open_pull
        )
        self.shuts_at = (
            self.now["closes_at_m"]
            - self.now["scatter_m"] * (self.shut_pull - _MEAN_PULL)
            - self.now["stick_m"] * self.shut_pull
        )
        self.float_band = np.maximum(self.now["opens_at_m"] - self.now["closes_at_m"], 1e-3)

    def _set_carryover(self, temperature_c: Array) -> None:
        """Find the cut and the oil in water that retention at the load of the last hour leaves."""
        s = self.s
        pace = 1.0 / _SMOOTHING_MIN if self.is_loaded else 1.0
        self.is_loaded = True
        self.water_load += pace * (self.in_water - self.water_load)
        self.oil_load += pace * (self.in_oil - self.oil_load)
        warm = 1.0 + 0.01 * (temperature_c - s.temperature_c)  # thinner oil settles faster
        oil_minutes = self.oil / np.maximum(self.oil_load, 1e-7) / 60.0 * warm
        water_minutes = self.water / np.maximum(self.water_load, 1e-7) / 60.0 * warm
        cut = s.cut_floor + s.cut_short * np.exp(-np.minimum(oil_minutes / s.cut_minutes, 50.0)) + self.now["extra_cut"]
        self.cut = np.minimum(cut, 0.95)
        self.oil_in_water = s.oiw_floor + s.oiw_short * np.exp(-np.minimum(water_minutes / s.oiw_minutes, 50.0))

    # ---- every step ----------------------------------------------------------------------------------

    def _step(self, out: Array) -> None:
        s, dt = self.s, self.dt
        liquid_in = self.in_water + self.in_oil
        self._move_float()
        dump_water, dump_oil, dump_gas = self._dump()
        # Pressure at the end of the step if both spring valves stayed shut: what the springs answer.
        space = s.total_m3 - self.water - self.oil + s.line_pack_m3
        absolute = self.pressure + s.atmosphere_kpa
        gas = self.gas + dt * (self.in_gas * STANDARD_ATMOSPHERE_KPA - dump_gas * absolute)
        shut_space = space - dt * (liquid_in - dump_water - dump_oil)
        self._move_springs(gas / shut_space - s.atmosphere_kpa)
        oil_oil, oil_water, oil_gas = self._oil_outlet()
        gas_flow = s.gas_capacity * self.gas_open
        gas_oil, gas_water = self._carry(gas_flow, absolute)
        if self.is_flooding:
            gas_flow = gas_flow * (1.0 - self.flooded)
        self.gas = gas - dt * absolute * (oil_gas + gas_flow)
        self.water += dt * (self.in_water - dump_water - oil_water - gas_water)
        self.oil += dt * (self.in_oil - dump_oil - oil_oil - gas_oil)
        self.pressure = self.gas / (s.total_m3 - self.water - self.oil + s.line_pack_m3) - s.atmosphere_kpa
        self._find_levels()
        for place, value in enumerate(
            (
                self.pressure, self.water_level, self.liquid_level, self.travel, dump_water, dump_oil, dump_gas,
                oil_oil, oil_water, oil_gas, gas_flow * absolute / STANDARD_ATMOSPHERE_KPA, gas_oil, gas_water,
                self.in_water, self.in_oil, self.in_gas, self.downstream,
            )
        ):  # fmt: skip
            out[place] = value

    def _find_levels(self) -> None:
        s = self.s
        position = np.empty((2, self.water.size))
        position[0] = self.water
        position[1] = self.water + self.oil
        position *= self._per_volume
        position = _between(position, 0.0, s.points - 1.000001)
        index = position.astype(np.int64)
        position -= index
        index += self._row
        low = s.level_table.take(index)
        low += position * (s.level_table.take(index + 1) - low)
        self.water_level, self.liquid_level = low

    def _move_float(self) -> None:
        """Move the float's linkage and the valve with it."""
        s = self.s
        before = self.wants
        wants = (before | (self.water_level >= self.opens_at)) & (self.water_level > self.shuts_at)
        # Not bounded by the travel: a float that goes on falling takes up lost motion and shuts the valve.
        demand = (self.water_level - self.now["closes_at_m"]) / self.float_band
        if self.is_forced:
            wants, demand = self._forced(wants, before, demand)
        if (wants != before).any():
            self._draw_pull(wants, before)
        self.wants = wants
        target = np.where(s.is_snap, wants, demand)
        error = target - self.goal
        moves = np.abs(error) > self.now["float_stick"]
        followed = _between(target - _between(error, -self.now["slack"], self.now["slack"]), 0.0, 1.0)
        self.goal = np.where(moves, followed, self.goal)
        self.travel = self.travel + _between(self.goal - self.travel, -self._stroke, self._stroke)

    def _forced(self, wants: Bools, before: Bools, demand: Array) -> tuple[Bools, Array]:
        """Apply a jammed float (where it next stands in the jammed place) and a hand on the valve."""
        shut, opened, hand = self.now["jam_shut"] > 0.0, self.now["jam_open"] > 0.0, self.now["hand_open"] > 0.0
        wants = (wants & ~(shut & ~before)) | (opened & before) | hand
        demand = np.where(shut, -_FORCED, np.where(opened, np.maximum(demand, self.goal), demand))
        return wants, np.where(hand, _FORCED, demand)

    def _draw_pull(self, wants: Bools, before: Bools) -> None:
        """Draw anew how hard the float pulls before it lets go, for those that have just let go."""
        opened, shut = wants & ~before, before & ~wants
        pulls = np.abs(self.rng.normal(size=(2, wants.size)))
        self.open_pull = np.where(shut, pulls[0], self.open_pull)
        self.shut_pull = np.where(opened, pulls[1], self.shut_pull)
        self._set_trips()

    def _dump(self) -> tuple[Array, Array, Array]:
        """Return water, oil and gas through the dump valve."""
        s = self.s
        self.downstream = s.water_downstream_kpag + s.water_loss * self.dump_flow * self.dump_flow
        head = self._oil_head * self.liquid_level + self._water_head * self.water_level - self._outlet_head
        drop = np.maximum(self.pressure + head - self.downstream, 0.0)
        cv = s.cv * self.now["cv_share"] * self.travel + self.now["leak_cv"]  # linear trim; a snap stroke is short
        flow = s.water_valve * cv * np.sqrt(drop)
        self.dump_flow = 0.5 * (self.dump_flow + flow)  # the line's inertia, and keeps line loss from ringing
        water_share = _between((self.water_level - s.nozzle_m) / _EDGE_M, 0.0, 1.0)
        liquid_share = _between((self.liquid_level - s.nozzle_m) / _EDGE_M, 0.0, 1.0)
        gas = _GAS_THROUGH * flow * (1.0 - liquid_share)
        return flow * water_share, flow * (liquid_share - water_share), gas

    def _move_springs(self, pressure: Array) -> None:
        oil = (pressure - self.now["oil_holds_kpag"]) * self.oil_slope
        gas = (pressure - self.now["gas_holds_kpag"]) * self.gas_slope
        oil, gas = _between(oil, 0.0, 1.0), _between(gas, 0.0, 1.0)
        if self.is_sticking:
            oil, gas = self._stuck_springs(oil, gas)
        self.oil_open = np.maximum(oil, self.now["oil_floor"])
        self.gas_open = np.maximum(gas, self.now["gas_floor"])

    def _stuck_springs(self, oil: Array, gas: Array) -> tuple[Array, Array]:
        """Let a sticking valve answer late, and only when the spring pulls harder than the stem sticks.

        The pull is not bounded by the travel: a stem that sticks over more than its travel stays shut or open
        until the pressure is out by that much, then goes all the way.
        """
        s, now = self.s, self.now
        pull_oil = (self.pressure - now["oil_holds_kpag"]) / s.oil_droop_kpa
        pull_gas = (self.pressure - now["gas_holds_kpag"]) / s.gas_droop_kpa
        self.oil_pull = self.oil_pull + self.oil_pace * (pull_oil - self.oil_pull)
        self.gas_pull = self.gas_pull + self.gas_pace * (pull_gas - self.gas_pull)
        oil = np.where(now["oil_stick"] > 0.0, _slipped(self.oil_pull, self.oil_open, now["oil_stick"]), oil)
        gas = np.where(now["gas_stick"] > 0.0, _slipped(self.gas_pull, self.gas_open, now["gas_stick"]), gas)
        return oil, gas

    def _oil_outlet(self) -> tuple[Array, Array, Array]:
        """Return oil, water and gas through the oil valve: liquid first, gas in the room it leaves."""
        s = self.s
        over = np.maximum(self.liquid_level - s.weir_m, 0.0)
        capacity = s.oil_capacity * self.oil_open
        liquid = np.minimum(s.weir_m3_per_s * over * np.sqrt(over), capacity)
        spill = _between((self.water_level - s.weir_m) / _EDGE_M + 1.0, 0.0, 1.0)
        cut = np.maximum(self.cut, spill)
        water = liquid * cut
        return liquid - water, water, (capacity - liquid) * s.oil_gas_ratio

    def _carry(self, gas_flow: Array, absolute: Array) -> tuple[Array, Array]:
        """Return oil and water leaving with the gas: mist, and more where liquid stands at the gas outlet."""
        mist = self.now["mist"] * gas_flow * absolute / STANDARD_ATMOSPHERE_KPA
        if not self.is_flooding:
            return mist, np.zeros_like(mist)
        self.flooded = _between((self.liquid_level - self._flood_from) / self._flood_over, 0.0, 1.0)
        liquid = _LIQUID_THROUGH * gas_flow * self.flooded
        is_water = _between((self.water_level - self._flood_from) / self._flood_over + 1.0, 0.0, 1.0)
        return mist + liquid * (1.0 - is_water), liquid * is_water
