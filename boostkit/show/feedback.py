"""The regulator's feedback as a circuit: divider, amplifier, the parts of its network as fitted, reference, comparator.

    feedback.circuit(networks.op_amp(compensator, divider))       every part at its place, with its value

Where each part lies is data (`laid_out`); the symbols come from `schematics`.
"""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes

from ..control.networks import WORDS, Network
from ..units import show
from . import schematics
from .style import BLUE, INK, PLUM, RUST, WIDTH, Figure, styled

TOP, TAP, GROUND, CONTROL = 6.0, 3.0, -1.0, 2.4  # heights, in drawing units
LEAD, DIVIDER, REFERENCE = 0.0, 1.7, 3.5  # of the upright parts, from the left
NOSE = 2.2  # from an amplifier's inputs to its output; the inputs lie NOSE/4 above and below it
LEFT, RIGHT, LOW, HIGH = -2.9, 16.8, -1.95, 7.3
LINE = 1.3  # points, of every wire and symbol
COLORS = {"r_zero": BLUE, "c_zero": BLUE, "c_pole": RUST, "r_lead": PLUM, "c_lead": PLUM}
AGAINST = {"voltage": "a ramp", "current": "the coil current’s signal with its ramp"}  # what the comparator holds the control voltage to
Spot = tuple[float, float]


@dataclass(frozen=True)
class Drawn:
    """A part from `start` to `end`. kind: `resistor`, `capacitor` or `battery`; text: at its middle, on the side `beside`."""

    name: str
    kind: str
    start: Spot
    end: Spot
    text: str
    beside: str = "right"


@dataclass(frozen=True)
class Layout:
    """Where all lies. wires: rows of spots, every spot where something joins among them. amplifier, comparator: where their inverting
    input lies, with the other one NOSE/2 below it, and the output half-way between them, NOSE further right."""

    parts: tuple[Drawn, ...]
    wires: tuple[tuple[Spot, ...], ...]
    amplifier: Spot
    comparator: Spot


def other_input(inverting: Spot) -> Spot:
    """Where an amplifier's other input lies."""
    return inverting[0], inverting[1] - NOSE / 2


def nose(inverting: Spot) -> Spot:
    """Where an amplifier's output lies."""
    return inverting[0] + NOSE, inverting[1] - NOSE / 4


@styled
def circuit(network: Network, control: str = "voltage") -> Figure:
    """The feedback of a regulator with every part of `network`, its value beside it.

    `control`: `voltage` or `current`, for what the comparator holds the control voltage against. Raises ValueError for any other.
    """
    if control not in AGAINST:
        raise ValueError(f'control = "{control}" must be one of {", ".join(AGAINST)}')
    figure = Figure(WIDTH * (HIGH - LOW) / (RIGHT - LEFT), _says(network, control))
    ax, laid = figure.add_axes((0, 0, 1, 1)), laid_out(network)
    for wire in laid.wires:
        ax.plot(*zip(*wire, strict=True), color=INK, linewidth=LINE)
    schematics.place(ax, [(part.kind, part.start, part.end, COLORS.get(part.name, INK)) for part in laid.parts])
    for part in laid.parts:
        _label(ax, part)
    ax.plot(*zip(*_joints(laid), strict=True), "o", color=INK, markersize=3.5)
    _triangles(ax, laid, network, control)
    ax.text(LEAD - 0.75, TOP, "output", ha="right", va="center", weight="bold")
    ax.set(xlim=(LEFT, RIGHT), ylim=(LOW, HIGH))
    ax.axis("off")
    return figure


def laid_out(network: Network) -> Layout:
    """Every part, wire and amplifier of the drawing, at its place."""
    round_it = network.topology == "op-amp"
    amplifier = (5.5 if round_it else 4.1, TAP)
    comparator = (12.4 if round_it else 13.0, nose(amplifier)[1])
    parts, wires = (_across if round_it else _to_ground)(network, amplifier, comparator)
    d, tap, plus = network.divider, (DIVIDER, TAP), other_input(amplifier)
    parts += [
        Drawn("r_top", "resistor", (DIVIDER, TOP), tap, _text("r_top", d.top)),
        Drawn("r_bottom", "resistor", tap, (DIVIDER, GROUND), _text("r_bottom", d.bottom), "left"),
        Drawn("v_ref", "battery", (REFERENCE, plus[1]), (REFERENCE, GROUND), f"reference\n{show(d.v_ref, 'V')}"),
    ]
    wires += [((LEAD - 0.6, TOP), (LEAD, TOP), (DIVIDER, TOP)), (plus, (REFERENCE, plus[1]))]
    beside, more = _lead(network)
    return Layout((*parts, *beside), (*wires, *more), amplifier, comparator)


def _across(network: Network, amplifier: Spot, comparator: Spot):
    """The network between the output and the inverting input of an operational amplifier."""
    left, right, out = 4.5, 9.5, nose(amplifier)
    row = _row(network.parts, (left, TAP + 1.45), (right, TAP + 1.45), "above")
    wires = [((DIVIDER, TAP), (left, TAP), amplifier), (out, (right, out[1]), comparator),
             ((left, TAP), row[0].start), (row[-1].end, (right, out[1]))]  # fmt: skip
    if "c_pole" in network.parts:
        row.append(_part(network.parts, "c_pole", (left, TOP - 0.1), (right, TOP - 0.1), "above"))
        wires += [(row[0].start, row[-1].start), (row[-1].end, row[-2].end)]
    return row, wires


def _to_ground(network: Network, amplifier: Spot, comparator: Spot):
    """The network between the output of a transconductance amplifier and ground."""
    out = nose(amplifier)
    height, first, second = out[1], 6.7, 9.75
    row = _row(network.parts, (first, height), (first, GROUND), "right")
    wires = [((DIVIDER, TAP), amplifier), (out, (first, height), (second, height), comparator)]
    if "c_pole" in network.parts:
        row.append(_part(network.parts, "c_pole", (second, height), (second, GROUND), "right"))
    return row, wires


def _row(parts, start: Spot, end: Spot, beside: str) -> list[Drawn]:
    """Zero resistor and zero capacitor in a row, or the capacitor alone."""
    if "r_zero" not in parts:
        return [_part(parts, "c_zero", start, end, beside)]
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    return [_part(parts, "r_zero", start, middle, beside), _part(parts, "c_zero", middle, end, beside)]


def _lead(network: Network):
    """Lead resistor and lead capacitor in a row, or the capacitor alone, across the top of the divider."""
    parts = network.parts
    if "c_lead" not in parts:
        return [], []
    high, low, middle = (LEAD, TOP), (LEAD, TAP), (LEAD, (TOP + TAP) / 2)
    led = [_part(parts, "r_lead", high, middle, "left")] if "r_lead" in parts else []
    led.append(_part(parts, "c_lead", middle if led else high, low, "left"))
    return led, [(low, (DIVIDER, TAP))]


def _part(parts, name: str, start: Spot, end: Spot, beside: str) -> Drawn:
    return Drawn(name, "resistor" if name[0] == "r" else "capacitor", start, end, _text(name, parts[name]), beside)


def _text(name: str, value: float) -> str:
    words = WORDS[name].replace(" of the ", " of\nthe ")
    return f"{words}\n{_value(name, value)}"


def _value(name: str, value: float) -> str:
    return show(value, "Ω" if name[0] == "r" else "F")


def _joints(laid: Layout) -> list[Spot]:
    """Where three or more ends meet."""
    ends = [spot for part in laid.parts for spot in (part.start, part.end)]
    for wire in laid.wires:
        ends += [wire[0], wire[-1], *(spot for spot in wire[1:-1] for _ in range(2))]
    return sorted({spot for spot in ends if ends.count(spot) > 2})


def _label(ax: Axes, part: Drawn) -> None:
    x, y = (part.start[0] + part.end[0]) / 2, (part.start[1] + part.end[1]) / 2
    at, ha, va = {"right": ((x + 0.55, y), "left", "center"), "left": ((x - 0.55, y), "right", "center"),
                  "above": ((x, y + 0.45), "center", "bottom")}[part.beside]  # fmt: skip
    ax.text(*at, part.text, ha=ha, va=va, fontsize=8, color=COLORS.get(part.name, INK), linespacing=1.1)


def _triangles(ax: Axes, laid: Layout, network: Network, control: str) -> None:
    """Amplifier and comparator, grounds, and what goes in and out there."""
    for at in (laid.amplifier, laid.comparator):
        (x, y), (tip, middle) = at, nose(at)
        corners = ((x, middle + NOSE / 2), (tip, middle), (x, middle - NOSE / 2), (x, middle + NOSE / 2))
        ax.plot(*zip(*corners, strict=True), color=INK, linewidth=LINE)
        for sign, height in (("−", y), ("+", y - NOSE / 2)):
            ax.text(x + 0.3, height, sign, ha="center", va="center")
    schematics.grounds(ax, sorted({spot for part in laid.parts for spot in (part.start, part.end) if spot[1] == GROUND}))
    x, y = other_input(laid.amplifier)
    kind = "operational\namplifier" if network.gm is None else f"transconductance\namplifier, {show(network.gm, 'S')}"
    at, va = ((x + 0.9, y - 0.4), "top") if network.gm is None else ((x + 0.9, y + NOSE / 2 + 0.4), "bottom")
    ax.text(*at, kind, ha="left", va=va, fontsize=8)
    (x, y), (tip, middle) = laid.comparator, nose(laid.comparator)
    ax.text(x + NOSE / 2, middle + NOSE / 2 + 0.1, "comparator", ha="center", va="bottom", fontsize=8)
    ax.text(x - 0.15, y + 0.12, "control voltage" if network.gm is None else "control\nvoltage", ha="right", va="bottom", fontsize=8)
    ax.plot((tip, tip + 1.0), (middle, middle), color=INK, linewidth=LINE)
    ax.text(tip + 0.7, middle + 0.15, "opens\nthe switch", ha="center", va="bottom", fontsize=8)
    other = other_input(laid.comparator)
    ax.plot((other[0], x - 0.3, x - 0.3), (other[1], other[1], GROUND + 0.6), color=INK, linewidth=LINE)
    ax.text(x - 0.3, GROUND + 0.45, AGAINST[control].replace(" signal", "\nsignal"), ha="center", va="top", fontsize=8)


def _says(network: Network, control: str) -> str:
    """All that is drawn, and where it lies, in words."""
    d, fitted = network.divider, {name: f"{WORDS[name]} {_value(name, value)}" for name, value in network.parts.items()}
    zero, lead = (" and ".join(fitted[name] for name in names if name in fitted) + (" in a row" if names[0] in fitted else "")
                  for names in (("r_zero", "c_zero"), ("r_lead", "c_lead")))  # fmt: skip
    pole = f"; beside that {fitted['c_pole']}" if "c_pole" in fitted else ""
    kind, where = (("an operational amplifier", "back to its inverting input") if network.gm is None else
                   (f"a transconductance amplifier of {show(network.gm, 'S')}", "to ground"))  # fmt: skip
    return (f"Feedback with {kind}. From the output to the tap: {WORDS['r_top']} {_value('r', d.top)}"
            f"{f'; beside it {lead}' if lead else ''}. From the tap to ground: {WORDS['r_bottom']} {_value('r', d.bottom)}. "
            f"The tap goes to the inverting input, a reference of {show(d.v_ref, 'V')} to the other. From the amplifier’s output {where}: "
            f"{zero}{pole}. That output is the control voltage. It goes to the comparator’s inverting input, {AGAINST[control]} to the "
            "other; the comparator opens the switch")  # fmt: skip
