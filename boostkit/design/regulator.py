"""One way to regulate a converter, worked out: compensator, parts, margins at every corner, and the load step on the exact circuit.

    at = step.stages(spec, converter)
    loop = stepped(attempt(spec, at, "voltage", "two zeros"), at)
    loop.network.parts, loop.corners, loop.moved, loop.met
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from math import isfinite

from ..circuit import SteadyState
from ..circuit.controller import Controller, Sampled
from ..control import corners, networks, placement, sampled
from ..control.compensator import Compensator
from ..control.margins import Margins, margins
from ..control.networks import Divider, Network
from ..control.placement import Reach
from ..units import guard, quoted, show
from . import step
from .held import GAIN, PHASE, STRAYED_GAIN, STRAYED_PHASE, Held, Loop, tolerances
from .procedure import illustrative
from .spec import Spec
from .step import Moved, Place
from .ways import CONTROL, WAYS, Stages, Way

__all__ = ["CONTROL", "GAIN", "PHASE", "STRAYED_GAIN", "STRAYED_PHASE", "Held", "Loop", "attempt", "lifted", "stepped", "tolerances"]

SPARE = 7.0  # degrees more while placing, for what preferred values take
RIPPLE_SHARE = 0.25  # of the comparator's swing that the output's ripple may be there: common practice, no source
HIGHEST = 0.5  # of the switching frequency, up to where margins are counted
FINER = 0.25  # of the duty step that a digital regulator needs at the least: at the bare limit it still hunts
LEVELS = tuple(100e-6 * 10 ** (sign * k / 10) for k in range(11) for sign in (-1, 1) if k or sign > 0)  # A through the divider, in turn
ZERO = "right-half-plane zero"  # as `placement.reach` names that limit


def attempt(spec: Spec, at: Stages, control: str, kind: str, way: Way | None = None, slower: float = 1.0) -> Loop:
    """A regulator of this control and kind, its margins judged at every corner, the load step not yet.

    Args: at, what `step.stages` found; way, what `WAYS[control]` makes of it, where that is at hand; slower: the share of the crossover
    within reach that is taken where the specification fixes none. Errors: ValueError where such a loop cannot be made.
    """
    if not at:
        raise ValueError("at must hold at least one corner, as step.stages finds them")
    if control not in WAYS:
        raise ValueError(f"control = {quoted(control)} must be one of {', '.join(WAYS)}")
    way = way or WAYS[control](at)
    limits = placement.reach(way.plants, spec.frequency, zeros=way.zeros, delay=way.delay)
    ripple = max(state.ripple_voltage for state in at.values())
    crossover = spec.crossover or guard("slower", slower, 0, 1, open_low=True) * lifted(way, limits)
    wanted = placement.place(_outermost(way.plants), kind, crossover, PHASE + SPARE, spec.frequency, gain_margin=GAIN,
                             most_ripple_gain=RIPPLE_SHARE * way.swing / ripple).compensator  # fmt: skip
    network, divider = _bought(wanted, spec, crossover, control == "digital")
    made = network.compensator() if network else wanted
    controller = _controller(spec, way, network, made, divider, crossover)
    loops, high = _loops(way, controller, made, at), HIGHEST * spec.frequency
    low = min(placement.lowest(loop, limits.crossover, way.slowest) for loop in loops.values())
    marked = Loop(spec, control, kind, limits, divider, network, made, controller, _held(at, loops, way.zeros, low, high), way.inductance,
                  inner=way.why, ripple=ripple * abs(complex(made(spec.frequency))) / way.swing if network else 0.0,
                  resolution=None if network else _resolution(at, divider))  # fmt: skip
    return marked if marked.short else replace(marked, **_spread(way, loops, network, divider, low, high))


def _bought(wanted: Compensator, spec: Spec, crossover: float, digital: bool) -> tuple[Network | None, Divider]:
    """The network (none for a digital regulator) and the divider, at the first of LEVELS with parts that are practical."""
    reference, why = illustrative()["regulator"]["reference"], ""
    for level in LEVELS:
        divider = _divider(spec.v_out, reference, level)
        try:
            network = None if digital else _snapped(wanted, divider, crossover)
        except ValueError as trouble:  # so far off that there is no such part
            why = why or str(trouble)
            continue
        if network is None or not network.unfit:
            return network, divider
        why = why or network.unfit
    raise ValueError(f"its parts cannot be had: {why}, nor does another divider bring them there, between {show(min(LEVELS), 'A')} and "
                     f"{show(max(LEVELS), 'A')} through it")  # fmt: skip


@cache
def _divider(v_out: float, v_ref: float, current: float) -> Divider:
    return Divider.for_output(v_out, v_ref, current)


def _snapped(wanted: Compensator, divider: Divider, crossover: float) -> Network:
    """The parts, their gain at the crossover put right once more after the capacitors have moved it."""
    first = networks.op_amp(wanted, divider)
    return networks.op_amp(wanted.scaled(abs(complex(wanted(crossover))) / abs(complex(first.compensator()(crossover)))), divider)


def _resolution(at: Stages, divider: Divider) -> tuple[float, float]:
    """Steps of the reading (V, counted at the output; the reference lies in the middle of what is read) and of the duty."""
    adc_step = 2 * divider.v_set / 2 ** illustrative()["regulator"]["reading_bits"]
    bare, _ = sampled.duty_step(adc_step, {place: (place.v_in, state.duty) for place, state in at.items()})
    return adc_step, FINER * bare


def stepped(loop: Loop, at: Stages, whole: bool = True) -> Loop:
    """The same with the load step of the specification measured at every source voltage, with the least output capacitance, and with the
    most where that was worst. With `whole` False the first place where it falls short ends it.

    Errors: ValueError where the exact circuit has no steady state with it, or swings of itself.
    """
    if loop.spec.step is None:
        return loop
    least, most = (end(place.capacitance for place in at) for end in (min, max))
    for v_in in sorted({place.v_in for place in at}, reverse=True):  # at the highest a slow loop shows most: conduction runs dry
        loop = replace(loop, moved=(_moved(loop, at, v_in, least), *loop.moved))
        if not (whole or loop.met):
            return loop
    if most > least:
        worst = max(loop.moved, key=lambda m: m.worst)
        loop = replace(loop, moved=(*loop.moved, _moved(loop, at, worst.v_in, most)))
    return loop


def _moved(loop: Loop, at: Stages, v_in: float, capacitance: float) -> Moved:
    low, high = (at[Place(v_in, i_out, capacitance)].converter for i_out in step.ends(loop.spec))
    return step.moved(low, high, loop.controller, min(loop.reach.crossover, loop.crossover))


def _outermost(plants: Mapping[Place, Callable]) -> dict[Place, Callable]:
    """The corners between which the others lie: the placement looks at these, and is judged at all."""
    ends = [(min(side), max(side)) for side in zip(*plants, strict=True)]
    return {corner: plant for corner, plant in plants.items() if all(x in end for x, end in zip(corner, ends, strict=True))}


def lifted(way: Way, limits: Reach) -> float:
    """The crossover of the corner with the most gain at which no corner is faster than its own right-half-plane zero lets it be.

    The corners' gains differ: that of the lowest source voltage, where the zero is lowest, is the slower one.
    """
    gains = {place: abs(complex(plant(limits.crossover))) for place, plant in way.plants.items()}
    zeros = [placement.OF_ZERO * zero * max(gains.values()) / gains[place] for place, zero in way.zeros.items() if zero is not None]
    return min([*zeros, *(limit.crossover for limit in limits.limits if limit.name != ZERO)])


def _controller(spec: Spec, way: Way, network: Network | None, made: Compensator, divider: Divider, crossover: float):
    """The regulator as the exact circuit takes it, with the invented drive's limits and a current limit."""
    if network is None:
        return sampled.sampled(made, spec.frequency, divider.v_set, prewarp=crossover, **way.bounds)
    return Controller(made.linear(), divider.v_set, bias=network.bias, **way.drive, **way.bounds)


def _loops(way: Way, controller: Controller | Sampled, made: Compensator, at: Stages) -> dict[Place, Callable]:
    """The loop gain by corner: of a sampled regulator exactly, with what it reads at the clock."""
    if isinstance(controller, Sampled):
        return {place: sampled.loop(controller, state.converter) for place, state in at.items()}
    return {place: lambda f, plant=plant: made(f) * plant(f) for place, plant in way.plants.items()}


def _held(at: Stages, loops: Mapping[Place, Callable], zeros: Mapping, low: float, high: float) -> tuple[Held, ...]:
    """The margins at every corner of source voltage and load, the worst of the capacitances."""
    worst: dict[tuple, Held] = {}
    for place, loop in loops.items():
        held, there = _one(at[place], place, _reckoned(loop, place, low, high), zeros[place]), (place.v_in, place.i_out)
        if there not in worst or (held.stable, held.phase_margin) < (worst[there].stable, worst[there].phase_margin):
            worst[there] = held
    return tuple(worst.values())


def _reckoned(loop: Callable, place: Place, low: float, high: float) -> Margins:
    """The margins, and where there are none, what to do about it."""
    try:
        return margins(loop, low, high)
    except ValueError as trouble:
        if abs(complex(loop(high))) >= 1:
            raise ValueError(f"at {place} its gain has not fallen below one at half the switching frequency: a lower crossover is "
                             "needed") from None  # fmt: skip
        raise ValueError(f"at {place} its margins cannot be reckoned ({trouble}): other values of coil, capacitor or crossover are "
                         "needed") from None  # fmt: skip


def _one(state: SteadyState, place: Place, m: Margins, zero: float | None) -> Held:
    return Held(place.v_in, place.i_out, state.mode, state.duty, m.crossover, m.crossovers[0], m.phase_margin, _limited(m.gain_margin),
                None if zero is None else float(zero), m.stable)  # fmt: skip


def _limited(gain_margin: float) -> float | None:
    return gain_margin if isfinite(gain_margin) else None


def _spread(way: Way, loops: Mapping[Place, Callable], network: Network | None, divider: Divider, low: float, high: float) -> dict:
    """The least margins of all corners and all parts at the ends of their tolerance, where, and whether all are stable.

    An analogue loop also has the gain of its comparator stray; a digital one has only what divider and reference make of its reading.
    """
    stray = tolerances()
    if network is None:
        of_gain = divider.spread(stray["resistor"], stray["reference"])
        plants, ways = loops, {"": lambda f: 1.0 + 0.0 * f}
    else:
        of_gain, plants = stray["gain"], way.plants
        ways = network.corners(stray["resistor"], stray["capacitor"])
    regulators = {f"{name} gain{sign}".strip(): (lambda f, each=each, factor=factor: factor * each(f)) for name, each in ways.items()
                  for sign, factor in (("-", 1 - of_gain), ("+", 1 + of_gain))}  # fmt: skip
    found = corners.spread(plants, regulators, low, high)
    return {"spread_phase_margin": found.phase_margin, "spread_gain_margin": _limited(found.gain_margin), "spread_stable": found.stable,
            "spread_at": _strayed(found.phase_at), "spread_gain_at": _strayed(found.gain_at)}  # fmt: skip


def _strayed(at: tuple[Place, str]) -> str:
    """A corner, and which parts lie at which end of their tolerance, in words."""
    place, parts = at
    ends = {sign: [networks.WORDS[name[:-1]] for name in parts.split() if name[-1] == sign] for sign in "+-"}
    told = [f"{', '.join(names)} {'high' if sign == '+' else 'low'}" for sign, names in ends.items() if names]
    return f"{place}, {'; '.join(told)}"
