"""Curves of any kind against one another: the general figure of a workbook, numbers in, Figure out.

`curves` draws one picture, `rows` several above one another along the same x axis.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.transforms import Affine2D

from ..units import show
from .labels import place
from .style import BLUE, INK, PENS, PLUM, QUIET, RUST, TINT, Figure, above, count_in, fit, frame, name_axis, ring, styled

Curves = Mapping[str, object]
WORDS = {"fontsize": 8.5}
TINTS = ((TINT["closed"], BLUE), (TINT["conducting"], RUST), (TINT["idle"], PLUM))
NARROW = 20  # dots; no word fits above a narrower stretch


@styled
def curves(
    x, ys: Curves, *, along: tuple[str, str], of: tuple[str, str], marks: Mapping[str, tuple] | None = None,
    spans: Sequence[tuple[float, float, str]] = (), level: Mapping[str, float] | None = None, logarithmic: str = "",
    top: float | None = None, bottom: float | None = None, height: float = 3.0, says: str = "",
    onto: Figure | None = None,
) -> Figure:
    """Curves along one quantity, in SI units, with a label at each.

    `x`: shape (n,). `ys`: for each label an array of shape (n,), nan where there is nothing, or a pair (x, y) of its own;
    at most four, a label of "" stays unwritten. `along`, `of`: what stands on the two axes, as (text, unit). `marks`: a label
    for each point (x, y). `spans`: stretches (start, end, words) of x, tinted and named above. `level`: a label for each
    height at which a thin line runs across. `logarithmic`: the axes that count in decades, "x", "y", "xy" or "".
    `top`, `bottom`: where the y axis ends; by default around the curves. `height` in inches. `says`: the sentence for those
    who cannot see the picture; by default put together from the curves' ends and turning points. `onto`: a figure that the
    same call returned before. Raises ValueError for a fifth curve and for an array of another length than its x.
    """
    row = (ys, of, {"marks": marks, "level": level, "top": top, "bottom": bottom, "logarithmic": "y" in logarithmic})
    return rows(x, [row], along=along, spans=spans, logarithmic="x" in logarithmic, heights=[height], says=says, onto=onto)


@styled
def rows(
    x, stacked: Sequence[tuple], *, along: tuple[str, str], spans: Sequence[tuple[float, float, str]] = (),
    logarithmic: bool = False, heights: Sequence[float] | None = None, says: str = "", onto: Figure | None = None,
) -> Figure:
    """Rows of curves above one another along one x axis.

    `stacked`: for each row (ys, of), or (ys, of, more) where `more` holds `marks`, `level`, `top`, `bottom` as in `curves`
    and `logarithmic` as True or False for its y axis. `spans` run through all rows. `logarithmic`: whether x counts in
    decades. `heights` in inches, one a row. The rest as in `curves`.
    """
    heights = heights or [2.2 if len(stacked) == 1 else 1.5 if len(stacked) == 2 else 1.1] * len(stacked)
    figure, axes = frame(heights, top=0.6 if spans else 0.35, onto=onto)
    pairs = [{label: _pair(x, label, y) for label, y in row[0].items()} for row in stacked]
    across = np.concatenate([xs[np.isfinite(xs)] for row in pairs for xs, _ in row.values()])
    for ax in axes:
        count_in(ax, "x", logarithmic)
        fit(ax, across.min(), across.max(), which="x", pad=0.0)
    name_axis(axes[-1].xaxis, *along)
    _name_spans(axes[0], spans)
    said = []
    for ax, row, (_, of, *more) in zip(axes, pairs, stacked, strict=True):
        said.append(_row(ax, row, along, of, spans, **(more[0] if more else {})))
    figure.says = says or "; ".join(said)
    return figure


def _pair(x, label: str, y) -> tuple[np.ndarray, np.ndarray]:
    """A curve's own x and y, or the common x and its y."""
    xs, ys = (np.asarray(part, float) for part in (y if isinstance(y, tuple) else (x, y)))
    if xs.shape != ys.shape or xs.ndim != 1:
        raise ValueError(f"curve '{label}' has {ys.shape} values along {xs.shape} of x; both must be (n,)")
    return xs, ys


def _row(
    ax: Axes, pairs: Mapping[str, tuple[np.ndarray, np.ndarray]], along, of, spans, *, marks=None, level=None, top=None,
    bottom=None, logarithmic=False,
) -> str:
    """One row; returns its words."""
    if len(pairs) > len(PENS):
        raise ValueError(f"{len(pairs)} curves in one row: at most {len(PENS)} can be told apart in black and white")
    count_in(ax, "y", logarithmic)
    marks, level = marks or {}, level or {}
    _heights(ax, [*(y for _, y in pairs.values()), *(y for _, y in marks.values()), *level.values()], top, bottom)
    _tint(ax, spans)
    low, high = ax.get_ylim()
    if low < 0 < high:
        ax.axhline(0, color=QUIET, linewidth=0.7, zorder=1)
    wanted = [(ring(ax, x, y), label) for label, (x, y) in marks.items()]
    wanted += [(ax.plot(x, y, **pen.line, label=label)[0], label)
               for pen, (label, (x, y)) in zip(PENS, pairs.items(), strict=False)]
    wanted += [(_level(ax, height), label) for label, height in level.items()]
    name_axis(ax.yaxis, *of)
    place(ax, [(line, label) for line, label in wanted if label], **WORDS)
    return _say(pairs, marks, level, along, of)


def _heights(ax: Axes, values: list, top, bottom) -> None:
    """Limits of y around all that is drawn, or where the caller wants them."""
    flat = np.concatenate([np.ravel(np.asarray(value, float)) for value in values])
    flat = flat[np.isfinite(flat) & ((flat > 0) | (ax.get_yscale() != "log"))]
    low, high = (flat.min(), flat.max()) if len(flat) else (0.0, 1.0)
    fit(ax, low if bottom is None else bottom, high if top is None else top, pad=0.12)
    if bottom is not None:
        ax.set_ylim(bottom=bottom)
    if top is not None:
        ax.set_ylim(top=top)


def _level(ax: Axes, height: float) -> Line2D:
    """A thin line from side to side. Drawn with ends of its own, so that a label can find it."""
    return ax.plot(ax.get_xlim(), [height] * 2, color=INK, linewidth=1.0, linestyle=(0, (8, 3)), zorder=1.5)[0]


def _tint(ax: Axes, spans) -> None:
    """The stretches in three tints by turns, each tint one artist, since every artist costs time under a slider."""
    for n, (tint, _) in enumerate(TINTS):
        boxes = [[(start, 0), (start, 1), (end, 1), (end, 0)] for start, end, _ in spans[n :: len(TINTS)]]
        if boxes:
            ax.areas(boxes, across=True, facecolor=tint, edgecolor="none", zorder=0)


def _name_spans(ax: Axes, spans) -> None:
    """The words of each stretch above it, where they fit."""
    for n, (start, end, words) in enumerate(spans):
        left, right = np.clip(ax.transData.transform([(start, 0 if ax.get_yscale() == "linear" else 1), (end, 1)])[:, 0],
                              ax.bbox.x0, ax.bbox.x1)  # fmt: skip
        if right - left < NARROW:
            continue
        text = ax.text((left + right) / 2 - ax.bbox.x0, 1, words, transform=above(ax, 0.3, across=_dots_from_left(ax)),
                       ha="center", va="bottom", fontsize=8, weight="bold", color=TINTS[n % 3][1])
        text.set_visible(text.get_window_extent(ax.figure.canvas.get_renderer()).width < right - left)


def _dots_from_left(ax: Axes):
    """Sideways in dots of the picture from the left edge of an axes, the same on paper at any resolution."""
    return Affine2D().scale(1 / ax.bbox.width, 1) + ax.transAxes


def _say(pairs, marks, level, along, of) -> str:
    """Ends and turning points of each curve, marks and levels, in words."""
    parts = [f"{label or of[0]} {_course(x, y, along[1], of[1])}" for label, (x, y) in pairs.items()]
    parts += [f"{label}: {show(float(y), of[1])} at {show(float(x), along[1])}".replace("\n", " ")
              for label, (x, y) in marks.items() if np.ndim(x) == 0]
    parts += [f"{label}: {show(height, of[1])}" for label, height in level.items()]
    return f"{of[0]} against {along[0]}: " + ", ".join(parts)


def _course(x: np.ndarray, y: np.ndarray, x_unit: str, y_unit: str) -> str:
    """Where a curve begins and ends, and its highest and lowest point where that lies between."""
    there = np.isfinite(x) & np.isfinite(y)
    if not there.any():
        return "nowhere"
    x, y = x[there], y[there]
    words = f"from {show(y[0], y_unit)} at {show(x[0], x_unit)} to {show(y[-1], y_unit)} at {show(x[-1], x_unit)}"
    margin = 1e-3 * np.ptp(y)
    for at, word, gap in ((np.argmax(y), "highest", y.max() - max(y[0], y[-1])), (np.argmin(y), "lowest", min(y[0], y[-1]) - y.min())):
        if gap > margin:
            words += f" ({word} {show(y[at], y_unit)} at {show(x[at], x_unit)})"
    return words
