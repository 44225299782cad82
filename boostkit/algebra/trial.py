"""Trying an equation: exactly where sympy can, and at random points within the usual ranges always."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import sympy as sp
from sympy.core.function import AppliedUndef

from boostkit.algebra.quantity import known
from boostkit.algebra.written import Equation

_POINTS = 40
_CLOSE = 1e-8       # rounding in double precision, with room for cancellation and for numerical integration


def points(letters, seed: str, count: int = _POINTS) -> Iterator[dict[sp.Symbol, float]]:
    """Random values of the letters, each within its usual range; the same seed gives the same points."""
    chance = random.Random(seed)
    ordered = sorted(letters, key=str)
    for _ in range(count):
        yield {symbol: _draw(chance, symbol) for symbol in ordered}


def _draw(chance: random.Random, symbol: sp.Symbol) -> float:
    if isinstance(symbol, sp.Dummy):
        return chance.uniform(0.5, 2.0)
    low, high = known(symbol.name).usual
    if low > 0 and high > 10 * low:
        return math.exp(chance.uniform(math.log(low), math.log(high)))
    return chance.uniform(low, high)


@lru_cache(maxsize=1000)
def same(expected: sp.Expr, found: sp.Expr) -> bool:
    """Whether two expressions are equal: at every random point, and exactly where sympy can decide it."""
    expected, found = _without_functions(expected, found)
    letters = sorted(expected.free_symbols | found.free_symbols, key=str)
    values = sp.lambdify(letters, [expected, found, _size(expected), _size(found)], ["scipy", "numpy"])
    good = 0
    for point in points(letters, str(found), 3 * _POINTS):
        with np.errstate(all="ignore"):
            one, other, *sizes = values(*point.values())
        if not (np.isfinite(one) and np.isfinite(other)):
            continue
        if abs(one - other) > _CLOSE * max(sizes):
            return False
        good += 1
        if good == _POINTS:
            break
    return good >= _POINTS // 4 and _not_refuted(expected - found)


def _size(expression: sp.Expr) -> sp.Expr:
    """How large the terms are: where they cancel, rounding is as large as they, not as their sum."""
    if isinstance(expression, sp.Add | sp.Mul):
        return expression.func(*map(_size, expression.args))
    return sp.Abs(expression)


def _not_refuted(difference: sp.Expr) -> bool:
    # sympy may leave a true identity undecided (None); a difference it can reduce to a number must be zero.
    difference = difference.doit()
    if sp.expand(sp.fraction(sp.together(difference))[0]) == 0:      # settles ratios of polynomials, and quickly
        return True
    exact = sp.simplify(difference)
    return exact == 0 or not exact.is_number


def _without_functions(*expressions: sp.Expr) -> list[sp.Expr]:
    """Unknown functions of time stand still for algebra: each becomes a letter of its own."""
    applied = sorted(set().union(*(e.atoms(AppliedUndef) for e in expressions)), key=str)
    stand_ins = {function: sp.Dummy(f"f{number}") for number, function in enumerate(applied)}
    return [expression.subs(stand_ins) for expression in expressions]


@lru_cache(maxsize=1000)
def same_solutions(old: Equation, new: Equation) -> bool:
    """Whether two equations are true for the same values: only factors that cannot be zero may come or go."""
    one, other = (numerator_of(equation.residual) for equation in (old, new))
    shared = sp.gcd(one, other)
    extra = [sp.cancel(one / shared), sp.cancel(other / shared)]
    if shared.is_number or not all(_keeps_its_sign(factor) for factor in extra):
        return False
    return all(_true_at_roots(*pair) for pair in ((one, other), (other, one)))


def numerator_of(residual: sp.Expr) -> sp.Expr:
    """Zero where the residual is, and without a fraction."""
    return sp.expand(sp.fraction(sp.together(residual))[0])


def _keeps_its_sign(factor: sp.Expr) -> bool:
    values = [float(factor.subs(point)) for point in points(factor.free_symbols, str(factor))]
    return all(v > 0 for v in values) or all(v < 0 for v in values)


def _true_at_roots(old: sp.Expr, new: sp.Expr) -> bool:
    """Numerically: wherever the first expression is zero the second one is."""
    letter = min(old.free_symbols & new.free_symbols, key=lambda s: (_degree(old, s), str(s)))
    others = sorted((old.free_symbols | new.free_symbols) - {letter}, key=str)
    terms = sp.lambdify([letter, *others], list(sp.Add.make_args(new)), "numpy")
    for point in points(others, f"{old} {new}", 10):
        for root in real_roots(old, letter, point):
            values = terms(root, *point.values())
            if abs(sum(values)) > _CLOSE * sum(map(abs, values)):
                return False
    return True


def _degree(expression: sp.Expr, letter: sp.Symbol) -> float:
    return sp.degree(expression, letter) if expression.is_polynomial(letter) else math.inf


def real_roots(numerator: sp.Expr, letter: sp.Symbol, point: dict[sp.Symbol, float]) -> list[float]:
    """Real values of one letter that make a polynomial in it zero, the others having the values of the point."""
    if not numerator.is_polynomial(letter):
        raise ValueError(f"{letter} does not occur as a polynomial, so its solutions cannot be counted")
    coefficients = [float(c.subs(point)) for c in sp.Poly(numerator, letter).all_coeffs()]
    roots = np.roots(coefficients)
    return sorted(root.real for root in roots if abs(root.imag) <= 1e-9 * (1 + abs(root)))
