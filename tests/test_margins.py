"""Margins of a loop, held against a textbook's worked regulator, python-control, and the roots of the closed loop.

The textbook is Erickson & Maksimovic, Fundamentals of Power Electronics, 3rd ed. (2020), its equations as quoted.
"""

from math import inf, pi, sqrt

import control
import numpy as np
import pytest

from boostkit.circuit.linear import Linear
from boostkit.control.margins import encirclements, followed, margins

# The buck regulator of sec. 9.5: 28 V to 15 V, 3 ohm, 50 uH, 500 uF, a ramp of 4 V, a divider of 1/3.
F0, Q, DC = 1 / (2 * pi * sqrt(50e-6 * 500e-6)), 3 * sqrt(500e-6 / 50e-6), 28 / 3 / 4
BUCK = Linear.corner_form(DC, q_pairs=((F0, Q),))


def lead(f):
    """The rounded lead of the book: 3.7, a zero at 1.7 kHz, a pole at 14.5 kHz."""
    return 3.7 * (1 + 1j * f / 1.7e3) / (1 + 1j * f / 14.5e3)


def inverted_zero(f):
    """More gain below 500 Hz."""
    return 1 + 500 / (1j * f)


def test_the_textbook_loop_has_its_numbers():
    """Erickson & Maksimovic eq. 9.65 to 9.75: dc loop gain 2.33 (7.4 dB), f0 1 kHz, Q 9.5 (19.5 dB)."""
    assert abs(complex(BUCK(1e-3))) == pytest.approx(2.33, abs=0.005)  # the book prints three digits
    assert abs(complex(BUCK(F0))) / DC == pytest.approx(9.5, abs=0.05)  # two digits
    assert pytest.approx(1007, abs=1) == F0


def test_the_textbook_loop_uncompensated():
    """Same, fig. 9.24: crossover about 1.8 kHz, less than 5 degrees of margin."""
    found = margins(BUCK, 1.0, 1e5)
    assert found.crossover == pytest.approx(1.8e3, abs=50)  # two digits
    assert 4 < found.phase_margin < 5 and found.stable and found.gain_margin == inf and found.phase_crossover is None


def test_the_textbook_loop_with_its_lead():
    """Same, sec. 9.5.4: crossover 5 kHz, 52 degrees, with the rounded corners of the book."""
    found = margins(lambda f: BUCK(f) * lead(f), 1.0, 1e6)
    assert found.crossover == pytest.approx(5e3, abs=400)  # the book rounds gain and corners
    assert found.phase_margin == pytest.approx(52, abs=2)
    assert found.crossover == pytest.approx(5.27e3, rel=1e-3)  # recomputed independently with these rounded corners
    assert found.phase_margin == pytest.approx(53.3, abs=0.05)


def test_the_textbook_loop_with_an_inverted_zero():
    """Same, eq. 9.82: 1 V of 100 Hz ripple comes through as 62 mV with the lead alone, 12 mV with the inverted zero."""
    duty = 15 / 28
    assert duty / abs(BUCK(1e-3) * lead(1e-3)) == pytest.approx(62e-3, abs=0.5e-3)  # the book takes D/T(0)
    assert duty / abs(1 + BUCK(100.0) * lead(100.0) * inverted_zero(100.0)) == pytest.approx(12e-3, abs=0.5e-3)
    found = margins(lambda f: BUCK(f) * lead(f) * inverted_zero(f), 0.1, 1e6)
    assert (found.crossover, found.phase_margin) == (pytest.approx(5.29e3, rel=2e-3), pytest.approx(47.9, abs=0.05))  # recomputed


def test_a_buck_boost_by_its_corners():
    """Erickson & Maksimovic eq. 8.145: duty 0.6, 30 V, 10 ohm, 160 uH, 160 uF: f0 400 Hz, Q 4 (12 dB), zero 2.65 kHz, 187.5 V."""
    plant = Linear.corner_form(187.5, zeros_hz=(-2652.6,), q_pairs=((397.9, 4.0),))
    f, answer = followed(plant, 1.0, 1e6)
    top = int(np.argmax(abs(answer)))
    assert 20 * np.log10(abs(answer[0])) == pytest.approx(45.5, abs=0.05)  # three digits
    assert f[top] == pytest.approx(400, rel=0.03)  # the peak of a quality of 4 lies 1.6 % below f0, and the points 4 % apart
    assert 20 * np.log10(abs(answer[top] / answer[0])) == pytest.approx(12, abs=0.3)  # the zero adds 0.1 dB, the peak 0.07
    assert np.degrees(np.unwrap(np.angle(answer)))[-1] == pytest.approx(-270, abs=1)  # a pair of poles, and a zero that turns back too


@pytest.mark.parametrize(("degrees", "quality"), [(76.35, 0.5), (51.83, 1.0), (14.2, 4.014)])
def test_quality_follows_from_the_margin(degrees, quality):
    """Erickson & Maksimovic eq. 9.40 and 13.71: 76 degrees for a quality of 0.5, 52 for 1, 14.2 for 4; against the loop's own roots."""
    second = 1e3 * np.tan(np.radians(degrees))
    raw = Linear.corner_form(1.0, poles_hz=(second,), integrators=1)
    loop = raw.scaled(1 / abs(complex(raw(1e3))))
    found = margins(loop, 1.0, 1e5)
    assert found.phase_margin == pytest.approx(degrees, abs=1e-6) and found.crossover == pytest.approx(1e3)
    assert found.quality == pytest.approx(quality, rel=1e-3)  # four digits of the margin
    one, two = loop.closed().poles
    assert found.quality == pytest.approx(float((one * two).real ** 0.5 / -(one + two).real), rel=1e-9)


def test_overshoot_follows_from_the_quality():
    """Erickson & Maksimovic eq. 9.46: 16.3 % at a quality of 1; none where the closed loop does not ring, all of it at the edge."""
    second = 1e3 * np.tan(np.radians(51.827))
    raw = Linear.corner_form(1.0, poles_hz=(second,), integrators=1)
    found = margins(raw.scaled(1 / abs(complex(raw(1e3)))), 1.0, 1e5)
    _, y = control.step_response(_system(raw.scaled(1 / abs(complex(raw(1e3)))).closed()), np.linspace(0, 2e-3, 4000))
    assert found.overshoot == pytest.approx(0.163, abs=5e-4)  # three digits
    assert y.max() - 1 == pytest.approx(found.overshoot, abs=1e-4)  # the response is seen every half microsecond
    assert margins(Linear.corner_form(100.0, integrators=1), 0.1, 1e4).overshoot == 0


def _system(linear: Linear):
    return control.ss(linear.a, linear.b[:, None], linear.c[None], linear.d)


def _random_loop(rng) -> Linear:
    """A plant with a resonance or two poles, up to two zeros on either side, and a regulator with an integrator."""
    pairs = [(10 ** rng.uniform(2, 4), 10 ** rng.uniform(-0.3, 1.5))]
    zeros = [10 ** rng.uniform(1.5, 4.5) * (1, 1, -1)[rng.integers(3)] for _ in range(rng.integers(0, 3))]
    poles = [10 ** rng.uniform(3, 5) for _ in range(2)]
    return Linear.corner_form(10 ** rng.uniform(0, 4), zeros, poles, pairs, integrators=int(rng.integers(0, 2)))


@pytest.mark.parametrize("seed", range(120))
def test_margins_against_python_control(seed):
    """Crossings, margins, distance and stability of random loops, against python-control's and the roots of the closed loop."""
    loop = _random_loop(np.random.default_rng(seed))
    if np.abs(followed(loop, 1e-2, 1e9)[1]).max() <= 1:
        loop = loop.scaled(10 / abs(complex(loop(1.0))))
    theirs, found = _system(loop), margins(loop, 1e-2, 1e9)
    gains, phases, _, passing, crossing, _ = control.stability_margins(theirs, returnall=True)
    real = np.abs(np.abs(np.angle(theirs(1j * passing))) - pi) < 1e-3  # their polynomials also have roots where no -180 degrees is
    real &= (passing > 0.1) & (passing < 2e9)
    order = np.argsort(crossing)
    # their roots are those of polynomials of up to eighth order, good to about 1e-6
    assert crossing[order] / 2 / pi == pytest.approx(np.array(found.crossovers), rel=1e-5)
    assert np.sort(passing[real]) / 2 / pi == pytest.approx(np.array(found.phase_crossovers), rel=1e-5)
    turned = (np.array(found.phase_margins) - phases[order]) / 360
    assert turned == pytest.approx(np.round(turned), abs=1e-5)  # they count phase from -180 to 180 degrees, we follow it
    grid = np.append(np.geomspace(1e-2, 1e9, 801), found.least_distance_at * np.linspace(0.99, 1.01, 401))
    assert found.least_distance == pytest.approx(float(np.abs(1 + theirs(2j * pi * grid)).min()), rel=1e-3, abs=1e-6)  # points 5e-5 apart
    assert found.stable == bool(np.all(control.feedback(theirs).poles().real < 0))
    assert found.encirclements == -int(np.sum(control.feedback(theirs).poles().real > 0))
    if found.gain_margin != inf:
        assert np.min(np.abs(gains[real] / found.gain_margin - 1)) < 1e-4


def test_the_gain_margin_is_the_edge():
    """With the gain raised by just less than its margin the closed loop is stable, by just more it is not: by its roots."""
    loop = Linear.corner_form(300.0, zeros_hz=(-5e3,), q_pairs=((2e3, 1.0),), integrators=1)
    edge = margins(loop, 0.1, 1e6).gain_margin
    assert np.all(loop.scaled(edge * (1 - 1e-6)).closed().poles.real < 0)
    assert np.any(loop.scaled(edge * (1 + 1e-6)).closed().poles.real > 0)
    over = margins(loop.scaled(3 * edge), 0.1, 1e6)
    assert not over.stable and over.gain_margin == pytest.approx(1 / 3) and over.quality == inf and over.overshoot == 1


def test_the_wrong_sign_is_unstable():
    """A regulator that turns the knob the wrong way has one root in the right half plane, whatever its margins look like."""
    loop = Linear.corner_form(-100.0, poles_hz=(1e3,), integrators=1)
    assert encirclements(loop, 0.01, 1e6) == -1 and not margins(loop, 0.01, 1e6).stable


def test_a_loop_that_calms_an_unstable_plant():
    """A plant with a pole in the right half plane needs one turn round -1, and is then stable."""
    plant = Linear.of_roots(500.0, poles=(100.0,))
    assert margins(plant, 0.01, 1e5, unstable_poles=1).stable and plant.closed().poles[0].real < 0
    weak = Linear.of_roots(-500.0, poles=(100.0,))  # the same with the wrong sign
    assert not margins(weak, 0.01, 1e5, unstable_poles=1).stable and weak.closed().poles[0].real > 0


def test_two_integrators_start_at_half_a_turn():
    """Two integrators and a lead: the phase counts from -180 degrees, the margin is the lead's own."""
    found = margins(lambda f: (1 + 1j * f / 100.0) / (1j * f / 300.0) ** 2 / (1 + 1j * f / 1e5), 1e-3, 1e6)
    expected = np.degrees(np.arctan(found.crossover / 100.0) - np.arctan(found.crossover / 1e5))
    assert found.stable and found.phase_margin == pytest.approx(expected, abs=1e-6)


def test_a_phase_below_half_a_turn_starts_there():
    """Two integrators with a lag below a lead start just beyond -180 degrees, and are counted on from there."""
    found = margins(lambda f: (1 + 1j * f / 100.0) ** 2 / (1j * f / 300.0) ** 2 / (1 + 1j * f / 20.0) / (1 + 1j * f / 1e5), 1e-3, 1e6)
    at = found.crossover
    expected = np.degrees(2 * np.arctan(at / 100.0) - np.arctan(at / 20.0) - np.arctan(at / 1e5))
    assert found.phase_margin == pytest.approx(expected, abs=1e-6)


def test_a_delay_is_followed_through_many_turns():
    """An integrator with a delay: crossover, margins in closed form (phase -90 degrees and 360 f t more)."""
    found = margins(lambda f: 1e3 / (1j * f) * np.exp(-2j * pi * f * 100e-6), 0.1, 1e5)
    assert (found.crossover, found.phase_margin) == (pytest.approx(1e3), pytest.approx(90 - 36))
    assert (found.phase_crossover, found.gain_margin) == (pytest.approx(2.5e3), pytest.approx(2.5)) and found.stable
    fast = margins(lambda f: 3e3 / (1j * f) * np.exp(-2j * pi * f * 100e-6), 0.1, 1e5)
    assert not fast.stable and fast.encirclements == -2 and fast.gain_margin == pytest.approx(2.5 / 3)


def test_a_sharp_resonance_is_not_missed():
    """A resonance of quality 3000 lifts the gain above one between two of the points one starts from."""
    loop = Linear.corner_form(0.01, q_pairs=((1310.0, 3000.0),))
    found = margins(loop, 1.0, 1e5)
    assert len(found.crossovers) == 2 and found.crossovers[0] < 1310.0 < found.crossovers[1]


def test_what_cannot_be_counted_is_refused():
    """No crossing, too low an upper end, too high a lower end, a loop without gain: each with its reason."""
    with pytest.raises(ValueError, match="must pass one"):
        margins(Linear.corner_form(0.5, poles_hz=(1e3,)), 1.0, 1e5)
    with pytest.raises(ValueError, match="upper end"):
        encirclements(Linear.corner_form(100.0, poles_hz=(1e3,)), 1.0, 1e4)
    with pytest.raises(ValueError, match="lower end"):
        encirclements(Linear.corner_form(100.0, poles_hz=(1e3,)), 1e3, 1e6)
    with pytest.raises(ValueError, match="finite"):
        margins(lambda f: 0 * f, 1.0, 1e5)


@pytest.mark.parametrize("k, turn", [(0.5, 1e-12), (0.5, -1e-12), (1.9, 0.0)])
def test_a_sum_once_a_period_has_its_edge_at_half_the_clock(k, turn):
    """y+ = y + k e: the closed loop's only root is 1 - k, so the gain may rise to 2, where it swings from period to period (any book
    on sampled control). There the loop is real, and on which side of -180 degrees rounding puts it must not matter."""
    found = margins(lambda f: k * np.exp(1j * turn) / (np.exp(2j * pi * np.asarray(f) / 1e5) - 1), 1.0, 0.5e5)
    assert found.gain_margin == pytest.approx(2 / k, rel=1e-9) and found.phase_crossover == 0.5e5  # rounding
    assert found.stable
