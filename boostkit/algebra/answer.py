"""Judging a line that a learner typed as plain algebra, and hints towards it.

A line is right when it is true for the same values as the line of the step: at random points, and exactly where sympy
can decide it. A mistake is named only where undoing it makes the line right.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import product

import sympy as sp

from boostkit import units
from boostkit.algebra import quantity
from boostkit.algebra.derivation import Derivation, Step
from boostkit.algebra.dimensions import dimension_of
from boostkit.algebra.mistakes import name_mistake, words
from boostkit.algebra.quantity import known
from boostkit.algebra.reasons import Solving
from boostkit.algebra.sameness import Line, Target, carried_out, fulfilling, target, true_at
from boostkit.algebra.typed import ReadingError, read_typed
from boostkit.algebra.written import Equation


@dataclass(frozen=True)
class Verdict:
    """What a judge says of a typed line.

    right: whether it is the line. kind: "right", or what is wrong in a word or two (KINDS). says: a sentence or two.
    read: the line as it was read, products written out; empty where it could not be read.
    """

    right: bool
    kind: str
    says: str
    read: str = ""

    def __repr__(self) -> str:
        return f"{'right' if self.right else 'not yet'}: {self.says}" + (f"\n    read as: {self.read}" if self.read else "")

    def _repr_markdown_(self) -> str:
        read = f"\n\nRead as: {_escaped(self.read)}" if self.read else ""
        return f"**{'Right.' if self.right else 'Not yet.'}** {_escaped(self.says)}{read}"


PURE = "a pure number"
KINDS = ("right", "unreadable", "unknown letter", "relation", "says nothing", "line before", "another line", "not solved",
         "not carried out", "dimension", "sign", "factor of two", "D for D'", "upside down", "missing letter",
         "extra letter", "another letter", "special case", "letters", "wrong")


@dataclass(frozen=True)
class Hint:
    """A hint of a grade from 1 (the reason) over 2 (the letters) to 3 (the line)."""

    grade: int
    says: str

    def __repr__(self) -> str:
        return self.says

    def _repr_markdown_(self) -> str:
        return _escaped(self.says)


def _escaped(text: str) -> str:
    return re.sub(r"([\\`*_{}\[\]<>#|~$^])", r"\\\1", text)


@dataclass(frozen=True)
class _Case:
    """A typed line with the line that was wanted, and the lines before that."""

    typed: Equation
    wanted: Equation
    before: tuple[Equation, ...]
    solved_for: str = ""

    @property
    def line(self) -> Line:
        return _line(self.typed, self.wanted.sign)

    @property
    def target(self) -> Target:
        return target(_line(self.wanted, self.wanted.sign))


def judge(typed: str, wanted: Equation | Step, *, given: Iterable[Equation | Step] = ()) -> Verdict:
    """Judge a typed line against the line of a step.

    typed: plain algebra, as `algebra.typed.read_typed` reads it; without an = sign it is taken as the right side.
    wanted: the line; with a Step that solves for a letter, this letter must stand alone. given: the lines before, the
    one just before last; to repeat one of them is no answer. D' counts as 1 - D, and T_s as 1/f_s.
    Returns a Verdict, for whatever was typed; nothing typed is ever run.

    >>> judge("V_out = V_in/D", Equation("v_out = v_in/duty_off")).kind
    "D for D'"
    """
    solved_for = wanted.because.letter if isinstance(wanted, Step) and isinstance(wanted.because, Solving) else ""
    line, before = _equation(wanted), tuple(map(_equation, given))
    try:
        case = _Case(read_typed(typed, line, before), line, before, solved_for)
    except ReadingError as trouble:
        return Verdict(False, trouble.kind, _sentence(str(trouble)))
    try:
        verdict = next(found for check in _CHECKS if (found := check(case)))
    except (ArithmeticError, NotImplementedError, RecursionError, TypeError, sp.PolynomialError) as trouble:
        return Verdict(False, "unreadable", f"This line cannot be judged ({type(trouble).__name__}); write it more plainly.")
    return Verdict(verdict.right, verdict.kind, verdict.says, case.typed.plain)


def next_line(derivation: Derivation, n: int, typed: str) -> Verdict:
    """Judge a line typed for step n (counted from 1) of a derivation; ValueError where it has no such step."""
    step = _step(derivation, n)
    return judge(typed, step, given=derivation.steps[: n - 1])


def hint(derivation: Derivation, n: int, grade: int = 1) -> Hint:
    """A hint towards step n: grade 1 gives the reason, 2 the letters that occur as well, 3 the line itself."""
    step = _step(derivation, n)
    if grade not in (1, 2, 3):
        raise ValueError(f"grade = {grade} must be 1 (the reason), 2 (the letters) or 3 (the line)")
    used = f" (lines {', '.join(map(str, step.uses))})" if step.uses else ""
    names = dict.fromkeys(step.equation.left.names + step.equation.right.names)
    letters = "; ".join(f"{known(name).plain}, {known(name).meaning}" for name in names)
    says = (f"{step.say} The reason: {step.because.words}{used}.", f"Letters that occur: {letters}.", f"The line: {step.equation.plain}")
    return Hint(grade, says[grade - 1])


def _step(derivation: Derivation, n: int) -> Step:
    if isinstance(n, bool) or not isinstance(n, int) or not 1 <= n <= len(derivation.steps):
        raise ValueError(f"n = {n} must be a step of {derivation.name}: 1 to {len(derivation.steps)}")
    return derivation.steps[n - 1]


def _equation(line: Equation | Step) -> Equation:
    return line.equation if isinstance(line, Step) else line


def _sentence(text: str) -> str:
    return text if text.endswith("?") else f"{text}."


def _line(equation: Equation, like: str) -> Line:
    """The two sides; an inequality is turned so that its sign points as in the line it is compared with."""
    turned = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}.get(equation.sign)
    if turned == like:
        return Line(equation.rhs, equation.lhs, turned)
    return Line(equation.lhs, equation.rhs, equation.sign)


# the checks, in the order in which they are made

def _relation(case: _Case) -> Verdict | None:
    if case.line.sign == case.wanted.sign:
        turned = Line(case.line.rhs, case.line.lhs, case.line.sign)
        if case.wanted.sign != "=" and case.target.same(turned):
            return Verdict(False, "relation", "The sign between the two sides points the wrong way.")
        return None
    return Verdict(False, "relation", f"The sign between the two sides must be {_PRINTED.get(case.wanted.sign, case.wanted.sign)} here.")


_PRINTED = {"<=": "≤", ">=": "≥"}


def _says_nothing(case: _Case) -> Verdict | None:
    if not case.target.settled(case.line).says_nothing:
        return None
    if case.line.letters and not case.line.changed(carried_out).says_nothing:
        return Verdict(False, "says nothing", "That only restates a definition, such as D' = 1 − D.")
    return Verdict(False, "says nothing", "Both sides are the same, so the line is always true and says nothing.")


def _repeats(case: _Case) -> Verdict | None:
    """The very line before, sign for sign, where the step rewrites it."""
    forms = [_written(line) for line in (case.typed, case.wanted)]
    if case.before and forms[0] != forms[1] and forms[0] == _written(case.before[-1]):
        return Verdict(False, "line before", "That is the line before; take the next step.")
    return None


def _written(line: Equation) -> list[str]:
    return [ast.dump(ast.parse(side.text.strip(), mode="eval")) for side in (line.left, line.right)]


def _right(case: _Case) -> Verdict | None:
    if not case.target.same(case.line):
        return None
    if case.before and _unchanged(case):
        return Verdict(False, "line before", "That is the line before; take the next step.")
    if case.solved_for and not _alone(case.line, known(case.solved_for).symbol):
        letter = known(case.solved_for).plain
        return Verdict(False, "not solved", f"True, but {letter} must stand alone on one side and not on the other.")
    if _unfinished(case.line) and not _unfinished(case.target.raw):
        return Verdict(False, "not carried out", "True, but the integral or the derivative is still to be carried out.")
    return Verdict(True, "right", "The line is true for the same values as the line of this step.")


def _unchanged(case: _Case) -> bool:
    """The line before but for the order of its terms, while the line of the step differs from it."""
    typed, before, wanted = ({line.lhs, line.rhs} for line in (case.typed, case.before[-1], case.wanted))
    return typed == before != wanted


def _alone(line: Line, letter: sp.Symbol) -> bool:
    return any(side == letter and letter not in other.free_symbols
               for side, other in ((line.lhs, line.rhs), (line.rhs, line.lhs)))


def _unfinished(line: Line) -> bool:
    return line.lhs.has(sp.Integral, sp.Derivative) or line.rhs.has(sp.Integral, sp.Derivative)


def _earlier(case: _Case) -> Verdict | None:
    for number in range(len(case.before), 0, -1):
        line = case.before[number - 1]
        old, new = target(_line(line, line.sign)), _line(case.typed, line.sign)
        if old.line.letters == old.settled(new).letters and old.same(new):
            if number == len(case.before):
                return Verdict(False, "line before", "That says the same as the line before; take the next step.")
            return Verdict(False, "another line", f"That says the same as line {number}, which stands already.")
    return None


def _follows(case: _Case) -> Verdict | None:
    """True wherever the lines before are, and yet not the line of this step."""
    lines = [case.target.settled(_line(line, "=")) for line in case.before if line.sign == "="]
    values = fulfilling(lines, case.target.settled(case.line))
    if not values or not true_at(case.target.settled(case.line), values, 1e-6).all():
        return None
    return Verdict(False, "another line", "That agrees with the lines before, but it is not the line of this step.")


def _dimension(case: _Case) -> Verdict | None:
    left, right = _dimensions(case.typed.lhs), _dimensions(case.typed.rhs)
    wrong = next((said for said in (left, right) if isinstance(said, str)), None)
    if wrong is None and (None in (left, right) or left == right):
        return None
    says = wrong or f"The left side is {_in(left)}, the right side {_in(right)}."
    found = name_mistake(case.line, case.target)
    return Verdict(False, "dimension", f"{says} {found[1]}" if found else says)


def _in(dimension) -> str:
    unit = _unit(dimension)
    return unit if unit == PURE else f"in {unit}"


def _dimensions(side: sp.Expr):
    """The dimension of a side, or a sentence about what does not fit in it."""
    try:
        return dimension_of(side)
    except ValueError:
        return _unlike(side)


def _unlike(side: sp.Expr) -> str:
    for total in sorted(side.atoms(sp.Add), key=lambda part: len(str(part))):
        try:
            found = {_in(dimension_of(term)): term for term in sorted(total.args, key=str) if dimension_of(term) is not None}
        except ValueError:
            continue
        if len(found) > 1:
            return "Unlike things are added: " + " and ".join(f"{words(t)} ({unit})" for unit, t in list(found.items())[:2]) + "."
    return "A power or a function is given something with a unit."


def _unit(dimension) -> str:
    """The unit of a dimension in the kit's own units, alone or as a product or quotient of two."""
    alone = [entry.unit for entry in quantity.every() if entry.dimension == dimension]
    if alone:
        return min(alone, key=lambda unit: (len(unit), unit)) or PURE
    parts = {unit: units.dimension(unit) for unit in ("", "V", "A", "Ω", "H", "F", "s", "m", "W", "J", "Hz", "kg")}
    for (one, first), (other, second) in product(parts.items(), repeat=2):
        if tuple(a + b for a, b in zip(first, second, strict=True)) == dimension:
            return f"{one}²" if one == other else f"{one}·{other}"
        if tuple(a - b for a, b in zip(first, second, strict=True)) == dimension:
            return f"{one or 1}/{other}"
    names = zip(("m", "kg", "s", "A", "K"), dimension, strict=True)
    return "·".join(name if power == 1 else f"{name}^{power}" for name, power in names if power)


def _mistake(case: _Case) -> Verdict | None:
    found = name_mistake(case.line, case.target)
    return Verdict(False, *found) if found else None


def _letters(case: _Case) -> Verdict | None:
    have, need = (case.target.settled(line).letters for line in (case.line, case.target.raw))
    missing, extra = (", ".join(sorted(words(letter) for letter in few)) for few in (need - have, have - need))
    if not (missing or extra):
        return None
    says = [f"Missing in this line: {missing}." if missing else "", f"These do not belong in it: {extra}." if extra else ""]
    return Verdict(False, "letters", " ".join(filter(None, says)))


def _wrong(case: _Case) -> Verdict:
    return Verdict(False, "wrong", f"The line is not true where the line of this step is. {_example(case)}".strip())


def _example(case: _Case) -> str:
    """Values that fulfil the wanted line, and what the two sides of the typed one come to."""
    if not case.target.values:
        return ""
    ordered = sorted(case.target.values.items(), key=lambda item: str(item[0]))
    values = {letter: float(found[0]) for letter, found in ordered if not isinstance(letter, sp.Dummy)}
    line = case.target.settled(case.line)
    try:
        sides = [float(side.subs(values)) for side in (line.lhs, line.rhs)]
    except TypeError:
        return ""
    unit = _unit(dimension) if (dimension := dimension_of(case.typed.lhs) or dimension_of(case.typed.rhs)) else ""
    unit = "" if unit == PURE else unit
    shown = ", ".join(f"{known(s.name).plain} = {units.show(value, known(s.name).unit)}" for s, value in values.items())
    return f"With {shown}, which fit it, the left side is {_said(sides[0], unit)} and the right side {_said(sides[1], unit)}."


def _said(value: float, unit: str) -> str:
    try:
        return units.show(value, unit)
    except ValueError:
        return f"{value:.3g} {unit}"


_CHECKS: tuple[Callable[[_Case], Verdict | None], ...] = (
    _relation, _says_nothing, _repeats, _right, _earlier, _follows, _dimension, _mistake, _letters, _wrong)
