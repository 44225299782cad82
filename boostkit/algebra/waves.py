"""Reasons about small swings: an equation's own swing about an operating point; size and angle of a ratio written in s.

In s, the rate of a swing e^(st), a slope in time is s times what swings. A sine wave is such a swing with s = jω, where j² = −1.
The ratio is then a complex number: its size is the height of the one wave over that of the other, its angle is how far the one
leads the other.
"""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from dataclasses import dataclass

import sympy as sp

from boostkit.algebra.quantity import known
from boostkit.algebra.reasons import Reason, Sides, same_sides
from boostkit.algebra.trial import points
from boostkit.algebra.written import Equation, Written


@dataclass(frozen=True)
class Swinging(Reason):
    """Both sides replaced by their small swings: the slope in each letter that swings times its swing, all added up."""

    swings: tuple[tuple[str, str], ...]

    @property
    def words(self) -> str:
        return "small swings about an operating point: of each letter, the slope in it times its swing"

    def check(self, new, earlier, before):
        old = earlier[0]
        same_sides(Sides(self._swing(old.lhs), self._swing(old.rhs)), new, "it is not how both sides swing")
        if idle := [name for name, _ in self.swings if known(name).symbol not in old.letters]:
            raise ValueError(f"{' and '.join(idle)} is not in {old.plain}")

    def _swing(self, side: sp.Expr) -> sp.Expr:
        return sum((sp.diff(side, known(name).symbol) * Written(swing).sympy for name, swing in self.swings), sp.Integer(0))


@dataclass(frozen=True)
class OfWave(Reason):
    """The base of both: the right side before with s = jω put in; the new left side is a letter of its own."""

    omega: str

    def _ratio(self, new: Equation, earlier: Sequence[Equation], before: set[str]) -> sp.Expr:
        s, ratio = known("s").symbol, earlier[0].rhs
        if s not in ratio.free_symbols:
            raise ValueError(f"there is no s in {earlier[0].plain}")
        if not new.lhs.is_Symbol or new.lhs.name in before or new.lhs in new.rhs.free_symbols:
            raise ValueError("a new letter must stand alone on the left side")
        return ratio.subs(s, sp.I * Written(self.omega).sympy)


@dataclass(frozen=True)
class Size(OfWave):
    @property
    def words(self) -> str:
        return f"the size of the ratio at s = j · {Written(self.omega).plain}"

    def check(self, new, earlier, before):
        ratio = self._ratio(new, earlier, before)
        square = ratio * ratio.subs(sp.I, -sp.I)
        same_sides(Sides(new.lhs, sp.simplify(square)), Sides(new.lhs, new.rhs**2), "squared, it is not the size of the ratio")
        for point in points(new.rhs.free_symbols, new.text, 10):
            if float(new.rhs.subs(point)) < 0:
                raise ValueError("a size is never negative")


@dataclass(frozen=True)
class Angle(OfWave):
    """Held against the ratio at random points; a whole turn more or less does not show in a ratio."""

    @property
    def words(self) -> str:
        return f"the angle of the ratio at s = j · {Written(self.omega).plain}, in radians"

    def check(self, new, earlier, before):
        ratio = self._ratio(new, earlier, before)
        letters = sorted(ratio.free_symbols | new.rhs.free_symbols, key=str)
        values = sp.lambdify(letters, [ratio, new.rhs], "numpy")
        for point in points(letters, new.text):
            value, angle = values(*point.values())
            if not abs(value / abs(value) - cmath.exp(1j * angle)) <= 1e-8:      # rounding in double precision, with room
                raise ValueError(f"it is not the angle of the ratio: expected {cmath.phase(value):.4g}, found {angle:.4g}")


def small_swings(**swings: str) -> Swinging:
    """Both sides in small swings: `small_swings(v_in="v_in_swing", duty_off="-duty_swing")` names what swings and by how much.
    Every letter that is not named stands still."""
    return Swinging(tuple(swings.items()))


def size_of_wave(omega: str = "2*pi*f") -> Size:
    """The new letter is the size of the right side before at s = jω: the height of the one wave over that of the other."""
    return Size(omega)


def angle_of_wave(omega: str = "2*pi*f") -> Angle:
    """The new letter is the angle of the right side before at s = jω, in radians: positive where the wave comes early."""
    return Angle(omega)
