"""One answer as a learner writes it: a value with its unit, and its uncertainty where it was measured. It is read, never run.

    1.94 A          620 mA          66.7 %          0.667
    1.94 A ± 0.04 A (1.94 ± 0.04) A 1.94 A ± 2 %    the expanded uncertainty, k = 2 (JCGM 100, 7.2.4)
    1.94(2) A                                       the standard uncertainty in the last digits (JCGM 100, 7.2.2)
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from ..bench.uncertain import COVERAGE
from ..units import quoted, read

LONGEST = 200  # characters of an answer that are looked at at all
PLUS_MINUS = re.compile(r"±|\+/-|\+-")
BRACKET = re.compile(r"([+-]?[0-9]*\.?[0-9]+)\(([0-9]{1,3})\) *(.*)")
NUMBER = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?) *(.*)")
DECIMAL_COMMA = re.compile(r"(?<![0-9.,])([0-9]+),([0-9]+)(?![0-9.,])")
KINDS = ("V", "A", "Ω", "H", "F", "Hz", "s", "W", "J", "C", "m", "°C", "rad/s", "")


@dataclass(frozen=True)
class Stated:
    """What was read: `value` and `expanded` uncertainty in the base unit `unit`; 0 where none was stated."""

    value: float
    unit: str
    expanded: float = 0.0


def stated(text: str, unit: str, name: str = "answer") -> Stated:
    """The value of an answer in base units. A number without a unit is taken in `unit`. A lone comma is a decimal comma.

    Raises ValueError of one line (name, text, rule) for what is no such value, and for another kind of quantity.
    """
    if len(text) > LONGEST:
        raise ValueError(f"{name} = {quoted(text)} is too long for a value with its unit")
    plain = DECIMAL_COMMA.sub(r"\1.\2", text.replace("\u2212", "-")).strip()
    if parts := PLUS_MINUS.split(plain)[1:]:
        if len(parts) > 1:
            raise ValueError(f"{name} = {quoted(text)} must have one ± at most")
        return _with_interval(plain, unit, name)
    if match := BRACKET.fullmatch(plain):
        number, digits, word = match.groups()
        last = len(number.partition(".")[2])
        return Stated(read(f"{number} {word}", unit, name), unit, COVERAGE * read(f"{digits}e-{last} {word}", unit, name))
    return Stated(read(plain, unit, name), unit)


def in_another_unit(text: str, unit: str) -> Stated | None:
    """The same answer as a quantity of another kind than `unit`, or with a capital K for kilo; None where it is neither."""
    attempts = [(text.replace("K", "k"), unit), *((text, kind) for kind in KINDS if kind != unit)]
    for words, kind in attempts:
        try:
            return stated(words, kind)
        except ValueError:
            continue
    return None


def _with_interval(plain: str, unit: str, name: str) -> Stated:
    left, right = (part.strip() for part in PLUS_MINUS.split(plain))
    if left.startswith("(") and ")" in right:  # (1.94 ± 0.04) A
        right, _, word = right.partition(")")
        left, right = f"{left[1:]} {word}", f"{right} {word}"
    given, error = _word(left), _word(right)
    if error == "%" and unit != "":
        value = read(left, unit, name)
        return Stated(value, unit, abs(value) * _size(right, "", name))
    left, right = (f"{left} {error}" if not given else left), (f"{right} {given}" if not error else right)
    return Stated(read(left, unit, name), unit, _size(right, unit, name))


def _word(part: str) -> str:
    """The unit that stands behind a number, "" for none."""
    match = NUMBER.fullmatch(part)
    return match[2] if match else ""


def _size(text: str, unit: str, name: str) -> float:
    size = read(text, unit, f"uncertainty of {name}")
    if size < 0:
        raise ValueError(f"uncertainty of {name} = {quoted(text)} must not be below zero")
    return size
