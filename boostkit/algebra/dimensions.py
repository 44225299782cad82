"""Dimensions of expressions: volts are not added to amperes."""

from __future__ import annotations

from functools import reduce

import sympy as sp

from boostkit.algebra.quantity import known
from boostkit.algebra.written import Equation

Dimension = tuple[float, ...]
_PURE: Dimension = (0,) * 5


def dimension_of(expression: sp.Expr) -> Dimension | None:
    """Exponents of (m, kg, s, A, K); None for zero and for infinity, which fit any dimension.

    Raises ValueError where unlike things are added, or where a power or a function is given something with a unit.
    """
    if expression.is_Symbol:
        return known(expression.name).dimension
    if expression.is_number:
        return None if expression.is_zero or expression.is_infinite else _PURE
    if isinstance(expression, sp.Add | sp.Max | sp.Min):
        return reduce(lambda one, other: _same(one, other, expression), map(dimension_of, expression.args))
    if isinstance(expression, sp.Mul):
        return _sum(map(dimension_of, expression.args))
    if isinstance(expression, sp.Pow):
        return _power(expression)
    if isinstance(expression, sp.Integral):
        return _sum(dimension_of(part) for part in (expression.function, expression.variables[0]))
    if isinstance(expression, sp.Derivative):
        below = _times(dimension_of(expression.variables[0]), -1)
        return _sum([dimension_of(expression.expr), _times(below, len(expression.variables))])
    return _of_function(expression)


def check_equation(equation: Equation) -> None:
    """Raise ValueError unless both sides of an equation have the same dimension."""
    left, right = dimension_of(equation.lhs), dimension_of(equation.rhs)
    if left is not None and right is not None and left != right:
        raise ValueError(f"the two sides of {equation.plain} differ in dimension: {_print(left)} and {_print(right)}")


def _of_function(expression: sp.Expr) -> Dimension | None:
    if isinstance(expression, sp.core.function.AppliedUndef):
        return known(expression.func.__name__).dimension
    inside = dimension_of(expression.args[0])
    if isinstance(expression, sp.Abs):
        return inside
    if inside not in (None, _PURE):
        raise ValueError(f"{expression.func.__name__} of {expression.args[0]} needs a pure number inside")
    return _PURE


def _power(expression: sp.Pow) -> Dimension | None:
    base, power = expression.args
    inside = dimension_of(base)
    if inside in (None, _PURE):
        if dimension_of(power) not in (None, _PURE):
            raise ValueError(f"the power in {expression} needs a pure number")
        return inside
    if not power.is_number:
        raise ValueError(f"{base} has a unit, so its power {power} must be a fixed number")
    return _times(inside, sp.Rational(power))


def _same(one: Dimension | None, other: Dimension | None, expression: sp.Expr) -> Dimension | None:
    if one is not None and other is not None and one != other:
        raise ValueError(f"{expression} adds {_print(one)} to {_print(other)}")
    return other if one is None else one


def _sum(parts) -> Dimension | None:
    parts = list(parts)
    return None if None in parts else tuple(map(sum, zip(*parts, strict=True)))


def _times(dimension: Dimension | None, factor) -> Dimension | None:
    return None if dimension is None else tuple(factor * exponent for exponent in dimension)


def _print(dimension: Dimension) -> str:
    names = ("m", "kg", "s", "A", "K")
    shown = [f"{name}^{power}" for name, power in zip(names, dimension, strict=True) if power]
    return " ".join(shown) or "a pure number"


