"""Formulas against the exact circuit along one letter: what `circuit.validity` reports."""

import dataclasses

import numpy as np
import pytest

from boostkit.circuit import Converter, switched, validity
from boostkit.derivations import switching

STAGE = Converter.of(v_in=6.0, inductance=47e-6, r_inductor=0.04, f_sw=150e3, duty=0.6, r_switch=0.02, v_rectifier=0.4,
                     r_rectifier=0.02, capacitance=100e-6, r_capacitor=0.01, r_load=30.0)  # fmt: skip


def gain(state) -> float:
    return state.output_voltage.mean / state.converter.source.voltage


def test_the_ideal_gain_errs_high_and_keeps_its_promise():
    """Losses lower the real gain; the promised bound covers the error, and is no more than twice as wide."""
    found = validity.compare(switching.ideal_gain().formula, gain, STAGE, "duty", np.linspace(0.3, 0.85, 12))
    assert found.kept and found.holds.all()
    assert (found.error > 0).all()
    assert (found.bound < 2 * found.error).all()


def test_it_says_where_the_formula_ends():
    """At light load conduction is discontinuous, the formula no longer claims to hold, and is far off."""
    found = validity.compare(switching.ideal_gain().formula, gain, STAGE, "r_load", [30.0, 3000.0])
    assert found.holds.tolist() == [True, False]
    assert abs(found.error[1]) > 0.4


def test_a_converter_without_steady_state_is_refused_and_nan():
    """A constant-current load beyond what the losses let through has no entry."""
    stage = STAGE.change(i_out=0.6, r_inductor=0.5)
    found = validity.compare(switching.ideal_gain().formula, gain, stage, "duty", [0.5, 0.99])
    assert found.refused == (1,) and np.isnan(found.exact[1]) and np.isfinite(found.exact[0])


def test_a_broken_promise_shows():
    """A bound that is too tight is reported as broken, so `kept` is a check."""
    found = validity.compare(switching.ideal_gain().formula, gain, STAGE, "duty", [0.5, 0.7])
    assert not dataclasses.replace(found, bound=found.bound / 10).kept


def test_an_unknown_letter_is_named():
    """A wrong letter is one clear line."""
    with pytest.raises(ValueError, match="volume is not a letter"):
        validity.compare(switching.ideal_gain().formula, gain, STAGE, "volume", [1.0])


def test_a_current_that_wakes_from_zero_is_no_chatter():
    """Where the rectifier wakes shortly before the period ends, its first current is smaller than the rounding of the
    voltages that balance; it must still be seen to conduct, once."""
    stage = Converter.of(
        v_in=4.4816890703380645, inductance=6.035641517194333e-06, r_inductor=0.0051127832995227235, f_sw=59874.14171519782,
        duty=0.12890625, r_switch=0.03777864262184915, v_rectifier=0.3501319586201613, r_rectifier=0.0051127832995227235,
        capacitance=2.6378539133358394e-06, r_capacitor=0.0051127832995227235, r_load=7.38905609893065)  # fmt: skip
    state = switched.steady_state(stage)
    assert [piece.mode.kind.rectifier for piece in state.pieces] == ["off", "diode", "off", "diode"]
    assert state.input_power == pytest.approx(state.output_power + sum(state.losses.values()), rel=1e-10)  # rounding only
