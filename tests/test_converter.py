"""Converter files: what is read, what is refused and in which words, and copies with other values."""

import math
from importlib.resources import files

import numpy as np
import pytest

from boostkit.circuit import Converter
from boostkit.circuit.converter import LETTERS

STAGE = (files("boostkit") / "data" / "stage.toml").read_text(encoding="utf-8")
GOOD = """
[source]
voltage = 6.0
[inductor]
inductance = "47 µH"
[switch]
frequency = "150 kHz"
duty = 0.68
[capacitor]
capacitance = "100 µF"
[load]
resistance = 30.0
"""
SECOND = '[rectifier]\nkind = "switch"\n'

# what a good file is changed into, and what the one line of the refusal says after the file's name
MALFORMED = [
    ("voltage = 6.0", "voltage = -6", "source.voltage = -6 V must lie in (0 V, 100 kV]"),
    ("voltage = 6.0", "voltage = nan", "source.voltage = nan must be a finite number"),
    ("voltage = 6.0", 'voltage = "6 A"', "source.voltage = "),
    ("voltage = 6.0", "voltage = true", "source.voltage = True must be a number"),
    ("voltage = 6.0", "voltge = 6.0", "source.voltage is missing"),
    ("voltage = 6.0", "voltage = 6.0\nresistence = 1", "source.resistence is not a known key; did you mean resistance?"),
    ("voltage = 6.0", "voltage = 6.0\ninductance = 1e-6", "source.inductance = 1 µH needs an [input_capacitor]"),
    ("[source]\nvoltage = 6.0", "", "source is missing"),
    ("[source]\nvoltage = 6.0", "source = 6.0", "source = 6.0 must be a table of keys"),
    ('"47 µH"', '"47 µF"', "inductor.inductance = "),
    ('"47 µH"', "0", "inductor.inductance = 0 H must lie in [1 pH, 1 kH]"),
    ("duty = 0.68", "duty = 1.0", "switch.duty = 1 must lie in [0, 1)"),
    ("duty = 0.68", "duty = 68", "switch.duty = 68 must lie in [0, 1)"),
    ("duty = 0.68", "", "switch.duty"),
    ("duty = 0.68", "duty = 0.68\npeak_current = 2", "switch.peak_current = 2 cannot stand beside duty"),
    ('frequency = "150 kHz"', "", "switch.frequency is missing"),
    ('frequency = "150 kHz"', "frequency = 0", "switch.frequency = 0 Hz must lie in [1 mHz, 1 GHz]"),
    ('capacitance = "100 µF"', 'capacitance = "100 µF"\nseries_resistance = inf', "capacitor.series_resistance = inf"),
    ("resistance = 30.0", "", "load.resistance"),
    ("resistance = 30.0", "resistance = 30.0\ncurrent = 1", "load.resistance"),
    ("resistance = 30.0", "resistance = 30.0\nknee = 1", "load.knee = 1 belongs to a load with a constant current"),
    ("resistance = 30.0", "current = 1\nknee = 0", "load.knee = 0 V must lie in (0 V, 10 kV]"),
    ("[load]", '[rectifier]\nkind = "valve"\n[load]', 'rectifier.kind = "valve" must be one of diode, switch'),
    ("[load]", SECOND + "forward_voltage = 0.4\n[load]", 'rectifier.forward_voltage = 0.4 belongs to a rectifier of kind "diode"'),
    ("[load]", "[rectifier]\ndead_time = 1e-7\n[load]", 'rectifier.dead_time = 1e-07 belongs to a rectifier of kind "switch"'),
    ("[load]", SECOND + 'dead_time = "2 µs"\n[load]', "rectifier.dead_time = 2 µs must fit twice into the open time"),
    ("[load]", "[input_capacitor]\n[load]", "input_capacitor.capacitance is missing"),
    ("[load]", "[motor]\nspeed = 1\n[load]", "motor is not a known key"),
    ("duty = 0.68", "duty = = 0.68", "line 8: "),
    (GOOD, "", "is empty"),
]


def test_stage_file_is_read():
    """The built-in converter file gives the numbers that stand in it, in SI units."""
    c = Converter.from_file(files("boostkit") / "data" / "stage.toml")
    assert (c.source.voltage, c.inductor.inductance, c.switch.frequency, c.load.resistance) == (6.0, 47e-6, 150e3, 30.0)
    assert c.switch.drive == "duty" and c.rectifier.kind == "diode" and c.input_capacitor is None
    assert c.t_sw == 1 / 150e3


@pytest.mark.parametrize(("old", "new", "said"), MALFORMED, ids=range(len(MALFORMED)))
def test_malformed_file_is_refused_in_one_line(tmp_path, old, new, said):
    """Each broken file is refused with one line that names the file, the key, its value and the rule."""
    assert GOOD.count(old) == 1
    path = tmp_path / "stage.toml"
    path.write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(ValueError) as caught:
        Converter.from_file(path)
    line = str(caught.value)
    assert line.startswith(f"stage.toml: {said}") and line.isprintable() and len(line) < 250 and str(tmp_path) not in line


def test_good_file_is_accepted(tmp_path):
    """The file that the malformed ones are made from is itself in order."""
    path = tmp_path / "stage.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert Converter.from_file(path).switch.duty == 0.68


def full(**letters):
    """A converter with a value for every letter that can stand together."""
    values = {
        "v_in": 6.0, "r_source": 0.1, "l_source": 1e-6, "inductance": 47e-6, "r_inductor": 0.04, "f_sw": 150e3, "duty": 0.6,
        "r_switch": 0.02, "v_switch_body": 0.9, "rectifier": "switch", "r_rectifier": 0.03, "dead_time": 1e-7,
        "v_rectifier_body": 0.7, "capacitance": 1e-4, "r_capacitor": 0.01, "c_input": 1e-5, "r_input_capacitor": 0.02,
        "i_out": 0.5, "v_knee": 2.0,
    }  # fmt: skip
    return Converter.of(**values | letters)


def test_every_letter_arrives_where_its_key_is():
    """Each letter of the text reaches the part and the key of the table, and comes back by its letter."""
    c = full()
    for letter, value in c.letters().items():
        section, key, _ = LETTERS[letter]
        assert getattr(getattr(c, section), key) == value
    assert c.letters()["v_rectifier_body"] == 0.7 and c.letters()["r_input_capacitor"] == 0.02


@pytest.mark.parametrize("letters", [
    {}, {"dead_time": None}, {"rectifier": None, "dead_time": None, "v_rectifier_body": None, "v_rectifier": 0.4},
    {"i_out": None, "v_knee": None, "r_load": 10.0}, {"c_input": None, "r_input_capacitor": None, "l_source": None},
    {"duty": None, "peak_current": 2.0, "rectifier": None, "dead_time": None, "v_rectifier_body": None},
])  # fmt: skip
def test_dict_round_trip(letters):
    """`to_dict` and back gives the same converter, whatever parts it has."""
    c = full(**letters)
    assert Converter.from_dict(c.to_dict()) == c


def test_change_gives_a_checked_copy():
    """A change leaves the original alone, is checked like a file, and a new kind of load or drive replaces the old one."""
    c = Converter.of(v_in=6, inductance=47e-6, f_sw=150e3, duty=0.6, capacitance=1e-4, i_out=0.5, v_knee=2.0)
    assert c.change(duty=0.7).switch.duty == 0.7 and c.switch.duty == 0.6
    resistive = c.change(r_load=30.0)                 # its knee goes with the constant current
    assert (resistive.load.resistance, resistive.load.current) == (30.0, None)
    assert resistive.change(i_out=1.0).load.current == 1.0
    assert c.change(peak_current=2.0).switch.drive == "peak current"
    assert c.change(peak_current=2.0, f_sw=None).switch.drive == "two thresholds"
    assert c.change(v_knee=None).load.knee == 1.0
    with pytest.raises(ValueError, match=r"duty = 1 must lie in \[0, 1\)"):
        c.change(duty=1.0)
    driven = Converter.of(v_in=6, inductance=47e-6, f_sw=150e3, duty=0.6, capacitance=1e-4, r_load=30, rectifier="switch", dead_time=1e-7)
    with pytest.raises(ValueError, match="rectifier.dead_time = 100 ns must fit twice"):
        driven.change(duty=0.99)                      # a rule between two parts, one of them as it was
    assert driven.change(duty=0.7) == Converter.from_dict(driven.to_dict() | {"switch": {"frequency": 150e3, "duty": 0.7}})
    with pytest.raises(ValueError, match="dutty is not a letter of a converter; known are v_in"):
        c.change(dutty=0.5)


@pytest.mark.parametrize("letter", [name for name, (_, _, unit) in LETTERS.items() if unit is not None])
@pytest.mark.parametrize("value", [math.nan, math.inf, -1.0, True, "x", np.array([1.0, 2.0])], ids=str)
def test_no_letter_takes_nonsense(letter, value):
    """nan, inf, negative numbers, booleans, words and arrays are refused for every letter, by its key."""
    section, key, _ = LETTERS[letter]
    rivals = {"peak_current": {"duty": None, "rectifier": None, "dead_time": None, "v_rectifier_body": None},
              "r_load": {"i_out": None, "v_knee": None},
              "v_rectifier": {"rectifier": None, "dead_time": None, "v_rectifier_body": None}}  # fmt: skip
    with pytest.raises(ValueError, match=rf"^converter: {section}\.{key} = "):
        full(**rivals.get(letter, {}) | {letter: value})
