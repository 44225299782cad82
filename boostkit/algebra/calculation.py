"""Expressions as functions of letters given by name; letters that are not given follow from their definitions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache

import numpy as np
import sympy as sp

from boostkit.algebra.quantity import known
from boostkit.algebra.written import Written


class Calculation:
    """A sympy expression as a function of letters given by name, for single numbers and for arrays.

    A letter that is not given is replaced by its definition in other letters, where it has one, or (`ideals`) by
    its ideal value. Compiled once for each set of names. Raises ValueError for a letter that is missing.
    """

    def __init__(self, name: str, expression: sp.Expr, ideals: bool = False):
        self.name, self.expression, self.ideals = name, expression, ideals
        self._forms: dict[tuple[str, ...], tuple] = {}

    def __call__(self, values: Mapping[str, float]):
        names = tuple(values)
        quantities, one, many = self._forms.get(names) or self._compile(names)
        single = True
        for quantity, value in zip(quantities, values.values(), strict=True):
            if type(value) is float or type(value) is int:
                if not quantity.allows(value):
                    quantity.check(value)
            else:
                quantity.check(value)
                single = False
        try:
            return one(*values.values()) if single else many(*map(np.asarray, values.values()))
        except ZeroDivisionError:
            shown = ", ".join(f"{name} = {value}" for name, value in values.items())
            raise ValueError(f"{self.name} has no value at {shown}: it divides by zero there") from None

    def _compile(self, names: tuple[str, ...]) -> tuple:
        quantities = [known(name) for name in names]
        expression = self._reduce(set(names))
        symbols = [quantity.symbol for quantity in quantities]
        form = (quantities, _when_called(lambda: sp.lambdify(symbols, expression, "math")),
                _when_called(lambda: _broadcasting(symbols, expression)))  # fmt: skip
        self._forms[names] = form
        return form

    def knows(self, names: tuple[str, ...]) -> bool:
        """Whether this set of names has been used, and so checked, before."""
        return names in self._forms

    def _reduce(self, given: set[str]) -> sp.Expr:
        expression = expand(self.expression, given)
        if self.ideals:
            missing = [known(name) for name in names_in(expression) - given]
            expression = expression.subs({q.symbol: 0 for q in missing if q.ideal == 0})
            expression = expression.subs({q.symbol: sp.oo for q in missing if q.ideal == np.inf})
        missing = sorted(names_in(expression) - given)
        if missing:
            raise ValueError(f"{self.name} needs {' and '.join(missing)} as well")
        return expression


def expand(expression: sp.Expr, given: Iterable[str]) -> sp.Expr:
    """Replace each letter that is not given by its definition in other letters, as far as that goes."""
    given = set(given)
    while rules := _rules(names_in(expression) - given):
        expression = expression.subs(rules)
    return expression


@cache
def letters_below(expression: sp.Expr) -> tuple[str, ...]:
    """The names in an expression, then those in the definitions of these, and so on down."""
    found, waiting = [], sorted(names_in(expression))
    while waiting:
        name = waiting.pop(0)
        if name not in found:
            found.append(name)
            waiting += [n for rule in _rules({name}).values() for n in sorted(names_in(rule))]
    return tuple(found)


def names_in(expression: sp.Expr) -> set[str]:
    return {symbol.name for symbol in expression.free_symbols}


def _rules(names: set[str]) -> dict[sp.Symbol, sp.Expr]:
    defined = [known(name) for name in names if known(name).defined_as]
    return {quantity.symbol: Written(quantity.defined_as).sympy for quantity in defined}


def _when_called(make):
    """A function that is compiled at its first call: most formulas meet single numbers only, or arrays only."""
    compiled = cache(make)
    return lambda *values: compiled()(*values)


def _broadcasting(symbols: list[sp.Symbol], expression: sp.Expr):
    compiled = sp.lambdify(symbols, expression, "numpy")

    def many(*values):
        # A constant result must still take the common shape of the arrays.
        return np.asarray(compiled(*values), dtype=float) + np.zeros(np.broadcast_shapes(*(v.shape for v in values)))

    return many
