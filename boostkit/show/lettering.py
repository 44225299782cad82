"""Words on a picture, each drawn once and then put where it is wanted, on whole dots.

Matplotlib lays out and draws a word anew, letter by letter, at every drawing; under a slider that would be most of the
time, since numbers on axes and most labels stay as they are while curves move.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg, get_hinting_flag
from matplotlib.colors import to_rgba
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font


@dataclass(frozen=True)
class Word:
    """A word as drawn: how dark each dot is (0 to 255), where they begin, its width, height and depth below the line, in
    dots."""

    dots: np.ndarray
    begin: float
    width: float
    height: float
    depth: float


@lru_cache(1024)
def _word(text: str, path: str, size: float, dpi: float, hinting) -> Word:
    font = _font(path, size, dpi)
    font.set_text(text, 0.0, flags=hinting)
    font.draw_glyphs_to_bitmap(antialiased=True)
    width, height = (side / 64 for side in font.get_width_height())
    return Word(np.array(font.get_image()), font.get_bitmap_offset()[0] / 64, width, height, font.get_descent() / 64)


@lru_cache(32)
def _font(path: str, size: float, dpi: float) -> FT2Font:
    """A font of our own, one for each size: setting the size is dear, and a font that matplotlib draws with as well would
    keep the place of its last letter."""
    font = FT2Font(path)
    font.set_size(size, dpi)
    return font


@lru_cache(64)
def _path(family: tuple, style: str, variant: str, weight, stretch) -> str:
    return findfont(FontProperties(family=list(family), style=style, variant=variant, weight=weight, stretch=stretch))


@lru_cache(512)
def _inked(text: str, path: str, size: float, dpi: float, hinting, color: tuple) -> np.ndarray:
    """A word in a colour, as an image of red, green, blue and opacity."""
    dots = _word(text, path, size, dpi, hinting).dots
    image = np.empty((*dots.shape, 4), np.uint8)
    image[..., :3] = np.round(255 * np.array(color[:3]))
    image[..., 3] = np.round(color[3] * dots)
    return image[::-1].copy()  # Agg puts an image down from its foot


class Renderer(RendererAgg):
    """Agg, with level plain words drawn from a store; words on a slant and formulas go the usual way."""

    def draw_text(self, gc, x, y, s, prop, angle, ismath=False, mtext=None):
        if angle or ismath or not s.strip():
            return super().draw_text(gc, x, y, s, prop, angle, ismath, mtext)
        key = self._key(s, prop)
        word, image = _word(*key), _inked(*key, to_rgba(gc.get_rgb(), gc.get_alpha()))
        self.draw_image(gc, round(x + word.begin), self.height - round(y + word.depth) - 1, image)

    def get_text_width_height_descent(self, s, prop, ismath):
        if ismath or not s.strip():
            return super().get_text_width_height_descent(s, prop, ismath)
        word = _word(*self._key(s, prop))
        return word.width, word.height, word.depth

    def _key(self, s: str, prop: FontProperties) -> tuple:
        path = _path(tuple(prop.get_family()), prop.get_style(), prop.get_variant(), prop.get_weight(), prop.get_stretch())
        return s, path, prop.get_size_in_points(), self.dpi, get_hinting_flag()


class Canvas(FigureCanvasAgg):
    """Agg with such words."""

    def get_renderer(self) -> Renderer:
        if not isinstance(super().get_renderer(), Renderer):
            self.renderer = Renderer(*self.get_width_height(physical=True), self.figure.dpi)
        return self.renderer
