"""Live figures: sliders around a picture, drawn anew in the kernel. The only home of ipywidgets.

A panel also carries its picture as PNG and its readings as one stable line, so that a notebook that nobody has run yet,
a PDF and a test all get real content.
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import ipywidgets as widgets
import numpy as np

from ..circuit import Converter
from ..circuit.converter import LETTERS
from ..circuit.results import SteadyState
from ..circuit.switched import steady_state, steady_states
from . import figures
from .screen import Screen
from .style import DPI, WIDTH, Figure, forget, scale_of
from .traces import spans, within

FULL = widgets.Layout(width=f"{round(WIDTH * DPI)}px", max_width="100%")


@dataclass(frozen=True)
class Slider:
    """A number that the reader moves: its `name` in Python, its words, its `low`, `high` and `start` in SI units."""

    name: str
    words: str
    unit: str
    low: float
    high: float
    start: float
    steps: int = 100
    logarithmic: bool = False

    def widget(self) -> tuple[widgets.FloatSlider | widgets.FloatLogSlider, float]:
        """The slider counting in the prefix that suits its start, and what one of its units is in SI."""
        scale, worded = scale_of([self.start or self.high], self.unit)
        looks = {
            "description": f"{self.words}, {worded}" if worded else self.words,
            "value": self.start / scale, "readout_format": ".3r",
            "layout": FULL, "style": {"description_width": "14em"},
        }  # fmt: skip
        if self.logarithmic:
            low, high, step = self._grid(*(math.log10(x / scale) for x in (self.low, self.high, self.start)))
            return widgets.FloatLogSlider(min=low, max=high, step=step, **looks), scale
        low, high, step = self._grid(self.low / scale, self.high / scale, self.start / scale)
        return widgets.FloatSlider(min=low, max=high, step=step, **looks), scale

    def _grid(self, low: float, high: float, start: float) -> tuple[float, float, float]:
        """Ends and step with the start on the grid: a browser moves a slider to the nearest step by itself."""
        step = (high - low) / self.steps
        if not self.logarithmic:
            power = 10.0 ** math.floor(math.log10(step))
            step = power * next(n for n in (1, 2, 5, 10) if n * power >= step * (1 - 1e-9))
        below, above = (math.floor(n + 1e-9) for n in ((start - low) / step, (high - start) / step))
        return start - below * step, start + above * step, step


class Panel:
    """Sliders, a picture and a line of readings.

    `compute(**values)` takes the numbers of the sliders in SI units and returns what `draw(numbers, onto=figure)`
    needs; `draw` returns the Figure, at first with `onto=None`, later the one that it made before. A ValueError of
    `compute` is shown as a line under the picture, which keeps its last good state. `move` moves sliders from Python.
    """

    def __init__(self, compute: Callable[..., Any], draw: Callable[..., Figure], sliders: Sequence[Slider]):
        self._compute, self._draw = compute, draw
        self._sliders = {slider.name: (slider, *slider.widget()) for slider in sliders}
        self.figure = draw(compute(**self.values), onto=None)
        self._screen = Screen(self.figure)
        self._image = widgets.Image(format="png", layout=FULL)
        self._line = widgets.HTML(layout=FULL)
        self.readings = ""
        button = widgets.Button(description="Reset to example", tooltip="Put every slider back to the example's values")
        button.on_click(lambda _: self.reset())
        self.box = widgets.VBox([*(widget for _, widget, _ in self._sliders.values()), button, self._image, self._line])
        self._held = False
        for _, widget, _ in self._sliders.values():
            widget.observe(self._moved, names="value")
        self._tell(self.figure.says)
        self._image.value = self._screen.png()

    @property
    def values(self) -> dict[str, float]:
        """What the sliders stand at, in SI units."""
        return {name: self._value(*parts) for name, parts in self._sliders.items()}

    @staticmethod
    def _value(slider: Slider, widget, scale: float) -> float:
        """A slider that stands at its start gives the start itself, free of rounding by its prefix."""
        return slider.start if math.isclose(widget.value, slider.start / scale, rel_tol=1e-9) else widget.value * scale

    @property
    def png(self) -> bytes:
        """The picture as it is shown now."""
        return bytes(self._image.value)

    def move(self, **values: float) -> str:
        """Move sliders to values in SI units and draw once; returns the readings."""
        self._held = True
        try:
            for name, value in values.items():
                if name not in self._sliders:
                    raise ValueError(f"{name} is no slider of this panel; it has {', '.join(self._sliders)}")
                _, widget, scale = self._sliders[name]
                widget.value = value / scale
        finally:
            self._held = False
        self._moved()
        return self.readings

    def reset(self) -> str:
        """Put every slider back to the example's value and the axes to where they were; returns the readings."""
        for ax in self.figure.axes:
            forget(ax)
        return self.move(**{name: slider.start for name, (slider, _, _) in self._sliders.items()})

    def _moved(self, _change=None) -> None:
        if self._held:
            return
        try:
            numbers = self._compute(**self.values)
        except ValueError as trouble:
            self._tell(str(trouble))
            return
        self._draw(numbers, onto=self.figure)
        self._image.value = self._screen.png()
        self._tell(self.figure.says)

    def _tell(self, line: str) -> None:
        self.readings = line
        # role="status": a screen reader speaks the line when it changes
        self._line.value = f'<p role="status" style="margin:0;line-height:1.4">{html.escape(line)}</p>'

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict:
        bundle = self.box._repr_mimebundle_()
        return bundle | self.figure._repr_mimebundle_() | {"text/plain": self.readings}


WORDS = {  # letter: what its slider is called
    "v_in": "source voltage",
    "duty": "duty D",
    "f_sw": "switching frequency",
    "peak_current": "current limit",
    "inductance": "inductance",
    "r_inductor": "winding resistance",
    "r_switch": "switch resistance",
    "v_rectifier": "rectifier forward voltage",
    "r_rectifier": "rectifier resistance",
    "capacitance": "output capacitance",
    "r_capacitor": "capacitor series resistance",
    "r_load": "load resistance",
    "i_out": "load current",
}
CURRENT_LIMIT = (0.2, 5.0)  # A; a setting of the drive and no letter of any formula, so its range stands here


def sliders_for(converter: Converter, *letters: str) -> list[Slider]:
    """A slider for each of these letters that this converter has, over the usual range of that quantity, widened where
    the converter's own value lies outside."""
    from ..algebra import known
    from ..derivations import letters as _letters  # noqa: F401  entering the letters in the list of known ones

    own, found = converter.letters(), []
    for name in (letter for letter in letters if letter in own):
        start, unit = own[name], LETTERS[name][2]
        usual = CURRENT_LIMIT if name == "peak_current" else known(name).usual
        low, high = min(usual[0], start), max(usual[1], start)
        found.append(Slider(name, WORDS[name], unit, low, high, start, logarithmic=low > 0 and high > 20 * low))
    return found


OPERATING = ("v_in", "duty", "peak_current", "inductance", "r_load", "i_out")


FOUR_ROWS = ("v_inductor", "i_inductor", ("i_switch", "i_rectifier"), "v_out")  # each row costs 8 ms at every move


def waveforms(converter: Converter, quantities=FOUR_ROWS) -> Panel:
    """Waveforms in steady state under sliders; `quantities` as in `figures.waveforms`."""

    def draw(state, onto):
        return figures.waveforms(state, quantities, onto=onto)

    return _steady(converter, draw, OPERATING)


def two_slopes(converter: Converter) -> Panel:
    """Inductor voltage with its areas, inductor current with its slopes, under sliders."""
    return _steady(converter, figures.two_slopes, OPERATING)


def _steady(converter: Converter, draw: Callable[..., Figure], letters: Sequence[str]) -> Panel:
    return Panel(lambda **v: steady_state(converter.change(**v)), draw, sliders_for(converter, *letters))


def gain(converter: Converter) -> Panel:
    """Gain against duty with this converter's losses, beside 1/(1 - D), and the point where it runs."""
    from ..derivations import switching

    duty = np.linspace(0.0, 0.98, 99)
    lossless = switching.ideal_gain().formula(duty=duty)

    def compute(**values):
        now = converter.change(**values)
        real = steady_states(now, duty=duty).output_voltage.mean / now.source.voltage
        here = steady_state(now).output_voltage.mean / now.source.voltage
        return {"1/(1 − D)": lossless, "with these losses": real}, {"now": (now.switch.duty, here)}

    def draw(numbers, onto):
        return figures.gain(duty, *numbers, peaks=("with these losses",), onto=onto)

    letters = ("duty", "r_inductor", "r_switch", "v_rectifier", "r_load", "i_out")
    return Panel(compute, draw, sliders_for(converter, *letters))


@dataclass(frozen=True)
class Energies:
    """Read off exact waveforms: J into the field and J straight through in one period; (time, energy in the coil)."""

    shares: tuple[float, float]
    course: tuple[np.ndarray, np.ndarray]


def _energies(state: SteadyState) -> Energies:
    wave = state.waveforms()
    into_field = straight = 0.0
    for start, end, kind in spans(wave):
        inside = within(wave.time, start, end)
        time, current = wave.time[inside], wave.i_inductor[inside]
        if kind == "closed":
            into_field += float(np.trapezoid(wave.v_inductor[inside] * current, time))
        else:
            straight += float(np.trapezoid(wave.v_input[inside] * current, time))
    return Energies((into_field, straight), (wave.time, 0.5 * state.converter.inductor.inductance * wave.i_inductor**2))


def energy(converter: Converter) -> Panel:
    """Energy per cycle through the coil's field and straight through, beside the converter as it was at first."""
    first = _energies(steady_state(converter))

    def compute(**values):
        state = steady_state(converter.change(**values))
        both = {"example": first, f"now, {state.mode} conduction": _energies(state)}
        return {case: e.shares for case, e in both.items()}, {case.split(",")[0]: e.course for case, e in both.items()}

    def draw(numbers, onto):
        return figures.energy_cycle(*numbers, onto=onto)

    letters = ("v_in", "duty", "peak_current", "inductance", "f_sw", "r_load", "i_out")
    return Panel(compute, draw, sliders_for(converter, *letters))
