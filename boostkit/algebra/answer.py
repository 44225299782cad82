"""Judging a line that a learner typed as plain algebra, and hints towards it.

A line is right when it is true for the same values as the line of the step: at random points, and exactly where sympy
can decide it. A mistake is named only where undoing it makes the line right.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import sympy as sp

from boostkit import units
from boostkit.algebra.derivation import Derivation, Step
from boostkit.algebra.dimensions import dimension_of
from boostkit.algebra.mistakes import name_mistake, words
from boostkit.algebra.quantity import known
from boostkit.algebra.reasons import Solving
from boostkit.algebra.sameness import Line, Target, carried_out, fulfilling, target, true_at
from boostkit.algebra.trial import points
from boostkit.algebra.typed import ReadingError, read_typed
from boostkit.algebra.weight import PURE, dimension_in, said, unit_of
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


KINDS = ("right", "unreadable", "unknown letter", "relation", "says nothing", "line before", "another line", "true elsewhere", "not solved",
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


def _elsewhere(case: _Case) -> Verdict | None:
    """True wherever the line of the step is, and in other places as well."""
    line = case.target.settled(case.line)
    if line.sign != "=" or not case.target.true_throughout(line):
        return None
    if case.target.mirrored(line):
        letter = words(case.target.letter)
        return Verdict(False, "true elsewhere", f"As a square it says less: it is true for {letter} of the opposite sign too.")
    spare = [factor for factor in case.target.spare_factors(line) if len(str(factor)) < 60 and _vanishes(factor)]
    if spare:
        return Verdict(False, "true elsewhere", f"It is true also where {words(spare[0])} = 0.")
    return Verdict(False, "another line", "It is true where the line of this step is, but not shown to be true only there.")


def _vanishes(factor: sp.Expr) -> bool:
    """Shown by a root: one of its letters has a possible value that makes it zero."""
    others = next(points(factor.free_symbols, str(factor), 1))
    straight = (letter for letter in sorted(factor.free_symbols, key=str) if not isinstance(letter, sp.Dummy)
                and factor.is_polynomial(letter) and sp.degree(factor, letter) == 1)
    for letter in straight:
        slope, rest = sp.Poly(factor.subs({s: value for s, value in others.items() if s != letter}), letter).all_coeffs()
        if slope != 0 and known(letter.name).allows(float(-rest / slope)):
            return True
    return False


def _follows(case: _Case) -> Verdict | None:
    """True wherever the lines before are, and yet not the line of this step."""
    lines = [case.target.settled(_line(line, "=")) for line in case.before if line.sign == "="]
    values = fulfilling(lines, case.target.settled(case.line))
    if not values or not true_at(case.target.settled(case.line), values, 1e-9).all():
        return None
    return Verdict(False, "another line", "That agrees with the lines before, but it is not the line of this step.")


def _unlike(case: _Case) -> Verdict | None:
    """As it is written: what cancels must fit as well."""
    try:
        for side in (case.typed.left, case.typed.right):
            dimension_in(ast.parse(side.text.strip(), mode="eval").body)
    except ValueError as trouble:
        return _with_mistake(case, str(trouble))
    return None


def _dimension(case: _Case) -> Verdict | None:
    try:
        left, right = (dimension_of(side) for side in (case.typed.lhs, case.typed.rhs))
    except ValueError:
        return _with_mistake(case, "A power or a function is given something with a unit.")
    if None in (left, right) or left == right:
        return None
    return _with_mistake(case, f"The left side is {said(left)}, the right side {said(right)}.")


def _with_mistake(case: _Case, says: str) -> Verdict:
    found = name_mistake(case.line, case.target)
    return Verdict(False, "dimension", f"{says} {found[1]}" if found else says)


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
    ordered = sorted(case.target.values.items(), key=lambda item: str(item[0]))
    named = {letter: found for letter, found in ordered if not isinstance(letter, sp.Dummy)}
    rows = ({letter: float(value) for letter, value in zip(named, row, strict=True)} for row in zip(*named.values(), strict=True))
    values = next((row for row in rows if all(known(s.name).allows(value) for s, value in row.items())), {})
    if not values:
        return ""
    line = case.target.settled(case.line)
    try:
        sides = [float(side.subs(values)) for side in (line.lhs, line.rhs)]
    except TypeError:
        return ""
    unit = unit_of(dimension) if (dimension := dimension_of(case.typed.lhs) or dimension_of(case.typed.rhs)) else ""
    unit = "" if unit == PURE else unit
    shown = ", ".join(f"{known(s.name).plain} = {units.show(value, known(s.name).unit)}" for s, value in values.items())
    texts = ([_said(side, unit, digits) for side in sides] for digits in (3, 6, 9, 12))
    left, right = next((pair for pair in texts if pair[0] != pair[1]), ("one value", "another, by less than can be shown"))
    return f"With {shown}, which fit it, the left side is {left} and the right side {right}."


def _said(value: float, unit: str, digits: int) -> str:
    try:
        return units.show(value, unit, digits)
    except ValueError:
        return f"{value:.{digits}g} {unit}"


_CHECKS: tuple[Callable[[_Case], Verdict | None], ...] = (
    _relation, _unlike, _says_nothing, _repeats, _right, _earlier, _elsewhere, _follows, _dimension, _mistake, _letters, _wrong)
