"""Reading a line that a learner typed: an allow-list of characters, words and shapes, then the kit's own `Equation`.

Nothing typed is ever evaluated as Python, nor handed to sympy as text. A line is cut into tokens that are all on the
list; letters are turned into their Python names, products that were only implied are written out, and the tree of the
result is weighed before sympy sees it. What does not pass is refused in one line, at once.
"""

from __future__ import annotations

import ast
import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import sympy as sp

from boostkit.algebra import quantity
from boostkit.algebra.quantity import known
from boostkit.algebra.weight import weigh
from boostkit.algebra.written import Equation

CHARACTERS, TOKENS, DEPTH, DIGITS, CALLS = 300, 120, 12, 9, 6       # most that a line may have; a long line of the kit has half

_GREEK = "ΔΦαβδηλµμωφπρτζℓ"
_SPELT = {"Δ": "Delta", "Φ": "Phi", "α": "alpha", "β": "beta", "δ": "delta", "η": "eta", "λ": "lambda", "µ": "mu",
          "ω": "omega", "φ": "phi", "ρ": "rho", "τ": "tau", "ζ": "zeta", "ℓ": "ell"}
_ALIKE = str.maketrans({"−": "-", "–": "-", "·": "*", "⋅": "*", "×": "*", "÷": "/", "∕": "/", "⁄": "/", "∆": "Δ", "´": "'",
                        "’": "'", "′": "'", "μ": "µ",
                        "≤": "≤", "\u00a0": " ", "\t": " "})
_FRONT = r"(?:(?:Delta|Δ)[\ _]?)?"                                          # "Delta i_L"
_TAIL = r"(?:\{[A-Za-z0-9,]+\})?(?:,[A-Za-z]+|(?<=_)[+-]|\^[+-](?![\w(.]))?'?"    # I_{L,max}, I_L,max, v_+, v^+, D'
_TOKEN = re.compile(rf"""
    (?P<space>\ +) | (?P<number>\d+(?:\.\d+)?|\.\d+)
    | (?P<slope>d[A-Za-z{_GREEK}][A-Za-z0-9_]*\ ?/\ ?dt\b)
    | (?P<word>{_FRONT}[A-Za-z{_GREEK}_][A-Za-z0-9{_GREEK}_]*{_TAIL})
    | (?P<sign><=|>=|==|[=<>≤≥]) | (?P<raised>[²³]) | (?P<root>√) | (?P<half>½) | (?P<operator>\*\*|[-+*/^,()])
    """, re.VERBOSE | re.ASCII)  # fmt: skip
_CALLS = {"sqrt": 1, "exp": 1, "log": 1, "ln": 1, "sin": 1, "cos": 1, "tan": 1, "atan": 1, "abs": 1, "max": 2, "min": 2,
          "integral": 4, "mean": 4, "derivative": 2}
_SIGNS = {"==": "=", "≤": "<=", "≥": ">="}


class ReadingError(ValueError):
    """A typed line that is refused; `kind` is "unreadable" or "unknown letter"."""

    def __init__(self, says: str, kind: str = "unreadable"):
        super().__init__(says)
        self.kind = kind


@dataclass
class _Token:
    kind: str              # number, letter, call, sign, raised, operator
    text: str              # as the kit writes it
    typed: str
    spaced: bool           # a space stands before it


def read_typed(typed: str, wanted: Equation, near: Iterable[Equation] = ()) -> Equation:
    """The equation that was typed; a line without a sign gets the left side of `wanted`.

    Letters: the Python name (`v_in`, `duty_off`), the printed one (`V_in`, `D'`, `Δi_L`, `I_L,max`), and the printed one
    without its underscores and commas or with Delta spelt out (`Vin`, `D2`, `ILmax`, `Delta i_L`). Letters of `wanted`
    and of `near` come before others that are spelt alike. Operators: + - * / ^ ** ² ³ √( ½ and their look-alikes in
    Unicode; products may be implied (`2 L f_s`, `V_in (1-D)`) except after a division, where they have two readings.
    Functions: those that occur in `wanted` or `near`, and sqrt.

    Raises ReadingError in one line, for anything else and for lines above the limits of this file.
    """
    if not isinstance(typed, str) or len(typed) > CHARACTERS:
        raise ReadingError(f"Type one line of algebra, at most {CHARACTERS} characters")
    lines = (wanted, *near)
    tokens = _cut(typed.translate(_ALIKE), frozenset(symbol.name for line in lines for symbol in line.letters))
    if not tokens:
        raise ReadingError("Nothing was typed")
    if sum(token.kind == "sign" for token in tokens) > 1:
        raise ReadingError("A line has one = sign; type only the line that is asked for")
    _decimal_points(tokens)
    text = " ".join(_joined(tokens))
    if not any(token.kind == "sign" for token in tokens):
        if wanted.rhs.is_number:
            raise ReadingError("The line needs its = sign and both its sides")
        text = f"{wanted.text[:wanted.text.index(wanted.sign)].strip()} {wanted.sign} {text}"
    return _safe(text, lines)


def _cut(text: str, near: frozenset[str]) -> list[_Token]:
    tokens, place, spaced = [], 0, False
    while place < len(text):
        found = _TOKEN.match(text, place)
        if not found:
            if text[place] == "∫":
                raise ReadingError("An integral is typed integral(f, t, from, to)")
            raise ReadingError(f"{_shown(text[place])} is not used in these lines")
        kind, typed = found.lastgroup, found[0]
        if kind == "slope":
            token = _slope(typed, near)
        elif kind == "word":
            token = _word(typed, near, text[found.end():].lstrip()[:1] == "(")
            typed = token.typed
        else:
            token = _Token(kind, typed, typed, spaced)
        place, token.spaced = place + len(typed), spaced
        spaced = kind == "space"
        if not spaced:
            tokens.append(_settled(token))
        if len(tokens) > TOKENS:
            raise ReadingError(f"The line is too long: more than {TOKENS} letters, numbers and signs")
    return tokens


def _settled(token: _Token) -> _Token:
    if token.kind == "number" and len(token.typed) > DIGITS:
        raise ReadingError(f"A number here has at most {DIGITS} digits")
    if token.kind == "half":
        token.kind, token.text = "number", "(1/2)"
    if token.kind == "raised":
        token.text = "**2" if token.typed == "²" else "**3"
    if token.kind == "root":
        token.kind, token.text = "call", "sqrt"
    if token.typed in _SIGNS or token.typed == "^":
        token.text = {**_SIGNS, "^": "**"}[token.typed]
    return token


def _shown(character: str) -> str:
    code = f"U+{ord(character):04X}"
    return f"The character {character} ({code})" if 32 < ord(character) < 127 else f"The character {code}"


# letters

def _word(typed: str, near: frozenset[str], bracket: bool) -> _Token:
    """The longest beginning of a word that is a letter; "I_L,max" before "I_L", since a comma also parts arguments."""
    for spelling in dict.fromkeys((typed, typed.split(",")[0] if "{" not in typed else typed)):
        if spelling in _CALLS and bracket:
            return _Token("call", "log" if spelling == "ln" else spelling, spelling, False)
        if spelling in ("pi", "π"):
            return _Token("letter", "pi", spelling, False)
        if name := _name(spelling, near):
            return _Token("letter", name, spelling, False)
    raise ReadingError(_unknown(spelling, near), "unknown letter")


def _slope(typed: str, near: frozenset[str]) -> _Token:
    """`di_L/dt`, or `di/dt` where only one such slope occurs nearby."""
    spelling = typed.replace(" ", "")
    name = _name(spelling, near)
    meant = [name] if name else [n for n in near if re.fullmatch(rf"{spelling[:-3]}(_\w+)?/dt", known(n).plain)]
    if len(meant) != 1:
        raise ReadingError(f"{spelling[:20]} is not a known letter: a slope here has a letter of its own", "unknown letter")
    return _Token("letter", meant[0], typed, False)


def _name(spelling: str, near: frozenset[str]) -> str | None:
    exact, loose = _tables(len(quantity.every()))
    for table, key in ((exact, _bare(spelling)), (loose, _squeezed(spelling))):
        found = table.get(key, frozenset()) if not spelling.startswith("_") else frozenset()
        found = found & near or found
        if len(found) > 1:
            meanings = "; ".join(f"{name}: {known(name).meaning}" for name in sorted(found))
            raise ReadingError(f"{spelling} stands for several letters; type one by its long name ({meanings})")
        if found:
            return next(iter(found))
    return None


@lru_cache(maxsize=1)
def _tables(count: int) -> tuple[dict[str, frozenset[str]], dict[str, frozenset[str]]]:
    """Spelling to names: as printed or in Python, and squeezed. Built anew when the count of letters has changed."""
    exact, loose = {}, {}
    for entry in quantity.every():
        spelt = "".join(_SPELT.get(character, character) for character in entry.plain)
        _enter(exact, entry.name, {entry.name, _bare(entry.plain)})
        _enter(loose, entry.name, {_squeezed(entry.name), _squeezed(entry.plain), _squeezed(spelt)})
    return exact, loose


def _enter(table: dict, name: str, spellings: set[str]) -> None:
    for spelling in spellings:
        table[spelling] = table.get(spelling, frozenset()) | {name}


def _bare(spelling: str) -> str:
    return re.sub(r"^Delta[ _]?|^Δ[ _]", "Δ", re.sub(r"[{}]", "", spelling))


def _squeezed(spelling: str) -> str:
    return re.sub(r"[_, ]", "", _bare(spelling)).replace("prime", "'")


def _unknown(word: str, near: frozenset[str]) -> str:
    shown = word if len(word) <= 20 else word[:20] + "…"
    if word == "e":
        return "A power of e is typed exp(…)"
    spellings = {spelling: name for name in near for spelling in (name, known(name).plain)}
    close = difflib.get_close_matches(word[:40], spellings, 1)
    hint = f"did you mean {known(spellings[close[0]]).plain}?" if close else "put a space or * between two letters"
    return f"{shown} is not a known letter; {hint}"


def _decimal_points(tokens: list[_Token]) -> None:
    """A comma stands only between the values of a function."""
    calls = []
    for place, token in enumerate(tokens):
        if token.text == "(":
            calls.append(place > 0 and tokens[place - 1].kind == "call")
        elif token.text == ")":
            del calls[-1:]
        elif token.text == "," and not any(calls[-1:]):
            raise ReadingError("A comma stands only between the values of a function; decimals have a point, as in 0.5")


# products that are only implied

def _joined(tokens: list[_Token]) -> Iterable[str]:
    """The tokens as text, with every product written out; ValueError where a product has two readings."""
    divided = [False]                                  # at each depth of brackets: a division is open there
    for place, token in enumerate(tokens):
        before = tokens[place - 1] if place else None
        if before and _ends(before) and _begins(token) and not _is_call(tokens, place):
            _one_reading(tokens, place, divided[-1])
            yield "*"
        yield token.text
        _follow(token, divided)


def _ends(token: _Token) -> bool:
    return token.kind in ("number", "letter", "raised") or token.text == ")"


def _begins(token: _Token) -> bool:
    return token.kind in ("number", "letter", "call") or token.text == "("


def _is_call(tokens: list[_Token], place: int) -> bool:
    """`i_L(t)`: a letter at a time. Which it is shows in the lines around; `_safe` refuses it where none has it."""
    inside = [token.text for token in tokens[place:place + 3]]
    return tokens[place - 1].kind == "letter" and inside == ["(", "t", ")"]


def _one_reading(tokens: list[_Token], place: int, divided: bool) -> None:
    before, token = tokens[place - 1], tokens[place]
    pair = f"{before.typed} {token.typed}"
    if token.kind == "number":
        raise ReadingError(f"'{pair}': put a number in front of a letter, or a * between")
    if divided:
        raise ReadingError(f"'{pair}' after a division can be read in two ways: write a/(b*c), or a/b*c")
    if place > 1 and tokens[place - 2].text == "**" and not token.spaced:
        raise ReadingError(f"'{pair}' after ^ can be read in two ways: write a^2*b")


def _follow(token: _Token, divided: list[bool]) -> None:
    if token.text == "(":
        divided.append(False)
        if len(divided) > DEPTH:
            raise ReadingError(f"Brackets stand more than {DEPTH - 1} deep")
    elif token.text == ")":
        if len(divided) == 1:
            raise ReadingError("A bracket closes that was never opened")
        divided.pop()
    elif token.text == "/":
        divided[-1] = True
    elif token.kind == "sign" or token.text in ("+", "-", "*", ","):
        divided[-1] = False


# from text to equation

def _safe(text: str, lines: tuple[Equation, ...]) -> Equation:
    """The text as an Equation, once its tree is known to be small and plain."""
    around = [node for line in lines for side in _trees(line.text) for node in ast.walk(side)]
    used = {node.func.id for node in around if isinstance(node, ast.Call)}
    powers = frozenset(ast.dump(node.right) for node in around if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow)
                       and any(isinstance(inner, ast.Name) for inner in ast.walk(node.right)))
    try:
        sides = _trees(text)
    except (SyntaxError, MemoryError, RecursionError):
        raise ReadingError("The line cannot be read: a sign, a number or a bracket is missing or too many") from None
    for side in sides:
        _calls(side, used)
        try:
            weigh(side, powers)
        except ValueError as trouble:
            raise ReadingError(str(trouble)) from None
    equation = Equation(text)
    try:
        _integrals(equation, lines)
        numbers = [number for side in (equation.lhs, equation.rhs) for number in side.atoms() if number.is_number]
    except ReadingError:
        raise
    except (ArithmeticError, TypeError, ValueError):
        raise ReadingError("The line cannot be read as algebra") from None
    if not all(number.is_finite and number.is_real for number in numbers):
        raise ReadingError("The line divides by zero, or takes a root of a negative number")
    return equation


def _integrals(equation: Equation, lines: tuple[Equation, ...]) -> None:
    """Over the letter that the lines have, which is not in its own limits; and sums of powers only."""
    there = [integral for line in lines for integral in _integrals_of(line)]
    over = {integral.variables[0] for integral in (_integrals_of(lines[0]) or there)}
    for integral in sorted(_integrals_of(equation) - set(there), key=str):
        variable, *limits = integral.limits[0]
        if over and variable not in over:
            raise ReadingError(f"The integral here is over {' or '.join(sorted(known(s.name).plain for s in over))}")
        if any(variable in limit.free_symbols for limit in limits):
            raise ReadingError(f"{known(variable.name).plain} runs between the limits of the integral and cannot occur in them")
        if not integral.function.is_polynomial(variable):
            raise ReadingError("Only sums of powers can be integrated here")


def _integrals_of(line: Equation) -> set[sp.Integral]:
    return line.lhs.atoms(sp.Integral) | line.rhs.atoms(sp.Integral)


def _trees(text: str) -> list[ast.expr]:
    return [ast.parse(side.strip(), mode="eval").body for side in re.split(r"<=|>=|<|>|=", text)]


def _calls(tree: ast.expr, used: set[str]) -> None:
    """Only functions that the lines around have, with the right number of values, and none within itself."""
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    if len(calls) > CALLS:
        raise ReadingError(f"The line has more than {CALLS} functions")
    for node in calls:
        name = node.func.id
        if name not in used | {"sqrt"}:
            shown = name if name in _CALLS else f"{known(name).plain}(t)"
            raise ReadingError(f"{shown} does not occur in these lines; a product is typed with *")
        least = _CALLS.get(name, 1)
        if len(node.args) != least and not (name in ("max", "min") and len(node.args) > least):
            raise ReadingError(f"{name} takes {least} value{'s' if least > 1 else ''} in its brackets")
        within = {inner.func.id for arg in node.args for inner in ast.walk(arg) if isinstance(inner, ast.Call)}
        if name != "sqrt" and name in within:
            raise ReadingError(f"{name} within {name} is not used in these lines")
