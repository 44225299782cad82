"""Stepping through a derivation: one step at a time, its letters on demand, and a mode in which the reader writes the line.

`step` and `symbols_of` show the same without widgets. A Stepper also carries its current step as Markdown and plain text,
so that a notebook that nobody has run yet, a PDF and a test all get real content.
"""

from __future__ import annotations

import html
from dataclasses import dataclass

import ipywidgets as widgets

from ..algebra import Derivation, Step, known
from ..algebra.answer import Verdict, hint, next_line
from ..units import show

WIDE = widgets.Layout(width="100%", max_width="52em")
_ASK = "Your line for this step, for example V_out = V_in/D'"


@dataclass(frozen=True)
class Stand:
    """One step of a derivation with its place: `number` of `count`."""

    title: str
    number: int
    count: int
    step: Step

    @property
    def place(self) -> str:
        return f"step {self.number} of {self.count}"

    def __repr__(self) -> str:
        return f"{self.title}, {self.place}\n{self.step!r}"

    def _repr_markdown_(self) -> str:
        return f"**{self.title}**, {self.place}\n\n{self.step._repr_markdown_()}"

    def _repr_html_(self) -> str:
        return f"<p><strong>{html.escape(self.title)}</strong>, {self.place}</p>{self.step._repr_html_()}"


@dataclass(frozen=True)
class Task:
    """A step whose line is still to be written: what is to be done, and the line before."""

    stand: Stand
    before: Step | None

    @property
    def step(self) -> Step | None:
        return self.before

    def __repr__(self) -> str:
        before = f"\n    the line before: {self.before.equation.plain}" if self.before else ""
        return f"{self.stand.title}, {self.stand.place}, to be written\n{self.stand.step.say}{before}"

    def _repr_markdown_(self) -> str:
        before = f"\n\nThe line before: $\\displaystyle {self.before.equation.latex}$" if self.before else ""
        return f"**{self.stand.title}**, {self.stand.place}, to be written\n\n{self.stand.step.say}{before}"

    def _repr_html_(self) -> str:
        before = f"<p>The line before:</p>$$\\displaystyle {html.escape(self.before.equation.latex, quote=False)}$$" if self.before else ""
        return (f"<p><strong>{html.escape(self.stand.title)}</strong>, {self.stand.place}, to be written</p>"
                f"<p>{html.escape(self.stand.step.say)}</p>{before}")


@dataclass(frozen=True)
class Symbols:
    """The letters of a step in the order in which they are written: (LaTeX, plain, meaning, unit, usual range) each."""

    rows: tuple[tuple[str, str, str, str, str], ...]

    def __repr__(self) -> str:
        return "\n".join(f"{plain}: {meaning}, {unit}, usually {usual}" for _, plain, meaning, unit, usual in self.rows)

    def _repr_markdown_(self) -> str:
        lines = [f"| ${latex}$ | {meaning} | {unit} | {usual} |" for latex, _, meaning, unit, usual in self.rows]
        return "\n".join(["| letter | meaning | unit | usually |", "|---|---|---|---|", *lines])

    def _repr_html_(self) -> str:
        cells = "".join(f"<tr><td>${html.escape(latex, quote=False)}$</td><td>{html.escape(meaning)}</td><td>{unit}</td>"
                        f"<td>{usual}</td></tr>" for latex, _, meaning, unit, usual in self.rows)
        heads = "".join(f'<th scope="col">{head}</th>' for head in ("letter", "meaning", "unit", "usually"))
        return f"<table><thead><tr>{heads}</tr></thead><tbody>{cells}</tbody></table>"


def step(derivation: Derivation, n: int) -> Stand:
    """Step n of a derivation, counted from 1, to print in a workbook. Raises ValueError where it has no such step."""
    count = len(derivation.steps)
    if isinstance(n, bool) or not isinstance(n, int) or not 1 <= n <= count:
        raise ValueError(f"n = {n} must be a step of {derivation.name}: 1 to {count}")
    return Stand(derivation.title, n, count, derivation.steps[n - 1])


def symbols_of(step: Step) -> Symbols:
    """The letters of a step: meaning, SI unit and the range in which each usually lies."""
    equation, rows = step.equation, []
    for name in dict.fromkeys(equation.left.names + equation.right.names):
        letter = known(name)
        low, high = (show(value, letter.unit) for value in letter.usual)
        rows.append((letter.latex, letter.plain, letter.meaning, letter.unit or "a pure number", f"{low} to {high}"))
    return Symbols(tuple(rows))


class Stepper:
    """A derivation, one step at a time.

    Back and Next walk; "symbols" lists the letters of the step with meaning and unit; "write it yourself" hides the next
    line until the reader has typed it (Check, or Enter), asked for hints up to the line itself, or chosen Show. From
    Python: `go(n)`, `answer(text)`; `number`, `asking`, `verdict` say how it stands. Every control is reached with Tab.

    derivation: what is stepped through. at: the step it opens with. asking: whether it opens in the mode that asks.
    """

    def __init__(self, derivation: Derivation, at: int = 1, asking: bool = False):
        self.derivation, self.number, self.verdict = derivation, step(derivation, at).number, None
        self._shown, self._grade = not asking, 0
        self._make_widgets(asking)
        self.box = widgets.VBox([self._text, self._table, self._buttons, self._answering, self._line],
                                layout=widgets.Layout(width="100%", max_width="54em"))
        self._draw()

    def _make_widgets(self, asking: bool) -> None:
        def button(words: str, tip: str, action) -> widgets.Button:
            made = widgets.Button(description=words, tooltip=tip, layout=widgets.Layout(width="auto"))
            made.on_click(lambda _: action())
            return made

        self._text, self._table = widgets.HTMLMath(layout=WIDE), widgets.HTMLMath(layout=WIDE)
        self._line = widgets.HTML(layout=WIDE)
        self._back = button("Back", "To the step before", lambda: self.go(self.number - 1))
        self._next = button("Next", "To the next step", lambda: self.go(self.number + 1))
        self._symbols = _toggle("symbols", "Meaning, unit and usual range of the letters of this step", False)
        self._asking = _toggle("write it yourself", "Hide the line until you have typed it", asking)
        self._typed = widgets.Text(placeholder=_ASK, description="your line", continuous_update=False,
                                   layout=widgets.Layout(width="100%", max_width="40em"))
        self._check = button("Check", "Judge the line you typed (Enter does the same)", self._judge)
        self._hint = button("Hint", "First the reason, then the letters, then the line", self._give_hint)
        self._show = button("Show", "Show the line of this step", self._reveal)
        self._buttons = _row(self._back, self._next, self._symbols, self._asking)
        self._answering = widgets.VBox([self._typed, _row(self._check, self._hint, self._show)])
        self._symbols.observe(lambda _: self._draw(), names="value")
        self._asking.observe(lambda change: self._ask(change["new"]), names="value")
        # not on_submit: the message of the Enter key overtakes the text that was typed last
        self._typed.observe(lambda change: self._judge() if change["new"].strip() else None, names="value")

    @property
    def count(self) -> int:
        return len(self.derivation.steps)

    @property
    def asking(self) -> bool:
        """Whether lines are hidden until they have been typed."""
        return self._asking.value

    @property
    def stand(self) -> Stand:
        """The step that is shown now, as it prints without widgets."""
        return step(self.derivation, self.number)

    def go(self, n: int) -> Stand:
        """To step n; beyond either end it stays where it is and says so. ValueError where n is no whole number."""
        if isinstance(n, bool) or not isinstance(n, int):
            raise ValueError(f"n = {n!r} must be a step of {self.derivation.name}: a whole number, 1 to {self.count}")
        if 1 <= n <= self.count:
            self.number, self.verdict = n, None
            self._shown, self._grade = not self.asking, 0
            self._typed.value = ""
            self._draw()
        else:
            self._tell(f"This is the {'first' if n < 1 else 'last'} step.")
        return self.stand

    def answer(self, typed: str) -> Verdict:
        """Judge a typed line for this step; a right one shows the line of the step."""
        self.verdict = next_line(self.derivation, self.number, typed)
        self._shown = self._shown or self.verdict.right
        self._draw(f"{'Right.' if self.verdict.right else 'Not yet.'} {self.verdict.says}", self.verdict.read)
        return self.verdict

    # what the buttons do

    def _judge(self) -> None:
        if self._typed.value.strip():
            self.answer(self._typed.value)
        else:
            self._tell("Type a line first.")

    def _give_hint(self) -> None:
        self._grade = min(self._grade + 1, 3)
        self._shown = self._shown or self._grade == 3
        self._draw(hint(self.derivation, self.number, self._grade).says)

    def _reveal(self) -> None:
        self._shown = True
        self._draw("This is the line.")

    def _ask(self, asking: bool) -> None:
        self._shown, self._grade, self.verdict = not asking, 0, None
        self._draw()

    # what is seen

    def _draw(self, says: str = "", read: str = "") -> None:
        self._text.value = self._seen._repr_html_()
        self._answering.layout.display = None if self.asking else "none"
        letters = symbols_of(self._seen.step)._repr_html_() if self._symbols.value and self._seen.step else ""
        self._table.value = letters
        self._tell(says, read)

    @property
    def _seen(self) -> Stand | Task:
        return self.stand if self._shown else Task(self.stand, self._before)

    @property
    def _before(self) -> Step | None:
        return self.derivation.steps[self.number - 2] if self.number > 1 else None

    def _tell(self, says: str, read: str = "") -> None:
        read = f" Read as: {read}." if read else ""
        line = f"{says}{read} {self.stand.place.capitalize()}.".strip()
        # role="status": a screen reader speaks the line when it changes
        self._line.value = f'<p role="status" style="margin:0;line-height:1.4">{html.escape(line)}</p>'

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict:
        seen = self._seen
        return self.box._repr_mimebundle_() | {"text/plain": repr(seen), "text/markdown": seen._repr_markdown_()}


def _toggle(words: str, tip: str, value: bool) -> widgets.ToggleButton:
    return widgets.ToggleButton(description=words, tooltip=tip, value=value, layout=widgets.Layout(width="auto"))


def _row(*children: widgets.Widget) -> widgets.HBox:
    return widgets.HBox(children, layout=widgets.Layout(flex_flow="row wrap"))
