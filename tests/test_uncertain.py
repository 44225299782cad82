"""Uncertain numbers against the worked examples of JCGM 100:2008 (the GUM), and against chance itself."""

from math import pi, sqrt

import numpy as np
import pytest
from uncertainties import umath

from boostkit.bench.uncertain import (
    budget,
    correlated,
    correlated_means,
    correlation,
    expanded,
    factor,
    from_readings,
    resolution,
    show_with,
    straight_line,
    uncertain,
    within,
)

VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]  # V; GUM, table H.2, from memory, and so the next two
MILLIAMPERES = [19.663, 19.639, 19.640, 19.685, 19.678]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]  # rad
TEMPERATURES = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]  # °C; GUM, table H.6, from memory
CORRECTIONS = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]  # °C


def test_quantities_read_together():
    """GUM H.2, table H.2: the means of voltage, current and phase, their uncertainties and correlations."""
    volts, current, phase = correlated_means(volts=VOLTS, current=np.array(MILLIAMPERES) / 1e3, phase=PHASE)
    assert [volts.n, current.n, phase.n] == pytest.approx([4.9990, 19.6610e-3, 1.04446], abs=5e-6)      # digits as printed
    assert [volts.s, current.s, phase.s] == pytest.approx([0.0032, 0.0095e-3, 0.00075], rel=0.01)       # two digits printed
    found = [correlation(volts, current), correlation(volts, phase), correlation(current, phase)]
    assert found == pytest.approx([-0.36, 0.86, -0.65], abs=0.005)                                      # two digits printed


def test_resistance_reactance_and_impedance():
    """GUM H.2, table H.4: what the three say of an impedance, with all correlations."""
    volts, current, phase = correlated_means(volts=VOLTS, current=np.array(MILLIAMPERES) / 1e3, phase=PHASE)
    r, x, z = volts / current * umath.cos(phase), volts / current * umath.sin(phase), volts / current
    assert [r.n, x.n, z.n] == pytest.approx([127.732, 219.847, 254.260], abs=0.0006)                    # digits as printed
    assert [r.s, x.s, z.s] == pytest.approx([0.071, 0.295, 0.236], abs=0.001)   # from raw readings 0.0711, 0.2956, 0.2363
    assert [correlation(r, x), correlation(r, z), correlation(x, z)] == pytest.approx([-0.588, -0.485, 0.993], abs=0.0006)


def test_without_correlation_the_same_readings_say_something_else():
    """With the correlations left out the reactance would come out wrong by far more than the tolerance above."""
    volts, current, phase = (from_readings(values) for values in (VOLTS, np.array(MILLIAMPERES) / 1e3, PHASE))
    assert abs((volts / current * umath.sin(phase)).s - 0.295) > 0.05


def test_a_calibration_line():
    """GUM H.3: the correction of a thermometer as a straight line about 20 °C, and what it predicts at 30 °C."""
    value, slope = straight_line(TEMPERATURES, CORRECTIONS, about=20.0)
    assert [value.n, slope.n] == pytest.approx([-0.1712, 0.00218], abs=5e-6)    # digits as printed, the slope to half its last
    assert [value.s, slope.s] == pytest.approx([0.0029, 0.00067], rel=0.01)     # two digits printed
    assert correlation(value, slope) == pytest.approx(-0.930, abs=0.0005)
    at_30 = value + slope * (30 - 20)
    assert [at_30.n, at_30.s] == pytest.approx([-0.1494, 0.0041], abs=0.00005)


def test_a_limit_and_a_step():
    """GUM 4.3.7 and F.2.2.1: a limit a is a/sqrt(3), a digital step is 0.29 of it."""
    assert within(3.0, "x").s == pytest.approx(3 / sqrt(3)) and resolution(1.0).s == pytest.approx(0.29, abs=0.002)
    spread = np.random.default_rng(1).uniform(-3, 3, 200_000).std()
    assert within(3.0, "x").s == pytest.approx(spread, rel=0.01)                # 200 000 draws: their own scatter is 0.2 %


def test_a_product_strays_as_chance_makes_it_stray():
    """The first-order uncertainty of a power and of an efficiency is that of 200 000 random meters."""
    rng = np.random.default_rng(2)
    gains = 1 + rng.uniform(-0.01, 0.01, (4, 200_000))
    v_out, i_out, v_in, i_in = (value * factor(0.01, f"{k}") for k, value in enumerate((18.0, 0.35, 6.0, 1.1)))
    drawn = 18.0 * gains[0] * 0.35 * gains[1] / (6.0 * gains[2] * 1.1 * gains[3])
    efficiency = v_out * i_out / (v_in * i_in)
    assert efficiency.s == pytest.approx(drawn.std(), rel=0.01) and efficiency.n == pytest.approx(drawn.mean(), rel=1e-3)


def test_what_is_shared_cancels():
    """Two readings through one probe: their ratio is free of the probe's error, readings through two probes are not."""
    probe = factor(0.02, "probe")
    high, low = 18.0 * probe, 6.0 * probe
    assert (high / low).s < 1e-12 and (18.0 * factor(0.02, "a") / (6.0 * factor(0.02, "b"))).s == pytest.approx(3 * 0.02 * sqrt(2 / 3))


def test_a_budget_adds_up():
    """The lines of a budget, largest first; as squares they make the whole, and parts of one name stand in one line."""
    reading = (uncertain(2.0, 0.03, "noise") + resolution(0.1) - resolution(0.1)) * factor(0.02, "gain")
    lines = budget(reading)
    assert [line.what for line in lines] == ["resolution", "noise", "gain"]
    expected = [0.1 / sqrt(12) * sqrt(2), 0.03, 2.0 * 0.02 / sqrt(3)]
    assert [line.standard for line in lines] == pytest.approx(expected)
    assert sqrt(sum(line.standard**2 for line in lines)) == pytest.approx(reading.s)
    assert sum(line.share for line in lines) == pytest.approx(1)
    assert expanded(reading) == 2 * reading.s and expanded(3.0) == 0.0 and budget(3.0) == () and budget(uncertain(1.0, 0.0, "none")) == ()


def test_errors_from_a_fit_keep_their_correlation():
    """The sum of two values that a fit can hardly tell apart is known far better than either."""
    one, other = correlated([0.05, 0.02], [[1e-4, -0.99e-4], [-0.99e-4, 1e-4]], ("r_inductor", "r_switch"))
    assert correlation(one, other) == pytest.approx(-0.99) and (one + other).s == pytest.approx(sqrt(2e-6))
    assert {line.what for line in budget(one)} == {"r_inductor", "r_switch"}


@pytest.mark.parametrize("value, error, unit, digits, text", [
    (1.94, 0.02, "A", None, "1.94(2) A"),
    (47.12e-6, 1.23e-6, "H", None, "47.1(12) µH"),
    (0.8823, 0.0043, "%", None, "88.2(4) %"),
    (0.0349, 0.00074, "V", None, "34.9(7) mV"),
    (149302.4, 6.17, "Hz", None, "149.302(6) kHz"),
    (123456.0, 1200.0, "Hz", None, "123.5(12) kHz"),
    (0.3, 1.2, "V", None, "0.3(12) V"),
    (0.0, 0.002, "V", None, "0(2) mV"),
    (-5.0, 0.5, "V", None, "-5.0(5) V"),
    (1.0, 0.0996, "V", None, "1.00(10) V"),
    (5.0, 0.096, "V", 1, "5.0(1) V"),
    (0.6798, 0.00032, "", None, "0.6798(3)"),
    (150.0, 20.0, "°C", None, "150(20) °C"),
    (5.0, 0.0, "V", None, "5 V"),
    (100.02147, 0.00035, "g", 2, "100.02147(35) g"),  # GUM 7.2.2, example 2, from memory
])  # fmt: skip
def test_the_brackets_hold_the_last_digits(value, error, unit, digits, text):
    """A value and its uncertainty in one word, with a prefix and no more digits than are known."""
    assert show_with(uncertain(value, error, "x"), unit, digits) == text


def test_a_plain_number_is_shown_plainly():
    """What has no uncertainty shows none."""
    assert show_with(2 * pi, "A") == "6.283 A"


@pytest.mark.parametrize("call, said", [
    (lambda: uncertain(float("nan"), 0.1, "x"), "value = nan"), (lambda: uncertain(1.0, -0.1, "x"), "standard uncertainty = -0.1"),
    (lambda: from_readings([1.0]), "readings = [1.0] must be a list of at least 2"), (lambda: from_readings("many"), 'readings = "many"'),
    (lambda: correlated_means(a=[1, 2], b=[1, 2, 3]), "a, b = 2, 3 readings must be equally many"),
    (lambda: straight_line([1, 1, 1], [1, 2, 3]), "x = 3 values"), (lambda: straight_line([1, 2], [1, 2]), "x = [1, 2]"),
    (lambda: show_with(uncertain(1.0, 0.1, "x"), "V", 3), "digits = 3 must be 1 or 2"), (lambda: expanded(1.0, 0), "coverage factor k = 0"),
])  # fmt: skip
def test_nonsense_is_refused(call, said):
    """Numbers that make no sense are refused in one line."""
    with pytest.raises(ValueError) as caught:
        call()
    assert str(caught.value).startswith(said)
