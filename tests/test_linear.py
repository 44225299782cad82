"""Linear systems against closed forms and python-control (a general-purpose library)."""

import math

import control
import numpy as np
import pytest

from boostkit.circuit.linear import Linear

F = np.geomspace(1, 1e6, 25)


def network(seed, most=4):
    """A random network by its roots: (gain, zeros, poles), with corners of 100 Hz to 100 kHz, some of them resonant, some in the right
    half plane."""
    rng = np.random.default_rng(seed)
    poles = some_roots(rng, rng.integers(1, most + 1), True)
    zeros = some_roots(rng, rng.integers(0, most + 1), False)
    zeros = zeros[: len(poles)] if sum(zeros[: len(poles)]).imag == 0 else zeros[: len(poles) - 1]
    return 10 ** rng.uniform(-2, 2), zeros, poles


def some_roots(rng, count, stable):
    """Real roots and conjugate pairs."""
    found = []
    while len(found) < count:
        size = 2 * math.pi * 10 ** rng.uniform(2, 5)
        if count - len(found) > 1 and rng.random() < 0.5:
            root = size * np.exp(1j * rng.uniform(0.55, 0.95) * math.pi)
            found += [root, root.conjugate()]
        else:
            found.append(complex(-size if stable or rng.random() < 0.5 else size))
    return found


def test_roots_in_roots_out():
    """A chain made of its roots has these roots, and the response of their product, for 200 random networks."""
    worst = np.zeros(3)
    for seed in range(200):
        gain, zeros, poles = network(seed)
        chain = Linear.of_roots(gain, zeros, poles)
        s = 2j * np.pi * F
        product = gain * np.prod([s - z for z in zeros], axis=0) / np.prod([s - p for p in poles], axis=0)
        worst[0] = max(worst[0], np.max(np.abs(chain(F) / product - 1)))
        assert len(chain.zeros) == len(zeros) and len(chain.poles) == len(poles)
        worst[1] = max([worst[1], *(np.min(np.abs(chain.zeros - z)) / abs(z) for z in zeros)])
        worst[2] = max([worst[2], *(np.min(np.abs(chain.poles - p)) / abs(p) for p in poles)])
    assert np.max(worst) < 1e-7     # slow zeros over fast poles, and nearly equal roots, leave a difference of near equals


def test_series_sum_and_loop_against_python_control():
    """In series, side by side and closed by feedback: response, poles and gain at rest are those of python-control."""
    for seed in range(60):
        one, two = (Linear.of_roots(*network(2 * seed + k, 3)) for k in (0, 1))
        theirs = [control.ss(x.a, x.b[:, None], x.c[None, :], x.d) for x in (one, two)]
        for ours, other in ((one.then(two), control.series(*theirs)), (one.plus(two), control.parallel(*theirs)),
                            (one.closed(two), control.feedback(*theirs)), (one.closed(), control.feedback(theirs[0], 1))):  # fmt: skip
            reference = other(2j * np.pi * F)
            assert np.max(np.abs(ours(F) - reference)) < 1e-9 * np.max(np.abs(reference))      # rounding of two routes
            assert ours.dc == pytest.approx(float(np.real(control.dcgain(other))), rel=1e-6)   # rounding, as above
            for pole in control.poles(other):
                assert np.min(np.abs(ours.poles - pole)) < 1e-4 * abs(pole)    # pairs of poles may nearly coincide


def test_corner_form():
    """Corners in Hz, a right-half-plane zero by its sign, a resonance by frequency and Q, an integrator."""
    plant = Linear.corner_form(50.0, zeros_hz=(-10e3, 150e3), q_pairs=((750.0, 2.8),))
    s, w = 2j * np.pi * F, 2 * math.pi
    expected = 50 * (1 - s / (w * 10e3)) * (1 + s / (w * 150e3)) / (1 + s / (2.8 * w * 750) + (s / (w * 750)) ** 2)
    assert np.max(np.abs(plant(F) / expected - 1)) < 1e-10      # rounding
    assert plant.dc == pytest.approx(50, rel=1e-12)
    assert sorted(plant.zeros.real / w) == pytest.approx([-150e3, 10e3], rel=1e-9)
    slow = Linear.corner_form(200.0, zeros_hz=(300.0, 900.0), poles_hz=(40e3, 75e3), integrators=1)
    expected = 200 / s * (1 + s / (w * 300)) * (1 + s / (w * 900)) / (1 + s / (w * 40e3)) / (1 + s / (w * 75e3))
    assert np.max(np.abs(slow(F) / expected - 1)) < 1e-10       # rounding
    assert slow.dc == math.inf and np.min(np.abs(slow.poles)) == 0
    assert Linear.corner_form(1.0, q_pairs=((1e3, 0.3),)).poles.imag.max() == pytest.approx(0, abs=1e-9)


def test_plain_gain():
    """A gain without states passes its input, alone and in a chain."""
    gain, lag = Linear.constant(3.0), Linear.corner_form(2.0, poles_hz=(1e3,))
    assert np.all(gain(F) == 3) and gain.n == 0 and gain.dc == 3 and len(gain.poles) == len(gain.zeros) == 0
    assert gain(1e3).shape == () and abs(gain.then(lag)(1e3)) == pytest.approx(6 / math.sqrt(2), rel=1e-12)
    assert lag.then(gain).closed().dc == pytest.approx(6 / 7, rel=1e-12) and lag.scaled(-2).dc == pytest.approx(-4)


def test_zeros_behind_no_feedthrough():
    """Zeros are found where the output has no direct path, whatever units the states are in: 1/(s+p) chains have none."""
    lags = Linear.of_roots(1e12, (), (-1e3, -2e4, -3e5, -1e6))
    assert len(lags.zeros) == 0
    rng = np.random.default_rng(0)
    for _ in range(50):                                  # other units for the states, and other states
        t = np.linalg.qr(rng.normal(size=(4, 4)))[0] @ np.diag(10 ** rng.uniform(-6, 6, 4))
        strange = Linear(np.linalg.inv(t) @ lags.a @ t, np.linalg.inv(t) @ lags.b, lags.c @ t)
        assert len(strange.zeros) == 0 and np.max(np.abs(strange(F) / lags(F) - 1)) < 1e-6      # rounding: the poles span a thousand
    assert len(Linear(np.eye(2), np.ones(2), np.zeros(2)).zeros) == 0                       # an output that sees nothing


@pytest.mark.parametrize(("make", "word"), [
    (lambda: Linear(np.eye(2), np.ones(3), np.ones(2)), "states"),
    (lambda: Linear(np.eye(1), [math.nan], [1.0]), "finite"),
    (lambda: Linear.of_roots(1.0, (-1.0, -2.0), (-1.0,)), "at least as many poles"),
    (lambda: Linear.of_roots(1.0, (), (-1 + 2j, -3.0)), "conjugate"),
    (lambda: Linear.corner_form(1.0, poles_hz=(0.0,)), "integrators"),
    (lambda: Linear.corner_form(1.0, q_pairs=((1e3, 0.0),)), "quality"),
    (lambda: Linear.constant(-1.0).closed(), "loop"),
])  # fmt: skip
def test_refusals(make, word):
    """What makes no linear system is refused in words."""
    with pytest.raises(ValueError, match=word):
        make()
