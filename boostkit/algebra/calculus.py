"""Reasons that need calculus: carrying out integrals, means and derivatives, extrema, tangents, limits, courses in time."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import sympy as sp

from boostkit.algebra.quantity import known
from boostkit.algebra.reasons import Reason, Sides, same_sides
from boostkit.algebra.trial import points, same
from boostkit.algebra.written import Equation, Written


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
        trials = list(points(height.free_symbols | value.free_symbols, new.text))
        if not any(known(self.letter).allows(float(value.subs(point))) for point in trials):
            raise ValueError(f"{self.letter} can have no such value as {new.right.plain}")
        for point in trials:
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


@dataclass(frozen=True)
class SolvingInTime(Reason):
    """A differential equation solved: the course of a letter in time, from where it starts.

    states: (letter, letter of its slope, start) of each quantity that cannot jump; the new equation gives the first one.
    The course of each further one follows from the equation in which the slope of the one before it stands. Equations
    without a slope are definitions that the solution is written in. Every other letter counts as constant in time.
    """

    states: tuple[tuple[str, str, str], ...]

    @property
    def words(self) -> str:
        slopes = " and ".join(f"{known(slope).plain} as the slope of {known(name).plain}" for name, slope, _ in self.states)
        starts = " and ".join(f"{known(name).plain} = {Written(start).plain}" for name, _, start in self.states)
        return f"solving the differential equation with {slopes}, starting at {starts}"

    def check(self, new, earlier, before):
        name = self.states[0][0]
        if new.lhs not in (known(name).symbol, Written(f"{name}(t)").sympy):
            raise ValueError(f"{name} must stand alone on the left side")
        slopes = {known(slope).symbol for _, slope, _ in self.states}
        laws = [equation for equation in earlier if equation.letters & slopes]
        meant = {equation.lhs: equation.rhs for equation in earlier if not equation.letters & slopes}
        course = new.rhs.subs(meant)
        if (len(laws), set().union(*(law.letters & slopes for law in laws))) != (len(self.states), slopes):
            raise ValueError(f"each slope out of {', '.join(sorted(map(str, slopes)))} needs one equation that it stands in")
        self._starts(self._courses(course, laws, _slope))
        for law, sides in zip(laws, self._put_in(course, laws, _slope), strict=True):
            if not same(sides.lhs, sides.rhs):
                raise ValueError(f"put into {law.plain}, it does not make the two sides equal")
        for law, sides in zip(laws, self._put_in(course, laws, _slope_by_numbers), strict=True):
            _equal_by_numbers(sides, law)

    def _courses(self, course: sp.Expr, laws: Sequence[Equation], rate: Callable) -> dict[sp.Symbol, sp.Expr]:
        """Letters and slopes of all states as functions of time."""
        found: dict[sp.Symbol, sp.Expr] = {}
        for number, (name, slope, _) in enumerate(self.states):
            if number:
                before = known(self.states[number - 1][1]).symbol
                law = next(law for law in laws if before in law.letters)
                course = _linear_root(law.residual.subs(found), known(name).symbol, law)
            found |= {known(name).symbol: course, known(slope).symbol: rate(course)}
        return found

    def _put_in(self, course: sp.Expr, laws: Sequence[Equation], rate: Callable) -> list[Sides]:
        found = self._courses(course, laws, rate)
        return [Sides(law.lhs.subs(found), law.rhs.subs(found)) for law in laws]

    def _starts(self, found: dict[sp.Symbol, sp.Expr]) -> None:
        for name, _, start in self.states:
            at_start = found[known(name).symbol].subs(known("t").symbol, 0)
            if not same(at_start, Written(start).sympy):
                raise ValueError(f"at t = 0 {name} is {at_start}, not {start}")


def _slope(course: sp.Expr) -> sp.Expr:
    return sp.diff(course, known("t").symbol)


def _slope_by_numbers(course: sp.Expr) -> sp.Expr:
    t = known("t").symbol
    step = t * sp.Rational(1, 10**12)
    return (course.subs(t, t + step) - course.subs(t, t - step)) / (2 * step)


def _equal_by_numbers(sides: Sides, law: Equation) -> None:
    """Both sides in 60 digits, so that the small differences in time keep enough of them."""
    for point in points(sides.lhs.free_symbols | sides.rhs.free_symbols, law.text, 10):
        digits = {symbol: sp.Float(value, 60) for symbol, value in point.items()}
        one, other = (complex(sp.N(side.subs(digits), 50)) for side in (sides.lhs, sides.rhs))
        if abs(one - other) > 1e-9 * max(abs(one), abs(other)):
            raise ValueError(f"by numbers, it does not make the two sides of {law.plain} equal")


def _linear_root(residual: sp.Expr, symbol: sp.Symbol, law: Equation) -> sp.Expr:
    factor = sp.diff(residual, symbol)
    if factor == 0 or symbol in factor.free_symbols:
        raise ValueError(f"{law.plain} does not say what {symbol} is: it must stand there once, to the first power")
    return -residual.subs(symbol, 0) / factor


@dataclass(frozen=True)
class Reaching(Reason):
    """The first instant at which the right side of the equation before takes a value."""

    value: str

    @property
    def words(self) -> str:
        return f"the first instant at which it has come to {Written(self.value).plain}"

    def check(self, new, earlier, before):
        t, value, instant, course = known("t").symbol, Written(self.value).sympy, new.rhs, earlier[0].rhs
        if not new.lhs.is_Symbol or new.lhs.name in before or t in instant.free_symbols:
            raise ValueError("a new letter for the instant must stand alone on the left side, and no t on the right")
        if not same(course.subs(t, instant), value):
            raise ValueError(f"at t = {new.right.plain} it is not {Written(self.value).plain}")
        for point in points((course.free_symbols | instant.free_symbols | value.free_symbols) - {t}, new.text, 10):
            when, level = float(instant.subs(point)), float(value.subs(point))
            gaps = [float(course.subs(point).subs(t, when * share / 20)) - level for share in range(1, 20)]
            if when <= 0 or min(gaps) * max(gaps) <= 0:
                raise ValueError(f"it is not the first such instant at or after t = 0: there is an earlier one than {when:.3g} s")


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


def solving_in_time(**states: tuple[str, str]) -> SolvingInTime:
    """The course in time: `solving_in_time(i_inductor=("slope_coil", "i_start"))` names the letter, the letter of its
    slope, and its value at t = 0. Of several states the first is the one that is solved for. Every letter that varies in
    time must be among the states: any other counts as constant."""
    return SolvingInTime(tuple((name, slope, start) for name, (slope, start) in states.items()))


def reaching(value: str) -> Reaching:
    """The letter on the left is the first instant at which the right side before has this value."""
    return Reaching(value)
