"""Break it: the picture shows the comparison that was computed, the marked point is exact, and each imperfection can be pushed."""

import numpy as np
import pytest

from boostkit.circuit import Converter, validity
from boostkit.circuit.switched import steady_state
from boostkit.derivations import energy, input_ripple, real_parts, switching
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
    with pytest.raises(ValueError, match="source_ripple takes c_input, of which nothing is known here"):
        break_it.figure(input_ripple.source_ripple(), STAGE, "duty")
    with pytest.raises(ValueError, match="leaves out duty = 0.55"):
        break_it.of(lambda duty: validity.against(GAIN.formula, lambda duty: 2.0, {}, "duty", [0.5, 0.6]),
                    [live.Slider("duty", "duty", "", 0.1, 0.9, 0.55)], ("duty", ""), ("gain", ""))
