"""A formula: what a derivation ends in, as something to compute with, to print, and to hold to its word."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np
import sympy as sp

from boostkit import units
from boostkit.algebra.calculation import Calculation, expand, letters_below, names_in
from boostkit.algebra.dimensions import check_equation, dimension_of
from boostkit.algebra.quantity import Quantity, known
from boostkit.algebra.written import Equation, Written


class Derived(Protocol):
    """What a formula needs of a derivation."""

    name: str
    equation: Equation
    assumptions: list[str]


@dataclass(frozen=True)
class Condition:
    """One condition of validity: a relation written in the letters, and the same in words."""

    relation: str
    words: str

    @cached_property
    def equation(self) -> Equation:
        return Equation(self.relation)

    @property
    def margin(self) -> sp.Expr:
        """Zero or positive where the condition is met."""
        gap = self.equation.residual
        return gap if self.equation.sign.startswith(">") else -gap

    def __str__(self) -> str:
        return f"{self.words} ({self.equation.plain})"


@dataclass(frozen=True)
class Bound:
    """The largest relative error against the exact circuit, as an expression in the letters, and in words.

    An empty expression promises nothing: the words then say what the formula leaves out.
    """

    expression: str
    words: str

    @cached_property
    def written(self) -> Written:
        return Written(self.expression)

    def __str__(self) -> str:
        return f"{self.words}; relative error at most {self.written.plain}" if self.expression else self.words


@dataclass(frozen=True)
class Worked:
    """A formula with the numbers put in: one line for paper as plain text and as LaTeX, and its value."""

    text: str
    latex: str
    value: float
    unit: str

    def __str__(self) -> str:
        return self.text

    __repr__ = __str__

    def _repr_latex_(self) -> str:
        return f"$\\displaystyle {self.latex}$"


@dataclass(frozen=True)
class Formula:
    """The last line of a derivation, callable by keyword: `f(duty=0.6)`, arrays broadcast.

    name, meaning, unit, source, example: the data sheet; `example` holds values for one worked line.
    valid: Conditions; `holds(...)` is true where all of them are. error: a Bound, or None where none is promised.
    The expression is never typed again: it is the right side of the derivation's last equation.

    Raises ValueError of one line for a letter that is missing, unknown, or outside its physical range.
    """

    name: str
    meaning: str
    derivation: Derived
    unit: str
    valid: tuple[Condition, ...] = ()
    bound: Bound | None = None
    source: str = ""
    example: Mapping[str, float] = field(default_factory=dict)

    @property
    def equation(self) -> Equation:
        return self.derivation.equation

    @property
    def expression(self) -> sp.Expr:
        """The right side in sympy, in the letters as written."""
        return self.equation.rhs

    @cached_property
    def inputs(self) -> tuple[Quantity, ...]:
        """The quantities that a call needs; a letter that only respells another (D', T_s) counts as the other."""
        return tuple(dict.fromkeys(known(self._respelled(name)) for name in self.equation.right.names))

    def _respelled(self, name: str) -> str:
        deeper = names_in(expand(known(name).symbol, ()))
        return deeper.pop() if len(deeper) == 1 else name

    @cached_property
    def result(self) -> Quantity:
        """What is computed: the letter on the left side, or the ratio that stands there."""
        if self.equation.lhs.is_Symbol:
            return known(self.equation.lhs.name)
        return Quantity(self.name, self.equation.left.latex, self.unit, self.meaning, (0.0, 10.0))

    @cached_property
    def _calculation(self) -> Calculation:
        return Calculation(self.name, self.expression)

    def __call__(self, **values):
        if not self._calculation.knows(tuple(values)):
            self._check_names(values)
        return self._calculation(values)

    def _check_names(self, values: Mapping[str, float]) -> None:
        takes = "it takes " + ", ".join(quantity.name for quantity in self.inputs)
        usable = set(letters_below(self.expression))
        if foreign := [name for name in values if name not in usable]:
            raise ValueError(f"{self.name} does not take {' or '.join(foreign)}; {takes}")
        needed = names_in(expand(self.expression, values))
        if missing := [q.name for q in self.inputs if needed - set(values) and q.name not in values]:
            raise ValueError(f"{self.name} needs {' and '.join(missing)} as well; {takes}")
        if idle := [name for name in values if name not in needed]:
            raise ValueError(f"{self.name} has no use for {' and '.join(idle)} beside the others; {takes}")

    def holds(self, **values) -> bool | np.ndarray:
        """Whether every condition of validity is met. A loss that is not given counts as zero."""
        met = np.all([gap(_used(gap, values)) >= 0 for gap in self._gaps], axis=0)
        return met if np.ndim(met) else bool(met)

    @cached_property
    def _gaps(self) -> list[Calculation]:
        return [Calculation(f"{self.name}.holds", condition.margin, ideals=True) for condition in self.valid]

    def error_bound(self, **values) -> float | np.ndarray:
        """Largest relative error against the exact circuit. A letter not given takes its ideal value: no loss."""
        if not self._promises:
            raise ValueError(f"{self.name} promises no error bound")
        return self._error(_used(self._error, values))

    @property
    def _promises(self) -> bool:
        return self.bound is not None and bool(self.bound.expression)

    @cached_property
    def _error(self) -> Calculation:
        return Calculation(f"{self.name}.error_bound", self.bound.written.sympy, ideals=True)

    def check_dimensions(self) -> None:
        """Raise ValueError unless the unit, the two sides, the conditions and the bound agree in dimension."""
        check_equation(self.equation)
        found = dimension_of(self.expression)
        if found is not None and found != units.dimension(self.unit):
            raise ValueError(f"{self.name}: the unit '{self.unit}' does not fit {self.equation.plain}")
        for condition in self.valid:
            check_equation(condition.equation)
        if self._promises and dimension_of(self.bound.written.sympy) not in (None, units.dimension("")):
            raise ValueError(f"{self.name}: the error bound {self.bound.written.plain} must be a pure number")

    # --- print ---

    def worked(self, **values) -> Worked:
        """The formula with these values put in, as one line for paper: `V_out/V_in = 1/(1 − 0.6) = 2.5`."""
        result = self(**values)
        left, right = self.equation.left, self.equation.right
        filled = _put_in(right, values, units.show, Written.plain_with), _put_in(right, values, latex_value, Written.latex_with)
        text = _chain(left.plain, filled[0], units.show(result, self.unit))
        maths = _chain(left.latex, right.latex, filled[1], latex_value(result, self.unit))
        return Worked(text, maths, result, self.unit)

    @property
    def error(self) -> str:
        """How wrong the formula is, in words and as an expression."""
        return str(self.bound or "no bound promised")

    @property
    def validity(self) -> str:
        """Where the formula holds, in words and as relations."""
        return "; ".join(map(str, self.valid)) or "wherever its assumptions hold"

    def data_sheet(self) -> str:
        """Everything there is to know about the formula, as plain text."""
        lines = [self.equation.plain, f"  {self.meaning}"]
        for quantity in self.inputs:
            lines.append(f"  {quantity.plain}: {quantity.meaning}, {quantity.name}{_in_unit(quantity.unit)}")
        lines.append(f"  result: {self.equation.left.plain}{_in_unit(self.unit) or ', a pure number'}")
        lines.append(f"  assumes: {'; '.join(self.derivation.assumptions) or 'nothing'}")
        lines += [f"  holds: {self.validity}", f"  error: {self.error}", f"  source: {self.source}"]
        if self.example:
            lines.append(f"  example: {self.worked(**self.example).text}")
        return "\n".join(lines)

    def __repr__(self) -> str:
        return self.data_sheet()

    def _repr_latex_(self) -> str:
        return f"$\\displaystyle {self.equation.latex}$"


_IN_LATEX = (("µ", r"\mu "), ("Ω", r"\Omega "), ("%", r"\%"), ("°", r"^\circ "), ("·", r"\cdot "), ("²", "^2"), ("³", "^3"),
             ("⁴", "^4"))  # fmt: skip


def latex_value(value: float, unit: str) -> str:
    r"""A number with its unit as LaTeX: `47\,\mathrm{\mu H}`."""
    number, _, tail = units.show(value, unit).partition(" ")
    number = re.sub(r"e(-?\d+)$", r"\\times 10^{\1}", number)
    tail = re.sub(r"^1/(\w+)$", r"\1^{-1}", tail)  # 0.004 1/K would read as 0.0041/K
    for sign, command in _IN_LATEX:
        tail = tail.replace(sign, command)
    return rf"{number}\,\mathrm{{{tail}}}" if tail else number


def _chain(*parts: str) -> str:
    """The parts as a chain of equals; one that only repeats the last is left out (V = 18 V = 18 V)."""
    return " = ".join(part for part in parts[:-1] if part != parts[-1]) + f" = {parts[-1]}"


def _put_in(written: Written, values: Mapping[str, float], show, printed) -> str:
    """The text with values in place of letters; a letter without a value shows its definition, D' as 1 − 0.6, a constant its number
    and unit, and a letter that needs no value, because it cancels, itself."""
    def text(name: str) -> str:
        if name in values:
            return show(values[name], known(name).unit)
        if not known(name).defined_as:
            return printed(Written(name), {})
        definition, unit = Written(known(name).defined_as), known(name).unit
        return show(float(definition.sympy), unit) if unit and not definition.names else _put_in(definition, values, show, printed)

    return printed(written, {name: text(name) for name in written.names})


def _in_unit(unit: str) -> str:
    return f", in {unit}" if unit else ""


def _used(calculation: Calculation, values: Mapping[str, float]) -> dict[str, float]:
    """Those of the values that occur in the calculation; a name that is no letter at all is refused."""
    usable = set(letters_below(calculation.expression))
    return {name: value for name, value in values.items() if known(name).name in usable}
