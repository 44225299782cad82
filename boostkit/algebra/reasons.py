"""Why a step may be taken: each reason says so in words and can check itself by machine.

`check(new, earlier, defined)` gets the equation of the step, the equations that it uses, and the letters that occurred
before; it raises ValueError with what is wrong.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import sympy as sp

from boostkit.algebra.laws import LAWS
from boostkit.algebra.quantity import known
from boostkit.algebra.trial import numerator_of, points, real_roots, same, same_solutions
from boostkit.algebra.written import Equation, Written


@dataclass(frozen=True)
class Reason:
    """The base of all reasons; `needs` is the least number of earlier equations that one works on."""

    needs = 1

    @property
    def words(self) -> str:
        raise NotImplementedError

    def check(self, new: Equation, earlier: Sequence[Equation], before: set[str]) -> None:
        raise NotImplementedError


@dataclass(frozen=True)
class Sides:
    """Two sides that need not have been written down."""

    lhs: sp.Expr
    rhs: sp.Expr


def same_sides(expected, found, complaint: str) -> None:
    """Raise ValueError unless left equals left and right equals right."""
    for one, other in ((expected.lhs, found.lhs), (expected.rhs, found.rhs)):
        if not same(one, other):
            raise ValueError(f"{complaint}: expected {one}, found {other}")


def _put_in(expression: sp.Expr, rules: dict[sp.Expr, sp.Expr]) -> sp.Expr:
    for _ in rules:      # a rule may bring in a letter that another rule replaces
        expression = expression.subs(rules)
    return expression


@dataclass(frozen=True)
class ByLaw(Reason):
    law_name: str
    players: tuple[tuple[str, str], ...]
    needs = 0

    @property
    def words(self) -> str:
        return f"{self.law_name}: {LAWS[self.law_name].says}"

    def check(self, new, earlier, before):
        left, right = LAWS[self.law_name].fill(dict(self.players))
        same_sides(Sides(left, right), new, f"it is not the {self.law_name} with these roles")


@dataclass(frozen=True)
class Definition(Reason):
    needs = 0

    @property
    def words(self) -> str:
        return "definition"

    def check(self, new, earlier, before):
        if not new.lhs.is_Symbol or new.sign != "=":
            raise ValueError("a definition has a single letter on its left side")
        name = new.lhs.name
        listed = known(name).defined_as
        if listed and not same(Written(listed).sympy, new.rhs):
            raise ValueError(f"{name} is defined in the list of letters as {Written(listed).plain}")
        if not listed and (name in before or new.lhs in new.rhs.free_symbols):
            raise ValueError(f"{name} has a meaning already and cannot be defined again")


@dataclass(frozen=True)
class Assumption(Reason):
    text: str
    needs = 0

    @property
    def words(self) -> str:
        return f"assumption: {self.text}"

    def check(self, new, earlier, before):
        if not self.text:
            raise ValueError("an assumption must be stated in words")


@dataclass(frozen=True)
class Earlier(Reason):
    """The last equation of another derivation, repeated; its assumptions come with it."""

    derivation: object
    needs = 0

    @property
    def words(self) -> str:
        return f"shown before: {self.derivation.title}"

    def check(self, new, earlier, before):
        self.derivation.verify()
        same_sides(self.derivation.equation, new, f"it is not the result of '{self.derivation.title}'")


@dataclass(frozen=True)
class Substituting(Reason):
    """The first equation used, with the letters on the left of the others replaced by what stands on their right."""

    needs = 2

    @property
    def words(self) -> str:
        return "substituting"

    def check(self, new, earlier, before):
        rules = {rule.lhs: rule.rhs for rule in earlier[1:]}
        was, now = (Sides(_put_in(e.lhs, rules), _put_in(e.rhs, rules)) for e in (earlier[0], new))
        same_sides(was, now, "putting the one equation into the other does not give this")


@dataclass(frozen=True)
class Simplifying(Reason):
    @property
    def words(self) -> str:
        return "simplifying"

    def check(self, new, earlier, before):
        if same(earlier[0].lhs, new.lhs) and same(earlier[0].rhs, new.rhs):
            return
        if not same_solutions(earlier[0], new):
            raise ValueError("the two equations are not true for the same values")


@dataclass(frozen=True)
class Solving(Reason):
    """Solved for a letter; `branch` is a relation that picks one of several solutions. Solutions of a polynomial are counted; what is
    no polynomial must only grow, or only fall, with the letter."""

    letter: str
    branch: str = ""

    @property
    def words(self) -> str:
        which = f", the solution with {Equation(self.branch).plain}" if self.branch else ""
        return f"solving for {known(self.letter).plain}{which}"

    def check(self, new, earlier, before):
        letter = known(self.letter).symbol
        if new.lhs != letter or letter in new.rhs.free_symbols:
            raise ValueError(f"{self.letter} must stand alone on the left side and not on the right")
        put_in = {letter: new.rhs}
        if not same(earlier[0].lhs.subs(put_in), earlier[0].rhs.subs(put_in)):
            raise ValueError(f"put back into {earlier[0].plain}, it does not make the two sides equal")
        self._only_one(earlier[0], new, letter)

    def _only_one(self, old: Equation, new: Equation, letter: sp.Symbol) -> None:
        numerator, checked = numerator_of(old.residual), 0
        if not self.branch and numerator.is_polynomial(letter) and sp.degree(numerator, letter) == 1:
            return
        if not self.branch and not numerator.is_polynomial(letter) and _one_way(old.residual, letter):
            return
        for point in points(old.letters - {letter}, new.text):
            claimed = complex(new.rhs.subs(point))
            if abs(claimed.imag) > 0 or not self._chosen(claimed.real, letter, point):
                continue
            chosen = [root for root in real_roots(numerator, letter, point) if self._chosen(root, letter, point)]
            if any(not math.isclose(root, claimed.real, rel_tol=1e-6) for root in chosen):
                raise ValueError(f"{old.plain} has other solutions for {self.letter}: name the branch")
            checked += 1
        if not checked:
            raise ValueError("this is not the solution on the branch that was named")

    def _chosen(self, root: float, letter: sp.Symbol, point: dict[sp.Symbol, float]) -> bool:
        if not self.branch:
            return known(self.letter).allows(root)
        relation = Equation(self.branch)
        gap = float(relation.residual.subs({letter: root}).subs(point))
        return gap > 0 if relation.sign.startswith(">") else gap < 0


def _one_way(residual: sp.Expr, letter: sp.Symbol) -> bool:
    """Whether an expression only grows, or only falls, with the letter over its usual range: it is zero once at most then."""
    slope = sp.diff(residual, letter)
    values = [float(slope.subs(point)) for point in points(slope.free_symbols, str(residual))]
    return all(v > 0 for v in values) or all(v < 0 for v in values)


def law(name: str, **players: str) -> ByLaw:
    """An instance of a law from the closed list, with the expression that plays each role."""
    if name not in LAWS:
        raise ValueError(f"'{name}' is not in the list of laws: {', '.join(LAWS)}")
    return ByLaw(name, tuple(players.items()))


def definition() -> Definition:
    """The letter on the left is defined here."""
    return Definition()


def assumption(text: str) -> Assumption:
    """Taken as true without proof; the text goes into the ledger of the derivation."""
    return Assumption(text)


def earlier(derivation) -> Earlier:
    """The result of another derivation."""
    return Earlier(derivation)


def substituting() -> Substituting:
    """The first equation used, with the others put in."""
    return Substituting()


def simplifying() -> Simplifying:
    """Rearranged; true for the same values as before."""
    return Simplifying()


def solving(letter: str, branch: str = "") -> Solving:
    """Solved for a letter; `branch` ("gain > 1") picks one of several solutions."""
    return Solving(letter, branch)
