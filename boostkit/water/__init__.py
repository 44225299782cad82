"""Water in pipe, valves and vessel. Files in reading order: each builds on those before it.

`pipe` is the noun and its lumped quantities, `surge` the travelling wave and the rigid column in it, `strokes` what a ram
hands out, `ram` the hydraulic ram on the solver of `circuit`, `waves` the same ram with the waves left in, `likeness` where
water and circuit part, `validity` a formula of the pipe against the exact wave.
"""

from .pipe import Closing, Pipe, Vessel, linear_fall, linear_opening, sudden
from .ram import Ram
from .strokes import Strokes
from .surge import Column, Surge, rigid_column, surge

FILES = ("pipe", "surge", "strokes", "ram", "waves", "likeness", "validity")

__all__ = ["Closing", "Column", "Pipe", "Ram", "Strokes", "Surge", "Vessel", "linear_fall", "linear_opening", "rigid_column",
           "sudden", "surge"]  # fmt: skip
