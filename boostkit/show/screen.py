"""A figure that keeps its frame, drawn anew as fast as may be, for pictures that move under a slider."""

from __future__ import annotations

from itertools import pairwise

from matplotlib.axes import Axes
from matplotlib.transforms import Bbox

from .lettering import Canvas
from .style import DPI, Figure, contents, styled

HEAD = 0.33 * DPI  # dots above an axes in which its label stands
FOOT = 0.1 * DPI  # dots below it in which its lowest number may hang
NAMED = 0.42 * DPI  # dots below it that its numbers and the name of its x axis take


class Screen:
    """Draws a figure that keeps its frame quickly: numbers, ticks and names of an axis are drawn when they change, the rest
    over them each time."""

    def __init__(self, figure: Figure):
        self.figure = figure
        self._bands: list[Band] = []

    @styled
    def draw(self) -> None:
        """Bring the figure's canvas up to date."""
        canvas = self.figure.canvas
        if not self._bands:
            canvas.draw()  # makes the canvas and settles all that is settled at a first drawing
            self.figure.patch.draw(canvas.renderer)
            self._bands = [Band(canvas, *stretch) for stretch in _stretches(self.figure)]
        for band in self._bands:
            band.draw()
        for ax in self.figure.axes:
            for artist in _over(ax):
                ax.draw_artist(artist)


class Band:
    """A stretch of the picture with the frame of the axes in it: first empty, then with the x axes, then with the y axes."""

    def __init__(self, canvas: Canvas, box: Bbox, axes: list[Axes]):
        self.canvas, self.box = canvas, box
        self.layers = [[ax.xaxis for ax in axes], [ax.yaxis for ax in axes]]
        self.shown, self.kept = [None, None], [canvas.copy_from_bbox(box), None, None]

    def draw(self) -> None:
        """Put the frame onto the canvas, anew where an axis shows anything else than before."""
        anew = False
        for n, axes in enumerate(self.layers):
            shown = [(axis.get_view_interval().tolist(), axis.get_label_text(), axis.get_scale()) for axis in axes]
            if anew := anew or shown != self.shown[n]:
                self.shown[n] = shown
                self.canvas.restore_region(self.kept[n])
                for axis in axes:
                    axis.draw(self.canvas.renderer)
                self.kept[n + 1] = self.canvas.copy_from_bbox(self.box)
        if not anew:
            self.canvas.restore_region(self.kept[-1])


def _stretches(figure: Figure) -> list[tuple[Bbox, list[Axes]]]:
    """Each row of axes with the stretch of the picture that is its own; one stretch for all where rows do not lie clear
    of one another."""
    width, height = figure.canvas.get_width_height()
    if any(upper.bbox.y0 - _foot(upper) < lower.bbox.y1 + HEAD for upper, lower in pairwise(figure.axes)):
        return [(Bbox([[0, 0], [width, height]]), list(figure.axes))]
    edges = [height, *(round(ax.bbox.y1 + HEAD) for ax in figure.axes[1:]), 0]
    return [(Bbox([[0, low], [width, high]]), [ax]) for (high, low), ax in zip(pairwise(edges), figure.axes, strict=True)]


def _foot(ax: Axes) -> float:
    return NAMED if ax.xaxis.get_label_text() else FOOT


def _over(ax: Axes) -> list:
    """What is drawn at every move, in order: the contents, and the spines since tints would cover half their width."""
    return sorted([*ax.spines.values(), *contents(ax)], key=lambda artist: artist.get_zorder())
