"""Switch-on and faults, on paper and under sliders: the current that no duty prevents, the start of a regulator, a shorted output.

    together(faults)           coil current above, output below, of several courses along one time axis
    switching_on(converter)    panel: the inrush while source, coil, capacitor and their resistance are moved
    shorting(converter, trip)  panel: a shorted output, and how soon a switch in the source lead opens
    beginnings(courses)        starts of a regulator along decades of time
    starting(places, ...)      panel: the same with a soft start of any length, each start simulated once
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..circuit import Converter, faults, regulated
from ..circuit.controller import Controller, Sampled
from ..circuit.faults import Fault
from ..derivations import inrush, kick, output_short
from ..units import show
from .curves import rows
from .live import Choice, Panel, Slider
from .panels import sliders_for
from .style import Figure, styled

SAMPLES = 300  # a curve of 5 inches needs no more
STRETCHES = 160  # of a start along decades of time
AFTER = 5e-3  # s that a start is followed beyond its soft start
LEAST = 1e-3  # Ω at which the slider of a resistance begins where there is none
COIL, OUT = ("coil current", "A"), ("output voltage", "V")


@styled
def together(
    seen: Mapping[str, Fault], *, limits: tuple[Mapping, Mapping] = ({}, {}), marks: Mapping[str, tuple] | None = None,
    output: bool = True, says: str = "", onto: Figure | None = None,
) -> Figure:  # fmt: skip
    """Coil current above, output below, of at most four courses, each with its label; without `output` the upper row alone. `limits`: for
    either row a label for each height at which a line runs across. `marks`: for each label a point (s, A) of the upper row. `onto`: a
    figure that the same call returned before."""
    waves = {label: fault.waveforms(SAMPLES) for label, fault in seen.items()}
    longest = max((wave.time for wave in waves.values()), key=lambda time: time[-1])
    currents = {label: (wave.time, wave.i_inductor) for label, wave in waves.items()}
    outputs = {label: (wave.time, wave.v_out) for label, wave in waves.items()}
    both = [(currents, COIL, {"level": limits[0], "marks": marks}), (outputs, OUT, {"level": limits[1], "bottom": 0.0})]
    return rows(longest, both if output else both[:1], along=("time", "s"), heights=[1.7, 1.5] if output else [2.4],
                says=says or "; ".join(map(_extremes, seen, seen.values())), onto=onto)  # fmt: skip


def _extremes(label: str, fault: Fault) -> str:
    coil, out = fault.inductor_current, fault.output_voltage
    return (f"{label}: coil at most {show(coil.max, 'A')}, after {show(coil.max_at, 's')}; output {show(out.min, 'V')} to "
            f"{show(out.max, 'V')}")


# --- switch-on ---


def switching_on(converter: Converter) -> Panel:
    """The inrush into the empty output without load, the switch open, while the parts of its path are moved."""
    bare = converter.change(i_out=0.0, r_source=converter.source.resistance)
    sliders = [_resistance("r_source", "battery, leads and what is put in", bare.source.resistance or LEAST, 10.0),
               *sliders_for(bare, "v_in", "inductance", "capacitance")]  # fmt: skip

    def compute(**values):
        now = bare.change(**values)
        span = 1.3 * math.pi * math.sqrt(now.inductor.inductance * now.capacitor.capacitance)
        return now, faults.inrush(now, max(span, 5 * _resistances(now) * now.capacitor.capacitance))

    def draw(numbers, onto):
        now, fault = numbers
        p = now.letters()
        free = inrush.inrush_peak().formula(**{name: p[name] for name in ("v_in", "v_rectifier", "capacitance", "inductance")})
        says = (f"source {show(p['v_in'], 'V')}: highest current {show(fault.inductor_current.max, 'A')} after "
                f"{show(fault.inductor_current.max_at, 's')}, {show(free, 'A')} without resistance; output up to "
                f"{show(fault.output_voltage.max, 'V')}; squared and added up {show(fault.joule_integral(), 'A²·s')}")
        return together({"": fault}, limits=({"without resistance": free}, {"source": p["v_in"]}), says=says, onto=onto)

    return Panel(compute, draw, sliders)


def _resistance(name: str, words: str, start: float, most: float) -> Slider:
    return Slider(name, words, "Ω", min(0.01, start), max(most, start), start, logarithmic=True)


def _resistances(converter: Converter) -> float:
    return converter.source.resistance + converter.inductor.resistance + converter.rectifier.resistance


# --- a shorted output ---


def shorting(converter: Converter, trip: float, delay: float = 5e-6, span: float = 4e-4) -> Panel:
    """The output shorted out of the steady state, followed for `span` s: nothing opens, or a switch in the source lead does, `delay` s
    after the coil current has passed `trip` A."""
    sliders = [Slider("delay", "time that the series switch takes", "s", 5e-7, span / 2, delay, logarithmic=True),
               _resistance("r_source", "battery and leads", converter.source.resistance or LEAST, 1.0),
               *sliders_for(converter, "inductance")]  # fmt: skip

    def compute(delay, **values):
        now = converter.change(**values)
        short = faults.shorted(now, duration=span)
        return now, short, *faults.tripped(short, trip, delay)

    def draw(numbers, onto):
        now, short, when, ended = numbers
        most = ended.inductor_current.max
        p = now.letters()
        end = output_short.short_end().formula(v_in=p["v_in"], v_rectifier=p["v_rectifier"], r_loop=_resistances(now))
        held = kick.stored_energy().formula(inductance=p["inductance"], i_start=most)
        says = (f"nothing opens: {show(short.inductor_current.max, 'A')} after {show(span, 's')}, at last {show(end, 'A')}; the series "
                f"switch opens after {show(when, 's')} at {show(most, 'A')}, with {show(held, 'J')} in the coil, which is "
                f"{_empty(ended, when)}")
        return together({"switch in the lead": ended, "nothing opens": short}, limits=({"trip level": trip}, {}),
                        marks={"opens": (when, most)}, output=False, says=says, onto=onto)  # fmt: skip

    return Panel(compute, draw, sliders)


def _empty(fault: Fault, after: float) -> str:
    """When the coil current is back at zero, in words."""
    when = next((piece.start for piece in fault.pieces if piece.start > after and abs(piece.state[0]) < 1e-9), None)
    return "not yet empty at the end" if when is None else f"empty after {show(when, 's')}"


# --- the start of a regulator ---


@dataclass(frozen=True)
class Start:
    """A start of a regulator, thinned out along decades of time. time (s), v_out and set_point (V): arrays; highest: of the coil (A)
    in the stretch that ends there. inrush: its first peak, A. later: the highest coil current once the inrush is over, A. top: highest
    output, V."""

    time: np.ndarray
    v_out: np.ndarray
    set_point: np.ndarray
    highest: np.ndarray
    inrush: float
    later: float
    top: float


def started(converter: Converter, controller: Controller | Sampled, t_soft: float, until: float = 0.0) -> Start:
    """The regulated converter from rest, on the exact circuit, until a little after its soft start of `t_soft` s (0: none), or until
    `until` s where that is later."""
    periods = math.ceil(max(t_soft + AFTER, until) * converter.switch.frequency)
    course = regulated.follow(converter, replace(controller, soft_start=t_soft), periods)
    begins = np.array([piece.start for piece in course.pieces])
    coil = np.array([piece.state[0] for piece in course.pieces])  # its peaks lie where one piece ends and the next begins
    over = int(np.searchsorted(begins, 1.2 * _swing(converter)))  # the inrush
    wanted = np.geomspace(2 / converter.switch.frequency, begins[-1], STRETCHES)
    ends = np.unique(np.searchsorted(begins, wanted, "right")) - 1
    highest = np.maximum.reduceat(coil[: ends[-1] + 1], [0, *(ends[:-1] + 1)])
    time = begins[ends]
    aim = controller.v_set * (np.minimum(time / t_soft, 1.0) if t_soft else np.ones(len(time)))
    return Start(time, course.output(time), aim, highest, float(coil[:over].max()), float(coil[over:].max()), course.output_voltage.max)


def _swing(converter: Converter) -> float:
    """Half a swing of coil and output capacitor, s, which the inrush takes."""
    return math.pi * math.sqrt(converter.inductor.inductance * converter.capacitor.capacitance)


@styled
def beginnings(seen: Mapping[str, Start], *, i_limit: float | None = None, says: str = "", onto: Figure | None = None) -> Figure:
    """Starts of a regulator along decades of time: output above, with the set point of the first; highest coil current of each stretch
    below, with the current limit (A) where one is given."""
    first = next(iter(seen.values()))
    outputs = {label: (start.time, start.v_out) for label, start in seen.items()} | {"set point": (first.time, first.set_point)}
    currents = {label: (start.time, start.highest) for label, start in seen.items()}
    level = {"current limit": i_limit} if i_limit else {}
    return rows(first.time, [(outputs, OUT, {"bottom": 0.0}), (currents, ("highest coil current", "A"), {"level": level, "bottom": 0.0})],
                along=("time since switch-on", "s"), logarithmic=True, heights=[1.9, 1.5], says=says or _told(seen), onto=onto)  # fmt: skip


def _told(seen: Mapping[str, Start]) -> str:
    return "; ".join(f"{label}: inrush {show(start.inrush, 'A')}, later at most {show(start.later, 'A')}, output up to "
                     f"{show(start.top, 'V', 4)}" for label, start in seen.items())  # fmt: skip


def starting(places: Mapping[str, Converter], controller: Controller | Sampled, t_soft: float, shorter: int = 6) -> Panel:
    """Starts with a soft start of any length beside one without, at each of `places` (words: the converter there). Each start is
    simulated once, when the panel is made: at `t_soft` s and at `shorter` lengths below it, each 1.6 times the one before."""
    lengths = t_soft * 1.6 ** np.arange(-shorter, 1.0)
    known = {place: [started(converter, controller, 0.0, t_soft + AFTER), *(started(converter, controller, t) for t in lengths.tolist())]
             for place, converter in places.items()}  # fmt: skip
    sliders = [Choice("place", "where", {place: place for place in places}),
               Slider("t_soft", "soft start", "s", lengths[0], lengths[-1], t_soft, steps=len(lengths) - 1, logarithmic=True)]

    def compute(place, t_soft):
        n = int(np.argmin(abs(np.log(lengths / t_soft))))
        return place, {f"soft, {show(lengths[n], 's')}": known[place][n + 1], "none": known[place][0]}

    def draw(numbers, onto):
        place, seen = numbers
        return beginnings(seen, i_limit=controller.i_limit, says=f"{place}: {_told(seen)}", onto=onto)

    return Panel(compute, draw, sliders)
