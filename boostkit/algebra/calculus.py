"""Reasons that need calculus: carrying out integrals, means and derivatives, extrema, tangents, limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import sympy as sp

from boostkit.algebra.quantity import known
from boostkit.algebra.reasons import Reason, Sides, same_sides
from boostkit.algebra.trial import points, same
from boostkit.algebra.written import Written


@dataclass(frozen=True)
class Carrying(Reason):
    """Integrals, mean values or derivatives that stand in the equation before are carried out."""

    what: str

    @property
    def words(self) -> str:
        return self.what

    def check(self, new, earlier, before):
        kind = sp.Derivative if self.what == "differentiating" else sp.Integral
        if not earlier[0].residual.atoms(kind):
            raise ValueError(f"there is nothing to carry out in {earlier[0].plain}")
        same_sides(Sides(earlier[0].lhs.doit(), earlier[0].rhs.doit()), new, f"{self.what} does not give this")
        by_numbers = Sides(_differences(earlier[0].lhs), _differences(earlier[0].rhs))
        same_sides(by_numbers, new, f"{self.what} by numbers does not give this")


def _differences(expression: sp.Expr) -> sp.Expr:
    """Derivatives replaced by the slope between two points close by; integrals are left to numerical integration."""
    rules = {}
    for slope in expression.atoms(sp.Derivative):
        letter = slope.variables[0]
        step = letter / 10**6
        above, below = (slope.expr.subs(letter, letter + sign * step) for sign in (1, -1))
        rules[slope] = (above - below) / (2 * step)
    return expression.subs(rules)


@dataclass(frozen=True)
class Extremum(Reason):
    """The value of one letter at which the right side of the equation before is largest or smallest."""

    letter: str
    kind: str

    @property
    def words(self) -> str:
        return f"differentiating with respect to {known(self.letter).plain}: zero slope, a {self.kind}"

    def check(self, new, earlier, before):
        letter, value, height = known(self.letter).symbol, new.rhs, earlier[0].rhs
        if new.lhs != letter:
            raise ValueError(f"{self.letter} must stand alone on the left side")
        if not same(sp.diff(height, letter).subs(letter, value), sp.Integer(0)):
            raise ValueError(f"the slope is not zero at {new.right.plain}")
        sign = {"maximum": 1, "minimum": -1}[self.kind]
        for point in points(height.free_symbols | value.free_symbols, new.text):
            here, elsewhere = (float(height.subs(letter, at).subs(point)) for at in (value, point[letter]))
            if sign * (here - elsewhere) < -1e-9 * abs(here):
                raise ValueError(f"it is no {self.kind}: at {self.letter} = {point[letter]:.3g} it is exceeded")


@dataclass(frozen=True)
class Linearising(Reason):
    """The right side replaced by its tangent in one letter."""

    letter: str
    about: str

    @property
    def words(self) -> str:
        return f"linearising about {known(self.letter).plain} = {Written(self.about).plain}"

    def check(self, new, earlier, before):
        letter, about, curve = known(self.letter).symbol, Written(self.about).sympy, earlier[0].rhs
        tangent = curve.subs(letter, about) + sp.diff(curve, letter).subs(letter, about) * (letter - about)
        same_sides(Sides(earlier[0].lhs, tangent), new, "it is not the tangent")


@dataclass(frozen=True)
class Limit(Reason):
    """The right side where one letter tends to a value ("infinity" included)."""

    letter: str
    to: str

    @property
    def words(self) -> str:
        return f"the limit where {known(self.letter).plain} tends to {self.to.replace('infinity', '∞')}"

    def check(self, new, earlier, before):
        letter, curve = known(self.letter).symbol, earlier[0].rhs
        to = sp.oo if self.to == "infinity" else Written(self.to).sympy
        value = sp.limit(curve, letter, to, "-" if to is sp.oo else "+")
        same_sides(Sides(earlier[0].lhs, value), new, "it is not the limit")
        near = curve.subs(letter, sp.Float(1e12) if to is sp.oo else to + sp.Float(1e-12))
        for point in points(near.free_symbols | new.letters, new.text, 10):
            value, limit = (float(side.subs(point)) for side in (near, new.rhs))
            if not math.isclose(value, limit, rel_tol=1e-3, abs_tol=1e-6):
                raise ValueError(f"close to the limit the value is {value:.3g}, not {limit:.3g}")


def integrating() -> Carrying:
    """The integrals in the equation before are carried out."""
    return Carrying("integrating")


def averaging() -> Carrying:
    """The mean values in the equation before are carried out."""
    return Carrying("averaging")


def differentiating() -> Carrying:
    """The derivatives in the equation before are carried out."""
    return Carrying("differentiating")


def extremum(letter: str, kind: str) -> Extremum:
    """The letter has the value at which the right side before is a "maximum" or a "minimum"."""
    return Extremum(letter, kind)


def linearising(letter: str, about: str) -> Linearising:
    """The right side is replaced by its tangent."""
    return Linearising(letter, about)


def limit(letter: str, to: str) -> Limit:
    """The limit of the right side."""
    return Limit(letter, to)
