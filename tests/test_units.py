"""Reading, printing, guarding and choosing quantities."""

import math
import subprocess
import sys
from fractions import Fraction

import eseries
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from boostkit.units import guard, preferred, quoted, read, show

# Every reading here is exact: number and prefix meet in one decimal rounding, so no tolerance.
READINGS = [
    ("33 µH", "H", 33e-6), ("33 \u03bcH", "H", 33e-6), ("33uH", "H", 33e-6), ("33u", "H", 33e-6), ("4µ7", "H", 4.7e-6),
    ("100n", "F", 100e-9), ("4n7", "F", 4.7e-9), ("p33", "F", 0.33e-12), ("33F", "F", 33.0), ("33f", "F", 33e-15),
    ("4k7", "Ω", 4700.0), ("R47", "Ω", 0.47), ("2R2", "Ω", 2.2), ("47R", "Ω", 47.0), ("4K7", "Ω", 4700.0),
    ("10K", "Ω", 10e3), ("4k7 Ω", "Ω", 4700.0), ("1.5 mΩ", "Ω", 1.5e-3), ("1.5 m\u2126", "Ω", 1.5e-3),
    ("1.5 mohm", "Ω", 1.5e-3), ("2 kohms", "Ω", 2e3), ("2 MΩ", "Ω", 2e6), ("2 mΩ", "Ω", 2e-3), ("2M", "Ω", 2e6),
    ("150kHz", "Hz", 150e3), ("150 kHz", "Hz", 150e3), ("1 mHz", "Hz", 1e-3), ("150k", "Hz", 150e3),
    ("5 m", "V", 5e-3), ("5 m", "m", 5.0), ("5 mm", "m", 5e-3), ("5m", "m", 5.0), ("5 M", "V", 5e6),
    ("1e-6", "s", 1e-6), ("1E-6 s", "s", 1e-6), ("2.5e3 ms", "s", 2.5), (".5 V", "V", 0.5), ("5. V", "V", 5.0),
    ("-3.3 V", "V", -3.3), ("\u22123.3 V", "V", -3.3), ("+3.3 V", "V", 3.3), ("6\u00a0V", "V", 6.0),
    (" 6 V ", "V", 6.0),
    ("45 °C", "°C", 45.0), ("-10 degC", "°C", -10.0), ("45", "°C", 45.0), ("30 %", "", 0.3), ("30%", "%", 0.3),
    ("0.3", "", 0.3), ("3 kA/s", "A/s", 3e3), ("998 kg/m^3", "kg/m³", 998.0), ("2 mT", "T", 2e-3), ("2 T", "T", 2.0),
]
CONVERTED = [                               # through pint, hence a rounding or two: rel 1e-12
    ("5 cm", "m", 0.05), ("1 in", "m", 0.0254), ("1 h", "s", 3600.0), ("1 Ah", "C", 3600.0), ("7 bar", "Pa", 7e5),
    ("1 g/cm³", "kg/m³", 1000.0), ("30 mm²", "m²", 30e-6), ("300 K", "°C", 26.85), ("10 K/W", "K/W", 10.0),
]
REFUSED = [
    ("5 A", "V", "another kind"), ("33 µF", "H", "another kind"), ("5 blah", "V", "no unit known"),
    ("45 C", "°C", "another kind"), ("45 °C", "K", "doubt"), ("6 dB", "", "doubt"), ("5 rad/s", "Hz", "another kind"),
    ("100 rpm", "Hz", "another kind"), ("5m", "s", "another kind"), ("30 %", "V", "another kind|number in V"),
    ("33u", "m", "needs its unit"), ("33u", "kg", "needs its unit"), ("4k7", "", "pure number"),
    ("4k7", "m", "number in m"), ("R47", "H", "number in H"), ("4.7k5", "Ω", "number in Ω"),
    ("150 KHz", "Hz", "small k"),
    ("4m7", "m", "number in m"), ("4T7", "T", "number in T"), ("5 V^9", "V", "number in V"),
    ("4,7 V", "V", "decimal point"), ("1,000", "V", "decimal point"), ("1_000", "V", "number in V"),
    ("__import__('os')", "V", "number in V"), ("1**9**9", "V", "number in V"), ("33 µH * 2", "H", "number in H"),
    ("2*3 V", "V", "number in V"), ("(5) V", "V", "number in V"), ("5 V; 1", "V", "number in V"),
    ("\u0663 V", "V", "number in V"), ("\uff15 V", "V", "number in V"), ("5\n6", "V", "number in V"),
    ("0x10", "V", "number in V"), ("1 000", "V", "number in V"), ("", "V", "number in V"),
    ("nan", "V", "number in V"), ("inf V", "V", "number in V"), ("-Infinity", "V", "number in V"),
    ("1e999", "V", "outside"), ("1e-400 V", "V", "outside"), ("1e9999", "V", "number in V"), ("1e308 h", "s", "finite"),
    ("9" * 61, "V", "too long"), ("9" * 10**6, "V", "too long"), ("5 " + "V" * 50, "V", "no unit known"),
    (True, "V", "must be a number in V"), (None, "", "must be a number"), ([5], "V", "must be"), ({}, "V", "must be"),
    (math.nan, "V", "finite"), (math.inf, "V", "finite"), (10**5000, "V", "finite"), (1j, "V", "must be a number"),
    (np.array([1.0, 2.0]), "V", "must be a number"), (np.True_, "V", "must be a number"),
]


@pytest.mark.parametrize(("text", "unit", "value"), READINGS)
def test_reads_what_engineers_write(text, unit, value):
    """Prefixes, codes after IEC 60062, spellings of µ and Ω, and signs are read to the last bit."""
    assert read(text, unit) == value


@pytest.mark.parametrize(("text", "unit", "value"), CONVERTED)
def test_converts_other_units_of_the_same_kind(text, unit, value):
    """A unit word that is not the expected one is converted if its dimension fits."""
    assert read(text, unit) == pytest.approx(value, rel=1e-12)          # two roundings in pint


@pytest.mark.parametrize(("value", "unit", "reason"), REFUSED, ids=range(len(REFUSED)))
def test_refuses_in_one_clear_line(value, unit, reason):
    """What is no quantity of the wanted kind is refused in one short printable line that names it."""
    with pytest.raises(ValueError, match=reason) as caught:
        read(value, unit, "load.voltage")
    said = str(caught.value)
    assert said.startswith("load.voltage = ") and said.isprintable() and len(said) < 200


@given(st.text(max_size=70) | st.from_regex(r"[0-9.]{1,4} ?[a-zA-Zµ°%/*²^]{1,6}", fullmatch=True))
def test_any_text_is_a_number_or_a_refusal(text):
    """No text whatever does more than give a finite number or a ValueError of one line."""
    for unit in ("V", "m", "", "°C"):
        try:
            assert math.isfinite(read(text, unit))
        except ValueError as refusal:
            assert str(refusal).isprintable()


def test_numbers_pass_as_they_are():
    """A bare number is taken to be in base units already, whatever type of real number it is."""
    for number in (6, 6.0, np.float32(6), np.int64(6), Fraction(6)):
        assert read(number, "V") == 6.0 and type(read(number, "V")) is float


SHOWN = [
    (33e-6, "H", "33 µH"), (1.9444, "A", "1.94 A"), (150e3, "Hz", "150 kHz"), (-10, "°C", "-10 °C"),
    (2 / 3, "%", "66.7 %"),
    (0, "V", "0 V"), (-0.0, "V", "0 V"), (0, "%", "0 %"), (0, "", "0"),
    (0.07, "%", "7 %"), (0.6667, "", "0.667"), (998.207, "kg/m³", "998 kg/m³"),
    (999.4, "V", "999 V"), (999.5, "V", "1 kV"), (999.96e-6, "H", "1 mH"), (-999.96, "V", "-1 kV"),
    (999.96e3, "Hz", "1 MHz"),
    (999.4e9, "Hz", "999 GHz"), (999.96e9, "Hz", "1e12 Hz"), (1e-15, "F", "1 fF"), (0.9996e-15, "F", "1 fF"),
    (9.9e-16, "F", "9.9e-16 F"), (1e300, "V", "1e300 V"), (5e-324, "V", "4.94e-324 V"), (1482.35, "m/s", "1480 m/s"),
    (2e-6, "m²", "2e-6 m²"), (99999, "K", "100000 K"), (1e6, "K", "1e6 K"), (1500, "m", "1.5 km"), (1e-4, "", "0.0001"),
]


@pytest.mark.parametrize(("value", "unit", "text"), SHOWN)
def test_prints_three_digits_with_prefix(value, unit, text):
    """Three digits, the right prefix also where rounding lifts a value over a border, no trailing zeros."""
    assert show(value, unit) == text


def test_digits_can_be_chosen():
    """Four digits, one digit, and refusals outside 1 to 17."""
    assert show(math.pi, "V", 4) == "3.142 V" and show(0.96e3, "V", 1) == "1 kV" and "\u00b5" in show(1e-6, "s")
    for digits in (0, 18, 2.0, True):
        with pytest.raises(ValueError, match="digits"):
            show(1, "V", digits)
    for value in (math.nan, math.inf, "5", True):
        with pytest.raises(ValueError, match="number"):
            show(value, "V")


UNITS = ["V", "Ω", "F", "s", "m", "°C", "%", "", "kg/m³", "A/s"]


@given(st.floats(-1e40, 1e40), st.sampled_from(UNITS), st.integers(1, 17))
def test_what_is_printed_can_be_read(value, unit, digits):
    """Reading back gives the value within half a unit of its last digit, and printing that gives the same text."""
    if 0 < abs(value) < 1e-300:
        return                                # below this a double itself has too few digits to hold 17
    text = show(value, unit, digits)
    back = read(text, unit)
    half_a_digit = 0.5001 * 10.0 ** (1 - digits)
    assert back == pytest.approx(value, rel=half_a_digit + 1e-15)      # 1e-15: two roundings of a double
    assert digits > 15 or show(back, unit, digits) == text             # a double holds 15 digits for sure


GUARDED = [
    ((1, 0, 1), {"open_high": True, "why": "it never opens"}, "x = 1 must lie in [0, 1): it never opens"),
    ((0, 0, 1), {"open_low": True}, "x = 0 must lie in (0, 1]"),
    ((5, 7.2), {"unit": "V", "open_low": True}, "x = 5 V must lie above 7.2 V"),
    ((5, 7.2), {"unit": "V"}, "x = 5 V must be at least 7.2 V"),
    ((8, None, 7.2), {"unit": "V", "open_high": True}, "x = 8 V must lie below 7.2 V"),
    ((8, None, 7.2), {"unit": "V"}, "x = 8 V must be at most 7.2 V"),
    ((0.1, 0.1), {"open_low": True}, "x = 0.1 must lie above 0.1"),
    ((7.2000001, None, 7.2), {"unit": "V"}, "x = 7.2000001 V must be at most 7.2 V"),
]


@pytest.mark.parametrize(("numbers", "more", "words"), GUARDED)
def test_guard_names_value_range_and_reason(numbers, more, words):
    """Each kind of range in its own words, the limit itself in or out as asked."""
    with pytest.raises(ValueError) as caught:
        guard("x", *numbers, **more)
    assert str(caught.value) == words


def test_guard_lets_the_range_pass():
    """A closed limit belongs to the range; the result is a plain float."""
    assert guard("duty", 0, 0, 1, open_high=True) == 0.0 and guard("x", 7.2, None, 7.2) == 7.2
    assert type(guard("x", np.float64(2), 1, 3)) is float


def test_quoted_is_short_and_harmless():
    """Line breaks, control and direction characters do not reach the terminal, and length is bounded."""
    assert quoted("a\nb\x1b\u202e") == '"a?b??"' and len(quoted("x" * 10**6)) == 42 and quoted(5.5) == "5.5"


SERIES = {name: eseries.series(getattr(eseries, name)) for name in ("E3", "E6", "E12", "E24", "E48", "E96", "E192")}


def neighbours(series, value):
    """Preferred values from the decade below to the decade above, from the package's table."""
    places = 1 if series in ("E3", "E6", "E12", "E24") else 2
    decade = math.floor(math.log10(value))
    return [float(f"{v}e{decade + d - places}") for d in (-1, 0, 1) for v in SERIES[series]]


@pytest.mark.parametrize("series", SERIES)
def test_series_as_the_independent_package_has_them(series):
    """All values of the series (IEC 60063 as in PyPI eseries 1.2.1), each its own nearest, up and down."""
    for power in (-6, 0, 5):
        for value in SERIES[series]:
            exact = float(f"{value}e{power}")
            near = (exact, math.nextafter(exact, 0), math.nextafter(exact, math.inf), exact / 10 * 10)
            assert {preferred(v, series, pick) for v in near for pick in ("nearest", "up", "down")} == {exact}


@given(st.sampled_from(sorted(SERIES)), st.floats(1e-15, 1e15))
def test_up_down_and_nearest_agree_with_the_package(series, value):
    """A random value has the neighbours that the package's table gives."""
    table = neighbours(series, value)
    if any(math.isclose(value, c, rel_tol=1e-8) for c in table):
        return                                # within rounding of a preferred value: the test above
    assert preferred(value, series, "up") == min(c for c in table if c > value)
    assert preferred(value, series, "down") == max(c for c in table if c < value)
    found = preferred(value, series)
    theirs = eseries.find_nearest(getattr(eseries, series), value)
    assert found == pytest.approx(theirs, rel=1e-12)                   # theirs goes through pow(10, n)
    assert abs(found - value) == min(abs(c - value) for c in table)


def test_exceptions_of_the_standard():
    """Series lengths (F1), the eight of E24 that are not rounding (F2), E96 as rounding (F3); IEC 60063 from memory."""
    ladder = {name: sorted({preferred(10 ** (k / 2000), name) for k in range(2000)} - {10.0}) for name in SERIES}
    assert {name: len(found) for name, found in ladder.items()} == {f"E{n}": n for n in (3, 6, 12, 24, 48, 96, 192)}
    assert ladder["E6"] == [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]
    assert set(ladder["E12"]) - set(ladder["E6"]) == {1.2, 1.8, 2.7, 3.9, 5.6, 8.2}
    pure = {round(10 ** (n / 24), 1) for n in range(24)}
    assert set(ladder["E24"]) - pure == {2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 8.2}
    assert pure - set(ladder["E24"]) == {2.6, 2.9, 3.2, 3.5, 3.8, 4.2, 4.6, 8.3}
    assert [ladder["E96"][n] for n in (2, 10, 24, 48, 65, 95)] == [1.05, 1.27, 1.78, 3.16, 4.75, 9.76]
    assert preferred(9.19, "E192") == 9.20    # the one value of E192 that is not pure rounding


def test_decade_borders_and_refusals():
    """From above the last value the next is ten; bad series, direction and value are refused."""
    assert preferred(8.3, "E12", "up") == 10.0 and preferred(0.99, "E12", "down") == 0.82
    assert preferred(9.2, "E12") == 10.0 and preferred(1.0, "E192", "down") == 1.0
    assert preferred(35e-6, "E12", "up") == 39e-6 and preferred(7.36, "E3") == 10.0 and preferred(7.34, "E3") == 4.7
    for case in ((0,), (-1,), (math.nan,), (True,), (1, "E5"), (1, 12), (1, "E12", "nearly"), ("1k",), (1e301,)):
        with pytest.raises(ValueError, match="must"):
            preferred(*case)


def test_pint_loads_only_where_it_is_needed():
    """The usual spellings are read without pint; a foreign unit word brings it in."""
    code = ("import sys; from boostkit.units import read; read('33 uH','H'); read('4k7','Ω'); read('30 %',''); "
            "a = 'pint' in sys.modules; read('5 cm','m'); print(a, 'pint' in sys.modules)")
    done = subprocess.run([sys.executable, "-X", "utf8", "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]
