"""The circuit in its states: the path that carries current drawn thick and coloured, the rest thin and grey.

schemdraw draws the parts on our axes; it is loaded here only, and only when a circuit is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes

from .style import BLUE, INK, PAPER, PLUM, QUIET, RUST, WIDTH, Figure, styled

HEIGHT = 2.6  # drawing units between the two rails
TELLS = {
    "closed": ("Switch closed", "the coil's field fills,\nthe capacitor feeds the load"),
    "conducting": ("Rectifier conducts", "source and coil feed\ncapacitor and load"),
    "idle": ("Both off", "the coil is empty,\nthe capacitor feeds the load"),
}
COLORS = {"closed": BLUE, "conducting": RUST, "idle": INK}
LOAD_LOOP = PLUM  # the capacitor feeding the load alone


@dataclass(frozen=True)
class Places:
    """Where the upright parts stand, in drawing units from the left."""

    coil: float = 0.0
    input_capacitor: float | None = None
    source: float = 0.0

    @property
    def switch(self) -> float:
        return self.coil + 2.5

    @property
    def capacitor(self) -> float:
        return self.switch + 2.4

    @property
    def load(self) -> float:
        return self.capacitor + 1.3


@styled
def circuit_states(
    states=("closed", "conducting", "idle"), rectifier: str = "diode", input_capacitor: bool = False
) -> Figure:
    """The boost circuit once for each state of `states` (`closed`, `conducting`, `idle`), side by side.

    `rectifier`: `diode` or `switch` (a second switch, drawn open or closed as it stands); with a second switch there is
    no idle state. `input_capacitor` adds one across the source. Raises ValueError for any other name.
    """
    states = (states,) if isinstance(states, str) else tuple(states)
    _check(states, rectifier)
    width = WIDTH / max(len(states), 2)
    figure = Figure(0.78 * width + 0.05)
    for n, state in enumerate(states):
        left = (n + (0.5 if len(states) == 1 else 0)) * width / WIDTH
        ax = figure.add_axes((left, 0, width / WIDTH, 1))
        _circuit(ax, state, rectifier, input_capacitor)
    kind = "a diode" if rectifier == "diode" else "a second switch"
    told = "; ".join(f"{TELLS[s][0].lower()}: {TELLS[s][1]}".replace("\n", " ") for s in states)
    figure.says = f"The boost circuit with {kind} as rectifier, live path marked. {told}"
    return figure


def _check(states: tuple[str, ...], rectifier: str) -> None:
    if rectifier not in ("diode", "switch"):
        raise ValueError(f'rectifier = "{rectifier}" must be "diode" or "switch"')
    for state in states:
        if state not in TELLS:
            raise ValueError(f'state = "{state}" must be one of {", ".join(TELLS)}')
    if rectifier == "switch" and "idle" in states:
        raise ValueError('state = "idle" does not exist with a second switch as rectifier: one of the two is closed')


def _circuit(ax: Axes, state: str, rectifier: str, input_capacitor: bool) -> None:
    """One circuit with its title above and its sentence below."""
    import schemdraw

    at = Places(1.3, 1.3) if input_capacitor else Places()
    drawing = schemdraw.Drawing(canvas=ax, show=False)
    for element in _parts(at, state, rectifier):
        drawing.add(element)
    drawing.draw(show=False)
    for x, y, turn, color in _arrows(at, state):
        ax.plot(x, y, marker=(3, 0, turn), markersize=7, color=color, markeredgecolor=PAPER, zorder=5)
    _write(ax, at, state)
    ax.set(xlim=(-1.3, at.load + 1.0), ylim=(-1.45, HEIGHT + 1.45), aspect="equal")
    ax.axis("off")


def place(ax: Axes, parts) -> None:
    """Draw the symbols of two-ended parts: (`resistor`, `capacitor` or `battery`, start, end, colour) each."""
    import schemdraw
    from schemdraw import elements as elm

    symbols = {"resistor": elm.Resistor, "capacitor": elm.Capacitor, "battery": elm.Battery}
    drawing = schemdraw.Drawing(canvas=ax, show=False)
    for kind, start, end, color in parts:
        drawing.add(symbols[kind]().at(start).to(end).color(color).linewidth(1.3))
    drawing.draw(show=False)


def grounds(ax: Axes, spots) -> None:
    """Draw the symbol of ground at each spot."""
    import schemdraw
    from schemdraw import elements as elm

    drawing = schemdraw.Drawing(canvas=ax, show=False)
    for spot in spots:
        drawing.add(elm.Ground().at(spot).color(INK).linewidth(1.3))
    drawing.draw(show=False)


def _parts(at: Places, state: str, rectifier: str) -> list:
    """Every part and wire, each in the pen of the path that it belongs to in this state."""
    from schemdraw import elements as elm

    feed, pump, out = _paths(state)
    coil_path = feed or pump
    load_path = pump or out

    def part(element, start, end, color):
        return element.at(start).to(end).color(color or QUIET).linewidth(2.2 if color else 1.0)

    top, low = HEIGHT, 0.0
    wires = [
        ((at.source, top), (at.coil, top), coil_path), ((at.source, low), (at.switch, low), coil_path),
        ((at.switch, low), (at.capacitor, low), pump), ((at.capacitor, low), (at.load, low), load_path),
        ((at.capacitor, top), (at.load, top), load_path),
    ]
    drawn = [part(elm.Line(), start, end, color) for start, end, color in wires if start != end]
    gate = elm.Diode() if rectifier == "diode" else elm.Switch(nc=bool(pump))
    drawn += [
        part(elm.Battery(), (at.source, top), (at.source, low), coil_path),
        part(elm.Inductor(), (at.coil, top), (at.switch, top), coil_path),
        part(elm.Switch(nc=bool(feed)), (at.switch, top), (at.switch, low), feed),
        part(gate, (at.switch, top), (at.capacitor, top), pump),
        part(elm.Capacitor(), (at.capacitor, top), (at.capacitor, low), load_path),
        part(elm.Resistor(), (at.load, top), (at.load, low), load_path),
    ]
    if at.input_capacitor is not None:
        drawn.append(part(elm.Capacitor(), (at.input_capacitor, top), (at.input_capacitor, low), coil_path))
    return drawn


def _paths(state: str) -> tuple[str | None, str | None, str | None]:
    """Colours of the three paths, None where no current flows: through the switch, through the rectifier, out of the
    capacitor into the load."""
    return {"closed": (BLUE, None, LOAD_LOOP), "conducting": (None, RUST, None), "idle": (None, None, LOAD_LOOP)}[state]


def _arrows(at: Places, state: str) -> list[tuple[float, float, float, str]]:
    """Arrow heads on the live path: x, y, turn in degrees (0 points up), colour."""
    right, down, left, up = -90, 180, 90, 0
    load = [((at.capacitor + at.load) / 2, HEIGHT, right), ((at.capacitor + at.load) / 2, 0, left)]
    coil = [(at.coil + 0.5, HEIGHT, right), ((at.coil + at.switch) / 2, 0, left)]
    feed, pump, out = _paths(state)
    found = []
    if feed:
        found += [(*spot, feed) for spot in [*coil, (at.switch, 0.55, down)]]
    if pump:
        found += [(*spot, pump) for spot in [*coil, *load, (at.capacitor, HEIGHT - 0.6, down)]]
        found += [(at.switch + 0.5, HEIGHT, right, pump)]
    if out:
        found += [(*spot, out) for spot in [*load, (at.capacitor, HEIGHT - 0.6, up)]]
    return found


def _write(ax: Axes, at: Places, state: str) -> None:
    """Names of the parts, title and sentence."""
    feed, pump, out = _paths(state)
    middle, over = HEIGHT / 2, HEIGHT + 0.55
    names = [
        (at.source - 0.5, middle, r"$V_\mathrm{in}$", "right", feed or pump),
        ((at.coil + at.switch) / 2, over, "$L$", "center", feed or pump),
        (at.switch - 0.35, middle, "$S$", "right", feed),
        ((at.switch + at.capacitor) / 2, over, "rectifier", "center", pump),
        (at.capacitor - 0.55, middle, "$C$", "right", pump or out),
        (at.load + 0.4, middle, "$R$", "left", pump or out),
    ]
    if at.input_capacitor is not None:
        names.append((at.input_capacitor + 0.5, middle, r"$C_\mathrm{in}$", "left", feed or pump))
    for x, y, words, side, color in names:
        ax.text(x, y, words, ha=side, va="center", color=INK if color else QUIET)
    centre = (at.source + at.load) / 2
    ax.text(centre, HEIGHT + 1.2, TELLS[state][0], ha="center", va="center", weight="bold", color=COLORS[state])
    ax.text(centre, -0.35, TELLS[state][1], ha="center", va="top", fontsize=8)
