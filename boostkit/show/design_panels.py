"""A finished design: what is left of a capacitor in service, how many units of a lot keep a limit, and how far a load step moves the
output, on paper and under sliders.

    remains(bank, voltage, temperature, years)   capacitance of a bank against direct voltage, new and at its worst
    derating(bank, voltage, ambient)             panel: the same while voltage, temperature and age are moved
    keeping(outcome, limits)                     the share of units that would keep each of these limits
    yields(outcome, limit, worst)                that share against the limit
    stricter(outcome, worst)                     panel: the same while the limit is moved
    both_ways(low, high, controller, span)       a load step up and back, on the exact circuit
    swings(up, back, limit)                      the output after it, against its limit
    quicker(loop, at)                            panel: the same while the crossover is moved
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..circuit import Converter, regulated
from ..circuit.controller import Controller, Sampled
from ..design import regulator, step
from ..design.regulator import Loop, Stages
from ..design.step import INSTANT, Place
from ..design.tolerance import Outcome
from ..parts import capacitor_types
from ..parts.capacitor_choice import AGE, Bank
from ..parts.kinds import REFERENCE
from ..units import guard, show
from .curves import curves, rows
from .live import Panel, Slider
from .style import Figure, styled

POINTS = 240  # along a curve
YEAR = 8760.0  # h
ROOM = 0.05  # of the width, beside the outermost unit
BEFORE = 0.06  # of the time after a load step, that is shown before it
SAMPLES = 500  # of a course, at the least
STOPS, FASTER = 6, 4.0  # intervals of the slider of crossover (even), and how many times faster and slower it goes

# --- what is left of a capacitor ---


@styled
def remains(bank: Bank, voltage: float, temperature: float, years: float = AGE / YEAR, *, onto: Figure | None = None) -> Figure:
    """A bank's capacitance against direct voltage: a usual piece, new and at 25 °C, and one at the low end of its tolerance at
    `temperature` (°C) and of this age; rings at `voltage` (V, at most the rated one)."""
    guard("voltage", voltage, 0, bank.voltage_limit, unit="V", why="the rated voltage of the bank")
    a_type, marked = capacitor_types.of(bank.kind), bank.count * bank.capacitance
    volts = np.unique(np.append(np.linspace(0.0, bank.voltage_limit, POINTS), voltage))
    here = int(np.searchsorted(volts, voltage))
    new = marked * a_type.capacitance_left(volts / bank.voltage_limit)
    worst = marked * (1 - a_type.tolerance) * a_type.capacitance_left(volts / bank.voltage_limit, temperature, years * YEAR)
    says = (f"{show(marked, 'F')} marked; at {show(voltage, 'V')} {show(new[here], 'F')} new and at {show(REFERENCE, '°C')}, "
            f"{show(worst[here], 'F')} ({show(worst[here] / marked, '%')} of the mark) for a piece at the low end of its tolerance at "
            f"{show(temperature, '°C')} after {show(years)} years")  # fmt: skip
    marks = {show(new[here], "F"): (voltage, new[here]), show(worst[here], "F"): (voltage, worst[here])}
    return curves(volts, {"new": new, "cold or hot, and old": worst}, along=("direct voltage", "V"), of=("capacitance", "F"),
                  marks=marks, level={"as marked": marked}, bottom=0.0, top=1.15 * marked, height=2.6, says=says, onto=onto)  # fmt: skip


def derating(bank: Bank, voltage: float, ambient: tuple[float, float]) -> Panel:
    """What is left of a bank while voltage, temperature and age are moved. `voltage`: where it works, V; `ambient`: coldest and
    hottest, °C; the panel starts at whichever of the two leaves less, and at ten years."""
    a_type = capacitor_types.of(bank.kind)
    low, high = a_type.limits
    start = min(ambient, key=lambda t: float(a_type.capacitance_left(voltage / bank.voltage_limit, t)))
    sliders = [
        Slider("voltage", "direct voltage", "V", 0.0, bank.voltage_limit, voltage),
        Slider("temperature", "temperature", "°C", low, high, start),
        Slider("years", "age in years", "", 0.2, 2 * AGE / YEAR, AGE / YEAR, logarithmic=True),
    ]

    return Panel(dict, lambda values, onto: remains(bank, **values, onto=onto), sliders)


# --- how many units keep a limit ---


def keeping(outcome: Outcome, limits) -> np.ndarray:
    """The share of units that would keep each of these limits (shape (n,), the unit of the demand); a unit that did not reach its
    output keeps none."""
    values = np.sort(outcome.values[np.isfinite(outcome.values)])
    if outcome.demand.least:
        kept = len(values) - np.searchsorted(values, limits, side="left")
    else:
        kept = np.searchsorted(values, limits, side="right")
    return np.asarray(kept) / len(outcome.values)


@styled
def yields(outcome: Outcome, limit: float | None = None, worst: float | None = None, *, onto: Figure | None = None) -> Figure:
    """The share of units that keep a limit, against that limit. `limit`: the one to mark, by default the demand's own; `worst`: what
    the worst case of all parts together comes to. Raises ValueError where no unit reached its output."""
    demand, limit = outcome.demand, outcome.demand.limit if limit is None else limit
    low, high = _ends(outcome, demand.limit, limit, worst)
    at = np.linspace(low, high, POINTS)
    ways, marks, words = {"": keeping(outcome, at)}, {}, ""
    if limit is not None:
        share = float(keeping(outcome, [limit])[0])
        ways[f"limit {show(limit, demand.unit)}"] = (np.full(2, limit), np.array([0.0, 1.0]))
        marks[f"{show(share, '%')} keep it"] = (limit, share)
        words = f"; {show(share, '%')} of the units keep {'at least' if demand.least else 'at most'} {show(limit, demand.unit)}"
    if worst is not None:
        marks["all parts at their worst"] = (worst, float(keeping(outcome, [worst])[0]))
        words += f"; with every part at its worst {show(worst, demand.unit)}"
    return curves(at, ways, along=(f"limit on the {demand.name}", demand.unit), of=("share of units that keep it", "%"), marks=marks,
                  bottom=-0.05, top=1.15, height=2.4, says=_lot(outcome) + words, onto=onto)  # fmt: skip


def _lot(outcome: Outcome) -> str:
    """The lot in words."""
    found, unit = outcome.values[np.isfinite(outcome.values)], outcome.demand.unit
    return (f"{len(outcome.values)} units: {outcome.demand.name} from {show(found.min(), unit)} to {show(found.max(), unit)}, half of them "
            f"below {show(float(np.median(found)), unit)}")  # fmt: skip


def _ends(outcome: Outcome, *also: float | None) -> tuple[float, float]:
    """Where the axis begins and ends: around all units and whatever else is marked."""
    found = outcome.values[np.isfinite(outcome.values)]
    if not found.size:
        raise ValueError(f"{outcome.demand.name}: no unit of {len(outcome.values)} reached its output, so there is nothing to draw")
    places = [found.min(), found.max(), *(place for place in also if place is not None)]
    room = ROOM * (max(places) - min(places)) or ROOM * abs(places[0])
    return min(places) - room, max(places) + room


def stricter(outcome: Outcome, worst: float | None = None) -> Panel:
    """How many units keep a limit while the limit is moved; it starts at the demand's own, or at the middle unit where none is
    demanded."""
    start = outcome.demand.limit
    low, high = _ends(outcome, start, worst)
    if start is None:
        start = float(np.median(outcome.values[np.isfinite(outcome.values)]))
    slider = Slider("limit", f"limit on the {outcome.demand.name}", outcome.demand.unit, low, high, start, steps=200)
    return Panel(lambda limit: limit, lambda limit, onto: yields(outcome, limit, worst, onto=onto), [slider])


# --- the load step ---


@dataclass(frozen=True)
class Swing:
    """The output after a load step, exact. time (s, from the step on) and off (V, from what is set): arrays of shape (n,). farthest: how
    far it gets, V, ripple included, whichever way."""

    time: np.ndarray
    off: np.ndarray
    farthest: float


def both_ways(low: Converter, high: Converter, controller: Controller | Sampled, span: float) -> tuple[Swing, Swing]:
    """The load's step from that of `low` to that of `high`, and back, each out of the steady state before it and `span` s long.

    Raises ValueError where there is no steady state."""
    return _swing(low, high, controller, span), _swing(high, low, controller, span)


def _swing(before: Converter, after: Converter, controller: Controller | Sampled, span: float) -> Swing:
    first, then = (int(np.ceil(share * span * before.switch.frequency)) for share in (BEFORE, 1.0))
    begin, when = regulated.steady(before, controller).last, (first + INSTANT) * before.t_sw
    course = regulated.follow(before, controller, first + then, begin=begin, changes=((when, after),))
    wave, seen = course.waveforms(SAMPLES), course.output_voltage
    farthest = max(seen.max - controller.v_set, controller.v_set - seen.min)
    return Swing(wave.time - when, wave.v_out - controller.v_set, farthest)


@styled
def swings(
    up: Mapping[str, Swing], back: Mapping[str, Swing], limit: float | None = None, *, says: str = "", onto: Figure | None = None
) -> Figure:  # fmt: skip
    """How far the output is from what is set, V, against the time since the load's step: above up, below back; at most four courses in
    each row, by their labels. `limit`: V, how far it may get."""
    ways = {"step up": (up, -1.0), "step back": (back, 1.0)}
    stacked = [({label: (seen.time, seen.off) for label, seen in row.items()}, (f"{words}: off by", "V"),
                {"level": {"limit": sign * limit} if limit else {}}) for words, (row, sign) in ways.items()]  # fmt: skip
    told = "; ".join(f"{words}: " + ", ".join(f"{label}: {show(seen.farthest, 'V')}" for label, seen in row.items())
                     for words, (row, _) in ways.items())  # fmt: skip
    may = f"; it may get {show(limit, 'V')}" if limit else ""
    return rows(next(iter(up.values())).time, stacked, along=("time since the step", "s"), heights=[1.7, 1.7],
                says=says or f"How far the output gets. {told}{may}", onto=onto)  # fmt: skip


def quicker(loop: Loop, at: Stages) -> Panel:
    """The load step at the lowest source voltage, with the least output capacitance, while the crossover is moved; the kind of regulator
    stays. Each stop of the slider is worked out and simulated once, when the panel is made. `loop`: with a load step in its
    specification; `at`: its corners, as `design.step.stages` finds them."""
    stops = loop.crossover * np.geomspace(1 / FASTER, FASTER, STOPS + 1)
    found = _at_stops(loop, at, stops)

    def compute(crossover: float):
        there = found[int(np.argmin(np.abs(np.log(stops / crossover))))]
        if isinstance(there, str):
            raise ValueError(there)
        return there

    def draw(there, onto):
        tried, (up, back) = there
        margin = min(held.phase_margin for held in tried.corners)
        says = (f"crossover at most {show(tried.crossover, 'Hz')}: the output gets {show(up.farthest, 'V')} off at the step up, "
                f"{show(back.farthest, 'V')} at the step back; least phase margin {show(margin)}°"
                + (f"; too little: {tried.short}" if tried.short else ""))  # fmt: skip
        return swings({"": up}, {"": back}, loop.spec.step_deviation, says=says, onto=onto)

    slider = Slider("crossover", "crossover", "Hz", stops[0], stops[-1], loop.crossover, steps=STOPS, logarithmic=True)
    return Panel(compute, draw, [slider])


def _at_stops(loop: Loop, at: Stages, stops: np.ndarray) -> list:
    """At each crossover (Hz) the loop and its swings, at the one in the middle those of `loop` itself; or why there is none."""
    way, v_in, worn = regulator.WAYS[loop.control](at), min(place.v_in for place in at), min(place.capacitance for place in at)
    low, high = (at[Place(v_in, i_out, worn)].converter for i_out in (loop.spec.step.low, loop.spec.step.high))

    def seen(crossover: float, own: bool):
        asked = replace(loop.spec, crossover=crossover)
        try:
            tried = loop if own else regulator.attempt(asked, at, loop.control, loop.kind, way)
            return tried, both_ways(low, high, tried.controller, step.ANSWER / loop.crossover)
        except ValueError as trouble:
            return f"no such loop with a crossover of {show(crossover, 'Hz')}: {trouble}"

    return [seen(float(crossover), n == STOPS // 2) for n, crossover in enumerate(stops)]
