"""From a figure that keeps its frame to PNG as fast as may be, for pictures that move under a slider."""

from __future__ import annotations

from matplotlib.axes import Axes

from .style import Figure, contents, styled


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
            for artist in _over(ax):
                ax.draw_artist(artist)
        return self.figure.encoded(1)

    def _limits(self) -> list:
        """All that the frame shows: if it is as before, the kept frame still fits."""
        return [(ax.get_xlim(), ax.get_ylim(), ax.get_xlabel(), ax.get_ylabel()) for ax in self.figure.axes]

    def _keep_frame(self) -> None:
        moving = [artist for ax in self.figure.axes for artist in _over(ax)]
        for artist in moving:
            artist.set_animated(True)
        self.figure.canvas.draw()
        self._frame, self._state = self.figure.canvas.copy_from_bbox(self.figure.bbox), self._limits()
        for artist in moving:
            artist.set_animated(False)


def _over(ax: Axes) -> list:
    """What is drawn at every move, in order: the contents, and the spines since tints would cover half their width."""
    return sorted([*ax.spines.values(), *contents(ax)], key=lambda artist: artist.get_zorder())
