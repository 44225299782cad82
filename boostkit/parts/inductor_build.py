"""Winding an inductor: core, turns, gap and wire for an inductance at a current, and what comes of it.

`build` winds one core as well as it can, or says why it cannot; `smallest` goes through the cores until one will do.
Left out, and so to be kept in mind: the loss that the field around the gap makes in turns close by, and heat from neighbours.
"""

from __future__ import annotations

import math

import numpy as np

from boostkit import units
from boostkit.derivations import magnetics
from boostkit.parts import core_materials, cores, kinds, windings
from boostkit.parts.built import Built
from boostkit.parts.core_materials import Material
from boostkit.parts.cores import Core
from boostkit.parts.inductor_demand import FILL_LIMIT, GROWTH, RISE_LIMIT, Demand, Refused, core_loss, settled, turns_to_try
from boostkit.parts.magnetising import Magnetised, fringed_gap
from boostkit.parts.windings import Ways

FINE = 24  # harmonics in which the chosen winding is reckoned again
__all__ = ["Built", "Demand", "Refused", "build", "smallest", "wind"]


def build(inductance, i_peak, i_rms, ripple, f_sw, duty, *, core, material="power_ferrite", ambient=40.0, fill_limit=FILL_LIMIT,
          rise_limit=RISE_LIMIT, duty_rectifier=None) -> Built:  # fmt: skip
    """The coolest winding on a core that gives an inductance.

    Args: `inductance` H, `i_peak` A (the highest, of any corner), `i_rms` A, `ripple` A peak to peak, `f_sw` Hz, `duty` (share of the
    period in which the current rises; it falls during `duty_rectifier`, all the rest where left out); `core`, a `Core` or a name out
    of `cores.shapes()`; `material`, a `Material` or a name; `ambient` °C; `fill_limit`, copper over window; `rise_limit` K.
    Result: Built. Errors: Refused, a ValueError, with the reason why this core will not do; ValueError for a demand that has no sense.
    """
    demand = Demand(inductance, i_peak, i_rms, ripple, f_sw, duty, ambient, fill_limit, rise_limit, duty_rectifier)
    return wind(demand, *_meant(core, material))


def smallest(inductance, i_peak, i_rms, ripple, f_sw, duty, *, among=None, materials=None, ambient=40.0, fill_limit=FILL_LIMIT,
             rise_limit=RISE_LIMIT, duty_rectifier=None) -> tuple[Built | None, dict[str, str]]:  # fmt: skip
    """The smallest core that will do, and for each smaller one why not.

    Args as for `build`; `among`, cores or names (all that come with the kit where left out); `materials`, likewise (of the kit's own,
    those made for this frequency). Where two materials will do on a core, the cooler one is taken. Result: Built, or None where none
    will do, and a dictionary from the core's name to the reason.
    """
    demand = Demand(inductance, i_peak, i_rms, ripple, f_sw, duty, ambient, fill_limit, rise_limit, duty_rectifier)
    stuff = [_meant(None, one)[1] for one in (materials or _made_for(f_sw))]
    tried = sorted((_meant(one, None)[0] for one in (among or cores.shapes())), key=lambda core: core.box)
    refused = {}
    for core in tried:
        made, reasons = _in_each(demand, core, stuff)
        if made:
            return min(made, key=lambda built: built.temperature), refused
        refused[core.name] = "; ".join(reasons)
    return None, refused


def wind(demand: Demand, core: Core, material: Material) -> Built:
    """`build` with its arguments put together."""
    low, high = material.frequency
    if not low <= demand.f_sw <= high:
        said = f"{units.show(low, 'Hz')} to {units.show(high, 'Hz')}"
        raise Refused(f"{material.name} is known from {said}, not at {units.show(demand.f_sw, 'Hz')}")
    turns = turns_to_try(demand, core, material)
    least = windings.least_loss(core, turns[0], demand.fill_limit, demand.i_rms, demand.ambient)
    gives_off = demand.rise_limit / core.thermal_resistance
    if least > gives_off:
        raise Refused(f"{turns[0]:.0f} turns would lose {units.show(least, 'W')} even in a window full of copper, more than the "
                      f"{units.show(gives_off, 'W')} that it can give off")  # fmt: skip
    found = windings.ways(core, turns, demand.fill_limit)
    if not len(found):
        raise Refused(f"{turns[0]:.0f} turns of the thinnest wire do not fit into its window")
    best, rough = _coolest(demand, core, material, found)
    if rough > demand.hottest:
        raise Refused(_too_hot(demand, rough))
    return _finished(demand, core, material, found.only(best))


def _in_each(demand, core, stuff):
    made, reasons = [], []
    for material in stuff:
        try:
            made.append(wind(demand, core, material))
        except Refused as reason:
            reasons.append(f"{material.name}: {reason}")
    return made, reasons


def _made_for(f_sw: float) -> list[Material]:
    """The kit's materials whose range holds this frequency; all of them where none does, so that each can say why."""
    kit = core_materials.materials().values()
    return [one for one in kit if one.frequency[0] <= f_sw <= one.frequency[1]] or list(kit)


def _meant(core, material):
    """Core and material as objects, whether given so or by name."""
    named_core = cores.shape(core) if isinstance(core, str) else core
    return named_core, core_materials.material(material) if isinstance(material, str) else material


def _coolest(demand: Demand, core: Core, material: Material, found: Ways) -> tuple[int, float]:
    """Which way to wind stays coolest, and its temperature, the ripple's resistance taken as at the ambient temperature."""
    ratio = windings.ac_ratio(found, demand.f_sw, demand.duty, demand.falling, demand.ambient)
    cold = found.resistance_dc * (demand.mean_square + ratio * demand.ripple_square)
    warm = settled(demand, core, cold, core_loss(demand, core, material, found.turns))
    best = int(np.argmin(warm))
    return best, float(warm[best])


def _finished(demand: Demand, core: Core, material: Material, way: Ways) -> Built:
    turns, iron = int(way.turns[0]), float(core_loss(demand, core, material, way.turns)[0])
    temperature, resistance = demand.hottest, float(way.resistance_dc[0])
    for _ in range(3):  # the skin depth follows the temperature, weakly
        ratio = float(windings.ac_ratio(way, demand.f_sw, demand.duty, demand.falling, temperature, FINE)[0])
        cold = resistance * (demand.mean_square + ratio * demand.ripple_square)
        temperature = float(settled(demand, core, cold, iron))
        if temperature > demand.hottest:
            raise Refused(_too_hot(demand, temperature))
    growth = 1 + GROWTH * (temperature - kinds.REFERENCE)
    gap, fringing = fringed_gap(core, material, turns, demand.inductance) if material.gap == "cut" else (0.0, 1.0)
    swing = magnetics.flux_swing_by_ripple().formula(
        inductance=demand.inductance, ripple_current=demand.ripple, turns=turns, area_core=core.area
    )
    peak = _peak_flux(demand, core, material, turns)
    return Built(
        demand, core, material, turns, gap, fringing, windings.wires()[int(way.wire[0])], int(way.layers[0]), float(way.fill[0]),
        peak, float(swing), resistance, resistance * growth, ratio, cold * growth, iron, temperature,
    )  # fmt: skip


def _peak_flux(demand: Demand, core: Core, material: Material, turns: int) -> float:
    if material.gap == "cut":
        return float(magnetics.peak_flux().formula(
            inductance=demand.inductance, i_inductor_max=demand.i_peak, turns=turns, area_core=core.area_least))  # fmt: skip
    wound = Magnetised(core, material, turns, 0.0, 1.0, demand.hottest)
    return float(wound.flux_linkage_at(demand.i_peak)) / (turns * core.area)


def _too_hot(demand: Demand, temperature: float) -> str:
    if math.isinf(temperature):
        return "its copper would heat itself faster than it cools (thermal runaway)"
    return f"even its coolest winding would reach {units.show(temperature, '°C')}, above {units.show(demand.hottest, '°C')}"
