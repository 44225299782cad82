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

from ..circuit import Converter
from ..circuit.converter import LETTERS
from ..circuit.switched import steady_state
from . import figures
from .style import DPI, WIDTH, Figure, contents, scale_of, styled

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
        low, high = self.low / scale, self.high / scale
        if self.logarithmic:
            low, high = math.log10(low), math.log10(high)
            return widgets.FloatLogSlider(min=low, max=high, step=(high - low) / self.steps, **looks), scale
        return widgets.FloatSlider(min=low, max=high, step=(high - low) / self.steps, **looks), scale


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
        return {
            name: slider.start if widget.value == slider.start / scale else widget.value * scale
            for name, (slider, widget, scale) in self._sliders.items()
        }

    @property
    def png(self) -> bytes:
        """The picture as it is shown now."""
        return self._image.value

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
        """Put every slider back to the example's value; returns the readings."""
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


class Screen:
    """Turns a figure that keeps its frame into PNG quickly: the frame is drawn once, the rest over it each time."""

    def __init__(self, figure: Figure):
        self.figure = figure
        self._frame, self._state = None, None

    @styled
    def png(self) -> bytes:
        """The picture now, written as fast as may be."""
        canvas = self.figure.canvas
        if self._state != self._limits():
            self._keep_frame()
        canvas.restore_region(self._frame)
        for ax in self.figure.axes:
            for artist in [*contents(ax), *(spine for spine in ax.spines.values() if spine.get_visible())]:
                ax.draw_artist(artist)
        return self.figure.encoded(1)

    def _limits(self) -> list:
        """All that the frame shows: if it is as before, the kept frame still fits."""
        return [(ax.get_xlim(), ax.get_ylim(), ax.get_xlabel(), ax.get_ylabel()) for ax in self.figure.axes]

    def _keep_frame(self) -> None:
        moving = [artist for ax in self.figure.axes for artist in contents(ax)]
        for artist in moving:
            artist.set_animated(True)
        self.figure.canvas.draw()
        self._frame, self._state = self.figure.canvas.copy_from_bbox(self.figure.bbox), self._limits()
        for artist in moving:
            artist.set_animated(False)


WORDS = {  # letter: words, lowest and highest as a multiple of the converter's own value, whether it steps in ratios
    "v_in": ("source voltage", 0.5, 1.5, False),
    "inductance": ("inductance", 0.1, 5.0, True),
    "f_sw": ("switching frequency", 0.25, 4.0, True),
    "r_load": ("load resistance", 0.5, 50.0, True),
    "i_out": ("load current", 0.02, 2.0, True),
    "capacitance": ("output capacitance", 0.1, 10.0, True),
    "peak_current": ("current limit", 0.25, 2.0, False),
}
ABSOLUTE = {  # letter: words, lowest, highest in SI units
    "duty": ("duty D", 0.05, 0.95),
    "r_inductor": ("winding resistance", 0.0, 0.5),
    "r_switch": ("switch resistance", 0.0, 0.5),
    "v_rectifier": ("rectifier forward voltage", 0.0, 1.5),
    "r_rectifier": ("rectifier resistance", 0.0, 0.5),
    "r_capacitor": ("capacitor series resistance", 0.0, 0.2),
}


def sliders_for(converter: Converter, *letters: str) -> list[Slider]:
    """A slider for each letter that this converter has, around its own value."""
    own, found = converter.letters(), []
    for letter in letters:
        start, unit = own.get(letter), LETTERS[letter][2]
        if start is None:
            continue
        if letter in ABSOLUTE:
            words, low, high = ABSOLUTE[letter]
            found.append(Slider(letter, words, unit, min(low, start), max(high, start), start))
        else:
            words, low, high, ratio = WORDS[letter]
            found.append(Slider(letter, words, unit, low * start, high * start, start, logarithmic=ratio))
    return found


def waveforms(converter: Converter) -> Panel:
    """Every part's waveforms in steady state under sliders."""
    return _steady(converter, figures.waveforms, "v_in", "duty", "inductance", "r_load", "i_out", "peak_current")


def two_slopes(converter: Converter) -> Panel:
    """Inductor voltage with its areas, inductor current with its slopes, under sliders."""
    return _steady(converter, figures.two_slopes, "v_in", "duty", "inductance", "r_load", "i_out", "peak_current")


def _steady(converter: Converter, draw: Callable[..., Figure], *letters: str) -> Panel:
    return Panel(lambda **v: steady_state(converter.change(**v)), draw, sliders_for(converter, *letters))
