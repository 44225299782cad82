"""The load step of a specification in closed loop, on the exact circuit: how far the output moves, up and back."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import ceil
from typing import NamedTuple

from ..circuit import Converter, SteadyState, regulated, switched
from ..units import guard, show
from . import judge
from .judge import LIGHTEST, Verdict
from .procedure import illustrative_edges
from .spec import Spec

ANSWER = 2.5  # periods of the crossover that are watched after a step; a loop with its margins turns back within the first half
LEFT = 0.2  # of the step deviation allowed, that may be left of it after that time: common practice, no source
MOST_PERIODS = 5000  # that are followed after a step
INSTANT = 0.35  # of the switching period after the clock, at which the load steps: it hardly matters, for the loop answers far slower


class Place(NamedTuple):
    """One corner of the loop: source voltage (V), load current (A), output capacitance (F)."""

    v_in: float
    i_out: float
    capacitance: float

    def __str__(self) -> str:
        return f"{show(self.v_in, 'V')} and {show(self.i_out, 'A')}"


@dataclass(frozen=True)
class Moved:
    """How far the output moved from where it was set, V, ripple included, at one source voltage (V) and output capacitance (F): after
    the load's step up, and after the step back. left: how far the middle of the ripple is still off after ANSWER, the worse of both."""

    v_in: float
    capacitance: float
    up: float
    back: float
    left: float

    @property
    def worst(self) -> float:
        """The larger of the two, V."""
        return max(self.up, self.back)


def stages(spec: Spec, converter: Converter, worn: tuple[float, float] | None = None) -> dict[Place, SteadyState]:
    """Every combination of lowest, usual and highest source voltage with lowest, usual and highest load current, and those of the
    load step: place to the exact circuit's steady state there, its duty set for the output. A load below LIGHTEST of the full one, or
    none, is looked at with that.

    `worn`: capacitance (F) and series resistance (Ω) that may be left of the output capacitor; each combination then comes twice. What
    the converter's own load takes beyond the full load of the specification (losses drawn from the output) stays with it. Raises
    ValueError where the output is out of reach.
    """
    aside = max((converter.load.current or 0.0) - spec.i_out.max, 0.0)
    loads = {max(load, LIGHTEST * spec.i_out.max) for load in (spec.i_out.min, spec.i_out.usual, spec.i_out.max)} | set(ends(spec))
    found = {}
    for v_in, i_out in product(sorted({spec.v_in.min, spec.v_in.usual, spec.v_in.max}), sorted(loads)):
        state = judge.corner(spec, converter, illustrative_edges(), v_in, i_out + aside).state
        found[Place(v_in, i_out, converter.capacitor.capacitance)] = state
        if worn:
            old = state.converter.change(capacitance=worn[0], r_capacitor=worn[1])
            found[Place(v_in, i_out, worn[0])] = switched.steady_state(old)
    return found


def ends(spec: Spec) -> tuple[float, ...]:
    """The load currents (A) between which the step is judged, the lower one not below LIGHTEST of the full load; none without a step."""
    return (max(spec.step.low, LIGHTEST * spec.i_out.max), spec.step.high) if spec.step else ()


def moved(low: Converter, high: Converter, controller, crossover: float) -> Moved:
    """The step from the load of `low` to that of `high` and back, each from its own steady state.

    crossover: Hz, of the loop. Raises ValueError where the loop has no steady state at one of the two, swings of itself there, or is too
    slow to be followed.
    """
    guard("crossover", crossover, 0, unit="Hz", open_low=True)
    periods = ceil(ANSWER * low.switch.frequency / crossover)
    if periods > MOST_PERIODS:
        raise ValueError(f"with a crossover of {show(crossover, 'Hz')} the answer to the step takes {periods} switching periods, and "
                         f"at most {MOST_PERIODS} are followed")  # fmt: skip
    (up, late), (back, later) = (_farthest(*way, controller, periods) for way in ((low, high), (high, low)))
    return Moved(low.source.voltage, low.capacitor.capacitance, up, back, max(late, later))


def _farthest(before: Converter, after: Converter, controller, periods: int) -> tuple[float, float]:
    """The largest departure of the output from where it is set, and that of the ripple's middle at the end, V."""
    rest = regulated.steady(before, controller)
    if not rest.stable:
        raise ValueError(f"the loop swings of itself at a source of {show(before.source.voltage, 'V')} and a load of "
                         f"{show(before.load.current, 'A')}")  # fmt: skip
    calm = regulated.follow(before, controller, 1, begin=rest.last, keep=False)
    when = calm.starts[-1] + (1 + INSTANT) * before.t_sw
    course = regulated.follow(before, controller, periods, begin=calm.last, changes=((when, after),), keep=False)
    seen, end = course.output_voltage, course.window(course.starts[-1], course.starts[-1] + before.t_sw)
    return max(seen.max - controller.v_set, controller.v_set - seen.min), abs((end.min + end.max) / 2 - controller.v_set)


def verdict(spec: Spec, found: tuple[Moved, ...], astray: float = 0.0) -> list[Verdict]:
    """On the step deviation, if one is demanded. astray: V, by which the set point itself may be off, which comes on top."""
    if spec.step_deviation is None or not found:
        return []
    worst = max(found, key=lambda m: m.worst)
    low, high = ends(spec)
    set_off = f" (the set point itself: up to {show(astray, 'V')} off besides)" if astray else ""
    return [Verdict(f"step deviation from {show(low, 'A')} to {show(high, 'A')} and back, ripple included{set_off}, at most",
                    spec.step_deviation, worst.worst, "V", worst.worst <= spec.step_deviation,
                    {"v_in": worst.v_in, "i_out": high if worst.up >= worst.back else low})]  # fmt: skip
