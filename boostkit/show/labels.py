"""Labels at the curves: where to write so that no word touches a curve, another word or the edge."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from matplotlib.text import Text

CELL = 3  # dots of the picture to a cell of the map below
AROUND = np.array([(0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1),
                   (0.6, 1), (-0.6, 1), (0.6, -1), (-0.6, -1)])
ANCHORS = 28  # places along a curve that are tried
GAPS = (4, 10, 18, 30, 45)  # dots between a label and its curve


class Crowd:
    """A map of what stands where in an axes; `inside` tells how much of it lies in a box, in four look-ups."""

    def __init__(self, ax: Axes):
        self.left, self.bottom, self.right, self.top = ax.bbox.extents
        self.shape = (int((self.right - self.left) / CELL) + 2, int((self.top - self.bottom) / CELL) + 2)

    def of(self, *runs: np.ndarray) -> np.ndarray:
        """The map of some runs of points, in dots of the picture, summed up from the lower left corner."""
        counts = np.zeros((self.shape[0] + 1, self.shape[1] + 1))
        for dots in runs:
            cells = ((dots - (self.left, self.bottom)) // CELL).astype(int)
            cells = cells[((cells >= 0) & (cells < self.shape)).all(axis=1)]
            filled = np.zeros(counts.shape, bool)
            filled[cells[:, 0] + 1, cells[:, 1] + 1] = True
            counts += filled
        return counts.cumsum(0).cumsum(1)

    def inside(self, summed: np.ndarray, centres: np.ndarray, half) -> np.ndarray:
        """How many filled cells of a map lie within `half` (width, height) of each centre."""
        low = np.floor((centres - half - (self.left, self.bottom)) / CELL).astype(int)
        high = np.floor((centres + half - (self.left, self.bottom)) / CELL).astype(int) + 1
        (x0, y0), (x1, y1) = (np.clip(c.T, 0, np.array(self.shape)[:, None]) for c in (low, high))
        return summed[x1, y1] - summed[x0, y1] - summed[x1, y0] + summed[x0, y0]

    def off(self, centres: np.ndarray, half) -> np.ndarray:
        """Whether a box of that half size leaves the axes."""
        low, high = (self.left, self.bottom), (self.right, self.top)
        return ((centres - half < low) | (centres + half > high)).any(axis=1)


def place(ax: Axes, wanted: Sequence[tuple[Line2D, str]], **font) -> list[Text]:
    """Write each text beside its curve, at the spot that touches no curve and no other text of this axes."""
    renderer, crowd = ax.figure.canvas.get_renderer(), Crowd(ax)
    runs = {line: _dots(ax, line.get_transform().transform(line.get_xydata())) for line in ax.lines}
    maps = {line: crowd.of(runs[line]) for line, _ in wanted}
    uprights = [_dots(ax, ax.transData.transform(part)) for lines in ax.collections
                if isinstance(lines, LineCollection) for part in lines.get_segments()]
    strokes = crowd.of(*runs.values(), np.vstack([np.zeros((0, 2)), *uprights]))
    taken = [text.get_window_extent(renderer).extents for text in ax.texts]
    placed = []
    for line, words in wanted:
        if not len(runs[line]):  # nan throughout: no curve, no label
            continue
        text = ax.text(0, 0, words, color=line.get_color(), ha="center", va="center", **font)
        size = text.get_window_extent(renderer)
        half = np.array([size.width / 2 + 2, size.height / 2 + 1])
        anchors = runs[line][:: max(1, len(runs[line]) // ANCHORS)]
        others = strokes - maps[line]
        gaps = GAPS if len(line.get_xdata()) == 1 else GAPS[:3]  # a label may stand off a point, not off a curve
        spots, roots, dislike = _spots(gaps, anchors, crowd.inside(others, anchors, 5) > 0, half)
        cost = dislike + 2 * crowd.inside(strokes, spots, half) + 1e3 * crowd.off(spots, half)
        cost += 100 * _covered(spots, half, taken)
        best = spots[_cheapest(cost, partial(_taken_over, crowd, others, spots, roots, half, gaps[-1]))]
        text.set_position(ax.transData.inverted().transform(best))
        taken.append(np.concatenate([best - half, best + half]))
        placed.append(text)
    return placed


def end_labels(ax: Axes, ends: Sequence[tuple[tuple[float, float], str, str]], **font) -> list[Text]:
    """Write a word to the right of each end point ((x, y), text, colour), pushed apart where they would touch."""
    dots = ax.transData.transform([point for point, _, _ in ends])
    order, low = np.argsort(dots[:, 1]), -np.inf
    placed = [ax.text(0, 0, words, color=color, ha="left", va="center", **font) for _, words, color in ends]
    tall = placed[0].get_window_extent(ax.figure.canvas.get_renderer()).height + 2 if placed else 0
    for n in order:
        low = max(dots[n, 1], low + tall)
        placed[n].set_position(ax.transData.inverted().transform((dots[n, 0] + 14, low)))
    return placed


def _dots(ax: Axes, xy: np.ndarray) -> np.ndarray:
    """Points about every three dots along a broken line that is given in dots of the picture."""
    xy = xy[np.isfinite(xy).all(axis=1)]
    left, bottom, right, top = ax.bbox.extents
    xy = np.clip(xy, (left - 50, bottom - 50), (right + 50, top + 50))  # a curve that shoots off needs no more points
    if len(xy) == 1:
        return xy + 5 * AROUND[:8]  # a point stands for its marker
    if not len(xy):
        return xy
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    even = np.linspace(0.0, along[-1], 2 + int(along[-1] / CELL))
    return np.column_stack([np.interp(even, along, xy[:, 0]), np.interp(even, along, xy[:, 1])])


def _spots(gaps, anchors: np.ndarray, shared: np.ndarray, half: np.ndarray) -> tuple[np.ndarray, ...]:
    """Candidate centres of a label, the point of the curve that each belongs to, and how much each is disliked: far
    from the curve or from its middle, or where the curve runs on top of another."""
    away = np.concatenate([AROUND * half + np.sign(AROUND) * gap for gap in gaps])
    far = np.repeat([gap / 20 for gap in gaps], len(AROUND))
    middle = np.abs(np.arange(len(anchors)) - (len(anchors) - 1) / 2) / len(anchors)
    spots = (anchors[:, None, :] + away[None, :, :]).reshape(-1, 2)
    roots = np.repeat(anchors, len(away), axis=0)
    return spots, roots, (far[None, :] + (middle + 5.0 * shared)[:, None]).ravel()


def _cheapest(cost: np.ndarray, extra: Callable[[np.ndarray], np.ndarray], few: int = 48) -> int:
    """Where cost + extra is least, the first if several are. `extra`, which is dear to find out and never negative, is
    asked only for the few spots of least cost, and for more where those cannot settle it."""
    order = np.argsort(cost, kind="stable")
    while True:
        tried = np.sort(order[:few])
        total = cost[tried] + extra(tried)
        best = int(np.argmin(total))
        if few >= len(order) or total[best] < cost[order[few]]:
            return int(tried[best])
        few *= 4


def _taken_over(crowd: Crowd, others: np.ndarray, spots, roots, half, farthest: float, few: np.ndarray) -> np.ndarray:
    """For a few of the spots: how much of another curve lies between a label and its own, which would take it over."""
    spots, roots = spots[few], roots[few]
    reach = np.clip(roots, spots - half, spots + half) - roots
    shares = np.arange(0.1, 1.0, 3 / farthest)[:, None, None]
    way = (shares * reach).reshape(-1, 2)
    hit = (np.abs(way).max(axis=1) > 9) & (crowd.inside(others, np.tile(roots, (len(shares), 1)) + way, 5) > 0)
    return 3.0 * hit.reshape(len(shares), -1).sum(axis=0)


def _covered(spots: np.ndarray, half: np.ndarray, taken: list[np.ndarray]) -> np.ndarray:
    """How many texts a box around each spot would overlap."""
    covered = np.zeros(len(spots))
    for box in taken:
        middle, reach = (box[:2] + box[2:]) / 2, (box[2:] - box[:2]) / 2
        covered += (np.abs(spots - middle) < half + reach).all(axis=1)
    return covered
