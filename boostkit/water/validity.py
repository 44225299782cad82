"""Formulas of the water against the exact wave and the exact ram: error found, error promised, and where they hold."""

from __future__ import annotations

from collections.abc import Callable

from ..algebra import Formula
from ..circuit.validity import Comparison, against
from .pipe import ATMOSPHERE, GRAVITY, Closing, Pipe, linear_fall
from .strokes import Strokes
from .surge import surge


def letters_of(pipe: Pipe, velocity: float, closing_time: float = 0.0) -> dict[str, float]:
    """The letters of formulas that a pipe, its velocity (m/s) and a closing time (s) have values for."""
    letters = {
        "density": pipe.density, "velocity": velocity, "velocity_drop": velocity, "wave_speed": pipe.wave_speed,
        "length": pipe.length, "area": pipe.area, "flow": pipe.area * velocity, "pipe_diameter": pipe.diameter,
        "friction_factor": pipe.friction, "pressure_friction": pipe.friction_drop(velocity),
        "closing_time": closing_time, "return_time": pipe.return_time, "inertance": pipe.inertance,
        "pipe_compliance": pipe.compliance, "surge_impedance": pipe.impedance,
        "bulk_modulus": pipe.bulk_modulus, "wall_modulus": pipe.modulus, "wall_thickness": pipe.wall,
    }  # fmt: skip
    return {name: value for name, value in letters.items() if value is not None}


def measured(s: Strokes) -> dict[str, float]:
    """The letters of formulas that a settled ram has values for; `velocity` is that of its largest flow."""
    ram, vessel = s.ram, s.ram.vessel
    return letters_of(ram.pipe, s.flow.max / ram.pipe.area) | {
        "gravity": GRAVITY, "drive_head": ram.fall, "delivery_head": s.head, "drive_pressure": ram.supply_pressure,
        "delivery_pressure": s.vessel_pressure.mean, "flow_set": s.flow.max, "open_time": s.state.duty * s.period,
        "deliver_time": (s.state.conduction_end - s.state.duty) * s.period, "stroke_time": s.period, "stroke_rate": 1 / s.period,
        "supply_flow": s.supplied, "delivered_flow": s.delivered, "wasted_flow": s.wasted,
        "delivered_share": s.delivered / s.supplied, "air_volume": vessel.gas_volume, "gas_power": vessel.exponent,
        "vessel_pressure": s.vessel_pressure.mean + ATMOSPHERE, "vessel_compliance": float(vessel.compliance()),
        "vessel_swing": s.vessel_pressure.ripple,
        "efficiency_daubuisson": s.daubuisson, "efficiency_rankine": s.rankine,
    }  # fmt: skip


def compare_closing(formula: Formula, pipe: Pipe, velocity: float, times, *, of: str = "peak",
                    close: Callable[[float], Closing] = linear_fall, cells: int = 50) -> Comparison:  # fmt: skip
    """A formula for a pressure rise against the exact one, for closing times `times` (s).

    `of`: `peak`, the highest rise, or `mean`, that over the time of closing. `close` makes the closure of a time, by
    default an even fall of velocity. The tank is taken high enough for no column to tear. `cells` as in `surge`.
    """
    if of not in ("peak", "mean"):
        raise ValueError(f"of = {of!r} must be peak or mean")
    tank = 2 * pipe.density * pipe.wave_speed * velocity + 2 * pipe.friction_drop(velocity)

    def exact(closing_time: float, **_) -> float:
        found = surge(pipe, tank, velocity, close(closing_time), None, cells)
        return found.peak_rise if of == "peak" else found.mean_rise

    return against(formula, exact, letters_of(pipe, velocity), "closing_time", times)
