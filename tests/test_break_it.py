"""Break it: the picture shows the comparison that was computed, the marked point is exact, and each imperfection can be pushed."""

import warnings

import numpy as np
import pytest

from boostkit.circuit import Converter, validity
from boostkit.circuit.switched import steady_state
from boostkit.derivations import energy, input_ripple, light_load, real_parts, ripple, ripple_esr, switching
from boostkit.show import break_it, live

STAGE = Converter.of(v_in=6, duty=0.68, f_sw=150e3, inductance=47e-6, r_inductor=0.04, r_switch=0.02, v_rectifier=0.4,
                     r_rectifier=0.02, capacitance=100e-6, r_capacitor=0.01, r_load=30)
GAIN = switching.ideal_gain()


def drawn(figure, label):
    """The two arrays of a labelled line."""
    return next(line.get_data() for ax in figure.axes for line in ax.lines if line.get_label() == label)


def test_static_figure_draws_the_comparison():
    """Formula, exact solution and error are those of `validity.compare` over the same values."""
    values = np.linspace(0.01, 0.5, 9)
    figure = break_it.figure(GAIN, STAGE, "r_inductor", values)
    found = validity.compare(GAIN.formula, None, STAGE, "r_inductor", values)
    np.testing.assert_array_equal(drawn(figure, "formula"), (values, found.formula))
    np.testing.assert_array_equal(drawn(figure, "exact"), (values, found.exact))
    np.testing.assert_array_equal(drawn(figure, "error"), (values, found.error))
    assert "here" not in [text.get_text() for ax in figure.axes for text in ax.texts]  # 0.04 Ω is not among the values


def test_the_readings_are_the_marked_point():
    """Formula, exact value and error in words belong to the converter itself, solved on its own."""
    says = break_it.figure(GAIN, STAGE, "r_inductor").says
    exact = steady_state(STAGE).output_voltage.mean / 6
    assert says.startswith("winding resistance 40 mΩ: formula 3.13, exact 3, ")
    assert f"error {(1 / 0.32 - exact) / exact * 100:.3g} %; holds, promised within" in says


def test_a_mark_beyond_the_axes_is_not_drawn_outside_them():
    """An error far beyond the promise leaves the lower row, and its ring with it."""
    figure = break_it.figure(GAIN, STAGE.change(inductance=1e-6), "inductance")
    for ax in figure.axes:
        for ring in (line for line in ax.lines if line.get_marker() == "o"):
            low, high = ax.get_ylim()
            assert ring.get_clip_on() or all(low <= y <= high for y in ring.get_ydata())
    assert figure.axes[1].lines[-1].get_ydata()[0] < figure.axes[1].get_ylim()[0]  # so there is one to clip


def test_where_the_formula_does_not_hold_the_panel_says_so():
    """Pushed into discontinuous conduction, the ideal gain is far off and promises nothing."""
    panel = break_it.panel(GAIN, STAGE, ["inductance", "r_inductor"])
    assert "; holds, promised within" in panel.readings
    assert "does not hold here" in panel.move(inductance=2e-6)
    exact = steady_state(STAGE.change(inductance=2e-6)).output_voltage.mean / 6
    assert f"formula 3.13, exact {exact:.3g}, " in panel.readings


@pytest.mark.parametrize("derivation", [GAIN, real_parts.real_gain(), switching.output_ripple(), energy.discontinuous_power()],
                         ids=lambda d: d.name)
def test_every_imperfection_can_be_pushed(derivation):
    """Whatever the promise depends on can be picked; its slider moves the mark through the whole reach."""
    panel = break_it.panel(derivation, STAGE)
    for letter in validity.imperfections(derivation.formula, STAGE):
        before = panel.move(pushed=letter)
        low, high, _ = validity.reaches(STAGE)[letter]
        assert panel.move(**{letter: high}) != before
        assert "worst error" in panel.move(**{letter: low}) or "nowhere" in panel.readings


def test_a_pick_shows_its_slider_and_rests_the_others():
    """Only the picked imperfection has a slider beside duty and load; one that is put away is back at its start."""
    panel = break_it.panel(GAIN, STAGE)
    panel.move(pushed="r_inductor")
    panel.move(r_inductor=0.5, duty=0.6)
    seen = [w.description for w in panel.box.children if hasattr(w, "step") and w.layout.display != "none"]
    assert seen == ["winding resistance, mΩ", "duty D", "load resistance, Ω"]
    panel.move(pushed="v_rectifier")
    assert panel.values["r_inductor"] == 0.04 and panel.values["duty"] == 0.6
    start = break_it.panel(GAIN, STAGE)
    assert panel.reset() == start.readings and panel.png == start.png


def test_any_other_exact_solution():
    """A formula against a plain function: 1/(1 - D) beside itself errs by nothing, beside its double by half."""
    def compare(duty, factor):
        values = validity.through(0.1, 0.8, here=duty)
        return validity.against(GAIN.formula, lambda duty: factor / (1 - duty), {}, "duty", values)

    sliders = [live.Slider("duty", "duty", "", 0.1, 0.8, 0.5), live.Slider("factor", "factor", "", 1, 2, 1)]
    panel = break_it.of(compare, sliders, ("duty", ""), ("gain", ""))
    assert panel.readings.startswith("duty 0.5: formula 2, exact 2, error 0 %")
    assert panel.move(factor=2).startswith("duty 0.5: formula 2, exact 4, error −50 %")


def test_what_cannot_be_shown_is_refused_in_words():
    """A letter that the converter has not, a formula without a promise, a mark that was left out."""
    with pytest.raises(ValueError, match="i_out is nothing to push"):
        break_it.figure(GAIN, STAGE, "i_out")
    with pytest.raises(ValueError, match="power_by_cycle promises the same for every converter"):
        break_it.panel(energy.power_by_cycle(), STAGE)
    with pytest.raises(ValueError, match="^source_ripple takes c_input: this converter has no input capacitor$"):
        break_it.figure(input_ripple.source_ripple(), STAGE, "duty")
    with pytest.raises(ValueError, match="^source_ripple takes c_input: this converter has no input capacitor$"):
        break_it.panel(input_ripple.source_ripple(), STAGE)
    with pytest.raises(ValueError, match="^volume is nothing to push"):
        break_it.panel(GAIN, STAGE, ["volume"])
    with pytest.raises(ValueError, match="leaves out duty = 0.55"):
        break_it.of(lambda duty: validity.against(GAIN.formula, lambda duty: 2.0, {}, "duty", [0.5, 0.6]),
                    [live.Slider("duty", "duty", "", 0.1, 0.9, 0.55)], ("duty", ""), ("gain", ""))


SECOND = STAGE.change(v_rectifier=None, rectifier="switch")


def test_a_second_switch_never_runs_dry():
    """Lightly loaded, its current turns: the formula of discontinuous conduction does not hold, and the reason is told."""
    panel = break_it.panel(light_load.discontinuous_gain(), SECOND, ["r_capacitor"])
    says = panel.move(r_load=3000)
    assert "does not hold here: the current of a second switch turns here" in says and "it holds nowhere here" in says
    dead = break_it.figure(GAIN, SECOND.change(dead_time=50e-9), "r_switch")
    assert "does not hold here: the dead time of a second switch is in no formula and in no bound" in dead.says


def test_a_second_switch_has_no_forward_voltage():
    """A formula that takes the forward voltage sees none, and is right."""
    says = break_it.figure(real_parts.real_gain(), SECOND, "r_switch").says
    assert "; holds, promised within" in says


@pytest.mark.parametrize("derivation", [light_load.duty_for_gain(), ripple.dry_capacitor_rms()], ids=lambda d: d.name)
def test_a_formula_without_a_value_is_told_and_drawn(derivation):
    """A root of a negative number: no error, no warning, a word instead of a value, and the exact solution all the same."""
    panel = break_it.panel(derivation, STAGE.change(v_rectifier=2.0), ["r_capacitor"])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        before = panel.png
        says = panel.move(duty=0.05)
        figure = break_it.figure(derivation, STAGE.change(v_rectifier=2.0, duty=0.05), "duty")
    assert "the formula has no value here, exact " in says and "does not hold here" in says and panel.png != before
    assert "the formula has no value here" in figure.says
    values, formula = drawn(figure, "formula")
    assert np.isnan(formula[values == 0.05]).all() and np.isfinite(formula).any()
    assert np.isfinite(drawn(figure, "exact")[1]).all()


def test_rounding_is_no_error():
    """A formula that is exact for straight slopes errs by rounding of the exact solution, and that is told as nothing."""
    stage = STAGE.change(r_inductor=0, r_switch=0, r_rectifier=0, i_out=0.6, inductance=56e-6)
    assert "error 0 %; holds" in break_it.figure(ripple_esr.rising_ripple(), stage, "capacitance").says
