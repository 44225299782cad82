"""The averaged model: the books' values, the exact small-signal answer over random converters, and python-control."""

import math

import control
import numpy as np
import pytest
from stages import INPUT, SECOND, stage

from boostkit.circuit import Converter, averaged, perturbed, switched

LIGHT = {"duty": 0.5, "r_load": 600.0}
HART = Converter.of(v_in=12, duty=0.6, f_sw=25e3, inductance=120e-6, capacitance=48e-6, r_load=50)      # Hart, example 6-4, from memory
RASHID = Converter.of(v_in=5, duty=2 / 3, f_sw=25e3, inductance=150e-6, capacitance=220e-6, r_load=30)  # Rashid, 4th ed., example 5.6


@pytest.mark.parametrize(("converter", "gain", "resonance", "quality", "zero"), [
    (HART, 75.0, 838.82, 12.649, 10610), (RASHID, 45.0, 292.04, 12.111, 3536.8),
])  # fmt: skip
def test_landmarks_of_continuous_conduction(converter, gain, resonance, quality, zero):
    """V/D', D'/sqrt(LC), D'R sqrt(C/L), D'^2 R/L: Erickson & Maksimovic, Fundamentals of Power Electronics, 3rd ed., table 8.2 (as
    quoted), reckoned for two textbook stages."""
    m = averaged.model(converter)
    # the resonance of the lossless stage lies where |p|^2 = D'^2/(LC), Q = |p|/(-2 Re p): exact; the references print four digits
    assert m.control_to_output.dc == pytest.approx(gain, rel=1e-4)
    assert (m.resonance, m.quality, m.rhp_zero) == pytest.approx((resonance, quality, zero), rel=1e-4)
    assert m.source_to_output.dc == pytest.approx(1 / (1 - m.duty), rel=1e-9) and m.esr_zero is None
    assert abs(m.output_impedance.dc) < 1e-9            # without losses nothing lets the mean output sag


def test_landmarks_of_discontinuous_conduction():
    """72 V, 113 Hz, 64 kHz and 127 kHz: Erickson & Maksimovic, 3rd ed., sec. 15.3 with fig. 15.22 (read)."""
    c = Converter.of(v_in=24, duty=0.25, f_sw=100e3, inductance=5e-6, capacitance=470e-6, r_load=12)
    m = averaged.model(c)
    slow, fast = sorted(abs(m.control_to_output.poles) / (2 * math.pi))
    assert m.mode == "discontinuous" and m.resonance is None and m.quality is None
    assert m.control_to_output.dc == pytest.approx(72.0, rel=2e-4)      # the book has no ripple; this one's is 0.2 % of the output
    assert slow == pytest.approx(112.88, rel=5e-3)      # the book's two poles do not pull at each other: their ratio is 1/500
    assert fast == pytest.approx(63.66e3, rel=5e-3)
    assert m.rhp_zero == pytest.approx(127.32e3, rel=5e-3)


def some_converter(seed):
    """Converters of any size, sensibly built: losses of some percent, and where there is an input filter, one that is slow
    (resonates below a tenth of the clock), small against the converter's input resistance, and damped: a sharp notch turns the phase
    by 180 degrees within its own width, and a notch a per mille beside its place is then many degrees."""
    rng = np.random.default_rng(seed)
    f, v, duty, i_out = _spread(rng, 2e4, 1e6), _spread(rng, 3, 100), rng.uniform(0.1, 0.85), _spread(rng, 0.02, 5)
    r_load, r_in, part = v / (1 - duty) / i_out, v * (1 - duty) / i_out, _spread(rng, 1e-3, 0.03)
    letters = {
        "v_in": v, "duty": duty, "f_sw": f, "inductance": r_in * duty / (f * _spread(rng, 0.05, 8)),
        "capacitance": duty / (f * r_load * _spread(rng, 2e-3, 0.05)), "r_inductor": part * r_in * rng.uniform(0, 1),
        "r_switch": part * r_in * rng.uniform(0, 1), "r_rectifier": part * r_in * rng.uniform(0, 1),
        "r_capacitor": rng.choice([0.0, 1.0]) * rng.uniform(0, 0.03) * r_load * (1 - duty),
    }  # fmt: skip
    if rng.random() < 0.3:
        z, w = r_in * _spread(rng, 0.02, 0.1), 0.2 * math.pi * f / _spread(rng, 1, 5)
        letters |= {"c_input": 1 / (z * w), "r_source": z * rng.uniform(0.3, 1), "r_input_capacitor": 0.1 * z}
        if rng.random() < 0.5:
            letters["l_source"] = z / w
    if rng.random() < 0.3:
        letters |= {"rectifier": "switch", "dead_time": rng.uniform(0, 0.02) / f * (1 - duty)}
    else:
        letters["v_rectifier"] = rng.uniform(0, 0.05) * v
    return Converter.of(**letters, **({"i_out": i_out} if rng.random() < 0.3 else {"r_load": r_load}))


def _spread(rng, low, high):
    """A random number, evenly over the decades."""
    return 10 ** rng.uniform(math.log10(low), math.log10(high))


def slow_and_small(s):
    """Whether the average may be held to its word: ripple share to 0.5 in continuous conduction, output ripple to 5 %."""
    share = s.inductor_current.ripple / s.inductor_current.mean
    return s.ripple_voltage <= 0.05 * s.output_voltage.mean and (s.mode == "discontinuous" or share <= 0.5)


def misses(converter, frequencies):
    """By how much (share, degrees) the model's control-to-output and source-to-output miss the exact answer."""
    m = averaged.model(converter)
    found = []
    for to, ours in (("duty", m.control_to_output), ("v_in", m.source_to_output)):
        ratio = ours(frequencies) / perturbed.response(converter, frequencies, "v_out", to)
        found += [np.max(np.abs(np.abs(ratio) - 1)), np.max(np.abs(np.angle(ratio, deg=True)))]
    return found


def test_against_the_switched_circuit_over_random_converters():
    """From duty and from source to output: continuous conduction, ripple share to 0.5, within 2 % and 2 degrees to a tenth of the clock;
    discontinuous to a hundredth."""
    count = {"continuous": 0, "discontinuous": 0}
    for seed in range(250):
        c = some_converter(seed)
        try:
            s = switched.steady_state(c)
        except ValueError as refused:
            assert "collapse" in str(refused)
            continue
        if not slow_and_small(s):
            continue
        top = {"continuous": 0.1, "discontinuous": 0.01}[s.mode]
        size, turn, size_source, turn_source = misses(c, c.switch.frequency * top * np.geomspace(1e-3, 1, 16))
        assert size < 0.02 and turn < 2.0, (seed, c)
        assert size_source < 0.02 and turn_source < 2.0, (seed, c)
        count[s.mode] += 1
    assert count["continuous"] >= 60 and count["discontinuous"] >= 30, count


def test_series_resistance_in_discontinuous_conduction():
    """The rectifier's current comes through the capacitor's series resistance at once: with much of it, 2 % and 2 degrees from duty and
    source still hold at a thirtieth of the clock, where most of the output's swing is over the resistance."""
    c = stage(**LIGHT, r_capacitor=2.0)
    f = c.switch.frequency * np.array([0.003, 0.01, 0.03])
    assert np.all(np.array(misses(c, f)) < [0.02, 2.0, 0.02, 2.0])


def test_its_own_limit_shows():
    """Towards half the switching frequency the model leaves the exact answer, in either mode: it is an average and no more."""
    for letters in ({}, LIGHT):
        c = stage(**letters)
        f = c.switch.frequency * np.array([0.01, 0.1, 0.45])
        ratio = averaged.model(c).control_to_output(f) / perturbed.response(c, f)
        off = np.abs(ratio - 1)
        assert off[0] < off[1] < off[2] and off[2] > 0.02, letters


@pytest.mark.parametrize("letters", [{}, INPUT, SECOND, {**SECOND, "dead_time": 2e-7}, {"r_load": None, "i_out": 0.6}, LIGHT,
                                     {"r_source": 0.2}, {"duty": None, "peak_current": 2.2}])  # fmt: skip
def test_every_path_at_rest(letters):
    """At rest each path is the slope of the exact steady state: duty, source, drawn current; output and inductor current."""
    c = stage(**letters)
    m = averaged.model(c)
    fixed = c.change(duty=m.duty)                   # the paths are those at a held duty
    for path, of, to in ((m.control_to_output, "v_out", "duty"), (m.source_to_output, "v_out", "v_in"),
                         (m.output_impedance.scaled(-1), "v_out", "i_out"), (m.control_to_current, "i_inductor", "duty"),
                         (m.source_to_current, "i_inductor", "v_in")):  # fmt: skip
        exact = perturbed.response(fixed, 0.0, of, to).real
        # the average leaves out the ripple's own losses (and a constant-current load takes 1e-4 A more a volt for them)
        assert path.dc == pytest.approx(exact, rel=2e-3, abs=1e-4), (of, to)
    s = switched.steady_state(c)
    assert m.state[0] == pytest.approx(s.inductor_current.mean, rel=2e-3) and m.duty == pytest.approx(s.duty)
    assert m.output_impedance.dc > 0


def test_poles_and_zeros_against_python_control():
    """Poles, zeros and response of the model's matrices as python-control reckons them."""
    for letters in ({}, INPUT, LIGHT, {"r_load": None, "i_out": 0.6}):
        path = averaged.model(stage(**letters)).control_to_output
        theirs = control.ss(path.a, path.b[:, None], path.c[None, :], path.d)
        for ours, reference in ((path.poles, control.poles(theirs)), (path.zeros, control.zeros(theirs))):
            assert len(ours) == len(reference)
            for root in reference:
                assert np.min(np.abs(ours - root)) < 1e-7 * abs(root)      # rounding of two routes
        f = np.geomspace(1, 7e4, 9)
        assert np.allclose(path(f), theirs(2j * np.pi * f), rtol=1e-10)


def test_output_impedance_has_its_series_resistance_and_its_peak():
    """At high frequency the capacitor's series resistance is left of it; at the resonance it is largest."""
    m = averaged.model(stage())
    assert abs(m.output_impedance(3e6)) == pytest.approx(0.01, rel=5e-3)      # the reactance of 100 µF is 0.5 mΩ there
    f = np.geomspace(10, 1e5, 2000)
    assert f[np.argmax(np.abs(m.output_impedance(f)))] == pytest.approx(m.resonance, rel=0.1)      # Q is 2.8: the two lie near each other


# ------------------------------------------------------------------------------------------------- current mode

def test_current_mode_landmarks():
    """Gain D'R/2, pole 2/(RC), right-half-plane zero as before: the simple model of Erickson & Maksimovic, 3rd ed., sec. 18.1 (formulas
    as quoted), met where ripple and ramp are small."""
    c = HART.change(f_sw=25e6)                      # a thousandth of the ripple: peak and mean are one
    m = averaged.current_mode(averaged.model(c), c, 1.0, 0.0)
    slow = min(abs(m.control_to_output.poles)) / (2 * math.pi)
    assert m.control_to_output.dc == pytest.approx(10.0, rel=2e-3)      # of the ripple's share, 1/1000
    assert slow == pytest.approx(132.63, rel=2e-3)
    assert m.rhp_zero == pytest.approx(10610, rel=2e-3)


@pytest.mark.parametrize(("duty", "share", "quality"), [(0.5, 0.5, 1.2732), (0.5, 1.0, 0.6366), (0.3, 0.0, 1.5915)])
def test_resonance_at_half_the_clock(duty, share, quality):
    """Q = (2/pi)/(1 - 2D + 2D slope/falling) at half the switching frequency: Erickson & Maksimovic, 3rd ed., eq. 18.173 (as
    quoted)."""
    c = Converter.of(v_in=12, duty=duty, f_sw=25e3, inductance=120e-6, capacitance=48e-2, r_load=20)
    falling = 12 * duty / (1 - duty) / 120e-6
    poles = averaged.current_mode(averaged.model(c), c, 0.1, share * falling).control_to_output.poles
    pair = max(poles, key=lambda p: (abs(p), p.imag))
    assert abs(pair) / (2 * math.pi) == pytest.approx(12.5e3, rel=1e-3)      # the output's own answer is (1/1000)^2
    if quality > 0.5:
        assert abs(pair) / (-2 * pair.real) == pytest.approx(quality, rel=1e-3)


def test_current_mode_against_the_switched_circuit():
    """From control voltage to the output, over random converters and ramps: 5 % and 3 degrees to a tenth of the clock in
    continuous conduction (2 % and 2 degrees to a hundredth in discontinuous). The ramps keep the inner loop well damped."""
    count, rng = {"continuous": 0, "discontinuous": 0}, np.random.default_rng(5)
    for seed in range(120):
        c = some_converter(1000 + seed)
        try:
            s = switched.steady_state(c)
        except ValueError:
            continue
        if c.rectifier.kind == "switch" or not slow_and_small(s):
            continue
        last = s.pieces[averaged.opening(s.pieces)]
        falling = max(-s.pieces[averaged.opening(s.pieces) + 1].mode.flow.rate(last.end_state)[0], 0.0)
        slope = falling * rng.uniform(0.5, 1.0)
        m = averaged.current_mode(averaged.model(c), c, 0.05, slope)
        limit = {"continuous": (0.1, 0.05, 3.0), "discontinuous": (0.01, 0.02, 2.0)}[s.mode]
        f = c.switch.frequency * limit[0] * np.geomspace(1e-3, 1, 12)
        ratio = m.control_to_output(f) * 0.05 / perturbed.response(c, f, "v_out", "peak_current", slope)
        assert np.max(np.abs(np.abs(ratio) - 1)) < limit[1] and np.max(np.abs(np.angle(ratio, deg=True))) < limit[2], (seed, c, slope)
        count[s.mode] += 1
    assert count["continuous"] >= 15 and count["discontinuous"] >= 10, count


def test_current_mode_turns_unstable_above_half_duty():
    """Without a ramp the inner loop is stable below half duty and not above; half the falling slope cures it at any duty."""
    for duty in (0.3, 0.45, 0.55, 0.7):
        c = HART.change(duty=duty, r_load=50.0 / (1 - duty), inductance=1e-3)
        m, falling = averaged.model(c), 12 * duty / (1 - duty) / 1e-3
        assert (max(averaged.current_mode(m, c, 0.1, 0.0).control_to_output.poles.real) < 0) == (duty < 0.5)
        assert max(averaged.current_mode(m, c, 0.1, 0.5 * falling).control_to_output.poles.real) < 0


@pytest.mark.parametrize(("make", "word"), [
    (lambda c: averaged.model(c.change(f_sw=None, duty=None, peak_current=2.0)), "clock"),
    (lambda c: averaged.model(c.change(i_out=0.0)), "no one steady state|no steady state"),
    (lambda c: averaged.current_mode(averaged.model(c), c, 0.0, 0.0), "sense"),
    (lambda c: averaged.current_mode(averaged.model(c), c, 0.1, -1.0), "slope"),
    (lambda c: averaged.current_mode(averaged.model(c), c.change(duty=0.5), 0.1, 0.0), "not the one"),
])  # fmt: skip
def test_refusals(make, word):
    """No clock, no steady state, a sense resistance of nothing, a falling ramp, another converter: refused in words."""
    with pytest.raises(ValueError, match=word):
        make(stage())
