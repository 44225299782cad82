"""What holds for every panel with sliders."""

import io

import numpy as np
from PIL import Image


def moves_and_comes_back(panel, change: dict) -> None:
    """A move changes picture and reading; the quick picture is the full one; the reset gives the very same bytes."""
    picture, reading = panel.png, panel.readings
    assert panel.move(**change) != reading and panel.png != picture
    shown, whole = (np.asarray(Image.open(io.BytesIO(data)).convert("RGB")) for data in (panel.png, panel.figure.png()))
    np.testing.assert_array_equal(shown, whole)
    assert panel.reset() == reading and panel.png == picture
