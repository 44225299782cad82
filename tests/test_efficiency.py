"""Efficiency from four meters: its uncertainty, and what is said where the meters cannot tell."""

import math
from pathlib import Path

import numpy as np
import pytest

import boostkit
from boostkit.bench.compare import verdict
from boostkit.bench.efficiency import efficiency
from boostkit.bench.example import built
from boostkit.bench.meters import Readings, read_readings
from boostkit.bench.uncertain import expanded, factor, standard, uncertain

DATA = Path(boostkit.__file__).parent / "data"


def meters(**values):
    """Readings from (value, standard uncertainty), each meter erring on its own."""
    units = {name: "V" if name[0] == "v" else "A" for name in values}
    return Readings({name: uncertain(*value, f"meter of {name}") for name, value in values.items()}, units, "readings.toml")


def test_efficiency_by_the_rule_of_products():
    """Of a product and quotient the relative variances add (JCGM 100, 5.1.6, eq. 12); the losses by hand."""
    found = efficiency(meters(v_in=(6.0, 0.012), i_in=(1.0, 0.004), v_out=(18.0, 0.027), i_out=(0.3, 0.0009)))
    assert (found.input_power.n, found.output_power.n, found.losses.n) == pytest.approx((6.0, 5.4, 0.6))
    assert found.efficiency.n == pytest.approx(0.9)
    assert standard(found.efficiency) == pytest.approx(0.9 * math.sqrt(0.002**2 + 0.004**2 + 0.0015**2 + 0.003**2), rel=1e-9)
    assert standard(found.losses) == pytest.approx(math.hypot(6 * math.hypot(0.002, 0.004), 5.4 * math.hypot(0.0015, 0.003)), rel=1e-9)
    assert [line.what for line in found.budget] == [f"meter of {name}" for name in ("i_in", "i_out", "v_in", "v_out")]
    assert sum(line.share for line in found.budget) == pytest.approx(1.0)
    assert not found.notes
    assert found.lines == ("input power = 6.00(3) W", "output power = 5.400(18) W", "losses = 600(30) mW", "efficiency = 90.0(5) %")


def test_efficiency_against_drawing_at_random():
    """The same from 200 000 draws of the four meters (the method of JCGM 101): 1 % covers the scatter of that many."""
    rng = np.random.default_rng(101)
    v_in, i_in, v_out, i_out = (rng.normal(mean, error, 200_000) for mean, error in
                                ((6.0, 0.012), (1.0, 0.004), (18.0, 0.027), (0.3, 0.0009)))  # fmt: skip
    found = efficiency(meters(v_in=(6.0, 0.012), i_in=(1.0, 0.004), v_out=(18.0, 0.027), i_out=(0.3, 0.0009)))
    assert standard(found.efficiency) == pytest.approx(np.std(v_out * i_out / v_in / i_in), rel=0.01)
    assert standard(found.losses) == pytest.approx(np.std(v_in * i_in - v_out * i_out), rel=0.01)


def test_the_shipped_readings_agree_with_the_circuit():
    """Efficiency agrees with the exact circuit; of the losses the same meters can hardly tell."""
    found, state = efficiency(read_readings(DATA / "tide_gauge_readings.toml")), built()
    assert verdict(found.efficiency, state.efficiency).kind == "agrees"
    assert verdict(found.losses, sum(state.losses.values())).kind == "cannot tell"
    assert verdict(found.input_power, state.input_power).kind == verdict(found.output_power, state.output_power).kind == "agrees"


def test_one_meter_for_both_voltages_errs_less():
    """An error of gain that both voltages share drops out of the ratio."""
    gain = factor(0.02, "one meter")
    readings = {"v_in": 6.0 * gain, "i_in": 1.0, "v_out": 18.0 * gain, "i_out": 0.3}
    found = efficiency(readings)
    assert standard(found.efficiency) < 1e-12 and standard(found.losses) == pytest.approx(0.6 * 0.02 / math.sqrt(3), rel=1e-9)
    assert efficiency({"v_in": 6.0, "i_in": 1, "v_out": 18.0, "i_out": 0.3}).efficiency.n == pytest.approx(0.9)


@pytest.mark.parametrize(("i_out", "error", "words"), [
    (0.3, 0.004, ""), (0.3, 0.0082, ""), (0.3, 0.0085, "the losses of 600 mW are hardly known: their expanded uncertainty of 310 mW"),
    (0.33, 0.002, "the losses cannot be told from zero: their expanded uncertainty is 72 mW"), (0.334, 0.002, "cannot be told from zero"),
    (0.34, 0.0001, "look for the meters of input and output swapped"),
])  # fmt: skip
def test_notes_say_what_the_meters_cannot_tell(i_out, error, words):
    """Half of the losses is the limit; losses within their uncertainty of zero; and an efficiency that no converter has."""
    found = efficiency(meters(v_in=(6.0, 0), i_in=(1.0, 0), v_out=(18.0, 0), i_out=(i_out, error)))
    assert bool(found.notes) == bool(words) and words in "".join(found.notes)
    assert found.lines[4:] == found.notes
    if "swapped" in words:
        assert found.efficiency.n - expanded(found.efficiency) > 1 and "102.00(3) %" in found.notes[0]


def test_swapped_meters_are_named():
    """Input and output read the wrong way round give the reciprocal, above one."""
    found = efficiency(meters(v_in=(18.0, 0.05), i_in=(0.3, 0.001), v_out=(6.0, 0.02), i_out=(1.0, 0.003)))
    assert found.efficiency.n == pytest.approx(1 / 0.9) and "swapped" in found.notes[0]


@pytest.mark.parametrize(("change", "words"), [
    ({"i_in": (-1.0, 0.004)}, r"readings\.toml: i_in = -1 A must be above zero: the leads of that meter are swapped"),
    ({"v_out": (-18.0, 0.03)}, r"v_out = -18 V must be above zero"), ({"i_out": (0.0, 0.001)}, "i_out = 0 A .* no power"),
    ({"v_in": None}, r"readings\.toml: v_in is missing: an efficiency needs v_in, i_in, v_out, i_out"),
])  # fmt: skip
def test_readings_that_make_no_efficiency(change, words):
    """One line with file, name and rule."""
    usual = {"v_in": (6.0, 0.012), "i_in": (1.0, 0.004), "v_out": (18.0, 0.027), "i_out": (0.3, 0.0009)} | change
    with pytest.raises(ValueError, match=words):
        efficiency(meters(**{name: value for name, value in usual.items() if value}))
