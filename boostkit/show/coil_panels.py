"""Coil and switch alone: who carries the current, its course through one path or several, and both under sliders.

    circuits()                 the switch closed, and the two places where a path can lie when it opens
    courses({label: course})   the courses of some interruptions, current above, voltage across the switch below
    rise(...)                  the current after the switch has closed, beside the straight ramp
    opening(coil, paths)       panel: pick a path, move its value
    closing(coil, time)        panel: move source, inductance, resistance and time
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise

import numpy as np

from ..algebra import known
from ..circuit import Coil, Interrupted
from ..derivations import kick
from ..derivations import letters as _letters  # noqa: F401  entering the letters in the list of known ones
from ..units import preferred, show
from .curves import curves, rows
from .live import Choice, Panel, Slider
from .shapes import arc, box, path, words
from .stills import draw
from .style import BLUE, DPI, PAPER, QUIET, RUST, WIDTH, Figure, styled

# --- the circuit ---

STATES = {  # who carries the current: title, what happens, colour
    "closed": ("Switch closed", "the source fills the field", BLUE),
    "coil": ("Open, a path across the coil", "the source is out of the loop", RUST),
    "switch": ("Open, a path across the switch", "the source is in the loop", RUST),
}
HIGH, SOURCE, COIL, SWITCH, OVER, BESIDE, TOP, LOW = 190, 40, (70, 130), 160, (100, 54), (205, 125), 85, 165  # dots
HALF = WIDTH * DPI / len(STATES) / 2


@styled
def circuits() -> Figure:
    """Source, coil and switch three times, the loop that carries the current drawn thick."""
    figure, wide = Figure(HIGH / DPI), 1 / len(STATES)
    for n, (state, (title, tells, ink)) in enumerate(STATES.items()):
        ax = figure.add_axes((n * wide, 0, wide, 1))
        ax.set(xlim=(0, 2 * HALF), ylim=(HIGH, 0))
        ax.axis("off")
        draw(ax, [words(HALF, 12, title, ink=ink, bold=True), *_parts(state, ink), words(HALF, HIGH - 6, tells, size=10.5)], {})
    figure.says = "Source, coil and switch. " + "; ".join(f"{title}: {tells}" for title, tells, _ in STATES.values())
    return figure


def _parts(state: str, ink: str) -> list[dict]:
    """Source and coil, the switch as it stands, and the path if there is one: each in the pen of its loop."""
    live, idle = {"ink": ink, "width": 3.0}, {"ink": QUIET, "width": 1.3}
    source, switch = (live if state != "coil" else idle), (live if state == "closed" else idle)
    (left, right), (x, y), humps = COIL, BESIDE, np.linspace(*COIL, 5)
    middle = (TOP + LOW) / 2
    shapes = [
        path([(SWITCH, LOW), (SOURCE, LOW), (SOURCE, middle + 4)], **source),
        path([(SOURCE, middle - 4), (SOURCE, TOP), (left, TOP)], **source), path([(right, TOP), (SWITCH, TOP)], **source),
        path([(SOURCE - 12, middle - 4), (SOURCE + 12, middle - 4)], **source),
        path([(SOURCE - 6, middle + 4), (SOURCE + 6, middle + 4)], **source), words(SOURCE - 17, middle - 13, "+", size=11),
        path([p for low, up in pairwise(humps) for p in arc((low + up) / 2, TOP, (up - low) / 2, 180, 360)], **live),
        path([(SWITCH, TOP), (SWITCH, middle - 18)], **switch), path([(SWITCH, middle + 18), (SWITCH, LOW)], **switch),
        path([(SWITCH, middle + 18), (SWITCH - (0 if state == "closed" else 20), middle - 16)], **switch),
        words(sum(COIL) / 2, TOP + 15, "coil", size=10), words(SOURCE + 9, middle + 16, "source", size=10, align="left"),
        words(SWITCH - 8, LOW - 12, "switch", size=10, align="right"),
    ]
    if state == "coil":
        over = [(left - 12, TOP), (left - 12, OVER[1]), (right + 12, OVER[1]), (right + 12, TOP)]
        shapes += [path([(left, TOP), *over, (right, TOP)], **live),
                   box(OVER[0] - 22, OVER[1] - 10, 44, 20, fill=PAPER, **live), words(*OVER, "path", size=10)]
    if state == "switch":
        shapes += [path([(SWITCH, TOP), (x, TOP), (x, LOW), (SWITCH, LOW)], **live),
                   box(x - 20, y - 12, 40, 24, fill=PAPER, **live), words(x, y, "path", size=10)]
    return [*shapes, *_heads(state, ink)]


def _heads(state: str, ink: str) -> list[dict]:
    """Arrow heads the way the current goes."""
    right, down, left = (1, 0), (0, 1), (-1, 0)
    spots = {"closed": [((146, TOP), right), ((SWITCH, 97), down), ((100, LOW), left)],
             "coil": [((136, TOP), right), ((132, OVER[1]), left), ((70, OVER[1]), left)],
             "switch": [((182, TOP), right), ((BESIDE[0], 100), down), ((100, LOW), left)]}[state]
    return [path([(x + 7 * a, y + 7 * b), (x - 5 * a + 6 * b, y - 5 * b + 6 * a), (x - 5 * a - 6 * b, y - 5 * b - 6 * a)],
                 shut=True, fill=ink, ink=PAPER) for (x, y), (a, b) in spots]


# --- the switch opens ---

PATHS = {  # pick: what it is called, the letter of its value, what its slider is called, its unit
    "resistor": ("a resistor across the coil", "r_path", "resistance of the path", "Ω"),
    "diode": ("a diode across the coil", "v_rectifier", "diode voltage", "V"),
    "clamp": ("a clamp across the switch", "v_clamp", "voltage of the clamp", "V"),
    "coil_clamp": ("a clamp across the coil", "v_coil_clamp", "voltage of the clamp", "V"),
    "capacitance": ("nothing but stray capacitance", "c_stray", "stray capacitance", "F"),
}


def course_of(coil: Coil, pick: str, value: float) -> Interrupted:
    """The exact course after the switch has opened on one of PATHS, whose value (Ω, V or F) is given."""
    return {
        "resistor": coil.through_resistor, "diode": coil.through_diode, "clamp": coil.into_clamp,
        "coil_clamp": lambda volts: coil.into_clamp(volts, "coil"), "capacitance": coil.into_capacitance,
    }[pick](value)  # fmt: skip


def reading(course: Interrupted) -> str:
    """Peak, time and energies of one course, in words."""
    ends = f"no current after {show(course.time_to_rest, 's')}" if np.isfinite(course.time_to_rest) else "the current never quite stops"
    energy = {name: show(joules, "J") for name, joules in course.energies.items()}
    went = {"path": "path", "winding": "winding", "field_after": "still in the field", "capacitance_after": "in the stray capacitance"}
    least = 1e-6 * course.energies["field_before"]
    where = ", ".join(f"{words} {energy[name]}" for name, words in went.items() if course.energies[name] > least)
    return (f"{course.path}: highest voltage across the switch {show(course.v_switch_peak, 'V')}; {ends}; came from the field "
            f"{energy['field_before']}, from the source {energy['source']}; went to: {where}")


@styled
def courses(found: Mapping[str, Interrupted], until: float | None = None, *, onto: Figure | None = None) -> Figure:
    """Coil current and voltage across the switch of up to four interruptions of coils on the same source.

    `found`: a label for each. `until` (s): where the picture ends, by default with the last of them. A course ends where
    its current has come to rest, unless stray capacitance goes on ringing. `onto` as in `curves.rows`.
    """
    waves = {label: course.waveforms(600) for label, course in found.items()}
    until = until or max(wave.time[-1] for wave in waves.values())
    seen = {label: wave.time <= until for label, wave in waves.items()}
    v_in = next(iter(found.values())).coil.v_in
    currents, volts = ({label: (wave.time[seen[label]], getattr(wave, name)[seen[label]]) for label, wave in waves.items()}
                       for name in ("i_inductor", "v_switch"))
    lower = {"level": {"source voltage": v_in}}
    return rows(np.array([0.0, until]), [(currents, ("coil current", "A")), (volts, ("voltage across the switch", "V"), lower)],
                along=("time since the switch opened", "s"), heights=[1.6, 1.9],
                says="; ".join(f"{label}: {reading(course)}" if label else reading(course) for label, course in found.items()),
                onto=onto)  # fmt: skip


def opening(coil: Coil, paths: Mapping[str, float]) -> Panel:
    """Pick what carries the current of a coil when its switch opens, and move its value, the current and the inductance.

    `paths`: for each of PATHS that is offered its value, the first the one that it starts with.
    """
    sliders = [Choice("connected", "connected", {pick: PATHS[pick][0] for pick in paths})]
    for pick, value in paths.items():
        _, name, text, unit = PATHS[pick]
        foot = coil.v_in if pick == "clamp" else 0.0  # a clamp across the switch must stay above the source
        low, high = foot + (value - foot) / 10, foot + 10 * (value - foot)
        sliders.append(Slider(name, text, unit, low, high, value, logarithmic=True, when=("connected", pick)))
    sliders += [_slider("i_start", "current at the opening", coil.i_start), _slider("inductance", "inductance", coil.inductance)]

    def compute(connected, i_start, inductance, **values):
        return course_of(replace(coil, i_start=i_start, inductance=inductance), connected, values[PATHS[connected][1]])

    def draw_one(course, onto):
        return courses({"": course}, _round(course.duration), onto=onto)

    return Panel(compute, draw_one, sliders)


def _round(time: float) -> float:
    """Where the time axis ends: one of three steps a decade, so that it rarely moves under a slider."""
    return preferred(time, "E3", "up")


# --- the switch closes ---

@styled
def rise(time, exact, ramp, *, settles: float, at: float | None = None, onto: Figure | None = None) -> Figure:
    """The current after the switch has closed beside the straight ramp, arrays of shape (n,) along `time` (s), and the
    current at which it `settles` (A). `at`: one of the times, at which both are marked and told."""
    seen = {"exact": exact, "straight ramp": np.where(np.asarray(ramp) <= 1.25 * max(exact), ramp, np.nan)}
    near = max(exact) > 0.6 * settles
    marks = {}
    says = f"coil current over {show(time[-1], 's')}: in the end exact {show(exact[-1], 'A')}, straight ramp {show(ramp[-1], 'A')}"
    if at is not None:
        n = int(np.argmin(np.abs(np.asarray(time) - at)))
        marks = {"opens here": (time[n], exact[n])}
        excess = ramp[n] / exact[n]
        high = f"{show(excess - 1, '%')} high" if excess < 3 else f"{show(excess)} times as high"
        says = (f"after {show(time[n], 's')}: exact {show(exact[n], 'A')}, straight ramp {show(ramp[n], 'A')}, {high}; "
                f"it would settle at {show(settles, 'A')}")
    return curves(np.asarray(time), seen, along=("time since the switch closed", "s"), of=("coil current", "A"), marks=marks,
                  level={"where it settles": settles} if near else {}, bottom=0.0, height=2.4, says=says, onto=onto)  # fmt: skip


def closing(coil: Coil, time: float) -> Panel:
    """How the current of a coil builds up: its source, inductance, resistance and the time for which the switch is closed.
    `coil.r_inductor` stands for all resistance in the way."""
    longest = 5 * coil.inductance / coil.r_inductor
    sliders = [_slider("v_in", "source voltage", coil.v_in), _slider("inductance", "inductance", coil.inductance),
               _slider("r_loop", "resistance in the way", coil.r_inductor),
               Slider("t", "switch closed for", "s", time / 10, max(longest, 10 * time), time, logarithmic=True)]

    def compute(t, **values):
        bend = np.linspace(0.0, min(5 * values["inductance"] / values["r_loop"], _round(1.5 * t)), 101)
        times = np.union1d(np.append(bend, t), np.linspace(0.0, _round(1.5 * t), 51))
        exact, ramp = (law().formula(t=times, **{q.name: values[q.name] for q in law().formula.inputs if q.name != "t"})
                       for law in (kick.charging, kick.charging_ramp))
        return times, exact, ramp, kick.charging_end().formula(v_in=values["v_in"], r_loop=values["r_loop"]), t

    def draw_rise(numbers, onto):
        times, exact, ramp, settles, at = numbers
        return rise(times, exact, ramp, settles=settles, at=at, onto=onto)

    return Panel(compute, draw_rise, sliders)


def _slider(name: str, text: str, start: float) -> Slider:
    """A slider over the usual range of a letter, widened to half and twice the example's value."""
    usual = known(name).usual
    low, high = min(usual[0], start / 2), max(usual[1], 2 * start)
    return Slider(name, text, known(name).unit, low, high, start, logarithmic=low > 0 and high > 20 * low)
