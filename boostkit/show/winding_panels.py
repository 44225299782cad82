"""Winding an inductor, on paper and under sliders: what core, turns and gap give, what saturation does, what layers cost.

    magnetised(wounds, ...)       inductance and flux density of wound cores against current
    core(built)                   panel: the same for one core while core, turns, gap and temperature are moved
    overload(states, straight)    coil current of a core that saturates, beside one that does not, and its inductance
    overloaded(converter, built)  panel: the same while load, source and temperature are moved
    thickness(counts)             what layers resist for a fast current, along their thickness, each with its best
    layers(...)                   panel: one number of layers beside two rules, while wire, clock and temperature are moved
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..circuit import Converter
from ..circuit.results import SteadyState
from ..circuit.saturation import curve_through, share_left, stretch_at
from ..circuit.switched import steady_state
from ..derivations import copper, magnetics
from ..derivations import layers as layer_formulas
from ..parts import cores, inductor_demand, magnetising, wire
from ..parts.built import Built
from ..parts.magnetising import Magnetised
from ..units import show
from .curves import curves, rows
from .live import Choice, Panel, Slider
from .style import Figure, styled

POINTS = 121  # of a curve under a slider
BENDS = [1, 3, 4, 5, 7, 9, 11, 12, 13, 14]  # of a magnetising curve, kept under a slider for speed: peaks within 3 %
HOTTEST = 130.0  # °C, as far as the sliders go

# --- core, turns and gap ---


def gapped(core: cores.Core, material, turns: int, gap: float, temperature: float) -> Magnetised:
    """A wound core with a gap in m, above 0, widened by the field that bulges out of it as `magnetics.fringing` says. Raises ValueError
    where the gap is wider than that formula reaches."""
    fringing = magnetics.fringing().formula
    if not fringing.holds(gap=gap, area_core=core.area, window_height=core.breadth):
        raise ValueError(f"gap = {show(gap, 'm')} is too wide for a window of {show(core.breadth, 'm')}: the formula for the field around "
                         "it no longer holds")  # fmt: skip
    factor = float(fringing(gap=gap, area_core=core.area, window_height=core.breadth))
    return Magnetised(core, material, turns, gap, factor, temperature)


def flux_density(wound: Magnetised, current):
    """Flux density in T, on the effective cross-section, at currents in A; arrays broadcast."""
    return wound.flux_linkage_at(current) / (wound.turns * wound.core.area)


def gap_share(wound: Magnetised) -> float:
    """Share of the energy in the field that sits in the gap, at small current: gap over gap and core, each as the ampere-turns that it
    takes."""
    straight = wound.gap / wound.fringing
    return straight / (straight + wound.core.length / wound.material.permeability)


@styled
def magnetised(wounds: Mapping[str, Magnetised], i_peak: float, *, up_to: float | None = None, limit: float | None = None,
               says: str = "", onto: Figure | None = None) -> Figure:
    """Inductance above, flux density below, against current, for each label a wound core; at most three.

    `i_peak`: the current (A) at which each is marked. `up_to`: where the current axis ends, by default at twice that. `limit`:
    flux density (T, on the effective cross-section) that is allowed. `onto`: a figure that the same call returned before."""
    current = np.linspace(0.0, up_to or 2 * i_peak, POINTS)
    henry = {label: wound.inductance_at(current) for label, wound in wounds.items()}
    tesla = {label: flux_density(wound, current) for label, wound in wounds.items()}
    at = np.full(len(wounds), i_peak)
    left = {"at the peak": (at, np.array([wound.inductance_at(i_peak) for wound in wounds.values()]))}
    dense = {"": (at, np.array([flux_density(wound, i_peak) for wound in wounds.values()]))}
    level = {} if limit is None else {"allowed": limit}
    stacked = [(henry, ("inductance", "H"), {"bottom": 0.0, "marks": left}),
               (tesla, ("flux density", "T"), {"bottom": 0.0, "marks": dense, "level": level})]  # fmt: skip
    return rows(current, stacked, along=("coil current", "A"), heights=[1.7, 1.5], says=says, onto=onto)


def core(built: Built) -> Panel:
    """Inductance and flux density of a core with a gap while core, turns, gap and temperature are moved; it starts as `built`."""
    if built.material.gap != "cut":
        raise ValueError(f"{built.material.name} has its gap between its grains: this panel moves a gap that is cut")
    names = [built.core.name, *(name for name in _like(built) if name != built.core.name)]
    most = max(3 * built.turns, 12)
    sliders = [Choice("core", "core", {name: name for name in names}),
               Slider("turns", "turns", "", 2, most, built.turns, steps=most - 2),
               Slider("gap", "gap", "m", min(20e-6, built.gap), max(2e-3, 3 * built.gap), built.gap, logarithmic=True),
               Slider("temperature", "temperature of the core", "°C", -20.0, HOTTEST, round(built.demand.hottest))]  # fmt: skip

    def compute(core, turns, gap, temperature):
        return gapped(cores.shape(core), built.material, round(turns), gap, temperature)

    def draw(wound, onto):
        limit = allowed(wound) * wound.core.area_least / wound.core.area
        return magnetised({"": wound}, built.demand.i_peak, limit=limit, says=_say_core(wound, built.demand.i_peak), onto=onto)

    return Panel(compute, draw, sliders)


def allowed(wound: Magnetised) -> float:
    """Flux density in T that the narrowest place of the core may reach, at its temperature."""
    return inductor_demand.FLUX_SHARE * float(wound.material.saturation_at(wound.temperature))


def _like(built: Built) -> Sequence[str]:
    """Cores with a leg to cut, of a third to four times the size."""
    return [name for name, one in cores.shapes().items() if one.gappable and 0.3 < one.box / built.core.box < 4][:6]


def _say_core(wound: Magnetised, peak: float) -> str:
    narrowest, limit = float(flux_density(wound, peak)) * wound.core.area / wound.core.area_least, allowed(wound)
    first = wound.smallest_current_inductance
    knee = float(wound.current_at(magnetising.KNEE * first))
    return (f"{wound.core.name}, {wound.turns} turns, gap {show(wound.gap, 'm')}, {show(wound.temperature, '°C')}: {show(first, 'H')} at "
            f"small current, {show(float(wound.inductance_at(peak)), 'H')} at the peak of {show(peak, 'A')}; flux density there "
            f"{show(narrowest, 'T')} at the narrowest place, {'within' if narrowest <= limit else 'above'} the allowed {show(limit, 'T')}; "
            f"{show(magnetising.KNEE, '%')} of the inductance left at {show(knee, 'A')}; {show(gap_share(wound), '%')} of the energy in "
            "the gap")  # fmt: skip


# --- saturation in the waveform ---


def with_core(converter: Converter, wound: Magnetised, r_inductor: float, bends=slice(1, None)) -> Converter:
    """The converter with this core in its coil, and the winding's resistance in Ω. `bends`: which points of the piecewise linear
    magnetising curve are kept; all where left out."""
    current, linkage = wound.curve
    inductance, saturation = curve_through(current[bends], linkage[bends])
    return converter.change(inductance=inductance, saturation=saturation, r_inductor=r_inductor)


@styled
def overload(state: SteadyState, straight: SteadyState, *, onto: Figure | None = None) -> Figure:
    """Above, the coil current of a core that saturates and of one that does not; below, the inductance that the first one meets."""
    wave, plain = state.waveforms(400), straight.waveforms(120)
    coil = state.converter.inductor
    met = coil.inductance * np.array([share_left(coil.saturation, stretch_at(coil.saturation, each)) for each in wave.i_inductor])
    amps = {"the core saturates": (wave.time, wave.i_inductor), "it does not": (plain.time, plain.i_inductor)}
    peaks = state.inductor_current.max, straight.inductor_current.max
    says = (f"output {show(state.output_voltage.mean, 'V')}, load {show(state.output_power / state.output_voltage.mean, 'A')}: coil "
            f"current at most {show(peaks[0], 'A')}, without saturation {show(peaks[1], 'A')}; inductance {show(met.max(), 'H')} down to "
            f"{show(met.min(), 'H')}; {state.mode} conduction")  # fmt: skip
    return rows(wave.time, [(amps, ("coil current", "A")), ({"": met}, ("inductance", "H"), {"bottom": 0.0})], along=("time", "s"),
                heights=[2.0, 1.2], says=says, onto=onto)  # fmt: skip


def overloaded(converter: Converter, built: Built) -> Panel:
    """Coil current with this core and without saturation, while load, source and the temperature of the core are moved, the duty
    staying as it is. The converter's load is counted as one."""
    state, source = steady_state(converter), converter.source.voltage
    full = state.output_voltage.mean / state.rectifier_current.mean
    sliders = [Slider("load", "load, times full load", "", 0.2, 2.0, 1.0),
               Slider("v_in", "source voltage", "V", 0.8 * source, 1.2 * source, source),
               Slider("temperature", "temperature of the core", "°C", -20.0, HOTTEST, round(built.temperature))]  # fmt: skip
    straight = converter.change(inductance=built.inductance, r_inductor=built.resistance_dc)

    def compute(load, v_in, temperature):
        bent = with_core(converter, replace(built.magnetised, temperature=temperature), built.resistance_dc, BENDS)
        return [steady_state(one.change(r_load=full / load, v_in=v_in)) for one in (bent, straight)]

    return Panel(compute, lambda both, onto: overload(*both, onto=onto), sliders)


# --- layers ---

PENETRATIONS = np.geomspace(0.1, 8.0, POINTS)
RESISTANCE = ("resistance, over that of direct current in a skin depth", "")


def by_thickness(count, penetration):
    """Resistance of a winding of layers for a sine current, over that of one as thick as the skin depth for direct current: F_R/p
    after Dowell. `count`: layers; `penetration`: thickness over skin depth; arrays broadcast."""
    return layer_formulas.layer_factor().formula(layers=count, penetration=penetration) / penetration


def best_of(count: float) -> float:
    """Thickness over skin depth at which that many layers resist least, by the rule: pi/2 for one layer, `copper.best_thickness` for
    more."""
    return float(copper.best_single_layer().formula()) if count == 1 else float(copper.best_thickness().formula(layers=count))


@styled
def thickness(counts: Sequence[int], *, onto: Figure | None = None) -> Figure:
    """What layers resist for a sine current against their thickness over skin depth, for at most four numbers of layers, each with its
    best thickness."""
    seen = {f"{count} layer{'s' if count > 1 else ''}": by_thickness(count, PENETRATIONS) for count in counts}
    at = np.array([best_of(count) for count in counts])
    marks = {"best": (at, by_thickness(np.array(counts, float), at))}
    return curves(PENETRATIONS, seen, along=("thickness over skin depth", ""), of=RESISTANCE, marks=marks,
                  logarithmic="xy", height=3.2, onto=onto)  # fmt: skip


@styled
def rules(count: float, here: float, *, says: str = "", onto: Figure | None = None) -> Figure:
    """One number of layers after Dowell, beside the rule for thin layers and the rule for thick ones; `here`: thickness over skin depth
    that is marked, beside the best one."""
    thin = layer_formulas.thin_layers().formula(layers=count, penetration=PENETRATIONS) / PENETRATIONS
    thick = layer_formulas.thick_layers().formula(layers=count, penetration=PENETRATIONS) / PENETRATIONS
    exact = by_thickness(count, PENETRATIONS)
    best, top = best_of(count), 3 * max(exact[0], exact[-1])
    seen = {"Dowell": exact, "thin layers": np.where(thin <= top, thin, np.nan), "thick layers": np.where(PENETRATIONS >= 1, thick, np.nan)}
    marks = {"best": (best, by_thickness(count, best)), "here": (here, by_thickness(count, here))}
    return curves(PENETRATIONS, seen, along=("thickness over skin depth", ""), of=RESISTANCE, marks=marks,
                  logarithmic="xy", top=top, bottom=0.7 * exact.min(), height=3.2, says=says, onto=onto)  # fmt: skip


def layers(count: int, diameter: float, f_sw: float, temperature: float, covered: float = 0.8) -> Panel:
    """Layers of round wire beside the two rules while their number, the bare diameter (m), the frequency of a sine current (Hz),
    the temperature (°C) and the share of a layer that copper covers are moved."""
    low, high = float(wire.bare_diameter(44)), float(wire.bare_diameter(10))
    sliders = [Slider("count", "layers", "", 1, 12, count, steps=11),
               Slider("diameter", "bare wire diameter", "m", min(low, diameter), max(high, diameter), diameter, logarithmic=True),
               Slider("f_sw", "frequency", "Hz", min(5e3, f_sw), max(2e6, f_sw), f_sw, logarithmic=True),
               Slider("temperature", "temperature of the copper", "°C", -20.0, HOTTEST, temperature),
               Slider("covered", "share of a layer that is copper", "", 0.4, 1.0, covered)]  # fmt: skip

    def compute(count, diameter, f_sw, temperature, covered):
        depth = float(copper.skin_depth().formula(resistivity=wire.resistivity(temperature), f_sw=f_sw))
        p = float(copper.round_penetration().formula(wire_diameter=diameter, skin_depth=depth, layer_fill=covered))
        if not PENETRATIONS[0] <= p <= PENETRATIONS[-1]:
            raise ValueError(f"this wire makes layers of {show(p)} skin depths; the picture reaches from {show(PENETRATIONS[0])} to "
                             f"{show(PENETRATIONS[-1])}")  # fmt: skip
        return round(count), p, depth, diameter

    return Panel(compute, lambda numbers, onto: rules(*numbers[:2], says=_say_layers(*numbers), onto=onto), sliders)


def _say_layers(count: int, p: float, depth: float, diameter: float) -> str:
    factor = float(layer_formulas.layer_factor().formula(layers=count, penetration=p))
    thin = float(layer_formulas.thin_layers().formula(layers=count, penetration=p))
    best = best_of(count)
    return (f"{count} layer{'s' if count > 1 else ''} of wire {show(diameter, 'm')}, skin depth {show(depth, 'm')}: {show(p)} skin depths "
            f"thick, {show(factor)} times the resistance for direct current (thin-layer rule {show(thin)}); of sheets the best have "
            f"{show(best)} skin depths, {show(best * depth, 'm')}")  # fmt: skip
