"""The ways to close a loop, before anything is placed: what the comparator sees, and how the converter answers it.

    at = step.stages(spec, converter)
    way = WAYS["current"](at)
    way.plants, way.zeros, way.drive
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from ..circuit import SteadyState, averaged
from ..control import inner, placement, sampled
from ..units import preferred, show
from .choice import ABOVE_PEAK
from .procedure import illustrative
from .step import Place

CONTROL = {"voltage": "voltage mode", "current": "peak-current mode", "digital": "digital"}

Stages = Mapping[Place, SteadyState]


@dataclass(frozen=True)
class Way:
    """One way to close the loop.

    plants: by corner, from control voltage (V) to output. zeros: by corner, Hz or None. swing: of the comparator, V. drive: what a
    `Controller` has to know of it. bounds: limits of the drive, and the current limit. inductance: of the coil, H. slowest: pole of any
    corner, Hz. delay: s, of a sampled regulator. why: in words.
    """

    plants: Mapping[Place, Callable]
    zeros: Mapping[Place, float | None]
    swing: float
    drive: Mapping[str, object]
    bounds: Mapping[str, float]
    inductance: float
    slowest: float
    delay: float = 0.0
    why: tuple[str, ...] = ()


def _voltage(at: Stages) -> Way:
    """A ramp opens the switch where it reaches the control voltage."""
    models, data = {place: averaged.model(state.converter) for place, state in at.items()}, illustrative()
    ramp = data["regulator"]["ramp"]
    drive = {"drive": "voltage", "ramp": ramp, "high": data["switch"]["largest_duty"] * ramp}
    return _way({place: model.control_to_output.scaled(1 / ramp) for place, model in models.items()}, models, ramp, drive, at)


def _current(at: Stages) -> Way:
    """The coil current, with a ramp added, opens the switch where it reaches the control voltage."""
    limit, t_sw = _limit(at), next(iter(at.values())).period
    sense = preferred(illustrative()["regulator"]["sensed"] / limit, "E12", "down")
    new = max(place.capacitance for place in at)  # the coil's slopes are the same with the other
    calmed = inner.choose({place: state.converter for place, state in at.items() if place.capacitance == new})
    models = {place: averaged.current_mode(averaged.model(state.converter), state.converter, sense, calmed.slope)
              for place, state in at.items()}  # fmt: skip
    swing = sense * (min(state.ripple_current for state in at.values()) + calmed.slope * t_sw)
    drive = {"drive": "current", "sense": sense, "slope": calmed.slope, "high": sense * (limit + calmed.slope * t_sw)}
    why = (*calmed.why, _sensing(at, sense, limit))
    return _way({place: model.control_to_output for place, model in models.items()}, models, swing, drive, at, why=why)


def _sensing(at: Stages, sense: float, limit: float) -> str:
    """How the current comes to the comparator, and what a resistor in the transformer's place would cost."""
    place = max(at, key=lambda place: at[place].switch_current.rms)
    heat = sense * at[place].switch_current.rms ** 2
    return (f"sensed are {show(sense, 'V/A')}, so that the current limit of {show(limit, 'A')} stays below "
            f"{show(illustrative()['regulator']['sensed'], 'V')}: by a current transformer in the switch's lead, taken as without loss "
            f"(invented). A plain resistor of {show(sense, 'Ω')} there would turn {show(heat, 'W')} into heat at {place}; that is **not** "
            "counted here, so with one the efficiency is lower")  # fmt: skip


def _digital(at: Stages) -> Way:
    """A duty reckoned once a period from a sample, and taking effect in the next."""
    models = {place: averaged.model(state.converter) for place, state in at.items()}
    t_sw = next(iter(at.values())).period
    late = (1 + max(model.duty for model in models.values())) * t_sw
    return _way({place: _one_late(state) for place, state in at.items()}, models, 1.0, {}, at, delay=late)


def _one_late(state: SteadyState) -> Callable:
    """From the duty that is reckoned in one period to the output that is read at the clock, exactly."""
    plant = sampled.plant(state.converter)
    return lambda f: plant(f) * np.exp(-2j * np.pi * np.asarray(f, float) * state.period)


def _way(plants: Mapping, models: Mapping, swing: float, drive: Mapping, at: Stages, **more) -> Way:
    switch, inductance = illustrative()["switch"], next(iter(at.values())).converter.inductor.inductance
    bounds = {"i_limit": _limit(at), "least_on_time": switch["least_on_time"], "most_duty": switch["largest_duty"]}
    slowest = min(placement.slowest_pole(model.control_to_output) for model in models.values())
    return Way(plants, {place: model.rhp_zero for place, model in models.items()}, swing, drive, bounds, inductance, slowest, **more)


def _limit(at: Stages) -> float:
    """The current limit, A: what a coil that is fit for the design just bears."""
    return ABOVE_PEAK * max(state.inductor_current.max for state in at.values())


WAYS = {"voltage": _voltage, "current": _current, "digital": _digital}
