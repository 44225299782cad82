"""Expressions as they were written, in LaTeX and in plain text. Nothing is sorted or regrouped.

Each inner function returns the text and how tightly it binds, so that brackets stand only where they are needed.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable

from boostkit.algebra.quantity import known

NAMED = {"log": (r"\ln", "ln"), "atan": (r"\arctan", "atan"), "abs": (r"\mathrm{abs}", "abs")}
NAMED |= {name: (rf"\{name}", name) for name in ("sin", "cos", "tan", "max", "min")}
_SUM, _PRODUCT, _POWER, _ATOM = 1, 2, 3, 4
Show = Callable[[str], str]          # how a letter is printed, by its name


def latex_of(node: ast.expr, show: Show) -> str:
    """LaTeX of a parsed expression."""
    return _latex(node, show)[0]


def plain_of(node: ast.expr, show: Show) -> str:
    """Plain text of a parsed expression."""
    return _plain(node, show)[0]


def _wrap(part: tuple[str, int], least: int, brackets: tuple[str, str] = ("(", ")")) -> str:
    text, binds = part
    return text if binds >= least else f"{brackets[0]}{text}{brackets[1]}"


_BIG = (r"\left(", r"\right)")


def _name(text: str) -> tuple[str, int]:
    # A letter may have been replaced by a sum or by a value with a unit; both may need brackets.
    if " - " in text or " − " in text or " + " in text or text.startswith("-"):
        return text, _SUM
    return text, _PRODUCT if re.search(r" |/|\\,|frac", text) else _ATOM


def _latex(node: ast.expr, show: Show) -> tuple[str, int]:
    match node:
        case ast.Constant(value=value):
            return f"{value}", _ATOM
        case ast.Name(id="pi"):
            return r"\pi", _ATOM
        case ast.Name(id=name):
            return _name(show(name))
        case ast.UnaryOp(operand=inner):
            return "-" + _wrap(_latex(inner, show), _PRODUCT, _BIG), _SUM
        case ast.BinOp(left=left, op=ast.Add() | ast.Sub() as op, right=right):
            sign, least = ("+", _SUM) if isinstance(op, ast.Add) else ("-", _PRODUCT)
            return f"{_latex(left, show)[0]} {sign} {_wrap(_latex(right, show), least, _BIG)}", _SUM
        case ast.BinOp(left=left, op=ast.Mult(), right=right):
            first, second = (_wrap(_latex(side, show), _PRODUCT, _BIG) for side in (left, right))
            return first + (r" \cdot " if second.lstrip("{")[0].isdigit() else r"\,") + second, _PRODUCT
        case ast.BinOp(left=left, op=ast.Div(), right=right):
            return rf"\frac{{{_latex(left, show)[0]}}}{{{_latex(right, show)[0]}}}", _PRODUCT
        case ast.BinOp(left=left, op=ast.Pow(), right=right):
            base = _wrap(_latex(left, show), _ATOM, _BIG)
            return f"{{{base}}}^{{{_latex(right, show)[0]}}}", _POWER
        case ast.Call(func=ast.Name(id=name), args=args):
            return _latex_call(name, [_latex(arg, show) for arg in args])
    raise ValueError(f"'{ast.unparse(node)}' cannot be printed")


def _latex_call(name: str, parts: list[tuple[str, int]]) -> tuple[str, int]:
    texts = [text for text, _ in parts]
    if name == "sqrt":
        return rf"\sqrt{{{texts[0]}}}", _ATOM
    if name == "exp":
        return f"e^{{{texts[0]}}}", _POWER
    if name in ("integral", "mean"):
        value, (over, start, end) = _wrap(parts[0], _PRODUCT, _BIG), texts[1:]
        length = end if start == "0" else f"{end} - {start}"
        front = rf"\frac{{1}}{{{length}}} " if name == "mean" else ""
        return rf"{front}\int_{{{start}}}^{{{end}}} {value}\,\mathrm{{d}}{over}", _PRODUCT
    if name == "derivative":
        return rf"\frac{{\mathrm{{d}}}}{{\mathrm{{d}}{texts[1]}}} {_wrap(parts[0], _PRODUCT, _BIG)}", _PRODUCT
    inside = r"\left(" + ", ".join(texts) + r"\right)"
    return (NAMED[name][0] if name in NAMED else known(name).latex) + inside, _ATOM


def _plain(node: ast.expr, show: Show) -> tuple[str, int]:
    match node:
        case ast.Constant(value=value):
            return f"{value}", _ATOM
        case ast.Name(id="pi"):
            return "π", _ATOM
        case ast.Name(id=name):
            return _name(show(name))
        case ast.UnaryOp(operand=inner):
            return "−" + _wrap(_plain(inner, show), _PRODUCT), _SUM
        case ast.BinOp(left=left, op=ast.Add() | ast.Sub() as op, right=right):
            sign, least = ("+", _SUM) if isinstance(op, ast.Add) else ("−", _PRODUCT)
            return f"{_plain(left, show)[0]} {sign} {_wrap(_plain(right, show), least)}", _SUM
        case ast.BinOp(left=left, op=ast.Mult(), right=right):
            return " · ".join(_wrap(_plain(side, show), _PRODUCT) for side in (left, right)), _PRODUCT
        case ast.BinOp(left=left, op=ast.Div(), right=right):
            return f"{_wrap(_plain(left, show), _PRODUCT)}/{_wrap(_plain(right, show), _POWER)}", _PRODUCT
        case ast.BinOp(left=left, op=ast.Pow(), right=right):
            power = _plain(right, show)[0]
            return _wrap(_plain(left, show), _ATOM) + {"2": "²", "3": "³"}.get(power, f"^({power})"), _POWER
        case ast.Call(func=ast.Name(id=name), args=args):
            return _plain_call(name, [_plain(arg, show)[0] for arg in args])
    raise ValueError(f"'{ast.unparse(node)}' cannot be printed")


def _plain_call(name: str, texts: list[str]) -> tuple[str, int]:
    if name == "integral":
        return f"∫[{texts[1]} = {texts[2]} … {texts[3]}] {texts[0]}", _SUM
    if name == "mean":
        return f"mean[{texts[1]} = {texts[2]} … {texts[3]}] of {texts[0]}", _SUM
    if name == "derivative":
        return f"d/d{texts[1]} ({texts[0]})", _PRODUCT
    shown = NAMED[name][1] if name in NAMED else {"sqrt": "√", "exp": "exp"}.get(name) or known(name).plain
    return f"{shown}({', '.join(texts)})", _ATOM
