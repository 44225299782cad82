"""How heavy an expression would be for sympy, from its tree alone: terms and degree once it is multiplied out."""

from __future__ import annotations

import ast
import math
from typing import NamedTuple

TERMS, DEGREE, POWER, NUMBER, ARGUMENT = 250, 24, 8, 1e9, 50      # far above any line of a derivation


class Weight(NamedTuple):
    """Terms of numerator and denominator, their degrees, and the value where no letter occurs."""

    above: int = 1
    below: int = 1
    degree: float = 0
    degree_below: float = 0
    value: float | None = None


def weigh(node: ast.expr, powers: frozenset[str] = frozenset()) -> Weight:
    """The weight of an expression; ValueError in a line where it is above the limits, or is no plain algebra.

    powers: `ast.dump` of powers that are allowed although letters occur in them.
    """
    weight = _weigh(node, powers)
    if max(weight.above, weight.below) > TERMS or max(weight.degree, weight.degree_below) > DEGREE:
        raise ValueError("The line is too heavy: multiplied out it has too many terms, or too high a power")
    if weight.value is not None and not abs(weight.value) <= NUMBER:
        raise ValueError(f"A number in the line is larger than {NUMBER:.0e}")
    return weight


def _weigh(node: ast.expr, powers: frozenset[str]) -> Weight:
    match node:
        case ast.Constant(value=int() | float() as value):
            return Weight(value=float(value))
        case ast.Name(id="pi"):
            return Weight(value=math.pi)
        case ast.Name():
            return Weight(degree=1)
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            inside = weigh(inner, powers)
            return inside._replace(value=None if inside.value is None else -inside.value)
        case ast.BinOp(left=left, op=ast.Pow(), right=right):
            return _power(weigh(left, powers), right, powers)
        case ast.BinOp(left=left, op=op, right=right):
            return _joined(weigh(left, powers), op, weigh(right, powers))
        case ast.Call(args=args) if not node.keywords:
            return _call(node.func.id, [weigh(arg, powers) for arg in args])
    raise ValueError("The line cannot be read as algebra: letters, numbers, + - * / ^ and brackets are used")


def _joined(one: Weight, op: ast.operator, other: Weight) -> Weight:
    value = _value(one, op, other)
    if isinstance(op, ast.Div):
        other = Weight(other.below, other.above, other.degree_below, other.degree)
    if isinstance(op, ast.Mult | ast.Div):
        return Weight(one.above * other.above, one.below * other.below, one.degree + other.degree,
                      one.degree_below + other.degree_below, value)
    terms = one.above * other.below + other.above * one.below
    degree = max(one.degree + other.degree_below, other.degree + one.degree_below)
    return Weight(terms, one.below * other.below, degree, one.degree_below + other.degree_below, value)


def _value(one: Weight, op: ast.operator, other: Weight) -> float | None:
    if isinstance(op, ast.Div) and other.value == 0:
        raise ValueError("The line divides by zero")
    if one.value is None or other.value is None:
        return None
    match op:
        case ast.Add():
            return one.value + other.value
        case ast.Sub():
            return one.value - other.value
        case ast.Mult():
            return one.value * other.value
    return one.value / other.value


def _power(base: Weight, exponent: ast.expr, powers: frozenset[str]) -> Weight:
    if ast.dump(exponent) in powers:
        return Weight(base.above, base.below, base.degree, base.degree_below)
    power = _exponent(exponent)
    if not 0 < abs(power) <= POWER:
        raise ValueError(f"A power here is at most {POWER}, and not 0")
    if base.value == 0 and power < 0:
        raise ValueError("The line divides by zero")
    if base.value is not None and base.value < 0 and power != int(power):
        raise ValueError("The line takes a root of a negative number")
    whole = math.ceil(abs(power))
    above, below = (math.comb(terms + whole - 1, whole) for terms in (base.above, base.below))
    parts = [above, below, base.degree * abs(power), base.degree_below * abs(power)]
    if power < 0:
        parts = [below, above, parts[3], parts[2]]
    value = None if base.value is None else base.value ** (int(power) if power == int(power) else power)
    return Weight(*parts, value=value)


def _exponent(node: ast.expr) -> float:
    match node:
        case ast.Constant(value=int() | float() as value):
            return float(value)
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            return -_exponent(inner)
        case ast.BinOp(left=above, op=ast.Div(), right=ast.Constant(value=int() as below)):
            return _exponent(above) / below if below else math.inf
    raise ValueError("A power must be a number, such as ^2 or ^(1/2)")


def _call(name: str, inside: list[Weight]) -> Weight:
    values = [weight.value for weight in inside]
    if name == "sqrt" and values[0] is not None and values[0] < 0:
        raise ValueError("The line takes a root of a negative number")
    if name == "log" and values[0] is not None and values[0] <= 0:
        raise ValueError("The line takes a logarithm of a number that is not above zero")
    if name != "sqrt" and any(value is not None and abs(value) > ARGUMENT for value in values):
        raise ValueError(f"{name} of a number above {ARGUMENT} is not used in these lines")
    return Weight(math.prod(w.above for w in inside), math.prod(w.below for w in inside),
                  sum(w.degree for w in inside), sum(w.degree_below for w in inside))
