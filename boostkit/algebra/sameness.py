"""Whether one line says the same as another: at random points that fulfil it, and then exactly."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache, reduce

import numpy as np
import sympy as sp
from sympy.core.function import AppliedUndef

from boostkit.algebra.quantity import known
from boostkit.algebra.reasons import Sides
from boostkit.algebra.trial import numerator_of, points
from boostkit.algebra.written import Written

COUNT = 24
_ROUGH, _FINE = 1e-6, 1e-9     # of the size of the terms: to sort out wrong lines quickly; to trust one without a proof
_AROUND = np.concatenate([np.geomspace(0.01, 0.98, 25), np.geomspace(1.02, 100, 25)])


@dataclass(frozen=True)
class Line(Sides):
    """Two sides and the sign between them."""

    sign: str = "="

    @property
    def residual(self) -> sp.Expr:
        return self.lhs - self.rhs

    @property
    def letters(self) -> frozenset[sp.Symbol]:
        return frozenset(self.lhs.free_symbols | self.rhs.free_symbols)

    def changed(self, change) -> Line:
        return Line(change(self.lhs), change(self.rhs), self.sign)

    @cached_property
    def says_nothing(self) -> bool:
        """Both sides are the same whatever the letters are."""
        return self.seems_empty and sp.expand(numerator_of(self.residual)) == 0

    @cached_property
    def seems_empty(self) -> bool:
        """The same, tried at random points only."""
        drawn = list(points(self.letters, "empty", COUNT))
        return bool(true_at(self, {s: np.array([point[s] for point in drawn]) for s in self.letters}, _ROUGH).all())


def carried_out(expression: sp.Expr) -> sp.Expr:
    """Integrals and derivatives carried out; a function of time, and what cannot be carried out, is a letter of its own."""
    expression = expression.xreplace({part: part.doit() for part in expression.atoms(sp.Integral) if _easy(part)})
    expression = expression.xreplace({part: part.doit() for part in expression.atoms(sp.Derivative)})
    for kind in (sp.Derivative, sp.Integral, AppliedUndef):
        expression = expression.xreplace({part: _stand_in(part) for part in expression.atoms(kind)})
    return expression


def _easy(integral: sp.Integral) -> bool:
    """Sums of powers and waves: sympy is quick and gives a form that holds everywhere."""
    inside = integral.function
    return inside.is_polynomial(*integral.variables) or inside.has(sp.exp, sp.sin, sp.cos)


@lru_cache(maxsize=300)
def _stand_in(part: sp.Expr) -> sp.Dummy:
    return sp.Dummy(str(part), positive=True)


def restated(expression: sp.Expr) -> sp.Expr:
    """Letters that only restate one other letter are replaced by it: D' by 1 - D, T_s by 1/f_s."""
    while rules := {s: rule for s in expression.free_symbols if (rule := _restates(s)) is not None}:
        expression = expression.subs(rules)
    return expression


def _rule(symbol: sp.Symbol) -> sp.Expr | None:
    text = "" if isinstance(symbol, sp.Dummy) else known(symbol.name).defined_as
    return Written(text).sympy if text else None


def _restates(symbol: sp.Symbol) -> sp.Expr | None:
    rule = _rule(symbol)
    return rule if rule is not None and len(rule.free_symbols) == 1 else None


class Target:
    """A line to compare others with. `restating`: D' counts as 1 - D, unless that is what the line itself says."""

    def __init__(self, line: Line):
        self.raw = line
        plain = line.changed(carried_out)
        short = plain.changed(restated)
        self.restating = not short.says_nothing
        self.line = short if self.restating else plain

    def settled(self, line: Line) -> Line:
        """A line made comparable: carried out, definitions of letters that are foreign here put in, D' restated."""
        foreign = {s: rule for s in line.letters - self.raw.letters if (rule := _rule(s)) is not None}
        line = line.changed(lambda side: carried_out(side.subs(foreign)))
        return line.changed(restated) if self.restating else line

    @cached_property
    def letter(self) -> sp.Symbol | None:
        """The letter that the line fixes once the others have values, if there is one."""
        for side, other in ((self.line.lhs, self.line.rhs), (self.line.rhs, self.line.lhs)):
            if side.is_Symbol and side not in other.free_symbols:
                return side
        numerator = numerator_of(self.line.residual)
        straight = (s for s in sorted(self.line.letters, key=str)
                    if numerator.is_polynomial(s) and sp.degree(numerator, s) == 1)
        return next(straight, None)

    @cached_property
    def solution(self) -> sp.Expr | None:
        if self.letter is None:
            return None
        for side, other in ((self.line.lhs, self.line.rhs), (self.line.rhs, self.line.lhs)):
            if side == self.letter and side not in other.free_symbols:
                return other
        slope, rest = sp.Poly(numerator_of(self.line.residual), self.letter).all_coeffs()
        return -rest / slope

    @cached_property
    def values(self) -> dict[sp.Symbol, np.ndarray]:
        """Random values of the letters that fulfil the line; empty where none can be computed."""
        if self.solution is None:
            return {}
        others = self.solution.free_symbols | (self.line.letters - {self.letter})
        drawn = list(points(others, str(self.line), COUNT))
        values = {symbol: np.array([point[symbol] for point in drawn]) for symbol in others}
        found = evaluate([self.solution], values)[0]
        good = np.isfinite(found)
        return {symbol: value[good] for symbol, value in (values | {self.letter: found}).items()} if good.any() else {}

    def fitting(self, letters) -> dict[sp.Symbol, np.ndarray]:
        """The same, with random values for letters that do not occur in the line."""
        count = len(next(iter(self.values.values())))
        foreign = set(letters) - set(self.values)
        drawn = list(points(foreign, "foreign", count))
        return self.values | {symbol: np.array([point[symbol] for point in drawn]) for symbol in foreign}

    def same(self, line: Line) -> bool:
        """Whether another line is true for the same values."""
        line = self.settled(line)
        if line == self.line:
            return True
        if not self.agrees(line) or line.says_nothing:
            return False
        if not _same_order(self, line):
            return False
        if _same_zeros(self.line, line):
            return True
        if _polynomial(self.line) and _polynomial(line):
            return False
        return self._by_numbers(line) and all(map(never_zero, self.spare_factors(line)))

    def spare_factors(self, line: Line) -> list[sp.Expr]:
        """Factors of a settled line that are not zero where this line is true."""
        rooted = _rooted(line.residual)
        plain = numerator_of(line.residual.xreplace({letter: letter**root for letter, root in rooted.items()}))
        back = {letter: sp.root(letter, root) for letter, root in rooted.items()}
        factors = [factor.xreplace(back) for factor, _ in sp.factor_list(plain)[1]]
        return [factor for factor in factors if not self._true(Line(factor, sp.Integer(0)), _ROUGH)]

    def true_throughout(self, line: Line) -> bool:
        """Whether a settled line is true at the random points of this one up to rounding."""
        return bool(self.values) and self.agrees(line) and bool(self._true(line, _FINE))

    def mirrored(self, line: Line) -> bool:
        """Whether a settled line is also true where the letter of this one has the opposite sign."""
        values = self.fitting(line.letters)
        if self.letter.is_positive or not values[self.letter].any():
            return False
        return bool(true_at(line, values | {self.letter: -values[self.letter]}, _ROUGH).all())

    def agrees(self, line: Line) -> bool:
        """Whether a settled line is true at the random points of this one: needed, not enough."""
        endless = any(side.has(sp.zoo, sp.nan, sp.oo) for side in (line.lhs, line.rhs))
        return not endless and bool(line.letters & self.line.letters) and self._true(line, _ROUGH)

    def _true(self, line: Line, within: float) -> bool:
        if not self.values:
            return True
        return true_at(line, self.fitting(line.letters), within).all()

    def _by_numbers(self, line: Line) -> bool:
        """True wherever this line is, and at no other possible value of its letter: where roots or functions occur."""
        if isinstance(self.letter, sp.Dummy | None) or not self.values or not self._true(line, _FINE):
            return False
        values = self.fitting(line.letters)
        here = values[self.letter]
        if np.any(here == 0):
            return False
        below, above = _AROUND[_AROUND < 1], _AROUND[_AROUND > 1]
        if known(self.letter.name).low < 0:
            below = np.concatenate([-_AROUND, below])
        signs = [[np.sign(evaluate([line.residual], values | {self.letter: here * factor})[0]) for factor in side]
                 for side in (below, above)]
        return _crosses_once(*map(np.array, signs))


def _rooted(expression: sp.Expr) -> dict[sp.Symbol, int]:
    """Letters under a root, with the root: K and √K have no factor in common for sympy, k² and k have."""
    powers = [part for part in expression.atoms(sp.Pow) if part.base.is_Symbol and part.base.is_positive and part.exp.is_Rational]
    return {part.base: sp.ilcm(1, *(p.exp.q for p in powers if p.base == part.base)) for part in powers}


def _same_zeros(one: Line, other: Line) -> bool:
    """Proved: the residuals differ only by factors that are never zero, and by powers of those they share."""
    first, second = (numerator_of(line.residual) for line in (one, other))
    if sp.gcd(first, second).is_number:
        return False
    return never_zero(_beyond(first, second)) and never_zero(_beyond(second, first))


def _beyond(one: sp.Expr, other: sp.Expr) -> sp.Expr:
    """What is left of the one without the factors of the other."""
    while not (shared := sp.gcd(one, other)).is_number:
        one = sp.cancel(one / shared)
    return one


def never_zero(factor: sp.Expr) -> bool:
    """Proved for all possible values of the letters: terms of one sign, or a quadratic without a real root."""
    factor = numerator_of(factor.xreplace({letter: _from_zero(letter) for letter in factor.free_symbols}))
    if factor.is_number:
        return factor != 0
    poly = sp.Poly(factor)
    real = [place for place, part in enumerate(poly.gens) if not part.is_positive]
    powers = [[powers[place] for place in real] for powers in poly.monoms()]
    if all(power % 2 == 0 for term in powers for power in term) and not all(map(any, powers)):
        return all(c.is_positive for c in poly.coeffs()) or all(c.is_negative for c in poly.coeffs())
    if len(real) != 1 or poly.degree(real[0]) != 2:
        return False
    discriminant = sp.expand(sp.discriminant(factor, poly.gens[real[0]]))
    return (discriminant.is_number and discriminant < 0) or (never_zero(discriminant) and _below_zero(discriminant))


def _below_zero(expression: sp.Expr) -> bool:
    return bool(expression.subs(dict.fromkeys(expression.free_symbols, 1)) < 0)


def _from_zero(letter: sp.Symbol) -> sp.Expr:
    """A letter with a limited range, through one that takes all values above zero: D = x/(1 + x)."""
    if isinstance(letter, sp.Dummy) or known(letter.name).low < 0:
        return letter
    low, high = (sp.nsimplify(limit) for limit in (known(letter.name).low, known(letter.name).high))
    return low + letter if high == sp.oo else (low + high * letter) / (1 + letter)


def _crosses_once(below: np.ndarray, above: np.ndarray) -> bool:
    """At each point all signs below the solution are one, and all above the other; places without a value do not count."""
    for low, high in zip(below.T, above.T, strict=True):
        low, high = {*low[np.isfinite(low)]}, {*high[np.isfinite(high)]}
        if len(low) != 1 or len(high) != 1 or low == high:
            return False
    return True


def _polynomial(line: Line) -> bool:
    return all(side.is_rational_function(*line.letters) for side in (line.lhs, line.rhs))


def _same_order(target: Target, line: Line) -> bool:
    """For an inequality: true at the same points on both sides of the border."""
    if line.sign == "=":
        return True
    values = target.fitting(line.letters)
    moved = [values | {target.letter: values[target.letter] * factor} for factor in (0.7, 1.4)]
    return all(np.array_equal(*(np.sign(evaluate([which.residual], point)[0]) for which in (target.line, line)))
               for point in moved)


_NUMPY = {sp.exp: np.exp, sp.log: np.log, sp.sin: np.sin, sp.cos: np.cos, sp.tan: np.tan, sp.atan: np.arctan, sp.Abs: np.abs}
_JOINED = {sp.Add: np.add, sp.Mul: np.multiply, sp.Max: np.maximum, sp.Min: np.minimum}


def evaluate(expressions: list[sp.Expr], values: dict[sp.Symbol, np.ndarray]) -> list[np.ndarray]:
    """Each expression at each point, nan where it has no real value. Compiling first would take longer than this."""
    shape = next(iter(values.values())).shape if values else (1,)
    found: dict[sp.Expr, np.ndarray] = {symbol: np.asarray(value, dtype=float) for symbol, value in values.items()}
    with np.errstate(all="ignore"):
        return [np.broadcast_to(_number(expression, found), shape) for expression in expressions]


def _number(expression: sp.Expr, found: dict[sp.Expr, np.ndarray]) -> np.ndarray:
    if expression not in found:
        found[expression] = _from_parts(expression, [_number(part, found) for part in expression.args])
    return found[expression]


def _from_parts(expression: sp.Expr, parts: list[np.ndarray]) -> np.ndarray:
    if not parts:
        return np.asarray(float(expression) if expression.is_real else np.nan)
    if expression.func in _JOINED:
        return reduce(_JOINED[expression.func], parts)
    if isinstance(expression, sp.Pow):
        return np.power(*parts)
    if expression.func in _NUMPY:
        return _NUMPY[expression.func](*parts)
    inside = [sp.Dummy() for _ in parts]
    return np.real_if_close(sp.lambdify(inside, expression.func(*inside), ["scipy", "numpy"])(*parts))


def true_at(line: Line, values: dict[sp.Symbol, np.ndarray], within: float) -> np.ndarray:
    """At which points both sides are equal, up to a share of the size of the terms that cancel."""
    left, right = evaluate([line.lhs, line.rhs], values)
    found = {symbol: np.asarray(value, dtype=float) for symbol, value in values.items()}
    with np.errstate(all="ignore"):
        return np.isfinite(left - right) & (np.abs(left - right) <= within * (_size(line.lhs, found) + _size(line.rhs, found)))


def _size(expression: sp.Expr, found: dict[sp.Expr, np.ndarray]) -> np.ndarray:
    """How large the terms of an expression are where it may vanish: rounding is as large as they, not as their sum."""
    if isinstance(expression, sp.Add | sp.Mul):
        return reduce(_JOINED[expression.func], [_size(part, found) for part in expression.args])
    if isinstance(expression, sp.Pow) and expression.exp.is_positive:
        return np.power(_size(expression.base, found), _number(expression.exp, found))
    return np.abs(_number(expression, found))


def fulfilling(lines: list[Line], also: Line) -> dict[sp.Symbol, np.ndarray]:
    """Random values at which all lines are true, the letters on left sides following from the others; {} if that fails."""
    rules: dict[sp.Expr, sp.Expr] = {}
    for line in lines:
        if line.lhs.is_Symbol and line.lhs not in line.rhs.free_symbols:
            rules.setdefault(line.lhs, line.rhs)
    letters = also.letters.union(*(line.letters for line in lines))
    drawn = list(points(letters, "fulfilling", COUNT))
    values = {symbol: np.array([point[symbol] for point in drawn]) for symbol in letters}
    for _ in range(len(rules) and 4):
        for letter, rule in rules.items():
            values[letter] = evaluate([rule], values)[0]
    return values if all(true_at(line, values, _ROUGH).all() for line in lines) else {}


@lru_cache(maxsize=300)
def target(line: Line) -> Target:
    return Target(line)


def terms_of(expression: sp.Expr) -> Iterator[tuple[sp.Add, sp.Expr]]:
    """Every term of every sum in an expression, with its sum."""
    for total in sorted(expression.atoms(sp.Add), key=str):
        for term in total.args:
            yield total, term
