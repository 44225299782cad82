"""Formulas against the exact circuit along one letter: what `circuit.validity` reports."""

import dataclasses
import importlib
import pkgutil

import numpy as np
import pytest

from boostkit import derivations
from boostkit.circuit import Converter, switched, validity
from boostkit.derivations import switching

STAGE = Converter.of(v_in=6.0, inductance=47e-6, r_inductor=0.04, f_sw=150e3, duty=0.6, r_switch=0.02, v_rectifier=0.4,
                     r_rectifier=0.02, capacitance=100e-6, r_capacitor=0.01, r_load=30.0)  # fmt: skip

FED = STAGE.change(r_source=0.05, c_input=22e-6, r_input_capacitor=0.01)
ROOMS = [importlib.import_module(f"boostkit.derivations.{found.name}") for found in pkgutil.iter_modules(derivations.__path__)]
FORMULAS = {name: made().formula for room in ROOMS for name, made in vars(room).items() if hasattr(made, "cache_info")}


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


@pytest.mark.parametrize("name", validity.EXACT)
def test_all_at_once_is_one_by_one(name):
    """Solved together, formula, exact value, bound and validity are what they are one converter at a time, in both modes."""
    formula, values, stage = FORMULAS[name], [3.0, 30.0, 3000.0], FED if name == "source_ripple" else STAGE
    quick = validity.compare(formula, None, stage, "r_load", values)
    slow = validity.compare(formula, validity.EXACT[name], stage, "r_load", values)
    # The two paths of the solver agree to rounding of a period that closes to 1e-10.
    np.testing.assert_allclose(quick.exact, slow.exact, rtol=1e-8)
    for k, value in enumerate(values):
        letters = validity.measured(switched.steady_state(stage.change(r_load=value)))
        assert quick.formula[k] == pytest.approx(validity.value_of(formula, letters), rel=1e-8)
        assert quick.holds[k] == formula.holds(**letters)
        assert quick.bound[k] == pytest.approx(formula.error_bound(**letters), rel=1e-6)


def test_against_any_other_solution():
    """A formula beside a plain function of its letters; where that refuses, there is no exact value."""
    def exact(duty):
        if duty > 0.8:
            raise ValueError("too far")
        return 2.0

    found = validity.against(switching.ideal_gain().formula, exact, {}, "duty", [0.5, 0.75, 0.9])
    assert found.error[:2].tolist() == [0.0, 1.0] and np.isnan(found.exact[2]) and found.refused == (2,)


def test_a_formula_that_no_steady_state_can_judge_is_named():
    """The border of conduction is no figure of one converter."""
    with pytest.raises(ValueError, match="conduction_border claims nothing"):
        validity.compare(switching.conduction_border().formula, None, STAGE, "duty", [0.5])


@pytest.mark.parametrize("stage", [STAGE, STAGE.change(i_out=0.6), STAGE.change(peak_current=2.0),
                                   Converter.of(v_in=6, inductance=1e-3, f_sw=5e5, duty=0.9, capacitance=1e-5, r_load=3000), FED])
def test_a_reach_holds_the_converter_and_parts_the_formula(stage):
    """The converter's own value lies within the reach of each letter, both ends can be built, and the border between the
    modes lies within the reach of the coil."""
    reaches = validity.reaches(stage)
    for letter, (low, high, decades) in reaches.items():
        assert low <= stage.letters()[letter] <= high and (low > 0 or not decades)
        stage.change(**{letter: low}), stage.change(**{letter: high})
    modes = [switched.steady_state(stage.change(inductance=end)).mode for end in reaches["inductance"][:2]]
    assert modes == ["discontinuous", "continuous"]


def test_the_promise_names_what_can_be_pushed():
    """The ripple of the coil depends on what lies in its charging path, and not on the rectifier's forward voltage."""
    named = validity.imperfections(switching.inductor_ripple().formula, STAGE)
    assert {"r_inductor", "r_switch", "inductance"} <= set(named) and "v_rectifier" not in named


def test_values_go_through_a_point():
    """The point to be marked is among the values, in order, whether evenly spread or over decades."""
    for decades in (False, True):
        values = validity.through(1.0, 100.0, decades, here=7.7, count=5)
        assert 7.7 in values and len(values) == 6 and (np.diff(values) > 0).all()


def test_a_broken_promise_shows():
    """A bound that is too tight is reported as broken, so `kept` is a check."""
    found = validity.compare(switching.ideal_gain().formula, gain, STAGE, "duty", [0.5, 0.7])
    assert not dataclasses.replace(found, bound=found.bound / 10).kept


def test_an_unknown_letter_is_named():
    """A wrong letter is one clear line."""
    with pytest.raises(ValueError, match="volume is not a number of a converter"):
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


SECOND = STAGE.change(v_rectifier=None, rectifier="switch", r_load=40.0)


def test_formulas_end_where_the_current_of_a_second_switch_turns():
    """Below the border nothing holds, with the reason in words, and above it the formulas of continuous conduction do;
    with a dead time nothing holds anywhere."""
    found = validity.compare(FORMULAS["output_by_times"], None, SECOND, "inductance", [1e-6, 47e-6])
    assert found.holds.tolist() == [False, True] and found.why == (validity.TURNS, "")
    low = switched.steady_state(SECOND.change(inductance=1e-6)).inductor_current.min
    assert low < 0 < switched.steady_state(SECOND).inductor_current.min
    found = validity.compare(FORMULAS["ideal_gain"], None, SECOND, "dead_time", [0.0, 50e-9])
    assert found.holds.tolist() == [True, False] and found.why == ("", validity.DEAD_TIME)
    assert found.kept and abs(found.error[1]) > found.bound[1]
    assert validity.compare(FORMULAS["discontinuous_gain"], None, STAGE, "r_load", [3000.0]).why == ("",)


def test_a_formula_without_a_real_value_does_not_hold():
    """Where a gain below one has no duty, the formula is nan, quietly, and does not hold."""
    with np.errstate(all="raise"):
        found = validity.compare(FORMULAS["duty_for_gain"], None, STAGE.change(v_rectifier=2.0), "duty", [0.05, 0.6])
    assert np.isnan(found.formula[0]) and np.isfinite(found.formula[1]) and not found.holds[0]
    assert np.isfinite(found.exact).all()
    letters = {"k_load": 0.01, "duty": 0.3, "v_in": 6.0, "v_out": 20.0, "r_load": 300.0, "capacitance": 1e-3, "f_sw": 1e5,
               "inductance": 1.5e-5}
    found = validity.against(FORMULAS["duty_for_gain"], lambda gain, **_: 0.3, letters, "gain", [0.9, 2.0])
    assert FORMULAS["duty_for_gain"].holds(gain=0.9, **letters)        # no condition of its own says so
    assert found.holds.tolist() == [False, True] and np.isnan(found.formula[0])
