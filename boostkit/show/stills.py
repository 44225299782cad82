"""A moving picture held still, for paper: the shapes of `shapes` drawn with matplotlib, as `player.js` draws them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle

from .courses import Course
from .scenes import scene
from .shapes import HIGH, WIDE
from .style import DPI, INK, PAPER, QUIET, WIDTH, Figure, styled

POINT = 72 / DPI  # a dot of the picture in points


@styled
def still(courses: Sequence[Course], share: float) -> Figure:
    """The pictures side by side at one share of their periods: 0 where the switch closes and the waste valve opens."""
    return _sheet([(course, share) for course in courses])


@styled
def strip(courses: Sequence[Course], shares: Sequence[float]) -> Figure:
    """The pictures at several instants, one below the other."""
    return _sheet([(course, share) for share in shares for course in courses], len(courses))


def _sheet(cells: list[tuple[Course, float]], columns: int | None = None) -> Figure:
    columns = columns or len(cells)
    rows, gap = math.ceil(len(cells) / columns), (WIDTH * DPI - 2 * WIDE) / 2
    high = rows * (HIGH + gap)
    figure = Figure(high / DPI)
    for number, (course, share) in enumerate(cells):
        left = gap / 2 + (number % columns) * (WIDE + gap) + (WIDE + gap) / 2 * (columns == 1)
        below = high - (number // columns + 1) * (HIGH + gap) + gap / 2
        ax = figure.add_axes((left / WIDTH / DPI, below / high, WIDE / WIDTH / DPI, HIGH / high))
        ax.set(xlim=(0, WIDE), ylim=(HIGH, 0))
        ax.axis("off")
        draw(ax, scene(course), course.at(share))
    figure.says = ". ".join(f"{course.title}, {course.reading(share)}" for course, share in cells)
    return figure


def draw(ax: Axes, shapes: Sequence[dict], now: dict[str, float]) -> None:
    """Every shape at one instant; `now` holds a number for each array of the course."""
    for order, shape in enumerate(shapes):
        when = shape.get("when")
        if when is None or now[when[0]] == when[1]:
            DRAWERS[shape["do"]](ax, shape, now, order)


def _path(ax: Axes, shape: dict, now: dict, order: int) -> None:
    points, ink, width = _placed(shape, now), shape["ink"], shape["width"]
    if "tone" in shape:
        tone = int(now[shape["tone"]])
        ink, width = shape["tones"][tone], shape.get("live", width) if tone else width
    dash = (0, tuple(d / width for d in shape["dash"])) if shape.get("dash") else "-"
    if shape.get("shut"):
        ax.add_patch(Polygon(points, closed=True, facecolor=shape["fill"] or "none", edgecolor=ink or "none",
                             linewidth=width * POINT, joinstyle="miter", zorder=order))
    else:
        ax.plot(*points.T, color=ink, linewidth=width * POINT, linestyle=dash, solid_capstyle="butt", dash_capstyle="butt",
                solid_joinstyle="round", zorder=order)


def _placed(shape: dict, now: dict) -> np.ndarray:
    """The points of a path where its arrays have moved it."""
    points = np.array(shape["points"], float)
    if "slide" in shape:
        by, across, down = shape["slide"]
        points = points + now[by] * np.array([across, down])
    if "turn" in shape:
        by, x, y, closed, opened = shape["turn"]
        angle = math.radians(closed + now[by] * (opened - closed))
        turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
        points = (points - (x, y)) @ turn + (x, y)
    return points


def _bar(ax: Axes, shape: dict, now: dict, order: int) -> None:
    x, y, wide, high = shape["box"]
    full = high * now[shape["by"]]
    ax.add_patch(Rectangle((x, y + high - full), wide, full, facecolor=shape["fill"], linewidth=0, zorder=order))
    if shape.get("top"):
        ax.plot([x, x + wide], [y + high - full] * 2, color=shape["top"], linewidth=1.2 * POINT, zorder=order)


def _marks(ax: Axes, shape: dict, now: dict, order: int) -> None:
    """Arrow heads the way the flow goes; pale dots where it stands still."""
    way, ink = now[shape["way"]], shape["tones"][int(now[shape["tone"]])]
    for x, y, along in _spots(shape, now[shape["move"]]):
        if way == 0:
            ax.plot(x, y, "o", markersize=3.2 * POINT, color=PAPER, markeredgecolor=QUIET, markeredgewidth=1.0 * POINT, zorder=order)
            continue
        forth = np.array([math.cos(along), math.sin(along)]) * way
        across = np.array([-forth[1], forth[0]])
        tip = np.array([(5.0, 0.0), (-4.0, 4.2), (-4.0, -4.2)])
        ax.add_patch(Polygon([(x, y) + a * forth + b * across for a, b in tip], facecolor=ink, edgecolor=PAPER,
                             linewidth=0.8 * POINT, zorder=order))


def _spots(shape: dict, moved: float):
    """Where marks stand on a path after it has moved so far: x, y and the direction of the path there."""
    points = np.array(shape["points"])
    pieces = np.diff(points, axis=0)
    lengths = np.hypot(*pieces.T)
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    for at in np.arange(moved % shape["spacing"], ends[-1], shape["spacing"]):
        if not any(start <= at <= end for start, end in shape["gaps"]):
            k = min(int(np.searchsorted(ends, at, "right")) - 1, len(pieces) - 1)
            x, y = points[k] + (at - ends[k]) / lengths[k] * pieces[k]
            yield x, y, math.atan2(pieces[k][1], pieces[k][0])


def _words(ax: Axes, shape: dict, now: dict, order: int) -> None:
    ax.text(*shape["at"], shape["text"], color=shape["ink"], fontsize=shape["size"] * POINT, ha=shape["align"],
            va="center_baseline", weight="bold" if shape["bold"] else "normal", zorder=order)


def _playhead(ax: Axes, shape: dict, now: dict, order: int) -> None:
    left, top, right, bottom = shape["box"]
    x, (high, low) = left + now[shape["by"]] * (right - left), shape["dot"]
    ax.plot([x, x], [top, bottom], color=INK, linewidth=1.2 * POINT, zorder=order)
    ax.plot(x, low - now[shape["height"]] * (low - high), "o", markersize=6 * POINT, color=shape["fill"],
            markeredgecolor=INK, markeredgewidth=1.6 * POINT, zorder=order)


DRAWERS = {"path": _path, "bar": _bar, "marks": _marks, "words": _words, "playhead": _playhead}
