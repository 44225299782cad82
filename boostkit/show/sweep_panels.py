"""How fast to switch, in pictures and under sliders: losses against frequency, size against loss, the ringing node and its snubber.

    losses_over(found)               losses at a given coil: what stays and the sum above, what falls and what rises below
    given_coil(parts, ...)           panel: the same while clock, load, source and edges are moved
    edges_scaled(parts, factor)      the same parts with edges that cost more or less energy a cycle
    least_by_search(parts, ...)      frequency of least loss for each of many edge energies, warm, by search
    formula_of_least(parts, ...)     panel, break it: the closed form beside that search
    size_against_loss(found)         every design of a sweep, the unbeaten ones joined
    capacitors_over(found)           what one output capacitor bank takes at each frequency
    node(...)                        the switch node after the opening, bare and with its snubber
    snubber(...)                     panel: the same while loop, resistor, capacitor and current are moved
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ..circuit.validity import Comparison
from ..derivations import damping, frequency
from ..design.given_coil import GROUPS, GivenCoil, terms
from ..design.sweep import Sweep
from ..parts import losses, warming
from ..parts import snubber as snubbers
from ..parts.kinds import Parts
from ..parts.point import Point
from ..units import show
from . import break_it
from .curves import curves, rows
from .live import Panel, Slider
from .panels import WORDS
from .style import Figure, styled

ALONG = ("switching frequency", "Hz")
LIVE = np.geomspace(10e3, 2e6, 60)  # Hz
FINE = np.geomspace(10e3, 2e6, 200)  # Hz, over which a search looks for the lowest point
SCALES = np.geomspace(0.1, 10, 25)  # of the energy of the edges
DRAWN_ON = 2  # rounds in which what edges and core draw through the coil is found: the second changes it by a few per mille
RINGS = 6  # periods of the bare ringing that a picture shows
COUNT = 220  # samples of a course

# --- losses at a given coil ---


@styled
def losses_over(
    f_sw, groups: Mapping[str, np.ndarray], marks: Mapping[str, float] | None = None, *, says: str = "", onto: Figure | None = None
) -> Figure:
    """Losses (W) along frequency (Hz). `groups`: the terms of a `GivenCoil`. Above their sum and what stays, with a ring on the sum
    for each of `marks` (label: frequency); below, in decades, what falls and what rises."""
    total = sum(groups.values())
    rings = {label: (at, _at(f_sw, total, at)) for label, at in (marks or {}).items()}
    top = ({"all losses": total, "stays": groups["steady"]}, ("loss", "W"), {"marks": rings, "bottom": 0.0})
    low = ({"heat of the ripple": groups["ripple"], "core": groups["core"], "edges": groups["edges"]}, ("loss, part by part", "W"),
           {"logarithmic": True})  # fmt: skip
    return rows(f_sw, [top, low], along=ALONG, logarithmic=True, heights=[1.9, 2.0], says=says, onto=onto)


def _at(f_sw, values, here: float) -> float:
    return float(np.interp(np.log(here), np.log(f_sw), values))


def of_given_coil(found: GivenCoil, marks: Mapping[str, float] | None = None) -> Figure:
    """`losses_over` for what `design.given_coil` found, its lowest point marked."""
    lowest = {f"least: {show(found.least, 'W')} at {show(found.least_at, 'Hz')}": found.least_at}
    return losses_over(found.f_sw, found.terms, lowest | dict(marks or {}))


def edges_scaled(parts: Parts, factor) -> Parts:
    """The same parts, the edges costing `factor` times the energy in each cycle: times, capacitance and charges together."""
    switch, rectifier = parts.switch, parts.rectifier
    names = {switch: ("rise_time", "fall_time", "output_capacitance", "gate_charge"),
             rectifier: ("recovery_charge", "recovery_time", "gate_charge", "dead_time")}  # fmt: skip
    scaled = [replace(part, **{name: getattr(part, name) * factor for name in own}) for part, own in names.items()]
    return replace(parts, switch=scaled[0], rectifier=scaled[1])


def at_kept_warmth(parts: Parts, v_in, v_out: float, i_out, f_sw, warm: Mapping[str, float]) -> tuple[Point, losses.Losses]:
    """Point and losses with each part held at a temperature (°C by part): quicker than letting it settle."""
    lost = 0.0
    for _ in range(DRAWN_ON):
        point = Point.by_formula(v_in, v_out, i_out, f_sw, parts.inductor.inductance, i_lost=lost, diode=parts.rectifier.kind == "diode",
                                 **losses.resistances(parts, warm))  # fmt: skip
        found = losses.at(point, parts, warm)
        lost = np.nan_to_num(found.on_the_way) / v_out
    return point, found


def given_coil(parts: Parts, v_in: float, v_out: float, i_out: float, f_sw: float, ambient: float) -> Panel:
    """Losses against frequency at given parts while clock (only the mark), load, source, edges and core are moved. Each part keeps
    the temperature that it has at the example's point."""
    settled = warming.settle_many(parts, v_in, v_out, i_out, np.array([f_sw]), ambient).temperatures
    warm = {name: float(np.ravel(t)[0]) for name, t in settled.items()}
    sliders = [
        Slider("f_sw", WORDS["f_sw"], "Hz", 20e3, 1.5e6, f_sw, logarithmic=True),
        Slider("edges", "energy of the edges, times", "", 0.1, 10, 1.0, logarithmic=True),
        Slider("core", "core loss, times", "", 0.1, 10, 1.0, logarithmic=True),
        Slider("i_out", "load current", "A", 0.05 * i_out, 1.2 * i_out, i_out),
        Slider("v_in", WORDS["v_in"], "V", 0.75 * v_in, min(1.3 * v_in, 0.95 * v_out), v_in),
    ]

    def compute(f_sw, edges, core, i_out, v_in):
        changed = edges_scaled(parts, edges)
        changed = replace(changed, inductor=replace(parts.inductor, core_loss=core * parts.inductor.core_loss))
        point, lost = at_kept_warmth(changed, v_in, v_out, i_out, LIVE, warm)
        if not np.isfinite(lost.total).all():
            raise ValueError(f"v_in = {show(v_in, 'V')} with i_out = {show(i_out, 'A')}: the output is out of reach at some frequency")
        return terms(point, lost, warm, changed), f_sw, v_out * i_out

    def draw(numbers, onto):
        groups, here, power = numbers
        total = sum(groups.values())
        least = float(lowest(LIVE, total))
        return losses_over(LIVE, groups, {"least": least, "here": here}, says=_say_losses(groups, total, least, here, power), onto=onto)

    return Panel(compute, draw, sliders)


def _say_losses(groups, total, least: float, here: float, power: float) -> str:
    words = ", ".join(f"{name} {show(_at(LIVE, groups[key], here), 'W')}"
                      for key, name in zip(GROUPS, ("stays", "heat of the ripple", "core", "edges"), strict=True))
    now = _at(LIVE, total, here)
    return (f"at {show(here, 'Hz')}: {words}; all {show(now, 'W')}, efficiency {show(power / (power + now), '%')}; least "
            f"{show(_at(LIVE, total, least), 'W')} at {show(least, 'Hz')}")  # fmt: skip


def lowest(f_sw: np.ndarray, total: np.ndarray) -> np.ndarray:
    """Where losses of shape (..., n) along frequencies of shape (n,), evenly spread over decades, are least: the vertex of the
    parabola through the lowest sample and its neighbours; an end of the range where they only rise or fall."""
    total = np.nan_to_num(total, nan=1e9, posinf=1e9)  # where nothing settles, nothing is least
    k = np.clip(np.argmin(total, axis=-1), 1, len(f_sw) - 2)[..., None]
    below, least, above = (np.take_along_axis(total, k + step, axis=-1)[..., 0] for step in (-1, 0, 1))
    bend = below - 2 * least + above
    shift = np.clip(np.divide(below - above, 2 * bend, out=np.zeros_like(bend), where=bend > 0), -1, 1)
    ratio = f_sw[1] / f_sw[0]
    return f_sw[k[..., 0]] * ratio**shift


# --- break it: the closed form ---


def least_by_search(parts: Parts, v_in: float, v_out: float, i_out: float, scales, ambient: float) -> np.ndarray:
    """The frequency of least loss (Hz) for each factor on the energy of the edges, temperatures settled: shape of `scales`."""
    scaled = edges_scaled(parts, np.asarray(scales, float)[:, None])
    return lowest(FINE, warming.settle_many(scaled, v_in, v_out, i_out, FINE, ambient).losses.total)


def formula_of_least(energies, exact, letters: Mapping[str, float]) -> Comparison:
    """The closed form beside the frequencies of least loss that a search found, for energies of the edges (J per cycle).
    `letters`: f_reference, falling, p_falling_reference, as known at one frequency. The formula promises no number."""
    energies = np.asarray(energies, float)
    formula = frequency.least_loss_frequency().formula(energy_period=energies, **letters)
    return Comparison("energy_period", energies, formula, np.asarray(exact, float), np.full(energies.shape, np.nan),
                      np.ones(energies.shape, bool))  # fmt: skip
