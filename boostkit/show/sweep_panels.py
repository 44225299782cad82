"""How fast to switch, in pictures and under sliders: losses against frequency, size against loss, the ringing node and its snubber.

    losses_over(f_sw, groups)     losses at a given coil: their sum and what stays above, what falls and what rises below
    of_given_coil(found)          the same of what `design.given_coil` found, the lowest point marked
    given_coil(parts, ...)        panel: the same while clock, load, source, edges and core are moved
    Searched.of(parts, ...)       frequencies of least loss, by search, for edges of more and less energy
    closed_form(searched)         panel, break it: the closed form beside that search, and its error
    size_against_loss(found)      every design of a sweep, the unbeaten ones joined
    sizes_over(found)             the room that coil and capacitors take in the smallest design at each frequency
    node(course, limit)           the switch node after the opening, with its snubber and bare
    snubber(...)                  panel: the same while loop, resistor, capacitor, current and clock are moved
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..circuit.validity import Comparison
from ..derivations import damping, frequency
from ..design.complete import Complete
from ..design.given_coil import GROUPS, GivenCoil, terms
from ..design.sweep import Sweep
from ..parts import losses, warming
from ..parts import snubber as snubbers
from ..parts.kinds import Parts
from ..parts.point import Point
from ..parts.snubber import Course, Node
from ..units import show
from .curves import curves, rows
from .live import Panel, Slider
from .panels import WORDS
from .style import Figure, styled

ALONG = ("switching frequency", "Hz")
LIVE = np.geomspace(10e3, 2e6, 60)  # Hz
FINE = np.geomspace(10e3, 2e6, 200)  # Hz, over which a search looks for the lowest point
SCALES = np.geomspace(0.1, 10, 25)  # of the energy of the edges
DRAWN_ON = 2  # rounds in which what edges and core draw through the coil is found: the second changes it by a few per mille
RINGS = 3  # periods of the bare ringing that a picture shows
ROOM = 1.6  # factor of size left free on either side of the designs
COUNT = 160  # samples of a course

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
    return rows(f_sw, [top, low], along=ALONG, logarithmic=True, heights=[2.0, 2.0], says=says, onto=onto)


def _at(f_sw, values, here: float) -> float:
    return float(np.interp(np.log(here), np.log(f_sw), values))


def of_given_coil(found: GivenCoil, marks: Mapping[str, float] | None = None) -> Figure:
    """`losses_over` for what `design.given_coil` found, its lowest point marked."""
    lowest = {"least": found.least_at}
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
    if not np.isfinite(list(warm.values())).all():
        raise ValueError(f"at {show(f_sw, 'Hz')} and {show(i_out, 'A')} no temperature settles, or the output is out of reach")
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


@dataclass(frozen=True)
class Searched:
    """Frequencies of least loss by search, all temperatures settled, for edges that cost more and less in each cycle.

    f_sw Hz and falling W: the losses that fall, along FINE, at the parts as they are. energy J: of their edges in a cycle at the
    design's own clock. scales: times that energy; least_at Hz: for each, where all losses together are least.
    """

    f_own: float
    f_sw: np.ndarray
    falling: np.ndarray
    energy: float
    scales: np.ndarray
    least_at: np.ndarray

    @classmethod
    def of(cls, parts: Parts, v_in: float, v_out: float, i_out: float, f_sw: float, ambient: float) -> Searched:
        """For parts (V, A, Hz, °C) made for the clock `f_sw`."""
        at = (v_in, v_out, i_out)
        found = warming.settle_many(parts, *at, FINE, ambient)
        groups = terms(found.point, found.losses, found.temperatures, parts)
        scaled = warming.settle_many(edges_scaled(parts, SCALES[:, None]), *at, FINE, ambient)
        energy = _at(FINE, groups["edges"], f_sw) / f_sw
        return cls(f_sw, FINE, groups["ripple"] + groups["core"], energy, SCALES, lowest(FINE, scaled.losses.total))

    def known_at(self, f_reference: float) -> dict[str, float]:
        """What one needs to know at one frequency: the falling losses, and the power of frequency with which they fall there."""
        power = -np.gradient(np.log(self.falling), np.log(self.f_sw))
        return {"f_reference": f_reference, "falling": _at(self.f_sw, power, f_reference),
                "p_falling_reference": _at(self.f_sw, self.falling, f_reference)}  # fmt: skip

    def least_for(self, energy: float) -> float:
        """Hz, by search, for an energy of the edges between those that were searched."""
        return float(np.exp(np.interp(np.log(energy), np.log(self.energy * self.scales), np.log(self.least_at))))

    def compare(self, energy_period: float, f_reference: float) -> Comparison:
        """The closed form beside the search along the energy of the edges (J a cycle), one value among them. The losses are known at
        `f_reference` (Hz), with one power of frequency as there. The formula promises no number."""
        known = self.known_at(f_reference)
        if known["falling"] <= 0:
            raise ValueError(f"f_reference = {show(f_reference, 'Hz')}: nothing falls with frequency there, so the formula has no power")
        energies = np.union1d(self.energy * self.scales, [energy_period])
        exact = np.array([self.least_for(energy) for energy in energies])
        formula = frequency.least_loss_frequency().formula(energy_period=energies, **known)
        unsaid = np.full(energies.shape, np.nan)
        return Comparison("energy_period", energies, formula, exact, unsaid, np.ones(energies.shape, bool))


ENERGY, LEAST = ("energy of the edges in a cycle", "J"), ("frequency of least loss", "Hz")


def closed_form_figure(found: Searched, f_reference: float | None = None) -> Figure:
    """On paper: the closed form beside the search, the parts' own energy marked."""
    return beside_search(found.compare(found.energy, f_reference or found.f_own), found.energy)


def closed_form(found: Searched) -> Panel:
    """Under sliders: how much the edges cost, and the frequency at which the losses are known."""
    ends = found.energy * found.scales[0], found.energy * found.scales[-1]
    sliders = [Slider("energy_period", ENERGY[0], "J", *ends, found.energy, logarithmic=True),
               Slider("f_reference", "losses known at", "Hz", 20e3, 500e3, found.f_own, logarithmic=True)]
    return Panel(lambda **values: (found.compare(**values), values["energy_period"]),
                 lambda numbers, onto: beside_search(*numbers, onto=onto), sliders)  # fmt: skip


@styled
def beside_search(pairs: Comparison, here: float, *, onto: Figure | None = None) -> Figure:
    """Formula and search along the energy of the edges (J), the error below, one energy marked. The search rests on formulas itself,
    so it is not called exact."""
    at = int(np.argmin(np.abs(pairs.values - here)))
    x, formula, searched, error = (float(values[at]) for values in (pairs.values, pairs.formula, pairs.exact, pairs.error))
    worst = np.max(np.abs(pairs.error))
    top = ({"search": pairs.exact, "formula": pairs.formula}, LEAST, {"marks": {"here": (x, searched), "": (x, formula)}, "bottom": 0.0})
    low = ({"search": 0 * pairs.error, "formula": pairs.error}, ("formula against search", "%"), {"marks": {"": (x, error)}})
    says = (f"{ENERGY[0]} {show(x, 'J')}: formula {show(formula, 'Hz')}, search {show(searched, 'Hz')}, error {show(error, '%')}; no bound "
            f"promised. From {show(pairs.values[0], 'J')} to {show(pairs.values[-1], 'J')} the error is {show(worst, '%')} at worst")
    return rows(pairs.values, [top, low], along=ENERGY, logarithmic=True, heights=[2.0, 1.3], says=says, onto=onto)


# --- size against loss ---


@styled
def size_against_loss(found: Sweep, *, onto: Figure | None = None) -> Figure:
    """Every design that will do: loss against size. The unbeaten ones joined, ends and the suggested one named by their frequency."""
    there = [k for k, design in enumerate(found.designs) if not design.refused]
    if not there:
        raise ValueError(found.reason)
    size, loss, line = found.volume * 1e6, found.loss, list(found.unbeaten)
    named = {"smallest": found.designs[line[0]], "suggested": found.suggested, "least loss": found.designs[line[-1]]}
    marks = {f"{words}, {show(design.f_sw, 'Hz')}": (design.volume * 1e6, design.loss) for words, design in named.items()}
    pairs = {"no other beats these": (size[line], loss[line]), "every design": _dots(size[there], loss[there])}
    says = (f"{len(there)} designs: " + "; ".join(f"{words} {show(x)} cm³ and {show(y, 'W')}" for words, (x, y) in marks.items())
            + f"; {len(line)} that no other beats; {len(found.designs) - len(there)} refused")  # fmt: skip
    return curves(size[line], pairs, along=("size", "cm³"), of=("loss", "W"), marks=marks, logarithmic="x", height=3.2, says=says,
                  onto=onto)  # fmt: skip


def _dots(x, y) -> tuple[np.ndarray, np.ndarray]:
    """Each point as a dash so short that it looks like a dot, none joined to the next: a curve with gaps. The gaps reach beyond both
    ends, so that the picture has room there and no label leans on an axis."""
    x, y = np.asarray(x), np.asarray(y)
    gaps = np.where(np.arange(x.size) % 2, x.min() / ROOM, x.max() * ROOM)
    return np.ravel(np.stack([x / 1.012, x * 1.012, gaps], axis=1)), np.ravel(np.stack([y, y, y * np.nan], axis=1))


@styled
def sizes_over(found: Sweep, *, onto: Figure | None = None) -> Figure:
    """The room (cm³) of the smallest design at each frequency (Hz), by part."""
    small = smallest_at(found)
    if not small:
        raise ValueError(found.reason)
    f_sw = np.array([design.f_sw for design in small])
    parts = {name: np.array([design.volumes[name] for design in small]) * 1e6 for name in small[0].volumes}
    return curves(f_sw, {"all": sum(parts.values())} | parts, along=ALONG, of=("size of the smallest design", "cm³"), logarithmic="xy",
                  height=3.0, onto=onto)  # fmt: skip


def smallest_at(found: Sweep) -> list[Complete]:
    """The smallest design at each frequency at which there is one, lowest frequency first."""
    best: dict[float, Complete] = {}
    for design in found.designs:
        if not design.refused and (design.f_sw not in best or design.volume < best[design.f_sw].volume):
            best[design.f_sw] = design
    return [best[f_sw] for f_sw in sorted(best)]


# --- the node that rings ---


@styled
def node(course: Course, limit: float, *, loss: float | None = None, says: str = "", onto: Figure | None = None) -> Figure:
    """The switch node after the opening, with its snubber and bare (by formula), and the highest voltage (V) that it may reach.
    What the snubber loses (W) stands beside its curve where it is given."""
    at = course.node
    until = at.c_node * at.v_out / at.i_peak + RINGS / _bare(at).frequency
    with_it = "with the snubber" if loss is None else f"snubber, {show(loss, 'W')} lost"
    both = {with_it: _sampled(course, until), "bare": _bare_course(at, until)}
    return curves(both["bare"][0], both, along=("time since the switch opened", "s"), of=("switch node", "V"),
                  level={"limit": limit, "output": at.v_out}, bottom=0.0, height=2.8, says=says or say_node(course, limit), onto=onto)


def say_node(course: Course, limit: float) -> str:
    """Peaks of both, and what the snubber is, in words."""
    at = course.node
    within = "within" if course.peak <= limit else "above"
    return (f"bare: rings at {show(_bare(at).frequency, 'Hz')}, up to {show(_bare(at).peak, 'V')}; with {show(at.resistance, 'Ω')} and "
            f"{show(at.capacitance, 'F')}: up to {show(course.peak, 'V')}, {within} the limit of {show(limit, 'V')}, damping "
            f"{show(at.damping, '', 2)}")  # fmt: skip


def _bare(at: Node) -> snubbers.Ringing:
    return snubbers.ringing(at.l_stray, at.c_node, at.i_peak, at.v_out)


def _bare_course(at: Node, until: float) -> tuple[np.ndarray, np.ndarray]:
    """Without a snubber: straight up to the output, then the undamped swing."""
    reached = at.c_node * at.v_out / at.i_peak
    later = np.linspace(0, until - reached, COUNT)
    above = damping.node_ringing().formula(i_start=at.i_peak, l_stray=at.l_stray, c_stray=at.c_node, t=later)
    return np.append(0.0, reached + later), np.append(0.0, at.v_out + above)


def _sampled(course: Course, until: float) -> tuple[np.ndarray, np.ndarray]:
    """The node's voltage from the opening until a time, in even steps within each part."""
    pieces = []
    for flow, start, state, duration, _ in course.parts:
        times = np.linspace(0, max(min(duration, until - start), 0), COUNT)
        pieces.append((start + times, flow.path(state, times)[0]))
    return tuple(np.concatenate(side) for side in zip(*pieces, strict=True))


def snubber(l_stray: float, c_node: float, v_out: float, i_peak: float, f_sw: float, limit: float, resistance: float,
            capacitance: float) -> Panel:  # fmt: skip
    """The node while the loop's inductance (H), resistor (Ω), capacitor (F), the current that the switch opens (A) and the clock
    (Hz) are moved; what the snubber turns into heat stands in the readings."""
    sliders = [
        Slider("l_stray", "inductance of the loop", "H", l_stray / 10, 3 * l_stray, l_stray, logarithmic=True),
        Slider("resistance", "snubber resistance", "Ω", resistance / 8, 8 * resistance, resistance, logarithmic=True),
        Slider("capacitance", "snubber capacitance", "F", c_node / 3, 30 * c_node, capacitance, logarithmic=True),
        Slider("i_peak", "current at the opening", "A", 0.1 * i_peak, 1.5 * i_peak, i_peak),
        Slider("f_sw", WORDS["f_sw"], "Hz", 20e3, 2e6, f_sw, logarithmic=True),
    ]

    def compute(f_sw, **values):
        loss = damping.snubber_loss().formula(c_snubber=values["capacitance"], v_out=v_out, f_sw=f_sw)
        return snubbers.course(c_node=c_node, v_out=v_out, **values), float(loss), f_sw

    def draw(numbers, onto):
        course, loss, f_sw = numbers
        return node(course, limit, loss=loss, says=f"{say_node(course, limit)}; loss {show(loss, 'W')} at {show(f_sw, 'Hz')}", onto=onto)

    return Panel(compute, draw, sliders)
