"""The exact small-signal answer: against brute force, against slopes of the steady state, and against closed forms."""

import math

import numpy as np
import pytest
from stages import INPUT, LOSSLESS, SECOND, stage

from boostkit.circuit import perturbed, switched

LIGHT = {"duty": 0.5, "r_load": 600.0}      # runs dry
STAGES = {
    "continuous": {}, "input capacitor": INPUT, "source inductance": {**INPUT, "l_source": 0.5e-6}, "second switch": SECOND,
    "dead time": {**SECOND, "dead_time": 2e-7}, "constant current": {"r_load": None, "i_out": 0.6}, "dry": LIGHT,
    "dry, input capacitor": {**LIGHT, **INPUT}, "dry second switch": {**SECOND, "dead_time": 3e-7, "r_load": 400.0},
    "peak current": {"duty": None, "peak_current": 2.2}, "saturating": {"saturation": ((1.6, 0.7), (1.9, 0.5))},
    "rectifier beside the switch": {"capacitance": 2e-7, "r_load": 10.0, "inductance": 2e-6, "duty": 0.15, "r_switch": 0.3},
    "rectifier awake again": {"capacitance": 2e-7, "r_load": 10.0, "inductance": 2e-6, "duty": 0.1},
    "dry, saturating": {**LIGHT, "saturation": ((0.2, 0.7),)},
}  # fmt: skip


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("of", ["v_out", "i_inductor"])
def test_brute_force_agrees(name, of):
    """A duty that really swings, run period by period until it repeats, gives the same Fourier component."""
    c = stage(**STAGES[name])
    for periods in (4, 10, 25):
        exact = perturbed.response(c, c.switch.frequency / periods, of)
        found = perturbed.injected(c, periods, 1e-5, of)
        # a swing of 1e-5 leaves rounding / 1e-5 and its own square; one that passes corners of a saturation curve, its first power
        assert abs(found / exact - 1) < (1e-4 if "saturating" in name else 1e-6), periods


def test_brute_force_bends_by_the_square():
    """Four times the swing, sixteen times the difference: what is left is the swing's own doing."""
    c = stage()
    exact = perturbed.response(c, c.switch.frequency / 10)
    small, large = (abs(perturbed.injected(c, 10, size) / exact - 1) for size in (5e-3, 2e-2))
    assert large / small == pytest.approx(16, rel=0.05)          # the fourth power is still seen


@pytest.mark.parametrize("name", STAGES)
def test_at_rest_it_is_the_slope_of_the_steady_state(name):
    """At frequency zero: the derivative of the mean output with duty, source voltage, peak current and load."""
    c = stage(**STAGES[name])
    cause = "peak_current" if "peak" in name else "duty"
    causes = {cause: c.letters()[cause], "v_in": c.source.voltage}
    if c.load.current:
        causes["i_out"] = c.load.current
    for to, value in causes.items():
        h = 1e-5 * value
        low, high = (switched.steady_state(c.change(**{to: v})) for v in (value - h, value + h))
        for of, summary in (("v_out", "output_voltage"), ("i_inductor", "inductor_current")):
            slope = (getattr(high, summary).mean - getattr(low, summary).mean) / (2 * h)
            # a central difference: third derivative times h squared, and rounding over h
            assert perturbed.response(c, 0.0, of, to) == pytest.approx(slope, rel=2e-5, abs=1e-7), (to, of)


def test_drawn_current_beside_a_resistor():
    """At rest a drawn ampere is worth a smaller resistance: v_out/r_load more of load current by another route."""
    for letters in (STAGES["continuous"], STAGES["dry"], STAGES["input capacitor"], STAGES["dead time"]):
        c = stage(**letters)
        r, h = c.load.resistance, 1e-5
        low, high = (switched.steady_state(c.change(r_load=r * (1 + d))).output_voltage.mean for d in (-h, h))
        v = switched.steady_state(c).output_voltage.mean
        sag = perturbed.response(c, 0.0, "v_out", "i_out").real
        # i = v/r - dr v/r^2: the slope with r is that of a drawn current of -v/r^2 ohm; with ripple, nearly so
        assert (high - low) / (2 * h * r) == pytest.approx(-sag * v / r**2, rel=1e-3)


def test_a_light_load_answers_late_by_half_its_conduction():
    """Without losses and with an endless capacitor, running dry, the charge comes (D + D2)/2 periods after the opening:
    -i_pk + (V/L)(1 - exp(-s D2 T))/s a moved opening, written down by hand."""
    c = stage(**{**LOSSLESS, "duty": 0.3, "inductance": 5e-6, "r_load": 600.0, "capacitance": 1.0})
    s = switched.steady_state(c)
    t, v_out, d2 = s.period, s.output_voltage.mean, s.conduction_end - s.duty
    f = c.switch.frequency * np.array([0.01, 0.1, 0.3, 0.45])
    p = 2j * np.pi * f
    charge = -s.inductor_current.max + v_out / 5e-6 * (1 - np.exp(-p * d2 * t)) / p
    assert np.max(np.abs(perturbed.response(c, f) / (charge / p) - 1)) < 1e-5        # the output swings by 1e-6 of itself
    assert -np.angle(charge[0]) / p[0].imag / t == pytest.approx((s.duty + d2) / 2, rel=1e-3)    # at a hundredth of the clock


def test_a_steep_coil_answers_as_written_by_hand():
    """In continuous conduction without losses and with an endless capacitor, an opening that comes dt later leaves the current higher
    by (V/L) dt for good: the current's component is V/(s L)."""
    c = stage(**{**LOSSLESS, "capacitance": 1.0})
    f = c.switch.frequency * np.array([0.01, 0.1, 0.3, 0.45])
    v_out = switched.steady_state(c).output_voltage.mean
    expected = v_out / (2j * np.pi * f * 47e-6)
    # the output itself answers a little: (resonance / f)^2 = (7.4 Hz / 1500 Hz)^2
    assert np.max(np.abs(perturbed.response(c, f, "i_inductor") / expected - 1)) < 4e-5


def test_held_peak_current_grows_as_the_map_says():
    """With the opening at a set current, the answer towards half the switching frequency peaks as 1/(1 + growth), growth =
    (slope - falling)/(rising + slope) (Erickson & Maksimovic, 3rd ed., sec. 18.2, from memory)."""
    c = stage(**{**LOSSLESS, "capacitance": 1.0, "duty": 0.4})
    s = switched.steady_state(c)
    rising, falling = 6 / 47e-6, (s.output_voltage.mean - 6) / 47e-6
    f = c.switch.frequency * np.array([0.02, 0.2, 0.4, 0.49])
    z = np.exp(2j * np.pi * f * s.period)
    for slope in (0.0, falling / 2, falling):
        growth = (slope - falling) / (rising + slope)
        # a change of the level moves the opening by 1/(rising + slope), the current by (rising + falling) times that, every period
        moved = 1 / (rising + slope) * (1 - 1 / z) / (1 - growth / z)
        step = (rising + falling) * moved / (2j * np.pi * f * s.period)
        found = perturbed.response(c, f, "i_inductor", "peak_current", slope)
        assert np.max(np.abs(found / step - 1)) < 1e-4        # the output itself answers a little


@pytest.mark.parametrize(("given", "word"), [
    ({"frequencies": 80e3}, "half the switching frequency"), ({"frequencies": -1.0}, "half the switching frequency"),
    ({"frequencies": 1e3, "of": "power"}, "known are"), ({"frequencies": 1e3, "to": "r_load"}, "known are"),
])  # fmt: skip
def test_refusals(given, word):
    """Frequencies beyond half the clock's and unknown quantities are refused in words."""
    with pytest.raises(ValueError, match=word):
        perturbed.response(stage(), **given)


def test_a_single_frequency_is_named_once():
    """One frequency too high is one number in the refusal, several are a span."""
    with pytest.raises(ValueError, match="frequencies = 80 kHz must lie"):
        perturbed.response(stage(), [80e3])
    with pytest.raises(ValueError, match="frequencies = 1 kHz to 80 kHz must lie"):
        perturbed.response(stage(), [1e3, 80e3])


@pytest.mark.parametrize("name", STAGES)
def test_a_course_at_rest_is_the_steady_state(name):
    """A duty that does not move brings every period back to where it began, with the switch closed for its share."""
    c = stage(**STAGES[name])
    if c.switch.drive != "duty":
        c = c.change(duty=0.5)
    state = switched.steady_state(c)
    for pieces, end in perturbed.course(c, lambda t: c.switch.duty, 3):
        assert end == pytest.approx(state.pieces[0].state, rel=1e-8, abs=1e-9)      # Newton's method stops at 1e-9 at worst
        assert sum(p.duration for p in pieces) == pytest.approx(c.t_sw, rel=1e-12)


def test_the_switch_opens_where_the_ramp_meets_the_duty():
    """A duty that rises along a line, 0.5 + k t: the switch opens at the share d = 0.5 + k (n + d) T, solved by hand."""
    c, n = stage(duty=0.5), 0
    for pieces, _ in perturbed.course(c, lambda t: 0.5 + 0.03 * t / c.t_sw, 4):
        closed = sum(p.duration for p in pieces if p.mode.kind.switch == "closed") / c.t_sw
        assert closed == pytest.approx((0.5 + 0.03 * n) / (1 - 0.03), rel=1e-9)
        assert pieces[0].start == pytest.approx(n * c.t_sw, abs=1e-18)
        n += 1
    assert n == 4


def test_refusals_of_a_course():
    """A duty beyond one, and a converter whose duty is not set, are refused in words."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        list(perturbed.course(stage(), lambda t: 1.2, 1))
    with pytest.raises(ValueError, match="only a set duty"):
        list(perturbed.course(stage(duty=None, peak_current=2.2), lambda t: 0.5, 1))


def test_refusals_of_a_swing():
    """A converter without a clock, a swing beyond 0 to 1, and fewer than three periods a cycle are refused in words."""
    free = stage(f_sw=None, duty=None, peak_current=2.0)
    with pytest.raises(ValueError, match="clock"):
        perturbed.response(free, 1e3)
    with pytest.raises(ValueError, match="leave 0 to 1"):
        perturbed.injected(stage(), 10, 0.4)
    with pytest.raises(ValueError, match="periods_per_cycle"):
        perturbed.injected(stage(), 2)
    assert perturbed.response(stage(), [[1e3, 2e3]]).shape == (1, 2) and math.isfinite(abs(perturbed.response(stage(), 0.0)))
