"""Equations as a learner writes them: one text, read once, gives the sympy form, the LaTeX form and the plain form.

The printed forms follow the text as it was written; sympy, which would sort and regroup the terms, only computes.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import sympy as sp

from boostkit.algebra.printing import latex_of, plain_of
from boostkit.algebra.quantity import known

_FUNCTIONS = {"sqrt": sp.sqrt, "exp": sp.exp, "log": sp.log, "sin": sp.sin, "cos": sp.cos, "tan": sp.tan,
              "atan": sp.atan, "abs": sp.Abs, "max": sp.Max, "min": sp.Min}
_RELATIONS = {"=": sp.Eq, "<": sp.Lt, "<=": sp.Le, ">": sp.Gt, ">=": sp.Ge}
_LATEX_RELATIONS = {"<=": r"\le", ">=": r"\ge"}
_PLAIN_RELATIONS = {"<=": "≤", ">=": "≥"}


@dataclass(frozen=True)
class Written:
    """An expression in the known letters, as text: numbers, + - * / **, sqrt, exp, log, sin, ...,
    `integral(f, t, a, b)`, `mean(f, t, a, b)`, `derivative(f, x)`, and a letter at a time, `i_inductor(t)`.

    Raises ValueError for a letter or a function that is not known.
    """

    text: str

    @cached_property
    def _tree(self) -> ast.expr:
        return ast.parse(self.text.strip(), mode="eval").body

    @cached_property
    def sympy(self) -> sp.Expr:
        return _to_sympy(self._tree)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The letters, in the order in which they are written."""
        found = [node for node in ast.walk(self._tree) if isinstance(node, ast.Name)]
        found.sort(key=lambda node: node.col_offset)
        letters = {symbol.name for symbol in self.sympy.free_symbols}
        return tuple(dict.fromkeys(node.id for node in found if node.id in letters))

    @cached_property
    def latex(self) -> str:
        return self.latex_with({})

    def latex_with(self, values: Mapping[str, str]) -> str:
        """LaTeX with some letters replaced, usually by values."""
        return latex_of(self._tree, lambda name: values.get(name) or known(name).latex)

    @cached_property
    def plain(self) -> str:
        return self.plain_with({})

    def plain_with(self, values: Mapping[str, str]) -> str:
        """Plain text with some letters replaced, usually by values: `1/(1 − 0.6)`."""
        return plain_of(self._tree, lambda name: values.get(name) or known(name).plain)


@dataclass(frozen=True)
class Equation:
    """Two expressions and the sign between them, written as text: `v_out/v_in = 1/duty_off`, `k_load >= k_crit`."""

    text: str

    @cached_property
    def _parts(self) -> tuple[Written, str, Written]:
        parts = re.split(r"(<=|>=|<|>|=)", self.text)
        if len(parts) != 3:
            raise ValueError(f"equation '{self.text}' must have one sign out of = < <= > >=")
        return Written(parts[0]), parts[1], Written(parts[2])

    @property
    def left(self) -> Written:
        return self._parts[0]

    @property
    def sign(self) -> str:
        return self._parts[1]

    @property
    def right(self) -> Written:
        return self._parts[2]

    @property
    def lhs(self) -> sp.Expr:
        return self.left.sympy

    @property
    def rhs(self) -> sp.Expr:
        return self.right.sympy

    @cached_property
    def sympy(self) -> sp.Basic:
        """The sympy relation, not evaluated."""
        return _RELATIONS[self.sign](self.lhs, self.rhs, evaluate=False)

    @property
    def residual(self) -> sp.Expr:
        """Left side minus right side: zero where the equation is true."""
        return self.lhs - self.rhs

    @property
    def letters(self) -> frozenset[sp.Symbol]:
        return frozenset(self.lhs.free_symbols | self.rhs.free_symbols)

    @property
    def latex(self) -> str:
        return f"{self.left.latex} {_LATEX_RELATIONS.get(self.sign, self.sign)} {self.right.latex}"

    @property
    def plain(self) -> str:
        return f"{self.left.plain} {_PLAIN_RELATIONS.get(self.sign, self.sign)} {self.right.plain}"

    def _repr_latex_(self) -> str:
        return f"$\\displaystyle {self.latex}$"

    def __str__(self) -> str:
        return self.plain


def _to_sympy(node: ast.expr) -> sp.Expr:
    match node:
        case ast.Constant(value=bool() | str()):
            raise ValueError(f"{node.value!r} is not a number")
        case ast.Constant(value=value):
            return sp.Rational(repr(value)) if isinstance(value, float) else sp.Integer(value)
        case ast.Name(id="pi"):
            return sp.pi
        case ast.Name(id=name):
            return known(name).symbol
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            return -_to_sympy(inner)
        case ast.BinOp(left=left, op=op, right=right):
            return _combine(op, _to_sympy(left), _to_sympy(right))
        case ast.Call(func=ast.Name(id=name), args=args):
            return _call(name, [_to_sympy(arg) for arg in args])
    raise ValueError(f"'{ast.unparse(node)}' cannot be read as an expression")


def _combine(op: ast.operator, left: sp.Expr, right: sp.Expr) -> sp.Expr:
    match op:
        case ast.Add():
            return left + right
        case ast.Sub():
            return left - right
        case ast.Mult():
            return left * right
        case ast.Div():
            return left / right
        case ast.Pow():
            return left**right
    raise ValueError("only + - * / and ** join two expressions")


def _call(name: str, args: list[sp.Expr]) -> sp.Expr:
    if name in _FUNCTIONS:
        return _FUNCTIONS[name](*args)
    if name == "integral":
        value, over, start, end = args
        return sp.Integral(value, (over, start, end))
    if name == "mean":
        value, over, start, end = args
        return sp.Integral(value, (over, start, end)) / (end - start)
    if name == "derivative":
        return sp.Derivative(*args)
    return sp.Function(known(name).name, real=True)(*args)
