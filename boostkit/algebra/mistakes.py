"""Named mistakes: each is a change to what was typed, and is named only if the change makes the line right.

A change is first tried at random points, all changes of one place at once, and then proved with the changed line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import sympy as sp

from boostkit.algebra.quantity import known
from boostkit.algebra.sameness import Line, Target, evaluate, target, terms_of, true_at

_ROUGH = 1e-6
_FACTOR = sp.Dummy("factor", positive=True)
_TERMS = 12            # places that are tried, at most


def name_mistake(typed: Line, wanted: Target) -> tuple[str, str] | None:
    """What kind of mistake makes the typed line wrong, and a sentence about it; None where no single one does."""
    if typed.sign != "=" or not wanted.values or not wanted.values[wanted.letter].any():    # x = 0 has no factors
        return None
    if wanted.agrees(wanted.settled(typed)):            # nothing to mend, though it may be true elsewhere too
        return None
    for search in (_duty_exchanged, _exponent_turned, _wrong_factor, _upside_down, _letter_exchanged, _special_case):
        for kind, says, changed in search(typed, wanted):
            if search is _special_case or wanted.same(changed):
                return kind, says
    return None


def words(expression: sp.Expr) -> str:
    """A sympy expression in the printed letters, on one line."""
    text = str(expression)
    text = re.sub(r"[A-Za-z_]\w*", lambda found: _plain(found[0]), text)
    return text.replace("**2", "²").replace("**3", "³").replace("**", "^").replace("*", " · ").replace("-", "−")


def _plain(name: str) -> str:
    try:
        return known(name).plain
    except ValueError:
        return name


# a factor at one place: sign, two, a letter

@dataclass(frozen=True)
class _Place:
    """The line with an unknown factor at one place of it."""

    where: str
    part: sp.Expr
    line: Line


def _wrong_factor(typed: Line, wanted: Target) -> Iterator[tuple[str, str, Line]]:
    letters = sorted(wanted.raw.letters | typed.letters, key=str)
    factors = [sp.Integer(-1), sp.Integer(2), sp.Rational(1, 2), *(x**n for n in (1, -1, 2, -2) for x in letters)]
    hits = [(factor, place) for place in _places(typed) for factor in _fitting(place.line, factors, wanted)]
    for factor, place in sorted(hits, key=lambda hit: factors.index(hit[0])):
        if about := _about_factor(factor, place):
            yield *about, place.line.changed(lambda side, factor=factor: side.xreplace({_FACTOR: factor}))


def _places(line: Line) -> Iterator[_Place]:
    """On the right side, and on each term of each sum."""
    if line.rhs != 0:
        yield _Place("the right side", line.rhs, Line(line.lhs, line.rhs * _FACTOR, line.sign))
    for side in ("rhs", "lhs"):
        expression = getattr(line, side)
        for total, term in list(terms_of(expression))[:_TERMS]:
            slotted = expression.xreplace({total: total - term + _FACTOR * term})
            sides = (line.lhs, slotted) if side == "rhs" else (slotted, line.rhs)
            yield _Place(f"the term {words(_without_sign(term))}", term, Line(*sides, line.sign))


def _without_sign(term: sp.Expr) -> sp.Expr:
    return -term if term.could_extract_minus_sign() else term


def _fitting(slotted: Line, factors: list[sp.Expr], wanted: Target) -> Iterator[sp.Expr]:
    settled = wanted.settled(slotted)
    settled_factors = [wanted.settled(Line(factor, sp.Integer(0))).lhs for factor in factors]
    values = wanted.fitting(settled.letters.union(*(factor.free_symbols for factor in settled_factors)) - {_FACTOR})
    sizes = evaluate(settled_factors, values)
    count = len(sizes[0])
    at_once = {letter: np.tile(value, len(factors)) for letter, value in values.items()}
    true = true_at(settled, at_once | {_FACTOR: np.concatenate(sizes)}, _ROUGH).reshape(len(factors), count)
    yield from (factor for factor, everywhere in zip(factors, true.all(axis=1), strict=True) if everywhere)


def _about_factor(factor: sp.Expr, place: _Place) -> tuple[str, str] | None:
    if factor == -1:
        return "sign", f"The sign of {place.where} is wrong."
    if factor in (2, sp.Rational(1, 2)):
        return "factor of two", f"A factor of two: {place.where} is {'half' if factor == 2 else 'twice'} what it should be."
    letter, power = factor.as_base_exp()
    above, below = (letter in part.free_symbols for part in sp.fraction(sp.together(place.part)))
    front = f"In {place.where}, {words(letter)}"
    if abs(power) == 2:
        stands, belongs = ("below", "above") if power > 0 else ("above", "below")
        there = below if power > 0 else above
        return ("upside down", f"{front} stands {stands} the fraction bar and belongs {belongs} it.") if there else None
    if power == 1:
        return ("extra letter", f"{front} stands once too often below the fraction bar.") if below else (
            "missing letter", f"{front} is missing as a factor.")
    return ("extra letter", f"{front} stands once too often as a factor.") if above else (
        "missing letter", f"{front} is missing below the fraction bar.")


# a side or a letter in the wrong place

def _duty_exchanged(typed: Line, wanted: Target) -> Iterator[tuple[str, str, Line]]:
    on, off = (known(name).symbol for name in ("duty", "duty_off"))
    if not typed.letters & {on, off}:
        return
    for one, other, says in ((on, off, "D stands where D' belongs."), (off, on, "D' stands where D belongs.")):
        if one in typed.letters:
            yield "D for D'", says, typed.changed(lambda side, one=one, other=other: side.xreplace({one: other}))
    yield "D for D'", "D and D' have changed places.", typed.changed(lambda side: side.xreplace({on: off, off: on}))


def _exponent_turned(typed: Line, wanted: Target) -> Iterator[tuple[str, str, Line]]:
    powers = typed.lhs.atoms(sp.exp) | typed.rhs.atoms(sp.exp)
    for power in sorted(powers, key=str)[:_TERMS]:
        yield ("sign", "The sign of the exponent is wrong.",
               typed.changed(lambda side, power=power: side.xreplace({power: 1 / power})))


def _upside_down(typed: Line, wanted: Target) -> Iterator[tuple[str, str, Line]]:
    if typed.rhs != 0:
        yield "upside down", "The right side is upside down: take its reciprocal.", Line(typed.lhs, 1 / typed.rhs, typed.sign)


def _letter_exchanged(typed: Line, wanted: Target) -> Iterator[tuple[str, str, Line]]:
    foreign = typed.letters - wanted.raw.letters
    for old in sorted(typed.letters, key=str):
        for new in sorted(wanted.raw.letters - {old}, key=str):
            if known(old.name).dimension != known(new.name).dimension:
                continue
            yield ("another letter", f"{words(old)} stands where {words(new)} belongs.",
                   typed.changed(lambda side, old=old, new=new: side.xreplace({old: new})))
            if old not in foreign and str(old) < str(new):
                yield ("another letter", f"{words(old)} and {words(new)} have changed places.",
                       typed.changed(lambda side, old=old, new=new: side.xreplace({old: new, new: old})))


# right by luck

def _special_case(typed: Line, wanted: Target) -> Iterator[tuple[str, str, Line]]:
    """Right where one letter has one value: one that a term was forgotten for, or at which D and D' are alike."""
    for letter in sorted(wanted.line.letters - {wanted.letter}, key=lambda s: (s in typed.letters, str(s))):
        for value in _SPECIAL.get(letter.name, (sp.Integer(0),)):
            put_in = {letter: value}
            reduced, was = (wanted.settled(line).changed(lambda side, p=put_in: side.subs(p)) for line in (typed, wanted.raw))
            if _worth_it(reduced, typed) and _worth_it(was, wanted.raw) and target(was).same(reduced):
                yield "special case", f"That holds only where {words(letter)} = {value}.", typed


_SPECIAL = {"duty": (sp.Rational(1, 2), sp.Integer(0))}


def _worth_it(line: Line, full: Line) -> bool:
    """Whether enough is left of a line for it to be a case of the full one: no side has vanished or grown without end."""
    vanished = any(now == 0 != was for now, was in ((line.lhs, full.lhs), (line.rhs, full.rhs)))
    return not (vanished or any(side.has(sp.zoo, sp.nan, sp.oo) for side in (line.lhs, line.rhs)) or line.seems_empty)
