"""The power series of a closed loop's states and guards, against the exponential and against roots found by others."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from boostkit.circuit import polynomials
from boostkit.circuit.flow import Flow
from boostkit.circuit.polynomials import first_fall
from boostkit.circuit.series import Series

RNG = np.random.default_rng(5)


def system(n, speed):
    """A stable system with modes up to `speed` (1/s), and a state."""
    shapes = RNG.normal(size=(n, n))
    a = shapes @ np.diag(-speed * RNG.uniform(0, 1, n)) @ np.linalg.inv(shapes)
    return a, RNG.normal(size=n) * speed, np.append(RNG.normal(size=n), 1.0)


@pytest.mark.parametrize("speed", [0.1, 3.0, 40.0])
def test_the_series_is_the_exponential(speed):
    """Within reach and, in steps, far beyond it."""
    for n in (1, 3, 6):
        a, b, w = system(n, speed)
        ours, flow = Series(a, b, np.ones(n), [], 1.0), Flow(a, b, np.ones(n))
        for t in (0.01, 0.7, 1.0, 3.0):
            end = np.array(flow.advance(w[:-1], t))
            got, when, event = ours.first_event(w, t)
            size = np.abs(end).max() + np.abs(w).max()
            assert when == t and event is None
            assert np.abs(got[:-1] - end).max() < 1e-12 * size  # condition of the random shapes
            assert np.abs(ours.advance(w, t)[:-1] - end).max() < 1e-12 * size


def test_a_fast_pole_shortens_the_reach_not_the_accuracy():
    """A pole at 500 over the stretch: reach is cut, the answer stays."""
    fast = Series(np.diag([-500.0, -0.1]), np.array([500.0, 0.0]), np.ones(2), [], 1.0)
    assert fast.reach < 0.02
    end, _, _ = fast.first_event(np.array([0.0, 1.0, 1.0]), 0.01)
    assert end[:2] == pytest.approx([-np.expm1(-5.0), np.exp(-0.001)], rel=1e-14)


def test_the_first_guard_to_fall_is_found():
    """Random rows on random oscillating systems, against scipy's integrator with events."""
    for _ in range(25):
        a = np.array([[-0.2, 6.0, 0.3], [-6.0, -0.2, 0.0], [0.5, 0.0, -1.0]])
        w = np.append(RNG.normal(size=3), 1.0)
        rows = [np.append(row := RNG.normal(size=3), 0.3 - min(row @ w[:3], 0)) for _ in range(3)]
        events = [lambda t, x, row=row: row[:3] @ x + row[3] for row in rows]
        for event in events:
            event.terminal, event.direction = True, -1
        theirs = solve_ivp(lambda t, x, a=a: a @ x, (0, 2.0), w[:3], method="DOP853", rtol=1e-12, atol=1e-13, events=events, max_step=0.01)
        _, when, which = Series(a, np.zeros(3), np.ones(3), rows, 2.0).first_event(w, 2.0)
        assert when == pytest.approx(theirs.t[-1], abs=1e-9)  # the integrator's own error
        assert which == next((k for k, times in enumerate(theirs.t_events) if len(times)), None)


def test_late_guards_count_from_their_time_on():
    """A guard below zero early and above later does not count early; one still below at its time falls there."""
    flow = Series(np.array([[0.0]]), np.array([1.0]), np.ones(1), [[1.0, -0.3], [-1.0, 0.5]], 1.0)
    w = np.array([0.0, 1.0])  # x = t: the first row is below zero up to 0.3, the second falls at 0.5
    assert flow.first_event(w, 1.0)[1:] == (0.0, 0)
    assert flow.first_event(w, 1.0, 0.4, 2)[1:] == (pytest.approx(0.5, rel=1e-15), 1)
    assert flow.first_event(w, 1.0, 0.2, 2)[1:] == (0.2, 0)
    assert flow.first_event(w, 1.0, 0.7, 1)[1:] == (0.0, 0)
    brief = Series(np.array([[0.0]]), np.array([1.0]), np.ones(1), [[1.0, -0.01], [-1.0, 0.0]], 1.0)
    assert brief.first_event(w, 1.0)[1:] == (0.0, 0)  # below zero for a moment at its start, and first in the list


def test_first_fall_of_polynomials_with_turns():
    """Polynomials made from their roots, up to five within the span: the first one counts."""
    for _ in range(200):
        roots = np.sort(RNG.uniform(0.05, 1.45, RNG.integers(1, 6)))
        p = np.polynomial.Polynomial([1.0, 0.0, 0.3])
        for root in roots:
            p = p * np.polynomial.Polynomial([1.0, -1 / root])
        if len(roots) > 1 and roots[1] - roots[0] < 1e-3:
            continue  # nearly a touch
        assert first_fall(p.coef.tolist(), 1.5, 1e-13) == pytest.approx(roots[0], rel=1e-9)
        assert first_fall(p.coef.tolist(), roots[0] * 0.999, 1e-13) is None


def test_a_polynomial_that_only_touches_zero_does_not_fall():
    """(s - 1/2)² touches zero; a hair lower it falls, just before."""
    assert first_fall([0.25, -1.0, 1.0], 1.0, 1e-13) is None
    assert first_fall([0.25 - 1e-8, -1.0, 1.0], 1.0, 1e-13) == pytest.approx(0.5 - 1e-4, rel=1e-9)


def test_extremes_lie_where_the_slope_is_nothing():
    """A sum of two oscillations from many states at once, against a fine grid."""
    a = np.array([[0.0, 5.0, 0.0], [-5.0, 0.0, 0.0], [0.0, 0.0, -1.0]])
    flow, row = Series(a, np.zeros(3), np.ones(3), [], 1.0), np.array([1.0, 0.2, 0.5, 0.0])
    w, t = np.vstack([RNG.normal(size=(3, 20)), np.ones(20)]), RNG.uniform(0.3, 4.0, 20)
    which, when, value = flow.turns(row, w, t)
    for k in range(20):
        times = np.linspace(0, t[k], 20001)
        fine = row[:3] @ flow.path(w[:, k], times)
        high, low = value[which == k].max(), value[which == k].min()
        assert (high, low) == pytest.approx((fine.max(), fine.min()), abs=1e-6)
        assert high >= fine.max() - 1e-12 and low <= fine.min() + 1e-12
        assert ((when[which == k] >= 0) & (when[which == k] <= t[k] * (1 + 1e-12))).all()


def test_two_turns_in_one_stretch_are_both_found():
    """Polynomials made from the places of their turns, no nearer than a look."""
    turns = np.sort(RNG.uniform(0.02, 0.98, (2, 60)), axis=0)
    turns = turns[:, turns[1] - turns[0] > 1 / (polynomials.LOOKS - 1)]
    slopes = [np.polynomial.Polynomial.fromroots([*pair, 1.7, -0.6]) for pair in turns.T]
    k, s = polynomials.turning(np.array([slope.integ().coef for slope in slopes]).T)
    assert turns.shape[1] > 20
    for each in range(turns.shape[1]):
        assert np.sort(s[k == each]) == pytest.approx(turns[:, each], abs=1e-7)  # what the value then errs by is the square
