"""What the tree of an expression tells before sympy sees it: how heavy it would be, and whether unlike things are added.

Sympy drops terms that cancel, and a sum of volts and a pure number with them; the tree still has them.
"""

from __future__ import annotations

import ast
import math
from functools import reduce
from itertools import product
from typing import NamedTuple

from boostkit import units
from boostkit.algebra import quantity
from boostkit.algebra.dimensions import Dimension
from boostkit.algebra.printing import plain_of
from boostkit.algebra.quantity import known

TERMS, DEGREE, POWER, NUMBER, ARGUMENT = 250, 24, 8, 1e9, 50      # far above any line of a derivation
INTEGRAND = 24          # terms under an integral: each is integrated alone, for each mistake that is tried


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
    raise ValueError("A power must be a number, such as ^2 or ^(1/2), or stand in these lines as it is")


def _call(name: str, inside: list[Weight]) -> Weight:
    values = [weight.value for weight in inside]
    if name == "sqrt" and values[0] is not None and values[0] < 0:
        raise ValueError("The line takes a root of a negative number")
    if name == "log" and values[0] is not None and values[0] <= 0:
        raise ValueError("The line takes a logarithm of a number that is not above zero")
    if name != "sqrt" and any(value is not None and abs(value) > ARGUMENT for value in values):
        raise ValueError(f"{name} of a number above {ARGUMENT} is not used in these lines")
    if name in ("integral", "mean") and max(inside[0].above, inside[0].below) > INTEGRAND:
        raise ValueError("The line is too heavy: multiplied out, what is integrated has too many terms")
    return Weight(math.prod(w.above for w in inside), math.prod(w.below for w in inside),
                  sum(w.degree for w in inside), sum(w.degree_below for w in inside))


# dimensions

PURE = "a pure number"
_NONE: Dimension = (0,) * 5


def dimension_in(node: ast.expr) -> Dimension | None:
    """The dimension of an expression as it is written; None for zero. ValueError in a sentence where unlike things are added.

    What stands inside exp, log and the like is looked into and not judged: ln V_0 − ln V is as good as ln(V_0/V).
    """
    match node:
        case ast.Constant(value=value):
            return None if value == 0 else _NONE
        case ast.Name(id=name):
            return _NONE if name == "pi" else known(name).dimension
        case ast.UnaryOp(operand=inner):
            return dimension_in(inner)
        case ast.BinOp(left=base, op=ast.Pow(), right=exponent):
            return _raised(dimension_in(base), exponent)
        case ast.BinOp(left=left, op=ast.Add() | ast.Sub(), right=right):
            return _alike(left, right)
        case ast.BinOp(left=left, op=op, right=right):
            return _times(dimension_in(left), dimension_in(right), -1 if isinstance(op, ast.Div) else 1)
    return _of_call(node.func.id, node.args)


def _of_call(name: str, args: list[ast.expr]) -> Dimension | None:
    if name in ("integral", "mean"):
        for limit in args[2:]:
            if dimension_in(limit) not in (None, dimension_in(args[1])):
                raise ValueError(f"The limits of the integral must be {said(dimension_in(args[1]))}, as {_shown(args[1])} is.")
        return dimension_in(args[0]) if name == "mean" else _times(dimension_in(args[0]), dimension_in(args[1]))
    if name == "derivative":
        return _times(dimension_in(args[0]), dimension_in(args[1]), -1)
    if name in ("max", "min", "abs"):
        return reduce(lambda one, other: other if one is None else one, [_alike(args[0], arg) for arg in args])
    inside = [dimension_in(arg) for arg in args]
    if name == "sqrt":
        return _raised(inside[0], ast.Constant(0.5))
    return _NONE if name in ("exp", "log", "sin", "cos", "tan", "atan") else known(name).dimension


def _alike(left: ast.expr, right: ast.expr) -> Dimension | None:
    one, other = dimension_in(left), dimension_in(right)
    if None not in (one, other) and one != other:
        raise ValueError(f"Unlike things are added: {_shown(_last(left))} ({said(one)}) and {_shown(right)} ({said(other)}).")
    return other if one is None else one


def _last(node: ast.expr) -> ast.expr:
    """The last term of a sum: one is enough to show what the sum is in."""
    return _last(node.right) if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.Sub) else node


def _times(one: Dimension | None, other: Dimension | None, power: int = 1) -> Dimension | None:
    return None if None in (one, other) else tuple(a + power * b for a, b in zip(one, other, strict=True))


def _raised(base: Dimension | None, exponent: ast.expr) -> Dimension | None:
    if base in (None, _NONE):
        return base
    if any(isinstance(inner, ast.Name) for inner in ast.walk(exponent)):
        raise ValueError("Only a pure number is raised to a power with letters here: put the quotient in a bracket, as in (a/b)^n")
    power = _exponent(exponent)
    return tuple(round(power * part, 9) for part in base)       # a third, three times, is one again


def _shown(node: ast.expr) -> str:
    return plain_of(node, lambda name: known(name).plain)


def said(dimension: Dimension) -> str:
    """"in V", or that it is a pure number."""
    unit = unit_of(dimension)
    return unit if unit == PURE else f"in {unit}"


def unit_of(dimension: Dimension) -> str:
    """The unit of a dimension in the kit's own units: alone, or as a product or quotient of two, or of two over a third."""
    listed = {entry.unit: entry.dimension for entry in quantity.every()}
    alone = [unit for unit, parts in listed.items() if parts == dimension]
    if alone:
        return min(alone, key=lambda unit: (len(unit), unit)) or PURE
    parts = {unit: units.dimension(unit) for unit in ("", "V", "A", "Ω", "H", "F", "s", "m", "W", "J", "Hz", "kg")}
    for one, other in product(parts, repeat=2):
        if _times(parts[one], parts[other]) == dimension:
            return f"{one}²" if one == other else f"{one}·{other}"
        for raised, sign in ((1, ""), (2, "²"), (3, "³")):
            if other and _times(parts[one], parts[other], -raised) == dimension:
                return f"{one or 1}/{other}{sign}"
    for one, other, below in product(parts, repeat=3):
        if _times(_times(parts[one], parts[other]), parts[below], -1) == dimension:
            return f"{one}·{other}/{below}"
    names = zip(("m", "kg", "s", "A", "K"), dimension, strict=True)
    return "·".join(name if power == 1 else f"{name}^{float(power):g}" for name, power in names if power)
