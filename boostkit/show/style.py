"""How every picture looks: one palette, one frame, and the Figure that a workbook shows.

Pictures are drawn on Agg without pyplot, and matplotlib's settings hold only while a picture is being made.
"""

from __future__ import annotations

import io
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, wraps
from itertools import product

import matplotlib
import matplotlib.figure
import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.colors import to_hex, to_rgb
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MaxNLocator, NullFormatter
from matplotlib.transforms import ScaledTranslation, Transform, blended_transform_factory
from PIL import Image

from ..units import show
from .lettering import Canvas
from .reuse import Reusing

WIDTH, DPI = 7.0, 100  # inches and dots per inch: 700 dots, the width that a workbook gives an image
MARGIN = 0.12  # inches from the edge at which axis labels begin
INK, QUIET, PAPER = "#22262b", "#8b9198", "#ffffff"
BLUE, RUST, PLUM, MOSS = "#15508f", "#c8581a", "#7b2d5e", "#6d8f2b"  # dark, middle, darkest, light: apart in grey too
RING = {"color": INK, "markersize": 6, "markerfacecolor": PAPER, "markeredgewidth": 1.6, "zorder": 5}
BARE, DOTS = "#eeeeee", "#c4c8cc"  # where a formula promises nothing
TINT = {"closed": "#dde7f1", "conducting": "#fbeede", "idle": "#f0f0f0"}

SETTINGS = {
    "font.family": "DejaVu Sans", "font.size": 9, "mathtext.fontset": "dejavusans", "text.usetex": False,
    "text.color": INK, "axes.labelcolor": INK, "axes.edgecolor": INK, "xtick.color": INK, "ytick.color": INK,
    "axes.facecolor": "none", "axes.linewidth": 0.8, "axes.spines.top": False, "axes.spines.right": False,
    "axes.labelsize": 9, "xtick.labelsize": 8, "ytick.labelsize": 8, "xtick.major.size": 3, "ytick.major.size": 3,
    "axes.unicode_minus": True, "axes.grid": False, "lines.linewidth": 1.8, "hatch.linewidth": 0.7,
    "text.hinting": "none", "figure.autolayout": False, "figure.constrained_layout.use": False, "savefig.bbox": None,
    "svg.fonttype": "path", "svg.hashsalt": "boostkit",
}


def styled(make):
    """Run a drawing function under `SETTINGS`; whatever the reader has set in matplotlib comes back afterwards. Only the
    outermost of such functions changes anything: matplotlib's own `rc_context` copies all settings at every call."""

    @wraps(make)
    def under_settings(*args, **kwargs):
        if _in_force:
            return make(*args, **kwargs)
        own = {name: matplotlib.rcParams[name] for name in SETTINGS}
        _in_force.append(make)
        try:
            dict.update(matplotlib.rcParams, _checked_settings())
            return make(*args, **kwargs)
        finally:
            dict.update(matplotlib.rcParams, own)
            _in_force.clear()

    return under_settings


@cache
def _checked_settings() -> dict:
    """The settings as matplotlib stores them, read once: to check them at every picture would take a millisecond."""
    with matplotlib.rc_context(SETTINGS):
        return {name: matplotlib.rcParams[name] for name in SETTINGS}


_in_force: list = []  # the function for which the settings were changed, while it runs


@dataclass(frozen=True)
class Pen:
    """How a curve is drawn; no two differ by colour alone."""

    color: str
    dashes: str | tuple = "-"
    marker: str = "o"

    @property
    def line(self) -> dict:
        """As arguments of `Axes.plot`."""
        return {"color": self.color, "linestyle": self.dashes}


PENS = (
    Pen(BLUE, "-", "o"),
    Pen(RUST, (0, (6, 2)), "s"),
    Pen(PLUM, (0, (1.5, 1.5)), "^"),
    Pen(MOSS, (0, (6, 2, 1.5, 2)), "D"),
)


@cache
def _palette() -> Image.Image:
    """The 256 colours of a stored picture: every pen fading into every ground. A palette makes PNG three times smaller
    than full colour, and five times quicker to write, which a slider feels."""
    grounds = [PAPER, *TINT.values(), BARE]
    colors = {*grounds, DOTS}
    for ink, ground in product((INK, QUIET, BLUE, RUST, PLUM, MOSS), grounds):
        for share in np.linspace(0.125, 1.0, 8):
            colors.add(to_hex(share * np.array(to_rgb(ink)) + (1 - share) * np.array(to_rgb(ground))))
    picked = sorted(colors)[:256]
    image = Image.new("P", (1, 1))
    image.putpalette([round(255 * part) for color in picked for part in to_rgb(color)])
    return image


class Figure(matplotlib.figure.Figure):
    """A picture of fixed width with one stable sentence, `says`, that tells what it shows and its key readings.

    A workbook stores it as PNG and that sentence; it is also the alternative text. With BOOSTKIT_VECTORS=1 in the
    environment SVG comes along, for the PDF. `height` is in inches.
    """

    def __init__(self, height: float, says: str = ""):
        super().__init__(figsize=(WIDTH, height), dpi=DPI, facecolor=PAPER)
        Canvas(self)
        self.says = says

    def __repr__(self) -> str:
        return self.says

    @styled
    def png(self) -> bytes:
        """The picture as PNG; the same numbers give the same bytes."""
        self.canvas.draw()
        return self.encoded(9)

    def encoded(self, level: int) -> bytes:
        """What the canvas holds now, as PNG compressed at `level` 1 (quick) to 9 (small)."""
        out = io.BytesIO()
        self.toned().save(out, "PNG", compress_level=level)
        return out.getvalue()

    def toned(self) -> Image.Image:
        """What the canvas holds now, each dot a number in the picture's palette."""
        drawn = Image.frombuffer("RGBA", self.canvas.get_width_height(), self.canvas.buffer_rgba()).convert("RGB")
        return drawn.quantize(palette=_palette(), dither=Image.Dither.NONE)

    @styled
    def vector(self) -> bytes:
        """The picture as SVG with letters as outlines; the same numbers give the same bytes."""
        out = io.BytesIO()
        self.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Title": self.says})
        return out.getvalue()

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict:
        data = {"text/plain": self.says, "image/png": self.png()}
        if os.environ.get("BOOSTKIT_VECTORS") == "1":
            data["image/svg+xml"] = self.vector().decode()
        return data

    def _ipython_display_(self) -> None:
        # Once anyone has imported pyplot, IPython renders every matplotlib figure its own way: the bundle goes first.
        from IPython.display import display

        display(self._repr_mimebundle_(), raw=True)


def frame(
    rows: Sequence[float], *, gap=0.45, left=0.6, right=0.25, top=0.35, bottom=0.5, shared=True,
    onto: Figure | None = None,
) -> tuple[Figure, list[Axes]]:
    """A Figure with one axes per row (heights in inches, from the top) and a common width: (figure, list of axes).

    `onto` is a figure that the same call made before: its axes are emptied and used again, so that a panel keeps its
    frame. Margins are fixed, since measuring them would double the time of a redraw. With `shared` the rows have one
    x axis, numbered below the last.
    """
    if onto is not None:
        for ax in onto.axes:
            ax.lay_aside(contents(ax))
        return onto, onto.axes
    height = top + sum(rows) + gap * (len(rows) - 1) + bottom
    figure, edge = Figure(height), height - top
    for row in rows:
        box = (left / WIDTH, (edge - row) / height, (WIDTH - left - right) / WIDTH, row / height)
        ax = figure.add_axes(box, autoscale_on=False, axes_class=Reusing)
        few_ticks(ax.xaxis)
        few_ticks(ax.yaxis)
        ax.tick_params(labelbottom=not shared or len(figure.axes) == len(rows))
        edge -= row + gap
    return figure, figure.axes


def few_ticks(axis: Axis) -> None:
    """Ticks at round numbers, as few as will do."""
    axis.set_major_locator(MaxNLocator(6 if axis.axis_name == "x" else 4, steps=[1, 2, 5, 10], min_n_ticks=2))


def count_in(ax: Axes, which: str, decades: bool) -> None:
    """Let the `x` or `y` axis count in decades, or evenly; nothing is done to an axis that does so already."""
    axis = ax.xaxis if which == "x" else ax.yaxis
    if (axis.get_scale() == "log") == decades:
        return
    (ax.set_xscale if which == "x" else ax.set_yscale)("log" if decades else "linear")
    setattr(ax, f"fitted_{which}", False)
    if decades:
        axis.set_minor_formatter(NullFormatter())
    else:
        few_ticks(axis)


def ring(ax: Axes, x, y) -> Line2D:
    """A ring at each point, whole at the edge of the axes, and none where a point lies beyond its limits."""
    low, high = ax.get_ylim()
    within = bool(np.all((np.asarray(y) >= low) & (np.asarray(y) <= high)))
    return ax.plot(x, y, "o", **RING, clip_on=not within)[0]


def contents(ax: Axes) -> list:
    """What was drawn into an axes, its frame left out, in drawing order."""
    drawn = [*ax.lines, *ax.collections, *ax.patches, *ax.texts, *ax.images]
    return sorted(drawn, key=lambda artist: artist.get_zorder())


def fit(ax: Axes, low: float, high: float, *, which: str = "y", pad: float = 0.1) -> None:
    """Limits around low ... high. Limits that still frame it well stay, so that under a slider the curve moves and
    not the axis."""
    axis = ax.yaxis if which == "y" else ax.xaxis
    there, back = (np.log, np.exp) if axis.get_scale() == "log" else (float, float)  # in decades, room is a factor
    low, high = there(low), there(high)
    if getattr(ax, f"fitted_{which}", False):
        old_low, old_high = (there(end) for end in axis.get_view_interval())
        if old_low <= low and high <= old_high and high - low > 0.3 * (old_high - old_low):
            return
    span = (high - low) or max(abs(high), 1e-12)
    (ax.set_ylim if which == "y" else ax.set_xlim)(back(low - pad * span), back(high + pad * span))
    setattr(ax, f"fitted_{which}", True)


def forget(ax: Axes) -> None:
    """Let the next `fit` choose its limits as on a fresh axes."""
    ax.fitted_x = ax.fitted_y = False


def scale_of(limits: Sequence[float], unit: str) -> tuple[float, str]:
    """The scale in which numbers up to these limits read best, and its unit in words: (1e-6, "µs")."""
    if unit in ("", "%"):
        return (0.01 if unit else 1.0), unit
    largest = max(abs(value) for value in limits) or 1.0
    scale = 10.0 ** (3 * math.floor(math.log10(largest * 1.0000001) / 3))
    number, worded = show(scale, unit).split(" ", 1)
    return (scale, worded) if number == "1" else (1.0, unit)  # a unit that takes no prefix


def name_axis(axis: Axis, text: str, unit: str = "") -> None:
    """Write an axis label with its unit and let the ticks count in the prefix that suits the limits.

    The label of a vertical axis lies above it, to be read without turning the head. Unit `%` counts shares of one.
    """
    limits = axis.get_view_interval()
    if axis.get_scale() == "log":
        limits = [float(np.sqrt(np.prod(limits)))]  # decades on both sides of the middle
    scale, worded = scale_of(limits, unit)
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{round(value / scale, 9):.6g}".replace("-", "−")))
    axis.set_label_text(f"{text}, {worded}" if worded else text)
    if axis.axis_name == "y":
        axis.label.set(rotation=0, ha="left", va="bottom")
        axis.set_label_coords(MARGIN, 1.0, transform=above(axis.axes, 0.08, across=axis.axes.figure.dpi_scale_trans))
    else:
        axis.label.set(ha="right")
        axis.label.set_x(1.0)


def above(ax: Axes, inches: float, across: Transform | None = None) -> Transform:
    """Where to write above an axes: `inches` over its top edge; sideways its own x values, or another transform's."""
    upright = ax.transAxes + ScaledTranslation(0, inches, ax.figure.dpi_scale_trans)
    return blended_transform_factory(across or ax.transData, upright)
