"""From the plant's trace to what each instrument would show if it were perfect."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightgauge.simulate.inflow import Inflow
from nightgauge.simulate.plan import DAY_S, VesselPlan, WellPlan
from nightgauge.simulate.plant import Trace

Array = npt.NDArray[np.float64]

_OPEN_FROM = 0.05  # travel from which the lever leaves its switch
_DUMPING_S = 40.0  # a scrubber's small dump takes well under a minute


@dataclass
class Carried:
    """What has to be remembered of one vessel from one stretch to the next."""

    water_m3: float = 0.0
    oil_m3: float = 0.0
    scrubber_m3: float = 0.0
    cut: float = 0.02


@dataclass(frozen=True)
class View:
    """One vessel's columns of a trace, with what goes with them."""

    vessel: VesselPlan
    trace: Trace
    inflow: Inflow
    place: int
    carried: Carried
    test_wells: tuple[WellPlan, ...] = ()
    """The wells that take turns on this vessel, where it is the test vessel."""

    def __getitem__(self, name: str) -> Array:
        """Return one variable of the vessel, one value per step."""
        return self.trace[name][:, self.place]

    @property
    def per_minute(self) -> int:
        """Return the steps in a minute."""
        return round(60.0 / self.trace.step_s)

    def of_minutes(self, values: Array) -> Array:
        """Return values of (minutes, vessels) for each step of this vessel."""
        return np.repeat(values[:, self.place], self.per_minute)


def reading(view: View, signal: str) -> Array:
    """Return a signal's true value in SI, one per step of the trace."""
    return _READINGS[signal](view)


def move_on(view: View) -> None:
    """Carry totals over to the next stretch of the trace, once all signals of this one have been read."""
    carried, dt = view.carried, view.trace.step_s
    if "oil_water_cut" in view.vessel.signals():
        carried.cut = float(_cut(view)[-1])
    carried.water_m3 += float(_water_flow(view).sum()) * dt
    carried.oil_m3 += float(_oil_flow(view).sum()) * dt
    carried.scrubber_m3 += float(_carried_with_gas(view).sum()) * dt


def _water_flow(view: View) -> Array:
    return view["dump_water"] + view["dump_oil"] + view["dump_gas"]  # a meter counts gas as liquid


def _oil_flow(view: View) -> Array:
    return view["oil_outlet_oil"] + view["oil_outlet_water"]


def _carried_with_gas(view: View) -> Array:
    return view["gas_oil"] + view["gas_water"]


def _header(view: View) -> Array:
    liquid = view["water_in"] + view["oil_in"]
    p = view.vessel.physics
    return view["pressure_kpag"] + p.header_loss_kpa * (liquid * DAY_S / p.full_inflow_m3_per_day) ** 2


def _cut(view: View) -> Array:
    """Return the analyser's water share: of what flowed, through a sample loop of about five minutes."""
    flow, water = _oil_flow(view), view["oil_outlet_water"]
    per = view.per_minute
    by_minute = flow.reshape(-1, per).sum(axis=1)
    share = np.divide(
        water.reshape(-1, per).sum(axis=1), by_minute, where=by_minute > 0.0, out=np.zeros_like(by_minute)
    )
    value, shown = view.carried.cut, np.empty_like(share)
    for minute, (new, flowed) in enumerate(zip(share, by_minute > 0.0, strict=True)):
        value = value + 0.2 * (new - value) if flowed else value
        shown[minute] = value
    return np.repeat(shown, per)


def _oil_in_water(view: View) -> Array:
    settled = view.of_minutes(view.trace.oil_in_water_mg_l)
    oil, total = view["dump_oil"], view["dump_oil"] + view["dump_water"]
    share = np.divide(oil, total, where=total > 0.0, out=np.zeros_like(total))
    return np.minimum(settled + 8.5e5 * share, 20_000.0)  # oil weighs about 850 g/L; the analyser's range ends


def _scrubbed(view: View) -> tuple[Array, Array]:
    """Return the scrubber's liquid since the last dump as a share of a dump, and whether it dumps."""
    p = view.vessel.physics
    gathered = view.carried.scrubber_m3 + np.cumsum(_carried_with_gas(view)) * view.trace.step_s
    dumps = gathered / p.scrubber_dump_m3
    began = np.floor(dumps) - np.floor(np.concatenate(([view.carried.scrubber_m3 / p.scrubber_dump_m3], dumps[:-1])))
    steps = max(round(_DUMPING_S / view.trace.step_s), 1)
    is_open = np.convolve(began > 0.0, np.ones(steps))[: began.size] > 0.0
    return dumps % 1.0, is_open.astype(np.float64)


def _scrubber_level(view: View) -> Array:
    p = view.vessel.physics
    return p.scrubber_low_m + (p.scrubber_high_m - p.scrubber_low_m) * _scrubbed(view)[0]


def _total(flow: Array, before: float, step_s: float) -> Array:
    return np.asarray(before + np.cumsum(flow) * step_s)


def _temperature(view: View) -> Array:
    first = int(view.trace.first_second / 60.0)
    minutes = view.trace.cut_by_retention.shape[0]
    return view.of_minutes(view.inflow.temperature_c[first : first + minutes])


def _well_on_test(view: View) -> Array:
    """Return the place among `test_wells` of the well that is routed here, -1 for none."""
    seconds = view.trace.first_second + view.trace.step_s * np.arange(view["water_in"].size)
    place = np.full(seconds.size, -1.0)
    for number, well in enumerate(view.test_wells):
        for turn in well.on_test:
            place[(seconds >= turn.start_s) & (seconds < turn.end_s)] = number
    return place


_READINGS: dict[str, Callable[[View], Array]] = {
    "vessel_pressure": lambda v: v["pressure_kpag"],
    "inlet_pressure": _header,
    "water_downstream_pressure": lambda v: v["water_downstream_kpag"],
    "oil_downstream_pressure": lambda v: np.full(v["pressure_kpag"].size, 0.5 * v.vessel.physics.oil_holds_kpag),
    "interface_level": lambda v: v["water_level_m"],
    "oil_level": lambda v: v["liquid_level_m"],
    "water_dump_open": lambda v: (v["dump_open"] > _OPEN_FROM).astype(np.float64),
    "water_dump_position": lambda v: v["dump_open"],
    "water_rate": lambda v: _water_flow(v) * DAY_S,
    "oil_rate": lambda v: _oil_flow(v) * DAY_S,
    "water_total": lambda v: _total(_water_flow(v), v.carried.water_m3, v.trace.step_s),
    "oil_total": lambda v: _total(_oil_flow(v), v.carried.oil_m3, v.trace.step_s),
    "gas_rate": lambda v: v["gas_out"] * DAY_S,
    "oil_water_cut": _cut,
    "water_oil_content": _oil_in_water,
    "temperature": _temperature,
    "scrubber_level": _scrubber_level,
    "scrubber_dump_open": lambda v: _scrubbed(v)[1],
    "well_on_test": _well_on_test,
}
