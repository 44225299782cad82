"""How the output is held: the simplest regulator that keeps its margins at every corner and the load step within its limit.

    loop = regulate(spec, converter)
    loop.name, loop.network.parts, loop.corners, loop.moved, loop.met

Margins are reckoned with the averaged model at every corner, the load step is measured on the exact circuit in closed loop.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ..circuit import Converter
from ..control import placement
from ..derivations import load_step
from ..units import show
from .held import LEAST
from .regulator import Loop, attempt, lifted, stepped
from .spec import CONTROLS, Spec
from .step import ends, stages
from .ways import CONTROL, WAYS, Stages

LADDER = {  # the simplest first
    "voltage": ("integrator", "one zero", "two zeros"),
    "current": ("one zero",),
    "digital": ("one zero", "two zeros"),
}
OFTEN = ("voltage", "current")  # where nothing is asked for
PACES = tuple(LEAST ** (k / 4) for k in range(5))  # of the crossover within reach, at which each way is tried
FACTORS = (1.5, 2.2, 3.3, 4.7)  # by which one part or the frequency is changed, to see what would help

__all__ = ["Loop", "regulate"]


def regulate(spec: Spec, converter: Converter, *, worn: tuple[float, float] | None = None, control: str | None = None,
             progress=None) -> Loop:  # fmt: skip
    """The loop of a design.

    Args: converter, at usual source voltage and full load; worn, capacitance (F) and series resistance (Ω) that may be left of its
    output capacitor, where known: the loop has to hold with both; control, "voltage", "current" or "digital" (None: what the
    specification chooses, else the simplest that meets all); progress(done, total, words) is called before each way.
    Each way is tried at the crossover within reach, then at lower ones down to a tenth, as far as the load step may bear it by the
    formula for a loop of the first order; a crossover that the specification fixes is kept to.
    Result: a `Loop`; where none meets all, the one that comes closest, its `met` False and `advice` given.
    Errors: ValueError where no way is stable at every corner, saying why for each.
    """
    control = control or spec.control
    if control is not None and control not in CONTROLS:
        raise ValueError(f'control = "{control}" must be one of {", ".join(CONTROLS)}')
    at = stages(spec, converter, worn)
    ways = [(each, kind) for each in ((control,) if control else OFTEN) for kind in LADDER[each]]
    found, refused, seen = [], {}, {}
    for n, (each, kind) in enumerate(ways):
        if progress:
            progress(n, len(ways), f"closing the loop: {CONTROL[each]}, {kind}")
        tried = _tried(spec, at, each, kind, seen)
        if isinstance(tried, Loop) and tried.met:
            return replace(tried, refused=refused)
        refused[f"{CONTROL[each]}, {kind}"] = tried if isinstance(tried, str) else why_not(tried)
        found += [tried] if isinstance(tried, Loop) else []
    best = _closest(found, at, refused, spec, seen)
    refused.pop(best.name, None)
    return replace(best, refused=refused, advice=_advice(best, converter, worn))


def _tried(spec: Spec, at: Stages, control: str, kind: str, seen: dict) -> Loop | str:
    """One way at the first of its crossovers that meets all, else at the one that comes closest; or why it cannot be had. `seen` keeps
    what the ways of a control share."""
    closest = None
    try:
        way = seen[control] = seen.get(control) or WAYS[control](at)
    except ValueError as trouble:
        return str(trouble)
    for pace in _paces(spec, at, way):
        try:
            loop = attempt(spec, at, control, kind, way, pace)
        except ValueError as trouble:
            closest = closest or str(trouble)
            continue
        loop = loop if loop.short else _stepped(loop, at, whole=False)
        if loop.met or loop.out_of_drive:
            return loop
        closest = max(filter(lambda each: isinstance(each, Loop), (closest, loop)), key=_holds)
    return closest


def _paces(spec: Spec, at: Stages, way) -> tuple[float, ...]:
    """The shares of the crossover within reach that are worth a try."""
    if spec.crossover or spec.step_deviation is None:
        return PACES[:1] if spec.crossover else PACES
    top = lifted(way, placement.reach(way.plants, spec.frequency, zeros=way.zeros, delay=way.delay))
    low, high = ends(spec)
    dip = load_step.step_dip().formula(i_step=high - low, f_crossover=top, capacitance=min(place.capacitance for place in at))
    return tuple(pace for pace in PACES if pace == 1 or dip / pace <= spec.step_deviation)


def _holds(loop: Loop) -> tuple:
    """How well a loop holds: the larger, the better."""
    return not loop.short, loop.stable, min(h.phase_margin for h in loop.corners)


def _stepped(loop: Loop, at: Stages, whole: bool = True) -> Loop:
    """With its step measured, or with the word on why it could not be."""
    try:
        return stepped(loop, at, whole)
    except ValueError as trouble:
        return replace(loop, moved=(), unstepped=str(trouble))


def why_not(loop: Loop) -> str:
    """Why a loop will not do, in words."""
    far = [f"the step moves the output by {show(v.value, 'V')}, and it may by {show(v.limit, 'V')}" for v in loop.verdicts if not v.met]
    return "; ".join(filter(None, [loop.short, *far, loop.slow, loop.unstepped]))


def _closest(found: list[Loop], at: Stages, refused: Mapping[str, str], spec: Spec, seen: Mapping) -> Loop:
    """Of those that hold their margins the one that comes back and that the step moves least; else of the stable ones that with the
    most margin."""
    holding = [_stepped(replace(loop, moved=()), at) for loop in found if not loop.short]
    if holding:
        return min(holding, key=lambda loop: (bool(loop.unstepped), bool(loop.slow), max((m.worst for m in loop.moved), default=0.0)))
    stable = [loop for loop in found if loop.stable]
    if not stable:
        told = "; ".join(f"{way}: {why}" for way, why in refused.items())
        raise ValueError(f"{spec.where}: no regulator tried here holds the output at every corner ({told}){_beyond(spec, seen)}")
    best = max(stable, key=_holds)
    return best if best.out_of_drive else _stepped(best, at)


def _beyond(spec: Spec, seen: Mapping) -> str:
    """A word where the crossover that is fixed lies beyond what is within reach of every way that was tried."""
    limits = [placement.reach(way.plants, spec.frequency, zeros=way.zeros, delay=way.delay) for way in seen.values()]
    reach = max(limits, key=lambda limit: limit.crossover, default=None)
    if reach is None or not spec.crossover or spec.crossover <= reach.crossover:
        return ""
    return (f". choices.crossover = {show(spec.crossover, 'Hz')} lies beyond the {show(reach.crossover, 'Hz')} that the {reach.by} lets be "
            "sensible: fix a lower one, or none")  # fmt: skip


def _advice(loop: Loop, converter: Converter, worn: tuple[float, float] | None) -> tuple[str, ...]:
    """By how much capacitance, inductance or frequency would have to change for this loop to meet all; computed, each alone."""
    if loop.met:
        return ()
    if loop.out_of_drive:
        return ("A higher source voltage, a lower output or less resistance would bring the duty down; no other regulator does.",)
    c, spec = converter, loop.spec
    if spec.crossover:
        freed = _tried(replace(spec, crossover=None), stages(spec, c, worn), loop.control, loop.kind, {})
        if isinstance(freed, Loop) and freed.met:
            return (f"A crossover of {show(freed.crossover, 'Hz')} in place of the one that is fixed would {_brings(freed)}.",)
    ways = {
        "capacitance": lambda k: (spec, c.change(capacitance=k * c.capacitor.capacitance), worn and (k * worn[0], worn[1])),
        "inductance": lambda k: (spec, c.change(inductance=c.inductor.inductance / k), worn),
        "frequency": lambda k: (replace(spec, frequency=k * spec.frequency),
                                c.change(f_sw=k * spec.frequency, inductance=c.inductor.inductance / k), worn),
    }  # fmt: skip
    return tuple(_would_do(name, way, loop) for name, way in ways.items())


def _would_do(name: str, way, loop: Loop) -> str:
    """The least of FACTORS by which this change meets all, in words."""
    for factor in FACTORS:
        spec, converter, worn = way(factor)
        try:
            tried = _tried(spec, stages(spec, converter, worn), loop.control, loop.kind, {})
        except ValueError:
            break
        if isinstance(tried, Loop) and tried.met:
            value = {"capacitance": f"output capacitance of {show(converter.capacitor.capacitance, 'F')}",
                     "inductance": f"inductance of {show(converter.inductor.inductance, 'H')}, with more ripple,",
                     "frequency": f"switching frequency of {show(spec.frequency, 'Hz')}, with the inductance lowered to "
                                  f"{show(converter.inductor.inductance, 'H')} for the same ripple,"}[name]  # fmt: skip
            return f"A{'n' if value[0] in 'oi' else ''} {value} would {_brings(tried)}."
    return f"No change of {name} by up to {show(FACTORS[-1])} times, alone, would do."


def _brings(loop: Loop) -> str:
    """What a loop that meets all brings, in words."""
    return f"bring the step to {show(max(m.worst for m in loop.moved), 'V')}" if loop.moved else "keep every margin"
