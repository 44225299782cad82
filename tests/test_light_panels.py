"""Light load under sliders: the border, the gains and the climb say what the exact circuit does."""


import numpy as np
import pytest
from moving import moves_and_comes_back

from boostkit.circuit import Converter, switched
from boostkit.show import light_panels

FULL = Converter.of(v_in=6, duty=0.68, f_sw=150e3, inductance=56e-6, r_inductor=0.047, r_switch=0.02, v_rectifier=0.4,
                    r_rectifier=0.02, capacitance=100e-6, r_capacitor=0.01, r_load=30)
ASLEEP = FULL.change(r_load=900.0, duty=0.341)
LOSSLESS = ASLEEP.change(r_inductor=0, r_switch=0, v_rectifier=0, r_rectifier=0, r_capacitor=0)
MAKERS = {
    "border": (lambda: light_panels.border(ASLEEP, 18.0), {"i_out": 0.3}),
    "gains": (lambda: light_panels.gains(ASLEEP), {"r_load": 60.0}),
    "climb": (lambda: light_panels.climb(ASLEEP, 18.0, 60.0), {"duty": 0.5}),
}


@pytest.mark.parametrize("name", MAKERS)
def test_a_slider_moves_picture_and_reading_and_reset_brings_them_back(name):
    """A move changes both; the quick picture is the full one; the reset gives the very same bytes."""
    make, change = MAKERS[name]
    moves_and_comes_back(make(), change)


@pytest.mark.parametrize("share", [0.97, 1.03])
@pytest.mark.parametrize("v_in", [5.5, 6.0, 7.2])
def test_the_duty_needed_gives_the_output_on_either_side_of_the_border(v_in, share):
    """Without loss the exact circuit at that duty gives the asked output, dry below the drawn border and not above it."""
    now = LOSSLESS.change(v_in=v_in)
    at_border = np.interp(1 - v_in / 18, light_panels.DUTIES, light_panels.border_of(now, 18.0))
    i_out = share * at_border
    state = switched.steady_state(now.change(r_load=18 / i_out, duty=float(light_panels.duty_needed(now, 18.0, i_out))))
    assert state.output_voltage.mean == pytest.approx(18, rel=1e-3)  # the output ripple
    assert state.mode == ("discontinuous" if share < 1 else "continuous")


def test_the_border_panel_reads_off_the_exact_circuit():
    """Its line names mode and idle time as the exact circuit has them, on either side."""
    panel = light_panels.border(ASLEEP, 18.0)
    dry = panel.move(i_out=0.05)
    state = switched.steady_state(FULL.change(r_load=360, duty=float(light_panels.duty_needed(FULL, 18.0, 0.05))))
    assert "discontinuous conduction" in dry and f"idles for {100 * (1 - state.conduction_end):.3g} %" in dry
    assert "continuous conduction, the lowest coil current" in panel.move(i_out=0.3)


@pytest.mark.parametrize("r_load", [30.0, 300.0, 3000.0])
def test_the_gain_of_both_modes_is_the_exact_one_without_loss(r_load):
    """Over all duties, in whichever mode the duty leads to (where the output ripples, a little beside it)."""
    duty = np.linspace(0.05, 0.85, 33)
    exact = switched.steady_states(LOSSLESS, r_load=r_load, duty=duty)
    k_load = 2 * 56e-6 * 150e3 / r_load
    np.testing.assert_allclose(light_panels.gain_of(duty, k_load), exact.output_voltage.mean / 6, rtol=5e-3)  # ripple
    assert exact.discontinuous.any() == (k_load < 4 / 27)  # a heavier load never runs dry


def test_the_climb_holds_the_exact_circuit_between_its_two_lines():
    """Followed period by period with all losses, the unloaded output lies under the formula and over its promised floor."""
    time, volts, floor = light_panels.climb_curves(ASLEEP, 18.0, 30.0)
    assert volts[0] == floor[0] == pytest.approx(18) and volts[-1] > 30 and (np.diff(volts) > 0).all()
    for at in (0.3, 0.9):
        periods = round(at * time[-1] * 150e3)
        exact = switched.after_step(ASLEEP, ASLEEP.change(r_load=1e9), periods, keep=False).state[1]
        high, low = (np.interp(periods / 150e3, time, course) for course in (volts, floor))
        assert low < exact < high


def test_a_climb_that_cannot_begin_is_refused_in_words():
    """A duty with which the current is not yet dry, and a limit below the start, are named with their rule."""
    panel = light_panels.climb(ASLEEP, 18.0, 60.0)
    picture = panel.png
    assert "duty = 0.7 is too high to begin dry" in panel.move(duty=0.7) and panel.png == picture
    with pytest.raises(ValueError, match="limit = 12 V must lie above v_before = 18 V"):
        light_panels.climb(ASLEEP, 18.0, 12.0)


def test_the_border_moves_and_its_axis_stays():
    """Twice the inductance halves the drawn border; the axis is not rescaled, so that the reader sees the line sink."""
    panel = light_panels.border(ASLEEP, 18.0)
    (ax,) = panel.figure.axes
    before, limits = border_line(ax), ax.get_ylim()
    panel.move(inductance=112e-6)
    np.testing.assert_allclose(border_line(ax), before / 2)
    assert ax.get_ylim() == limits


def border_line(ax):
    return next(line.get_ydata() for line in ax.lines if line.get_label() == "border")
