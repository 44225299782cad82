"""Ripple in its parts, the source's side and the probe: numbers behind the pictures, against obvious answers and the exact circuit."""

import numpy as np
import pytest

from boostkit.circuit import Converter, switched
from boostkit.circuit.validity import measured
from boostkit.derivations import ripple_esr
from boostkit.show import ripple_panels

STAGE = Converter.of(v_in=6.0, inductance=47e-6, f_sw=150e3, duty=0.68, capacitance=100e-6, r_capacitor=0.01, r_load=30.0,
                     v_rectifier=0.4)
FED = STAGE.change(r_source=0.1, c_input=47e-6, r_input_capacitor=0.02)


# --- one pole ---


def test_a_step_behind_one_pole_has_the_rise_time_of_the_books():
    """10 % to 90 % takes ln 9/(2 pi f): 0.3497 over the bandwidth, the 0.35 of common practice."""
    time = np.concatenate([[0.0], np.linspace(0.0, 1e-3, 200_001)])       # a jump at 0, then level until all is settled
    half = np.concatenate([[0.0], np.ones(200_001)])
    both = np.concatenate([time, time[1:] + 1e-3]), np.concatenate([half, [0.0] + [0.0] * 200_000])
    seen = ripple_panels.through_pole(*both, 20e3)[1 : 200_002]
    rise = np.interp(0.9, seen, time[1:]) - np.interp(0.1, seen, time[1:])
    assert rise * 20e3 == pytest.approx(np.log(9) / (2 * np.pi), rel=1e-4)    # 5 ns between samples
    assert rise * 20e3 == pytest.approx(0.35, abs=0.0005)                     # what the trade says, two digits


@pytest.mark.parametrize("ratio", [0.1, 1.0, 5.0])
def test_a_sine_behind_one_pole(ratio):
    """A sine of frequency f comes out at 1/sqrt(1 + (f/bandwidth)^2), later by atan(f/bandwidth)."""
    time = np.linspace(0.0, 1e-5, 4001)
    seen = ripple_panels.through_pole(time, np.sin(2 * np.pi * 1e5 * time), 1e5 / ratio)
    wanted = np.sin(2 * np.pi * 1e5 * time - np.arctan(ratio)) / np.hypot(1, ratio)
    assert np.allclose(seen, wanted, atol=2e-6)       # straight between 4000 samples


def test_a_pole_keeps_the_mean_and_returns_where_it_began():
    """What goes in steadily comes out, and a periodic input makes a periodic output."""
    wave = switched.steady_state(STAGE).waveforms()
    seen = ripple_panels.through_pole(wave.time, wave.v_out, 50e3)
    assert seen[0] == pytest.approx(seen[-1], rel=1e-12)
    # the mean of the pole's own exponential stretches, by trapezoids over a thousand samples
    assert np.trapezoid(seen, wave.time) == pytest.approx(np.trapezoid(wave.v_out, wave.time), rel=1e-7)


def test_a_fast_instrument_shows_the_output_and_a_slow_one_its_mean():
    """Bandwidth without end changes nothing; none at all leaves the mean."""
    wave = switched.steady_state(STAGE).waveforms()
    fast, slow = (ripple_panels.through_pole(wave.time, wave.v_out, f) for f in (1e13, 1.0))
    assert np.ptp(fast) == pytest.approx(np.ptp(wave.v_out), rel=1e-7)     # slope times a time constant of 16 fs
    assert np.ptp(slow) < 1e-4 * np.ptp(wave.v_out)
    with pytest.raises(ValueError, match="bandwidth"):
        ripple_panels.through_pole(wave.time, wave.v_out, 0.0)


# --- wire between the tips ---


def test_pulses_have_the_area_inductance_times_jump():
    """Between the tips a jump of current leaves volt-seconds L di, however long its edge takes."""
    state = switched.steady_state(STAGE)
    for edge in (5e-9, 100e-9):
        time, picked = ripple_panels.with_loop(state, 10e-9, edge)
        bare = ripple_panels.with_loop(state, 0.0, edge)
        assert np.all(np.diff(time) >= -1e-18) and np.array_equal(time, bare[0])
        pulses = picked - bare[1]
        up, down = np.trapezoid(np.maximum(pulses, 0), time), np.trapezoid(np.minimum(pulses, 0), time)
        assert up == pytest.approx(10e-9 * state.inductor_current.max, rel=1e-3)      # the load takes part in the jump:
        assert down == pytest.approx(-10e-9 * state.inductor_current.min, rel=1e-3)   # R_C/R of it, a third per mille
        assert pulses.max() == pytest.approx(10e-9 * state.inductor_current.max / edge, rel=1e-3)


def test_no_wire_is_no_pulse():
    """Without inductance between the tips the output itself is picked up."""
    state = switched.steady_state(STAGE)
    wave = state.waveforms(ripple_panels.SAMPLES)
    time, picked = ripple_panels.with_loop(state, 0.0, 20e-9)
    assert np.ptp(picked) == pytest.approx(np.ptp(wave.v_out), rel=1e-12)
    assert np.trapezoid(picked, time) == pytest.approx(np.trapezoid(wave.v_out, wave.time), rel=1e-12)


def test_an_edge_must_fit_between_two_jumps():
    """An edge longer than the open time is refused in one line."""
    with pytest.raises(ValueError, match="edge"):
        ripple_panels.with_loop(switched.steady_state(STAGE), 1e-9, 3e-6)
    with pytest.raises(ValueError, match="edge"):
        ripple_panels.with_loop(switched.steady_state(STAGE), 1e-9, 0.0)


# --- pictures ---


def lines(figure, row):
    return {line.get_label(): line.get_ydata() for line in figure.axes[row].lines}


def test_the_two_parts_drawn_add_up_to_the_output():
    """Charge part and ESR part, as drawn, are the output as drawn; the ESR part is R_C times the current above it."""
    figure = ripple_panels.parts(switched.steady_state(STAGE))
    drawn = lines(figure, 1)
    current = next(y for y in lines(figure, 0).values() if len(y) > 100)
    assert np.allclose(drawn["charge part"] + drawn["ESR part"], drawn["output"], atol=1e-9)
    assert np.allclose(drawn["ESR part"], 0.01 * current, atol=1e-9)
    assert np.ptp(drawn["charge part"]) > 0.02


@pytest.mark.parametrize(("r_capacitor", "case"), [(0.01, "rising_ripple"), (0.05, "turning_ripple"), (0.2, "falling_ripple")])
def test_the_case_that_holds_gives_the_exact_ripple(r_capacitor, case):
    """Each of the three is picked where it should be, and is right within what its formula promises."""
    state = switched.steady_state(STAGE.change(r_capacitor=r_capacitor))
    name, value = ripple_panels.case_of(state)
    promise = getattr(ripple_esr, name)().formula.error_bound(**measured(state))
    assert name == case
    assert abs(value / state.ripple_voltage - 1) <= promise < 0.05


def test_where_no_case_holds_it_says_so():
    """An output that sags to the source is no ground for any of the three."""
    sagging = Converter.of(v_in=10.0, inductance=10e-6, f_sw=20e3, duty=0.05, capacitance=1e-6, r_load=20.0)
    with pytest.raises(ValueError, match="no ripple formula"):
        ripple_panels.case_of(switched.steady_state(sagging))


def test_the_source_side_shows_both_currents():
    """The source's curve swings less than the coil's, and both swing about the same mean; readings as in the steady state."""
    state = switched.steady_state(FED)
    figure = ripple_panels.source_side(state)
    drawn = lines(figure, 0)
    assert np.ptp(drawn["source"]) == pytest.approx(state.source_current.ripple, rel=1e-3)      # samples
    assert np.ptp(drawn["coil"]) == pytest.approx(state.ripple_current, rel=1e-6)
    assert state.source_current.mean == pytest.approx(state.inductor_current.mean, rel=1e-9)
    assert "source ripple" in figure.says


@pytest.mark.parametrize(("panel", "letter", "value", "words"), [
    (lambda: ripple_panels.output(STAGE), "r_capacitor", 0.02, "ESR part"),
    (lambda: ripple_panels.at_the_source(FED), "c_input", 10e-6, "source ripple"),
    (lambda: ripple_panels.probing(STAGE), "loop", 10e-9, "it reads"),
    (lambda: ripple_panels.probing(STAGE), "bandwidth", 1e5, "it reads"),
])
def test_a_slider_moves_picture_and_readings(panel, letter, value, words):
    """Every panel answers: another picture and other words, and back again with the reset."""
    made = panel()
    before = made.readings, made.png
    after = made.move(**{letter: value})
    assert words in after and after != before[0] and made.png != before[1]
    assert made.reset() == before[0]


def test_a_slow_probe_panel_reads_low_and_wire_reads_high():
    """The number in the readings goes the right way, by the computation behind it."""
    state = switched.steady_state(STAGE)
    time, bare = ripple_panels.with_loop(state, 0.0, 20e-9)
    _, wired = ripple_panels.with_loop(state, 10e-9, 20e-9)
    reads = [np.ptp(ripple_panels.through_pole(time, volts, f)) for volts, f in ((bare, 1e5), (bare, 20e6), (wired, 20e6))]
    assert reads[0] < 0.6 * state.ripple_voltage < 0.95 * state.ripple_voltage < reads[1] < state.ripple_voltage < reads[2]


def test_no_input_capacitor_no_panel():
    """The panel of the source's side says what is missing."""
    with pytest.raises(ValueError, match="c_input"):
        ripple_panels.at_the_source(STAGE)
