"""An axes that uses its lines, words and areas again when it is drawn anew, as under a slider.

To make an artist takes matplotlib several times as long as to move one, and a figure draws the same kinds of things at
every move. So what an axes lays aside is kept by what it looks like, and comes back with other numbers.
"""

from __future__ import annotations

from collections import defaultdict

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D
from matplotlib.text import Text


class Reusing(Axes):
    """Axes of which `plot`, `axhline`, `text`, `fill_between`, `areas` and `strokes` take up what `lay_aside` took out, where
    there is one of the same looks. Everything else is as in matplotlib."""

    def __init__(self, *args, **kwargs):
        self._spare: dict[str, list[Artist]] = defaultdict(list)
        super().__init__(*args, **kwargs)

    def lay_aside(self, artists) -> None:
        """Take these artists out, and keep those that can come back, with all that ties them to these axes: to cut the ties
        and to make them again would take longer than the rest."""
        for artist in artists:
            if looks := getattr(artist, "_looks", ""):
                self._children.remove(artist)
                self._spare[looks].append(artist)
            else:
                artist.remove()

    def _again(self, kind: str, looks: dict, *more) -> tuple[str, Artist | None]:
        """The name of these looks, and an artist that has them, back in its axes."""
        name = f"{kind} {more} {looks}"
        if not self._spare[name]:
            return name, None
        artist = self._spare[name].pop(0)
        self._children.append(artist)
        return name, artist

    def plot(self, x, y, *style, **looks) -> list[Line2D]:
        name, line = self._again("line", looks, *style)
        if line is None:
            (line,) = super().plot(x, y, *style, **looks)
            line._looks = name
        else:
            line.set_data(*((value if hasattr(value, "__len__") else [value]) for value in (x, y)))
        return [line]

    def axhline(self, y=0, **looks) -> Line2D:
        name, line = self._again("level", looks)
        if line is None:
            line = super().axhline(y, **looks)
            line._looks = name
        else:
            line.set_ydata([y, y])
        return line

    def text(self, x, y, s, transform=None, **looks) -> Text:
        name, text = self._again("text", looks)
        if text is None:
            text = super().text(x, y, s, **looks)
            text._looks = name
        else:  # whatever its user has changed since is put back
            text.set(position=(x, y), text=s, visible=True, rotation=0, **looks)
            if "bbox" not in looks and text.get_bbox_patch() is not None:
                text.set_bbox(None)
        text.set_transform(transform or self.transData)
        return text

    def fill_between(self, x, y1, y2=0, where=None, **looks) -> PolyCollection:
        name, area = self._again("between", looks)
        if area is None:
            area = super().fill_between(x, y1, y2, where, **looks)
            area._looks = name
        else:
            area.set_data(x, y1, y2, where=where)
        return area

    def areas(self, corners, *, across: bool = False, **looks) -> PolyCollection:
        """Areas with these corners, each (n, 2); `across`: their height counts in shares of the axes."""
        name, area = self._again("areas", looks, across)
        if area is None:
            area = PolyCollection(corners, **looks, **({"transform": self.get_xaxis_transform()} if across else {}))
            area._looks = name
            self.add_collection(area, autolim=False)
        else:
            area.set_verts(corners)
        return area

    def strokes(self, ends, **looks) -> LineCollection:
        """Straight strokes between these ends, each (2, 2)."""
        name, lines = self._again("strokes", looks)
        if lines is None:
            lines = LineCollection(ends, **looks)
            lines._looks = name
            self.add_collection(lines, autolim=False)
        else:
            lines.set_segments(ends)
        return lines
