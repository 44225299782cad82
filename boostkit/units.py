"""Quantities as engineers write them: read, print, guard a range, pick a preferred value.

Everything inside the kit is in SI base units; this file turns words into numbers and numbers into words at the edge.
The number and its prefix are matched by the patterns below and nothing is evaluated. pint is asked only about a unit
word that is not the expected one (`5 cm` where metres are wanted), and loads only then.
"""

import math
import re
from decimal import Decimal
from functools import cache, lru_cache
from numbers import Real

_POWER = {"f": -15, "p": -12, "n": -9, "µ": -6, "u": -6, "m": -3, "k": 3, "M": 6, "G": 9, "T": 12}
_PREFIX = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
# A multiplier may stand alone ("33u", "4k7") only here: "5m" would be metres for a length, minutes for a time.
_BARE = frozenset(["V", "A", "Ω", "H", "F", "Hz", "W"])
_PREFIXABLE = _BARE | {"s", "J", "C", "S", "T", "Wb", "N", "Pa", "m", "A/s", "V/s", "V/K", "V·s"}
_EXAMPLE = {"V": "12 V", "A": "350 mA", "Ω": "4k7", "H": "33 µH", "F": "100 µF", "Hz": "150 kHz", "°C": "45 °C"}

_NUMBER = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?) *(.*)")
_CODE = re.compile(r"([+-]?[0-9]*)([RKfpnµumkMGT])([0-9]+) *(.*)")          # IEC 60062: the letter is the decimal point
_FACTOR = r"[A-Za-zµΩ°]+[²³]?"
_UNIT_WORD = re.compile(rf"(?:1/)?{_FACTOR}(?:[/*·]{_FACTOR}){{0,3}}")
_LONGEST = 60
# Greek mu, ohm sign, degree Celsius sign, minus sign, and the spaces a word processor puts before a unit.
_SPELLINGS = {0x03BC: "µ", 0x2126: "Ω", 0x2103: "°C", 0x2212: "-", 0x00A0: " ", 0x2009: " ", 0x202F: " "}

# IEC 60063. E24 and its parts are not pure rounding of 10^(n/24); E48 to E192 are, but for 9.20 (n = 185).
_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
_SERIES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")


def read(value, unit, name="value"):
    """A quantity in SI base units, from a number or from a text with its unit.

    Args: `value`, a number already in base units, or a text: `"33 µH"`, `"33u"`, `"4k7"`, `"R47"` (IEC 60062),
    `"150 kHz"`, `"1.5 mohm"`, `"45 °C"`, `"30 %"` (for unit `""`: 0.3). `unit`, the unit wanted: `"V"`, `"kg/m³"`,
    `""` for a pure number, `"°C"` (stays in °C). `name`, what to call it in an error. µ, μ and u are the same prefix.
    Result: float, finite. Errors: ValueError in one line with name, value and rule. Letters after IEC 60062:2016.

    >>> read("4k7", "Ω")
    4700.0
    """
    if not isinstance(value, str):
        return guard(name, value, unit=unit)
    unit = "" if unit == "%" else unit
    text = value.translate(_SPELLINGS).strip()
    if len(text) > _LONGEST:
        _refuse(name, value, f"is too long: a quantity has at most {_LONGEST} characters")
    if re.search(r"[0-9],[0-9]", text):
        _refuse(name, value, 'must be written with a decimal point and no other separator, as in "4.7" or "1000"')
    text = re.sub(r"[oO]hms?\b", "Ω", text).replace("degC", "°C").replace("^2", "²").replace("^3", "³")
    if (code := _from_code(text, unit)) is not None:
        number, power = code
    elif match := _NUMBER.fullmatch(text):
        number, word = match.groups()
        power = _power(word, unit)
        if power is None:
            return guard(name, _converted(float(number), word, unit, name, value), unit=unit)
    else:
        _refuse(name, value, _wanted(unit))
    return _scaled(number, power, name, value)


def show(value, unit="", digits=3):
    """A quantity in words: `"33 µH"`, `"1.94 A"`, `"-10 °C"`, `"66.7 %"`.

    Args: `value`, a finite number in SI base units (a share for unit `"%"`); `unit`, as in `read`; `digits`, 1 to 17
    significant digits. Result: text, correctly rounded, trailing zeros dropped, with a prefix from f to G where the
    unit takes one (not: temperatures, %, ratios, m², kg/m³ ...); µ is U+00B5. Errors: ValueError for nan, inf,
    non-numbers.

    >>> show(999.96, "V"), show(2 / 3, "%")
    ('1 kV', '66.7 %')
    """
    number = guard("value to print", value)
    if isinstance(digits, bool) or not isinstance(digits, int) or not 1 <= digits <= 17:
        raise ValueError(f"digits = {quoted(digits)} must be a whole number from 1 to 17")
    mantissa, power = f"{number:.{digits - 1}e}".split("e")       # rounded first, so that 999.96 becomes 1 k
    power = int(power) + (2 if unit == "%" else 0)
    prefix = ""
    if unit in _PREFIXABLE and -15 <= power < 12:
        prefix = _PREFIX[power // 3 * 3]
        power %= 3
    if -4 <= power < 6:
        text = _without_zeros(f"{Decimal(mantissa).scaleb(power):f}")
    else:
        text = f"{_without_zeros(mantissa)}e{power}"
    return f"{text} {prefix}{unit}".strip()


def guard(name, value, low=None, high=None, *, unit="", open_low=False, open_high=False, why=""):
    """The value as a float if it is a finite number in the range, else a ValueError that a learner understands.

    Args: `low` and `high`, the limits in the unit of the value, or None; `open_low` and `open_high`, whether the limit
    itself is excluded; `unit`, for the message; `why`, a reason to add. bool, nan, inf, texts and arrays are refused.

    >>> guard("duty", 1.0, 0, 1, open_high=True, why="at 1 the switch never opens")
    Traceback (most recent call last):
    ValueError: duty = 1 must lie in [0, 1): at 1 the switch never opens
    """
    number = _finite(name, value, unit)
    below = low is not None and (number <= low if open_low else number < low)
    above = high is not None and (number >= high if open_high else number > high)
    if below or above:
        said, low, high = _told_apart(number, low, high, unit)
        rule = _range(low, high, open_low, open_high)
        raise ValueError(f"{name} = {said} must {rule}" + (f": {why}" if why else ""))
    return number


def preferred(value, series="E12", pick="nearest"):
    """A preferred value of IEC 60063, for choosing a part.

    Args: `value`, above 0, in any unit; `series`, "E3", "E6", "E12", "E24", "E48", "E96" or "E192"; `pick`, "nearest"
    (smallest difference, the lower on a tie), "up" or "down". A value within 1e-9 of a preferred one is that one, in
    every direction. Result: float in the unit of `value`. Errors: ValueError.

    >>> preferred(35e-6, "E12", "up")
    3.9e-05
    """
    if series not in _SERIES:
        raise ValueError(f"series = {quoted(series)} must be one of {', '.join(_SERIES)}")
    if pick not in ("nearest", "up", "down"):
        raise ValueError(f"pick = {quoted(pick)} must be nearest, up or down")
    value = guard("value", value, 1e-300, 1e300, why="a preferred value is a positive number")
    decade = math.floor(math.log10(value))
    places = 1 if int(series[1:]) <= 24 else 2
    choices = _choices(series, decade, places)
    for choice in choices:
        if math.isclose(choice, value, rel_tol=1e-9):
            return choice
    if pick == "nearest":
        return min(choices, key=lambda choice: abs(choice - value))
    return min(c for c in choices if c > value) if pick == "up" else max(c for c in choices if c < value)


def quoted(value):
    """A value as an error prints it: one line, at most 40 characters, a text in quotes, nothing unprintable."""
    try:
        text = str(value)
    except ValueError:                       # Python prints no whole number beyond 4300 digits
        return "a number of very many digits"
    text = "".join(c if c.isprintable() else "?" for c in text[:41])
    text = text if len(text) <= 40 else text[:39] + "…"
    return f'"{text}"' if isinstance(value, str) else text


def _refuse(name, value, rule):
    raise ValueError(f"{name} = {quoted(value)} {rule}")


def _finite(name, value, unit):
    if isinstance(value, bool) or not isinstance(value, Real):
        _refuse(name, value, "must be a number" + (f" in {unit}" if unit else ""))
    try:
        number = float(value) + 0.0          # -0.0 becomes 0.0
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        _refuse(name, value, "must be a finite number" + (f" in {unit}" if unit else ""))
    return number


def _wanted(unit):
    if not unit:
        return 'must be a pure number or a percentage, as in "0.3" or "30 %"'
    return f'must be a number in {unit}, as in "{_EXAMPLE.get(unit, f"1.5 {unit}")}"'


def _from_code(text, unit):
    """Number text and power of ten of a code after IEC 60062 (4k7, R47), or None where the text is no such code."""
    match = _CODE.fullmatch(text)
    if not match or match[4] not in ("", unit):
        return None
    power = _power(match[2], unit) if unit in _BARE else None
    return None if power is None else (f"{match[1]}.{match[3]}", power)


def _power(word, unit):
    """Power of ten that a word stands for: the wanted unit with or without prefix, or a multiplier alone. Else None."""
    if word in ("", unit):
        return 0
    if unit == "":
        return -2 if word == "%" else None
    if unit in _PREFIXABLE and word.endswith(unit):
        return _POWER.get(word.removesuffix(unit))
    if unit == "Ω" and word in ("R", "K"):
        return 0 if word == "R" else 3
    return _POWER.get(word) if unit in _BARE else None


def _scaled(number, power, name, value):
    exact = Decimal(number).scaleb(power)
    scaled = float(exact)                    # one rounding only: "33 µH" is exactly 33e-6
    if not math.isfinite(scaled) or (scaled == 0 and exact != 0):
        _refuse(name, value, "lies outside the numbers that a computer can hold")
    return scaled + 0.0


@cache
def _registry():
    import pint

    return pint.UnitRegistry()


def _converted(number, word, unit, name, value):
    """The number converted by pint from another unit of the same kind."""
    if not _UNIT_WORD.fullmatch(word):
        _refuse(name, value, _wanted(unit))
    if word in _POWER and word not in ("m", "T"):          # pint would read u as the atomic mass unit, k as Boltzmann's
        _refuse(name, value, f"{_wanted(unit)}: the multiplier {word} needs its unit")
    if word == f"K{unit}":
        _refuse(name, value, f"{_wanted(unit)}: kilo is a small k")
    try:
        zero, one, result = _by_pint(word, unit, number)
    except (AttributeError, ValueError, TypeError, ArithmeticError) as trouble:      # pint's errors are all among these
        said = "is no unit known here" if "not defined" in str(trouble) else "is another kind of quantity"
        raise ValueError(f"{name} = {quoted(value)} {_wanted(unit)}: {quoted(word)} {said}") from None
    if unit == "°C":
        return result
    if zero != 0:                        # °C for K: a temperature or a rise? dB for a ratio: of power or of voltage?
        _refuse(name, value, f"{_wanted(unit)}: {quoted(word)} would leave a doubt")
    return number * one


def _by_pint(word, unit, number):
    """What 0, 1 and the number in the unit `word` are in `unit`."""
    registry = _registry()
    source, target = (registry.parse_units(w.replace("·", "*")) for w in (word, unit))
    angles = {"radian" in str(registry.Quantity(1.0, u).to_base_units().units) for u in (source, target)}
    if len(angles) > 1:                      # to pint rad/s is 1/s too, but 5 rad/s are not 5 Hz
        raise ValueError("one is an angle, the other is none")
    return [registry.Quantity(x, source).to(target).magnitude for x in (0.0, 1.0, number)]


def _without_zeros(text):
    return text.rstrip("0").rstrip(".") if "." in text else text


def _told_apart(number, low, high, unit):
    """Value and limits in words, with as many digits as it takes to tell them apart."""
    for digits in (4, 8, 17):
        said, *limits = (None if x is None else show(x, unit, digits) for x in (number, low, high))
        if said not in limits or number in (low, high):
            break
    return said, *limits


def _range(low, high, open_low, open_high):
    if low is not None and high is not None:
        return f"lie in {'(' if open_low else '['}{low}, {high}{')' if open_high else ']'}"
    if high is None:
        return f"lie above {low}" if open_low else f"be at least {low}"
    return f"lie below {high}" if open_high else f"be at most {high}"


@lru_cache(maxsize=64)
def _choices(series, decade, places):
    """The values of this decade and of its neighbours, so that each has one below and one above."""
    return [float(f"{step}e{power - places}") for power in range(decade - 1, decade + 2) for step in _steps(series)]


@cache
def _steps(series):
    count = int(series[1:])
    if count <= 24:
        return _E24[:: 24 // count]
    return tuple(920 if n == 185 else round(100 * 10 ** (n / 192)) for n in range(0, 192, 192 // count))


@cache
def dimension(unit):
    """The exponents of (m, kg, s, A, K) in a unit: `"V"` gives (2, 1, -3, -1, 0), `""` and `"%"` zeros.

    Raises ValueError for a word that is no unit.
    """
    if unit in ("", "%"):
        return (0, 0, 0, 0, 0)
    try:
        powers = _registry().parse_units(unit.replace("·", "*")).dimensionality
    except (AttributeError, ValueError, TypeError, ArithmeticError):
        raise ValueError(f"{quoted(unit)} is no unit known here") from None
    names = ("[length]", "[mass]", "[time]", "[current]", "[temperature]")
    return tuple(int(powers.get(name, 0)) for name in names)
