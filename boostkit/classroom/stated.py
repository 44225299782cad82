"""One answer as a learner writes it: a value with its unit, and its uncertainty where it was measured. It is read, never run.

    1.94 A          620 mA          66.7 %          0.667           1.94·10^3 mA    0.5 amperes
    1.94 A ± 0.04 A (1.94 ± 0.04) A 1.94 A ± 2 %    the expanded uncertainty, k = 2 (JCGM 100, 7.2.4)
    1.94(2) A                                       the standard uncertainty in the last digits (JCGM 100, 7.2.2)

What stands around a value and says nothing against it is taken off: `I = 1.94 A`, `≈ 1.94 A`, `1.94 [A]`, `1.94 A pp`, a full stop.
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
FULL_WIDTH = {code: chr(code - 0xFEE0) for code in range(0xFF01, 0xFF5F)}  # as an East Asian keyboard writes
MARKS = dict.fromkeys([0x200B, 0x200E, 0x200F, 0x061C, 0xFEFF, *range(0x2066, 0x206A)])  # of the direction of writing; they show nothing
LETTERS = FULL_WIDTH | MARKS | {0x2212: "-", 0x3000: " "}
BEFORE = re.compile(r"\A(?:[A-Za-z]\w{0,15} *)?[=≈~] *(?=[-+.0-9(])")
POWER = re.compile(r"(?<=[0-9]) *[·×*x] *10 *(?:\^|\*\*) *\(?([+-]?[0-9]{1,3})\)?")
UNIT_IN_BRACKETS = re.compile(r"(?<=[0-9 ])\[ *([^\[\]()]{0,12}?) *\]\Z")
PEAK_TO_PEAK = re.compile(r"(?<=[VA])[ _]?(?:pp|p-p|pk-pk)\b", re.IGNORECASE)
IN_BRACKETS = re.compile(r"\( *((?:±|\+/-|\+-)[^()]*)\)\Z")
WORDS = {"volt": "V", "amp": "A", "ampere": "A", "ohm": "Ω", "henry": "H", "farad": "F", "hertz": "Hz", "second": "s", "watt": "W",
         "joule": "J", "percent": "%", "per cent": "%"}  # fmt: skip
PREFIXES = {"": "", "milli": "m", "micro": "µ", "nano": "n", "pico": "p", "kilo": "k", "mega": "M"}
WORD = re.compile(rf"(?<=[0-9 ])({'|'.join(filter(None, PREFIXES))}|)({'|'.join(sorted(WORDS, key=len, reverse=True))})s?\b", re.IGNORECASE)
SHARE_BELOW = 10.0  # `0.67 ± 1 %` is a number known to a hundredth, `67 ± 1 %` a percentage


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
    plain = _plain(text)
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
    """The same answer as a quantity of another kind than `unit`, or with a capital letter of the unit small, or a small one a
    capital; None where it is neither."""
    attempts = [(text.replace("K", "k"), unit), (_spelt(text, unit), unit), *((text, kind) for kind in KINDS if kind != unit)]
    for words, kind in attempts:
        try:
            return stated(words, kind)
        except ValueError:
            continue
    return None


def _plain(text: str) -> str:
    """An answer without what stands around its value, in the spelling that `read` knows."""
    plain = DECIMAL_COMMA.sub(r"\1.\2", text.translate(LETTERS)).strip()
    plain = PEAK_TO_PEAK.sub("", POWER.sub(r"e\1", BEFORE.sub("", plain)))
    plain = WORD.sub(lambda match: PREFIXES[match[1].lower()] + WORDS[match[2].lower()], plain)
    plain = IN_BRACKETS.sub(r"\1", plain.removesuffix("."))
    return UNIT_IN_BRACKETS.sub(lambda match: match[1] if match[1] != "-" else "", plain).strip()


def _spelt(text: str, unit: str) -> str:
    """With the letters of the unit at the end as they should be, capitals or not."""
    text = text.strip()
    return text[: -len(unit)].replace("K", "k") + unit if unit and text.lower().endswith(unit.lower()) else text


def _with_interval(plain: str, unit: str, name: str) -> Stated:
    left, right = (part.strip() for part in PLUS_MINUS.split(plain))
    around = left.startswith("(") and ")" in right
    if around:  # (1.94 ± 0.04) A
        right, _, word = right.partition(")")
        left, right = f"{left[1:]} {word}", f"{right} {word}"
    given, error = _word(left), _word(right)
    if error == "%" and not around and (unit != "" or (given == "" and abs(read(left, unit, name)) < SHARE_BELOW)):
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
