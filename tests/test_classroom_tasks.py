"""The answers of a lab: against a worked example in print, and reckoned on from a learner's own mistake."""

from math import pi, sqrt

import pytest

from boostkit.classroom.lab_file import read_lab
from boostkit.classroom.numbers import numbers_at
from boostkit.classroom.tasks import expected, holds, reading
from boostkit.classroom.variants import variant

RASHID = '''
title = "An example in print"
[source]
voltage = 5
[load]
voltage = 15
current = 0.5
[choices]
frequency = 25e3
'''
LAB = '''
title = "An example in print"
workbook = "03_two_slopes.ipynb"
scenario = "rashid.toml"
[given]
"choices.inductance" = "150 µH"
"choices.capacitance" = "220 µF"
[[task]]
id = "duty"
ask = "Which duty?"
quantity = "duty"
trap = "complement"
[[task]]
id = "ripple"
ask = "Which ripple?"
quantity = "ripple_current"
follows = ["duty"]
trap = "peak"
[[task]]
id = "peak"
ask = "Which peak?"
quantity = "peak_current"
follows = ["duty"]
[[task]]
id = "sag"
ask = "Which ripple of the output?"
quantity = "sag"
follows = ["duty"]
[[task]]
id = "bench"
ask = "Which ripple do you see?"
quantity = "ripple_current"
by = "circuit"
measured = true
'''


def printed(tmp_path):
    """The converter of Rashid, Power Electronics, example 5.6, as a lab of one."""
    (tmp_path / "rashid.toml").write_text(RASHID, encoding="utf-8")
    (tmp_path / "lab.toml").write_text(LAB, encoding="utf-8")
    return numbers_at(read_lab(tmp_path / "lab.toml"), {})


def test_the_key_agrees_with_an_example_in_print(tmp_path):
    """Rashid, Power Electronics, example 5.6: duty 66.67 %, ripple 0.89 A, peak 1.945 A, output ripple 60.61 mV.

    Inputs as quoted, the printed answers from memory.
    """
    found = expected(printed(tmp_path))
    assert found["duty"].value == pytest.approx(0.6667, abs=5e-5)  # four digits in print
    assert found["ripple"].value == pytest.approx(0.89, abs=0.005)  # two digits
    assert found["peak"].value == pytest.approx(1.945, abs=0.001)  # four digits, from a ripple of two
    assert found["sag"].value == pytest.approx(60.61e-3, abs=0.005e-3)  # four digits
    assert [each.unit for each in found.values()] == ["", "A", "A", "V", "A"]


def test_the_exact_circuit_without_loss_sees_the_same_ripple(tmp_path):
    """Only the sag of the output stands between the formula and the circuit: half a percent here."""
    found = expected(printed(tmp_path))
    assert found["bench"].value == pytest.approx(found["ripple"].value, rel=0.01)
    assert found["bench"].value != found["ripple"].value
    assert reading(printed(tmp_path), "output_voltage") == pytest.approx(15, rel=1e-9)  # what the duty was set for


def test_a_line_of_the_key_shows_its_numbers(tmp_path):
    """Each worked line holds what went in and ends in the value, and is typeset as well."""
    found = expected(printed(tmp_path))
    assert found["ripple"].worked == "Δi_L = 5 V · 0.667/(150 µH · 25 kHz) = 889 mA"
    assert r"\mathrm{kHz}" in found["ripple"].latex
    assert found["bench"].worked.startswith("Δi_L = ") and "exact circuit" in found["bench"].worked


def test_a_mistake_is_carried_on(tmp_path):
    """With the learner's own duty, later answers follow from it by hand; the duty itself and the bench do not move."""
    one = printed(tmp_path)
    right, own = expected(one), expected(one, {"duty": 0.5, "ripple": 99.0})
    assert own["ripple"].value == pytest.approx(5 * 0.5 / (150e-6 * 25e3), rel=1e-12)
    assert own["peak"].value == pytest.approx(0.5 / 0.5 + 5 * 0.5 / (2 * 150e-6 * 25e3), rel=1e-12)
    assert own["duty"].value == right["duty"].value and own["bench"].value == right["bench"].value
    with pytest.raises(ValueError, match="duty = 1.2"):
        expected(one, {"duty": 1.2})


def test_what_a_named_mistake_makes(tmp_path):
    """Half the ripple, the other share of the period; nothing where no mistake is named."""
    found = expected(printed(tmp_path))
    assert found["ripple"].trapped == pytest.approx(found["ripple"].value / 2)
    assert found["duty"].trapped == pytest.approx(1 / 3)
    assert found["peak"].trapped is None


def test_losses_are_reckoned_from_the_open_share():
    """Lab 07: D' solves the balance of powers by hand, D follows from it, and the efficiency is V_out D'/V_in."""
    one = variant(read_lab("07"), "t01", 1)
    found, n = expected(one), one.letters
    off, mean = found["duty_off"].value, found["mean_current"].value
    assert mean == pytest.approx(n["i_out"] / off, rel=1e-12)
    volts = n["v_in"] - mean * (n["r_inductor"] + (1 - off) * n["r_switch"] + off * n["r_rectifier"])
    assert volts == pytest.approx(off * (n["v_out"] + n["v_rectifier"]), rel=1e-9)  # volt-seconds across the coil cancel
    assert found["efficiency"].value == pytest.approx(n["v_out"] * off / n["v_in"], rel=1e-9)  # power out over power in
    assert found["efficiency_measured"].value == pytest.approx(found["efficiency"].value, rel=0.01)  # no edges in either
    assert found["source_current"].value == pytest.approx(mean, rel=0.01)  # the ripple's rms adds a little loss


def test_light_load_by_hand():
    """Lab 05: the charge of one triangle of current is what the load takes in a period."""
    one = variant(read_lab("05"), "t01", 1)
    found, n = expected(one), one.letters
    period = 1 / n["f_sw"]
    assert found["dry_peak"].value * found["dry_share"].value / 2 == pytest.approx(n["i_out"], rel=1e-9)
    fall = (n["v_out"] - n["v_in"]) / n["inductance"] * found["dry_share"].value * period
    assert fall == pytest.approx(found["dry_peak"].value, rel=1e-9)  # it climbs and falls by as much
    assert "K = " in found["dry_duty"].worked and "M = " in found["dry_duty"].worked
    assert found["border_current"].value > n["i_out"] / 0.85


def test_the_loop_by_hand():
    """Lab 11: zero, resonance, divider and dip from their textbook forms (Erickson & Maksimovic, table 8.2, for the first two)."""
    one = variant(read_lab("11"), "t01", 1)
    found, n = expected(one), one.letters
    off, load = n["v_in"] / n["v_out"], n["v_out"] / n["i_out"]
    assert found["rhp_zero"].value == pytest.approx(off**2 * load / (2 * pi * n["inductance"]), rel=1e-9)
    assert found["resonance"].value == pytest.approx(off / (2 * pi * sqrt(n["inductance"] * n["capacitance"])), rel=1e-9)
    share = n["r_bottom"] / (n["r_bottom"] + found["divider_top"].value)
    assert share * n["v_out"] == pytest.approx(n["v_ref"], rel=1e-9)  # the divider brings the output to the reference
    assert found["step_dip"].value == pytest.approx(n["i_step"] / (2 * pi * n["f_crossover"] * n["capacitance"]), rel=1e-9)


def test_a_formula_out_of_its_range_is_seen(tmp_path):
    """At a hundredth of the load the current runs dry, and formulas of continuous conduction no longer hold."""
    path = tmp_path / "lab.toml"
    path.write_text(LAB, encoding="utf-8")
    for amps, fits in (("0.5", True), ("0.005", False)):
        (tmp_path / "rashid.toml").write_text(RASHID.replace("current = 0.5", f"current = {amps}"), encoding="utf-8")
        one = numbers_at(read_lab(path), {})
        assert holds(one.lab.tasks[0], one) is fits


def test_what_cannot_be_read_is_refused(tmp_path):
    """A zero of the loop is no quantity of the steady state."""
    with pytest.raises(ValueError, match="rhp_zero cannot be read off the circuit"):
        reading(printed(tmp_path), "rhp_zero")
