"""Live figures: sliders around a picture, drawn anew in the kernel.

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
import traitlets

from .screen import Screen
from .slate import Slate
from .style import DPI, WIDTH, Figure, forget, scale_of, styled

FULL = widgets.Layout(width=f"{round(WIDTH * DPI)}px", max_width="100%")
ASIDE = widgets.Layout(width=FULL.width, max_width="100%", display="none")

WIDE = {"description_width": "17em"}


class Even(widgets.FloatSlider):
    """A slider whose moves the kernel does not send back to the page that made them, which would come before the picture."""

    value = traitlets.CFloat(0.0).tag(sync=True, echo_update=False)


class Decades(widgets.FloatLogSlider):
    """The same over decades."""

    value = traitlets.CFloat(1.0).tag(sync=True, echo_update=False)


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
    when: tuple[str, str] | None = None  # (a Choice, its pick) with which this slider is there; otherwise it rests at its start

    def widget(self) -> tuple[Even | Decades, float]:
        """The slider counting in the prefix that suits its range, and what one of its units is in SI."""
        suits = math.sqrt(self.low * self.high) if self.logarithmic else self.high
        scale, worded = scale_of([suits], self.unit)
        looks = {
            "description": f"{self.words}, {worded}" if worded else self.words,
            "value": self.start / scale, "readout_format": ".3r",
            "layout": FULL, "style": WIDE,
        }  # fmt: skip
        if self.logarithmic:
            low, high, step = self._grid(*(math.log10(x / scale) for x in (self.low, self.high, self.start)))
            return Decades(min=low, max=high, step=step, **looks), scale
        low, high, step = self._grid(self.low / scale, self.high / scale, self.start / scale)
        return Even(min=low, max=high, step=step, **looks), scale

    def _grid(self, low: float, high: float, start: float) -> tuple[float, float, float]:
        """Ends and step with the start on the grid: a browser moves a slider to the nearest step by itself."""
        step = (high - low) / self.steps
        if not self.logarithmic:
            power = 10.0 ** math.floor(math.log10(step))
            step = power * next(n for n in (1, 2, 5, 10) if n * power >= step * (1 - 1e-9))
        below, above = (math.floor(n + 1e-9) for n in ((start - low) / step, (high - start) / step))
        return start - below * step, start + above * step, step


@dataclass(frozen=True)
class Choice:
    """One of several things that the reader picks: its `name` in Python, its `words`, and for each pick what it is called.
    The first is the start."""

    name: str
    words: str
    picks: dict[str, str]

    @property
    def start(self) -> str:
        return next(iter(self.picks))

    def widget(self) -> tuple[widgets.Dropdown, None]:
        """The list to pick from."""
        options = [(words, pick) for pick, words in self.picks.items()]
        return widgets.Dropdown(options=options, value=self.start, description=self.words, layout=FULL, style=WIDE), None


class Panel:
    """Sliders, a picture and a line of readings.

    `compute(**values)` takes the numbers of the sliders in SI units, and what is picked, and returns what `draw(numbers, onto=figure)`
    needs; `draw` returns the Figure, at first with `onto=None`, later the one that it made before. A ValueError of
    `compute` is shown as a line under the picture, which keeps its last good state. `move` moves sliders from Python.
    """

    def __init__(self, compute: Callable[..., Any], draw: Callable[..., Figure], sliders: Sequence[Slider | Choice]):
        self._compute, self._draw = compute, draw
        self._sliders = {slider.name: (slider, *slider.widget()) for slider in sliders}
        self._picks = {slider.name: slider.start for slider in sliders if isinstance(slider, Choice)}
        self._held = False
        if self._picks:
            self._picked()
        self.figure = draw(compute(**self.values), onto=None)
        self._screen = Screen(self.figure)
        self._slate = Slate(layout=FULL)
        self._line = widgets.HTML(layout=FULL)
        self.readings = ""
        button = widgets.Button(description="Reset to example", tooltip="Put every slider back to the example's values")
        button.on_click(lambda _: self.reset())
        self.box = widgets.VBox([*(widget for _, widget, _ in self._sliders.values()), button, self._slate, self._line])
        for _, widget, _ in self._sliders.values():
            widget.observe(self._moved, names="value")
        self._refresh()

    @property
    def values(self) -> dict[str, float | str]:
        """What the sliders stand at, in SI units, and what is picked."""
        return {name: self._value(*parts) for name, parts in self._sliders.items()}

    @staticmethod
    def _value(slider: Slider | Choice, widget, scale: float | None) -> float | str:
        """A slider that stands at its start gives the start itself, free of rounding by its prefix."""
        if scale is None:
            return widget.value
        return slider.start if math.isclose(widget.value, slider.start / scale, rel_tol=1e-9) else widget.value * scale

    @property
    def png(self) -> bytes:
        """The picture as it is shown now."""
        return self.figure.encoded(1)

    def move(self, **values: float | str) -> str:
        """Move sliders to values in SI units, or pick, and draw once; returns the readings."""
        for name in values:
            if name not in self._sliders:
                raise ValueError(f"{name} is no slider of this panel; it has {', '.join(self._sliders)}")
        self._set(values)
        self._moved()
        return self.readings

    def _set(self, values: dict[str, float | str]) -> None:
        """Put widgets in their places without drawing."""
        before, self._held = self._held, True
        try:
            for name, value in values.items():
                _, widget, scale = self._sliders[name]
                widget.value = value if scale is None else value / scale
        finally:
            self._held = before

    def _picked(self) -> None:
        """After a pick: the sliders that belong to it appear, others go back to their start, the axes begin anew."""
        picks = {name: widget.value for name, (_, widget, scale) in self._sliders.items() if scale is None}
        away = {}
        for name, (slider, widget, _) in self._sliders.items():
            there = getattr(slider, "when", None) is None or picks[slider.when[0]] == slider.when[1]
            widget.layout = FULL if there else ASIDE
            if not there:
                away[name] = slider.start
        self._set(away)
        if picks != self._picks:
            self._picks = picks
            self._forget()

    def reset(self) -> str:
        """Put every slider back to the example's value and the axes to where they were; returns the readings."""
        self._forget()
        return self.move(**{name: slider.start for name, (slider, _, _) in self._sliders.items()})

    def _forget(self) -> None:
        for ax in self.figure.axes:
            forget(ax)

    def _moved(self, _change=None) -> None:
        if self._held:
            return
        if self._picks:
            self._picked()
        try:
            numbers = self._compute(**self.values)
        except ValueError as trouble:
            self._tell(str(trouble))
            return
        self._redraw(numbers)

    @styled
    def _redraw(self, numbers) -> None:
        self._draw(numbers, onto=self.figure)
        self._refresh()

    def _refresh(self) -> None:
        """Show the figure as it is now, first its dots, then its words."""
        self._screen.draw()
        self._slate.put(self.figure.toned(), self.figure.says)
        self._tell(self.figure.says)

    def _tell(self, line: str) -> None:
        self.readings = line
        # role="status": a screen reader speaks the line when it changes
        self._line.value = f'<p role="status" style="margin:0;line-height:1.4">{html.escape(line)}</p>'

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict:
        bundle = self.box._repr_mimebundle_()
        return bundle | self.figure._repr_mimebundle_() | {"text/plain": self.readings}
