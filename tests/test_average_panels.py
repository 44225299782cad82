"""The duty moves a little: means of periods, waves, responses and panels, against obvious answers, formulas and the exact response."""

import numpy as np
import pytest

from boostkit.circuit import Converter, averaged, perturbed, switched
from boostkit.circuit.linear import Linear
from boostkit.derivations import rhp_zero, small_signal
from boostkit.show import average_panels

STAGE = Converter.of(v_in=6.0, inductance=56e-6, r_inductor=0.047, f_sw=150e3, duty=0.68, r_switch=0.02, v_rectifier=0.4, r_rectifier=0.02,
                     capacitance=100e-6, r_capacitor=0.01, r_load=30.0)
IDEAL = Converter.of(v_in=6.0, inductance=56e-6, f_sw=150e3, duty=0.68, capacitance=100e-6, r_load=30.0)
DRY = STAGE.change(r_load=900.0, duty=0.34)
SWITCHED = Converter.from_dict({**STAGE.to_dict(), "rectifier": {"kind": "switch", "resistance": 0.02, "dead_time": 1e-7}})


# --- once ---


def test_no_change_of_duty_changes_nothing():
    """A rise of nothing leaves every mean where it was, to the rounding of the periodic solution."""
    means = average_panels.more_duty(STAGE, 0.0, 5)
    assert np.allclose(means.v_out, 0, atol=1e-8) and np.allclose(means.i_rectifier, 0, atol=1e-8)
    assert np.allclose(means.duty, 0.68, rtol=1e-12)
    assert np.allclose(means.time * 150e3, [0.5, 1.5, 2.5, 3.5, 4.5])


def test_the_first_period_loses_the_charge_of_the_formula():
    """Without loss the rectifier brings I_L dD less on average in the first period, up to the small climb within it."""
    rise = 1e-4
    means = average_panels.more_duty(IDEAL, rise, 6)
    current = switched.steady_state(IDEAL).inductor_current.mean
    made_good = rhp_zero.time_to_make_good().formula(inductance=56e-6, i_inductor_mean=current, duty=0.68, v_out=18.75)
    per_period = 1 / 150e3 / made_good                          # of the loss, made good by the climb in each period
    assert means.i_rectifier[0] == pytest.approx(-current * rise, rel=per_period)
    assert np.diff(means.i_rectifier)[:3] == pytest.approx(current * rise * per_period, rel=0.03)   # the output has hardly moved
    assert means.v_out[0] < 0


def test_the_loss_is_made_good_when_the_formula_says():
    """The rectifier's current is back after L I_L/(D' V_out), and the output lowest by the first dip of the formula."""
    means = average_panels.more_duty(IDEAL, 1e-4, 12)
    current = switched.steady_state(IDEAL).inductor_current.mean
    time = rhp_zero.time_to_make_good().formula(inductance=56e-6, i_inductor_mean=current, duty=0.68, v_out=18.75)
    assert np.interp(0, means.i_rectifier, means.time) == pytest.approx(time, abs=0.25 / 150e3)    # means of periods
    dip = rhp_zero.first_dip().formula(i_inductor_mean=current, duty_swing=1e-4, t_made_good=time, capacitance=100e-6)
    assert -means.v_out.min() == pytest.approx(dip, rel=0.05)       # the same: a parabola seen by means of three periods


def test_many_periods_are_thinned_and_end_at_the_new_steady_state():
    """A long course keeps about 120 periods, and ends where the steady state of the new duty lies."""
    means = average_panels.more_duty(STAGE, 0.002, 4000)
    lasting = switched.steady_state(STAGE.change(duty=0.682)).output_voltage.mean - switched.steady_state(STAGE).output_voltage.mean
    assert 100 <= len(means.time) <= 140 and means.time[-1] > 0.98 * 4000 / 150e3
    assert means.v_out[-1] == pytest.approx(lasting, rel=1e-3)      # what of the swing is left after 18 cycles


def test_a_dry_converter_goes_the_right_way():
    """In discontinuous conduction every period brings more, from the first on."""
    means = average_panels.more_duty(DRY, 0.003, 12)
    assert (means.i_rectifier > 0).all() and (means.v_out > 0).all()


# --- waves ---


@pytest.mark.parametrize(("stage", "per_cycle"), [(STAGE, 20), (STAGE, 219), (SWITCHED, 20)])
def test_a_wiggled_duty_gives_the_exact_response(stage, per_cycle):
    """The wave that comes out has size and lag of `perturbed.response`, found another way."""
    size, f = 1e-3, 150e3 / per_cycle
    means = average_panels.wiggled(stage, per_cycle, size)
    turning = np.exp(-2j * np.pi * f * means.time)
    shape = np.column_stack([turning.real, -turning.imag])              # least squares, since 219 periods are thinned unevenly
    along, across = np.linalg.lstsq(shape, means.v_out, rcond=None)[0]
    answer = (across + 1j * along) / size
    assert abs(answer / perturbed.response(stage, [f])[0] - 1) < 0.01   # a mean of 1/20 of a cycle is 0.4 % lower, sidebands the rest
    assert np.ptp(means.duty) == pytest.approx(2 * size, rel=0.03)      # 20 samples of a wave need not hit its top


@pytest.mark.parametrize(("arguments", "words"), [
    ({"per_cycle": 2, "size": 1e-3}, "per_cycle"),
    ({"per_cycle": 20, "size": 0.4}, "size"),
])
def test_a_wiggle_that_cannot_be_is_refused(arguments, words):
    """Two periods a cycle, and a duty above one."""
    with pytest.raises(ValueError, match=words):
        average_panels.wiggled(STAGE, **arguments)


def test_only_a_set_duty_is_wiggled():
    """A converter whose peak current is set has no duty of its own to move."""
    with pytest.raises(ValueError, match="only a set duty"):
        average_panels.wiggled(STAGE.change(duty=None, peak_current=2.2), 20, 1e-3)


# --- over frequency ---


def test_lateness_goes_on_beyond_half_a_cycle():
    """One pole ends at 90 degrees; a resonance and a right-half-plane zero at 270, without a jump."""
    f = np.geomspace(0.1, 1e8, 2000)
    assert average_panels.late(Linear.corner_form(1.0, poles_hz=[100.0])(f))[[0, -1]] == pytest.approx([0, 90], abs=0.1)
    ours = average_panels.late(Linear.corner_form(1.0, zeros_hz=[-9e3], q_pairs=[(700.0, 12.0)])(f))
    assert ours[-1] == pytest.approx(270, abs=0.1) and (np.diff(ours) > 0).all()


def test_lateness_counted_by_roots_is_lateness_followed():
    """Both ways agree along a dense sweep, and the count needs no sweep: nearly without damping the followed angle jumps."""
    f = np.geomspace(1, 7e4, 4000)
    path = averaged.model(STAGE).control_to_output
    assert np.allclose(average_panels.counted(path, f), average_panels.late(path(f)), atol=1e-6)
    sharp = averaged.model(IDEAL.change(r_load=200.0)).control_to_output
    assert average_panels.counted(sharp, 2e3) == pytest.approx(average_panels.late(sharp(np.geomspace(1, 2e3, 20_000)))[-1], abs=1e-6)
    turned = Linear.corner_form(-1.0, poles_hz=[100.0])             # more duty, less output: half a cycle from the start
    assert average_panels.counted(turned, [0.01, 1e6]) == pytest.approx([180, 270], abs=0.1)


def test_a_sharp_resonance_loses_no_turn_under_the_slider():
    """Nearly without damping and beyond half a cycle, the readings still count the whole lag."""
    stage = IDEAL.change(r_load=200.0, capacitance=10e-6)
    wanted = average_panels.late(perturbed.response(stage, np.geomspace(1, 2.6e4, 20_000)))[-1]
    assert wanted > 180
    assert f"{wanted:.0f} ° late" in average_panels.wiggle(stage).move(f=2.6e4)


def test_what_is_drawn_is_what_was_given():
    """Size and lag of the curve, and the points on the right turn: exact points lie on their own curve."""
    f = np.geomspace(10, 70e3, 300)
    exact = perturbed.response(STAGE, f)
    figure = average_panels.size_and_lag(f, {"curve": exact}, (f[::50], exact[::50]))
    for ax, wanted in zip(figure.axes, (np.abs(exact), average_panels.late(exact)), strict=True):
        drawn = {len(line.get_ydata()): line.get_ydata() for line in ax.lines}
        assert np.allclose(drawn[300], wanted) and np.allclose(drawn[6], wanted[::50])
    assert average_panels.late(exact)[-1] > 180


def test_a_departure_is_drawn_as_size_and_angle():
    """A model that is 2 % high and 3 degrees early is drawn so."""
    f = np.geomspace(10, 1e4, 30)
    figure = average_panels.departure(f, {"model": np.full(30, 1.02 * np.exp(1j * np.radians(3)))})
    size, angle = (max(ax.lines, key=lambda line: len(line.get_ydata())).get_ydata() for ax in figure.axes)
    assert np.allclose(size, 0.02) and np.allclose(angle, 3)


def test_the_landmarks_are_told():
    """Resonance, quality and zero of a continuous converter, the slow pole of a dry one, as in the model."""
    words = average_panels.landmarks(averaged.model(IDEAL))
    f_zero = small_signal.rhp_zero().formula(duty=0.68, r_load=30.0, inductance=56e-6)
    assert f"zero {f_zero / 1e3:.2f} kHz" in words and "quality 12.8" in words
    assert "no resonance" in average_panels.landmarks(averaged.model(DRY))


# --- panels ---


@pytest.mark.parametrize(("make", "letter", "value", "words"), [
    (average_panels.wiggle, "f", 5e3, "late"),
    (average_panels.wiggle, "size", 0.02, "up and down by 0.02 "),
    (average_panels.response, "r_load", 60.0, "resonance"),
    (average_panels.response, "capacitance", 47e-6, "resonance"),
])
def test_a_slider_moves_picture_and_readings(make, letter, value, words):
    """Every panel answers: another picture and other words, and back again to the same bytes with the reset."""
    panel = make(STAGE)
    before = panel.readings, panel.png
    after = panel.move(**{letter: value})
    assert words in after and after != before[0] and panel.png != before[1]
    assert panel.reset() == before[0] and panel.png == before[1]


def test_the_wave_under_the_slider_is_the_exact_response():
    """Height and lag in the readings are those of the exact circuit at that frequency, also beyond half a cycle."""
    f = 5e3
    answer = perturbed.response(STAGE, np.append(np.geomspace(10, f, 400), f))
    panel = average_panels.wiggle(STAGE)
    readings = panel.move(f=f, size=0.01)
    output = max(panel.figure.axes[1].lines, key=lambda line: len(line.get_ydata())).get_ydata()
    assert np.ptp(output) / 2 == pytest.approx(0.01 * abs(answer[-1]), rel=2e-3)     # 60 points a cycle
    assert f"{average_panels.late(answer)[-1]:.0f} ° late" in readings and average_panels.late(answer)[-1] > 180


def test_the_response_panel_reaches_dry_conduction():
    """At the lightest load of its slider the resonance is gone."""
    panel = average_panels.response(STAGE)
    lightest = panel._sliders["r_load"][0].high
    assert "no resonance" in panel.move(r_load=lightest)


def test_a_refusal_is_a_line_and_the_picture_stays():
    """A constant-current load beyond what the losses let through: no steady state, told in a line."""
    panel = average_panels.response(STAGE.change(r_load=None, i_out=0.2, r_inductor=2.0))
    before = panel.png
    line = panel.move(i_out=panel._sliders["i_out"][0].high)
    assert "collapse" in line
    assert panel.png == before
