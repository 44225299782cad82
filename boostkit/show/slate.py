"""The picture of a panel in the browser: dots handed over bare and painted at once.

A PNG is opened by the browser in its own time, which a hand on a slider feels as a frame of delay. Nor would fewer bytes
be sooner there: a short message that follows another waits in the server, up to 40 ms, until the browser has
acknowledged the first (Nagle's algorithm, RFC 896, on which the Jupyter server leaves its connections), while one longer
than two segments of the connection is on its way at once.
"""

from __future__ import annotations

from pathlib import Path

import anywidget
import traitlets
from PIL import Image


class Slate(anywidget.AnyWidget):
    """A canvas in the page. `dots` is what it shows, row by row, each dot a number in `palette`, which holds red, green and
    blue of each; `size` is width and height; `words` tell a screen reader what is seen."""

    _esm = Path(__file__).with_suffix(".js").read_text(encoding="utf-8")
    size = traitlets.List([0, 0]).tag(sync=True)
    palette = traitlets.Bytes().tag(sync=True)
    words = traitlets.Unicode().tag(sync=True)
    dots = traitlets.Bytes().tag(sync=True)

    def put(self, picture: Image.Image, words: str) -> None:
        """Show a picture with a palette, and these words with it, in one message."""
        with self.hold_sync():
            self.size, self.palette, self.words = list(picture.size), bytes(picture.getpalette()), words
            self.dots = picture.tobytes()
