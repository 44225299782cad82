"""Water in pictures: what a closing valve does to a pipe, and the strokes of a hydraulic ram, each also under sliders.

    at_valve(found)            velocity and pressure rise at the valve against time, beside what the formulas say
    along_pipe(found, shares)  pressure along the pipe at several instants
    stroke(strokes)            flows and pressures of a ram over one stroke
    closing(pipe, velocity)    panel: move the closing time, the velocity, the pipe
    column(pipe, velocity)     panel: the rigid column against the exact wave
    ram(ram)                   panel: move the ram
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from ..algebra import Derivation
from ..derivations import column as columns
from ..derivations import likeness as _letters  # noqa: F401  entering letters of the pipe in the list of known ones
from ..derivations import water as waters
from ..units import show
from ..water.pipe import ATMOSPHERE, Closing, Pipe, linear_fall
from ..water.ram import Ram
from ..water.strokes import Strokes
from ..water.surge import Surge, surge
from ..water.validity import compare_closing
from . import break_it
from .curves import rows
from .live import Panel, Slider
from .style import Figure, styled

LIVE = {"cells": 16, "points": 13, "column_cells": 4}  # what a slider leaves time for; without friction nothing is lost by it
RETURNS = (0.1, 20.0)  # closing times that the sliders offer, in return times


# --- a valve closes ---

def whole(pipe: Pipe, velocity: float, closing: Closing, duration: float | None = None, cells: int = 100) -> Surge:
    """`surge` in a pipe whose tank stands so high that its column cannot tear, whatever the echo takes off."""
    tank = 2 * pipe.density * pipe.wave_speed * velocity + 2 * pipe.friction_drop(velocity)
    return surge(pipe, tank, velocity, closing, duration, cells)


@styled
def at_valve(found: Surge, *, onto: Figure | None = None) -> Figure:
    """Velocity and pressure rise at the valve against the time since it began to move, a little of what was before included.
    Beside the exact course: the rise of a sudden stop, and the mean rise of a rigid column over the time of closing. The
    stretches are the return times. `onto` as in `curves.rows`."""
    pipe, closing, before = found.pipe, found.closing.time, -0.06 * found.times[-1]
    velocity = found.velocity[0, 0]
    times = np.concatenate([[before, 0.0], found.times])
    v = np.concatenate([[velocity] * 2, found.velocity_at_valve])
    rise = np.concatenate([[0.0] * 2, found.at_valve - found.initial_pressure])
    sudden = waters.pressure_rise().formula(density=pipe.density, wave_speed=pipe.wave_speed, velocity_drop=velocity)
    pressures = {"": (times, rise)}
    if closing >= pipe.return_time:
        mean = columns.mean_rise().formula(density=pipe.density, length=pipe.length, velocity=velocity, closing_time=closing)
        pressures["mean ρ ℓ v/T_shut"] = (np.array([0.0, closing]), np.array([mean, mean]))
    levels = {"stop at once: ρ a v": sudden} if found.peak_rise > 0.4 * sudden else {}
    return rows(times, [({"": (times, v)}, ("velocity at the valve", "m/s"), {"bottom": -0.1 * velocity, "top": 1.15 * velocity}),
                        (pressures, ("pressure rise at the valve", "Pa"), {"level": levels})],
                along=("time since the valve began to move", "s"), spans=_returns(pipe, found.times[-1]),
                heights=[0.6, 1.6], says=_told(found, sudden), onto=onto)  # fmt: skip


def _returns(pipe: Pipe, until: float) -> list[tuple[float, float, str]]:
    """The return times up to an instant, numbered; at most sixty."""
    starts = np.arange(min(60, np.ceil(until / pipe.return_time))) * pipe.return_time
    return [(start, min(start + pipe.return_time, until), f"return {k}") for k, start in enumerate(starts, 1)]


def _told(found: Surge, sudden: float) -> str:
    closing, back = found.closing.time, found.pipe.return_time
    took = f"in {show(closing, 's')}, {show(closing / back)} return times of {show(back, 's')}" if closing else "at once"
    says = (f"valve shut {took}: highest rise at the valve {show(found.peak_rise, 'Pa')}; a sudden stop makes {show(sudden, 'Pa')}")
    return says + (f"; mean while closing {show(found.mean_rise, 'Pa')}" if closing else "")


@styled
def along_pipe(found: Surge, shares: Sequence[float], *, onto: Figure | None = None) -> Figure:
    """Pressure rise along the pipe at several instants, one row each. `shares`: instants in return times, as many as rows."""
    at = [int(np.argmin(np.abs(found.times - share * found.pipe.return_time))) for share in shares]
    rise = found.pressure - np.linspace(found.pressure[0, 0], found.initial_pressure, len(found.places))
    high = 1.3 * np.abs(rise[at]).max()
    stacked = [({"": rise[k]}, (f"pressure rise {show(share)} return times after the valve shut", "Pa"),
                {"bottom": -high, "top": high, "marks": _front(found, rise[k], share)})
               for share, k in zip(shares, at, strict=True)]  # fmt: skip
    says = "; ".join(f"after {show(share)} return times: {_where(found, rise[k], share)}" for share, k in zip(shares, at, strict=True))
    return rows(found.places, stacked, along=("place along the pipe: tank at the left, valve at the right", "m"),
                heights=[0.45] * len(shares), says=f"pressure along the pipe; {says}", onto=onto)  # fmt: skip


def _front(found: Surge, rise: np.ndarray, share: float) -> dict[str, tuple[float, float]]:
    """Where the front stands, under the way it runs: to the tank in the first half of a return time, to the valve in the second."""
    k = int(np.argmax(np.abs(np.diff(rise))))
    return {"← front" if share % 1 < 0.5 else "front →": ((found.places[k] + found.places[k + 1]) / 2, (rise[k] + rise[k + 1]) / 2)}


def _where(found: Surge, rise: np.ndarray, share: float) -> str:
    """At the tank, at the valve, where the front stands and where it runs."""
    (place, _), = _front(found, rise, share).values()
    return (f"{show(round(rise[1], -2), 'Pa')} near the tank, {show(rise[-1], 'Pa')} at the valve, "
            f"the front at {show(place, 'm')} on its way to the {'tank' if share % 1 < 0.5 else 'valve'}")


def closing(pipe: Pipe, velocity: float, time: float) -> Panel:
    """A valve whose flow falls evenly: the closing time, the velocity, length and friction of the pipe under sliders."""
    low, high = (share * pipe.return_time for share in RETURNS)
    sliders = [
        Slider("time", "closing time", "s", low, high, time, logarithmic=True),
        Slider("velocity", "velocity before", "m/s", 0.2, max(4.0, velocity), velocity),
        Slider("length", "length of the pipe", "m", pipe.length / 4, pipe.length * 4, pipe.length, logarithmic=True),
        Slider("friction", "friction factor", "", 0.0, 0.1, pipe.friction),
    ]

    def compute(time, velocity, length, friction):
        now = pipe.change(length=length, friction=friction)
        return whole(now, velocity, linear_fall(time), time + 4 * now.return_time, LIVE["cells"])

    return Panel(compute, lambda found, onto: at_valve(found, onto=onto), sliders)


def column(pipe: Pipe, velocity: float, derivation: Derivation | None = None, of: str = "mean") -> Panel:
    """Break it: a formula of the rigid column (by default its mean rise) against the exact wave along the closing time.
    `of`: `mean` or `peak`, whichever the formula is about."""
    derivation = derivation or columns.mean_rise()
    through = np.geomspace(0.7, RETURNS[1], LIVE["points"]) * pipe.return_time
    sliders = [
        Slider("closing_time", "closing time", "s", through[0], through[-1], 3 * pipe.return_time, logarithmic=True),
        Slider("velocity", "velocity before", "m/s", 0.2, max(4.0, velocity), velocity),
        Slider("friction", "friction factor", "", 0.0, 0.1, pipe.friction),
    ]

    def compare(closing_time, velocity, friction):
        times = np.sort(np.append(through, closing_time))
        return compare_closing(derivation.formula, pipe.change(friction=friction), velocity, times, of=of, cells=LIVE["column_cells"])

    return break_it.of(compare, sliders, ("closing time", "s"), (f"{of} rise at the valve", "Pa"), logarithmic=True)


# --- a ram beats ---

@styled
def stroke(strokes: Strokes, *, onto: Figure | None = None) -> Figure:
    """Flows and pressures of a settled ram over one stroke, and which valve is open. Flows in litres per second."""
    w, supply = strokes.waveforms(600), strokes.ram.supply_pressure
    spans = [(start, end, words) for start, end, words in _open(w) if end - start > 1e-6 * strokes.period]
    flows = {"waste valve": np.where(w.waste_open, 1e3 * w.waste_flow, np.nan),
             "check valve": np.where(w.check_open, 1e3 * w.check_flow, np.nan), "delivery line": 1e3 * w.delivery_flow}  # fmt: skip
    pressures = {"at the valves": w.valve_pressure, "in the vessel": w.vessel_pressure}
    return rows(w.time, [(flows, ("flow", "L/s")), (pressures, ("pressure", "Pa"), {"level": {"supply": supply}})],
                along=("time since the waste valve opened", "s"), spans=spans, heights=[1.3, 1.3], says=reading(strokes),
                onto=onto)  # fmt: skip


def _open(w) -> list[tuple[float, float, str]]:
    """Which valve is open from when to when."""
    edges = [0.0, *w.edges, float(w.time[-1])]
    found = []
    for start, end in pairwise(edges):
        k = int(np.searchsorted(w.time, (start + end) / 2))
        words = "waste valve open" if w.waste_open[k] else "check open" if w.check_open[k] else "both shut"
        found.append((start, end, words))
    return found


def reading(strokes: Strokes) -> str:
    """A settled ram in one line."""
    return (f"one stroke of {show(strokes.period, 's')}: flow up to {litres(strokes.flow.max)}, supplied {litres(strokes.supplied)}, "
            f"delivered {litres(strokes.delivered)} at {show(strokes.head, 'm')}, efficiency {show(strokes.daubuisson, '%')} "
            f"after D'Aubuisson, {show(strokes.rankine, '%')} after Rankine")


def litres(flow: float) -> str:
    """A flow in words: litres per second."""
    return f"{show(1e3 * flow, 'L')}/s"


def ram(example: Ram) -> Panel:
    """A ram that beats by its own flow: fall, set flow, delivery resistance (as a share of the example's) and volume of air."""
    set_flow, gas = example.waste_valve.shuts_at, example.vessel.gas_volume
    sliders = [
        Slider("fall", "fall of the supply", "m", example.fall / 2, example.fall * 2, example.fall),
        Slider("shuts_at", "waste valve shuts at", "L/s", 400 * set_flow, 1500 * set_flow, 1e3 * set_flow),
        Slider("throttle", "delivery line, throttled by", "", 0.5, 4.0, 1.0, logarithmic=True),
        Slider("gas", "air in the vessel", "L", 1e3 * gas / 20, 1e3 * gas, 1e3 * gas, logarithmic=True),
    ]

    def compute(fall, shuts_at, throttle, gas):
        line = replace(example.delivery, flow=example.delivery.flow / throttle)
        valve = replace(example.waste_valve, shuts_at=shuts_at / 1e3)
        vessel = replace(example.vessel, gas_volume=gas / 1e3)
        return replace(example, fall=fall, waste_valve=valve, delivery=line, vessel=vessel, stroke_flow=shuts_at / 1e3).steady()

    return Panel(compute, lambda strokes, onto: stroke(strokes, onto=onto), sliders)


def with_lift(example: Ram, lift: float) -> Ram:
    """The same ram set to another lift (m): its vessel holds the same gas volume there, and its delivery line is throttled
    until the vessel stands at just that lift."""
    vessel = replace(example.vessel, pressure=ATMOSPHERE + example.pipe.pressure(lift))
    return replace(example, delivery=replace(example.delivery, lift=lift), vessel=vessel).throttled()
