"""A derivation: from laws and assumptions to a formula, one checked step after the other."""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from boostkit.algebra.dimensions import check_equation
from boostkit.algebra.formula import Bound, Condition, Formula
from boostkit.algebra.reasons import Assumption, Earlier, Reason
from boostkit.algebra.written import Equation


@dataclass(frozen=True)
class Step:
    """One sentence, one equation, one reason.

    say: what happens here, in plain words. equation: an Equation or its text. because: a Reason.
    uses: numbers of the earlier steps that it works on, counted from 1; the one before if not given.
    """

    say: str
    equation: Equation | str
    because: Reason
    uses: tuple[int, ...] | None = None

    def __post_init__(self):
        if isinstance(self.equation, str):
            object.__setattr__(self, "equation", Equation(self.equation))
        if isinstance(self.uses, int):
            object.__setattr__(self, "uses", (self.uses,))

    def __repr__(self) -> str:
        return f"{self.say}\n    {self.equation.plain}\n    because: {self.because.words}"

    def _repr_latex_(self) -> str:
        return f"$\\displaystyle {self.equation.latex}$"

    def _repr_markdown_(self) -> str:
        return f"{self.say}\n\n$$\\displaystyle {self.equation.latex}$$\n\n*because: {self.because.words}*"

    def _repr_html_(self) -> str:
        return (f"<p>{html.escape(self.say)}</p>$$\\displaystyle {html.escape(self.equation.latex, quote=False)}$$"
                f"<p><em>because: {html.escape(self.because.words)}</em></p>")


@dataclass(frozen=True)
class Derivation:
    """Steps that lead to a formula.

    name, title, steps: what is derived. The rest is the data sheet of the formula: meaning, unit, valid (Conditions),
    bound (largest relative error against the exact circuit), source, example (values for one worked line).
    """

    name: str
    title: str
    steps: tuple[Step, ...]
    meaning: str = ""
    unit: str = ""
    valid: tuple[Condition, ...] = ()
    bound: Bound | None = None
    source: str = ""
    example: Mapping[str, float] = field(default_factory=dict)

    @property
    def equation(self) -> Equation:
        """What the derivation ends in."""
        return self.steps[-1].equation

    @cached_property
    def assumptions(self) -> list[str]:
        """Everything that was assumed on the way, in order, derivations it builds on included."""
        ledger: list[str] = []
        for step in self.steps:
            if isinstance(step.because, Assumption):
                ledger.append(step.because.text)
            if isinstance(step.because, Earlier):
                ledger += step.because.derivation.assumptions
        return list(dict.fromkeys(ledger))

    @cached_property
    def formula(self) -> Formula:
        """The last equation as something to compute with and to print."""
        if not self.meaning:
            raise ValueError(f"{self.name} is a derivation without a data sheet: it says no meaning")
        return Formula(self.name, self.meaning, self, self.unit, self.valid, self.bound, self.source,
                       self.example)

    def verify(self) -> None:
        """Check that every step follows from those before it; ValueError naming the first that does not."""
        self._follows       # noqa: B018  (kept, so that derivations that build on this one check it only once)

    @cached_property
    def _follows(self) -> bool:
        before: set[str] = set()
        for number, step in enumerate(self.steps, 1):
            try:
                check_equation(step.equation)
                step.because.check(step.equation, self._used(number, step), before)
            except ValueError as trouble:
                raise ValueError(f"{self.name}, step {number} ({step.say}): {trouble}") from None
            before |= {letter.name for letter in step.equation.letters}
        if self.meaning:
            self.formula.check_dimensions()
        return True

    def _used(self, number: int, step: Step) -> list[Equation]:
        default = (number - 1,) if step.because.needs else ()
        uses = default if step.uses is None else step.uses
        if any(not 1 <= use < number for use in uses) or len(uses) < step.because.needs:
            raise ValueError(f"it must use {step.because.needs} or more earlier steps, and names {uses}")
        return [self.steps[use - 1].equation for use in uses]

    def __repr__(self) -> str:
        lines = [self.title]
        for number, step in enumerate(self.steps, 1):
            lines.append(f"{number:3}. {step.say}\n       {step.equation.plain}\n       because: {step.because.words}")
        return "\n".join([*lines, f"Assumed: {'; '.join(self.assumptions) or 'nothing'}"])

    def _repr_markdown_(self) -> str:
        steps = [f"{n}. {step._repr_markdown_()}" for n, step in enumerate(self.steps, 1)]
        return "\n\n".join([f"**{self.title}**", *steps, f"Assumed: {'; '.join(self.assumptions) or 'nothing'}"])

    def _repr_html_(self) -> str:
        steps = "".join(f"<li>{step._repr_html_()}</li>" for step in self.steps)
        assumed = html.escape("; ".join(self.assumptions) or "nothing")
        return f"<p><strong>{html.escape(self.title)}</strong></p><ol>{steps}</ol><p>Assumed: {assumed}</p>"
