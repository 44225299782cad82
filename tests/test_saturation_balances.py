"""An inductor that saturates: balances, points that change nothing, many at once, and what is read and refused."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from stages import converters, log_range, sizes, stage
from test_saturation import CASES, SOFT

from boostkit.circuit import Converter, switched, validity
from boostkit.circuit.converter import Inductor
from boostkit.circuit.modes import Circuit
from boostkit.circuit.saturation import ends, stretch_at
from boostkit.circuit.walk import period
from boostkit.derivations import switching

# ---------------------------------------------------------------------------------------------------- what must not change

def test_points_out_of_reach_change_nothing():
    """A curve whose first point lies beyond the peak current gives the linear result to the last digit."""
    linear, far = stage(), stage(saturation=[[2.2, 0.1]])
    a, b = switched.steady_state(linear), switched.steady_state(far)
    assert a.inductor_current.max < 2.2
    assert (a.output_voltage, a.inductor_current, a.losses, a.multipliers) == (
        b.output_voltage, b.inductor_current, b.losses, b.multipliers)
    assert b.energy_in_coil()[1] == pytest.approx(a.energy_in_coil()[1], rel=1e-14)


def test_points_that_leave_all_change_nothing():
    """Points beyond which the whole inductance is left are passed, and give the linear result to rounding."""
    linear, idle = switched.steady_state(stage()), switched.steady_state(stage(saturation=[[1.7, 1.0], [2.0, 1.0]]))
    assert len(idle.pieces) > len(linear.pieces)
    assert idle.pieces[0].state == pytest.approx(linear.pieces[0].state, rel=1e-12)
    assert idle.multipliers == pytest.approx(linear.multipliers, abs=1e-12)


# ------------------------------------------------------------------------------------------------------- balances

@pytest.mark.parametrize("case", CASES)
def test_energy_balance(case):
    """Input power is output power and losses; what each piece puts into the field is the difference of its energies; and
    volt-seconds are flux linkage."""
    c = CASES[case]
    s = switched.steady_state(c)
    assert s.input_power == pytest.approx(s.output_power + sum(s.losses.values()), rel=1e-10)
    around = 0.0
    for piece in s.pieces:
        m = piece.mode.flow.moments(piece.state, piece.duration)
        voltage, current = np.array(piece.mode.rows["v_inductor"]), np.array(piece.mode.rows["i_inductor"])
        i0, i1 = piece.state[0], piece.end_state[0]
        gained = c.inductor.flux_linkage(i1) - c.inductor.flux_linkage(i0)
        top = c.inductor.flux_linkage(s.inductor_current.max)
        assert voltage @ m[:, -1] == pytest.approx(gained, abs=1e-11 * top)
        assert voltage @ m @ current == pytest.approx(c.inductor.energy(i1, i0), abs=1e-11 * c.inductor.energy(s.inductor_current.max))
        around += gained
    assert abs(around) < 1e-11 * top


@st.composite
def saturating(draw):
    """Random converters over many decades whose inductor saturates within the reach of their current."""
    linear = draw(converters())
    try:
        s = switched.steady_state(linear)
    except ValueError:
        assume(False)
    points, at = [], sizes(s)[0]
    assume(at > 0)
    for share in sorted(draw(st.lists(st.floats(0.1, 1.5), min_size=1, max_size=5, unique=True))):
        points.append([share * at, draw(log_range(0.02, 1.0))])
    return linear.change(saturation=points)


@settings(derandomize=True, max_examples=150, deadline=None, database=None)
@given(saturating())
def test_random_balances(converter):
    """Volt-seconds and energy close, and the current stays in its stretch, for random saturating converters."""
    try:
        s = switched.steady_state(converter)
    except ValueError as refused:
        assert "collapse" in str(refused)
        return
    assert s.input_power == pytest.approx(s.output_power + sum(s.losses.values()), rel=1e-9)
    current, voltage = sizes(s)
    total = sum(np.array(p.mode.rows["v_inductor"]) @ p.mode.flow.moments(p.state, p.duration)[:, -1] for p in s.pieces)
    assert abs(total) < 1e-13 * converter.inductor.inductance * current + 1e-10 * voltage * s.period
    for piece in s.pieces:
        low, high = (math.copysign(math.inf, k) if end is None else end for k, end in
                     zip((-1, 1), ends(converter.inductor.saturation, piece.mode.kind.stretch), strict=True))
        for i in (piece.state[0], piece.end_state[0]):
            assert low - 1e-10 * current <= i <= high + 1e-10 * current


@pytest.mark.parametrize("case", CASES)
def test_multipliers_are_the_derivative_of_a_period(case):
    """The multipliers are those of the period's map, differentiated by differences: events move with the disturbance."""
    circuit, s = Circuit(CASES[case]), switched.steady_state(CASES[case])
    x, columns = np.array(s.pieces[0].state), []
    for k in range(circuit.n):
        step = np.zeros(circuit.n)
        step[k] = 1e-6 * max(abs(x[k]), 0.1)
        back = 0 if x[k] == 0 else 1                                         # a diode bars a current below zero
        ahead, behind = (period(circuit, tuple(x + sign * step), 0.0, [])[0] for sign in (1, -back))
        columns.append(np.subtract(ahead, behind) / ((1 + back) * step[k]))
    found = np.linalg.eigvals(np.array(columns).T)
    # rounding 1e-16 over a step of 1e-6, and the curvature of the map on the one side at rest
    assert np.sort_complex(found) == pytest.approx(np.sort_complex(np.array(s.multipliers)), abs=2e-7)


# ------------------------------------------------------------------------------------------ many, duty, formulas

def test_many_at_once_equal_single_ones():
    """Entries that saturate and entries that do not equal their single steady states; a changed inductance takes the curve
    along."""
    c = stage(saturation=SOFT)
    batch = switched.steady_states(c, r_load=np.array([60.0, 30.0, 20.0, 12.0]), inductance=np.array([40e-6, 47e-6, 47e-6, 55e-6]))
    assert not batch.refused
    for k in range(4):
        one = switched.steady_state(c.change(r_load=float(batch.letters["r_load"][k]), inductance=float(batch.letters["inductance"][k])))
        assert batch.inductor_current.max[k] == pytest.approx(one.inductor_current.max, rel=1e-11)
        assert batch.output_voltage.mean[k] == pytest.approx(one.output_voltage.mean, rel=1e-11)
    assert batch.inductor_current.max[3] > 3 > 1.6 > batch.inductor_current.max[0]      # both kinds were there


def test_duty_for_an_output():
    """The duty that `duty_for` finds gives that output, with a coil that saturates."""
    c = CASES["hard"]
    assert switched.steady_state(c.change(duty=switched.duty_for(c, 16.0))).output_voltage.mean == pytest.approx(16.0, rel=1e-10)


def test_formulas_do_not_claim_to_hold_in_saturation():
    """Where the current saturates the inductor no formula claims to hold, with the reason in words; elsewhere it does."""
    c = stage(saturation=[[2.0, 0.2]])
    loads = np.array([60.0, 20.0])
    found = validity.compare(switching.inductor_ripple().formula, None, c, "r_load", loads)
    assert found.holds.tolist() == [True, False]
    assert found.why == ("", validity.SATURATES)
    assert abs(found.error[1]) > 0.3                                        # and rightly so
    states = switched.steady_states(c, r_load=loads)
    single = switched.steady_state(c.change(r_load=20.0))
    assert validity.swing(states)[1] == pytest.approx(validity.swing(single), rel=1e-11)
    high, low = single.inductor_current.max, single.inductor_current.min
    assert validity.swing(single) == pytest.approx(c.inductor.energy(high) - c.inductor.energy(low), rel=1e-12)


# ------------------------------------------------------------------------------------------- what is read and refused

def test_file_round_trip():
    """Points in a file, with and without units, arrive as numbers and go back as they came."""
    c = Converter.from_dict(stage().to_dict() | {"inductor": {"inductance": "47 µH", "saturation": [["2 A", "50 %"], [3, 0.1]]}})
    assert c.inductor.saturation == ((2.0, 0.5), (3.0, 0.1))
    assert Converter.from_dict(c.to_dict()) == c
    assert c.change(saturation=None) == c.change(saturation=[]) and c.change(saturation=None).inductor.saturation == ()
    assert "saturation" not in c.letters()


@pytest.mark.parametrize(("points", "words"), [
    (3.0, "inductor.saturation = 3.0 must be a list of pairs"), ([2.0, 0.5], "must be a list of pairs"),
    ([[2.0, 0.5, 1.0]], "must be a list of pairs"), ([[0.0, 0.5]], r"inductor.saturation\[1\].current = 0 A must lie"),
    ([[2.0, 0.5], [2.0, 0.3]], r"inductor.saturation\[2\].current = 2 A must lie .* each above the one before"),
    ([[2.0, 0.0]], r"inductor.saturation\[1\].share = 0 must lie in"), ([[2.0, 1.5]], r"share = 1.5 must lie"),
    ([[2.0, math.nan]], "share = nan must be a finite number"), ([["2 V", 0.5]], r"saturation\[1\].current = "),
    ([[k + 1.0, 0.5] for k in range(101)], "a list of 101 points must have at most 100"),
])  # fmt: skip
def test_nonsense_is_refused(points, words):
    """What is no curve is refused by point and rule."""
    with pytest.raises(ValueError, match=words):
        stage(saturation=points)


def test_curve_through_points():
    """Straight lines through flux linkages: the first slope is the inductance, each next one a share of it."""
    coil = Inductor.through([1.0, 2.0, 4.0], [10e-6, 14e-6, 16e-6], resistance=0.1)
    assert coil.inductance == pytest.approx(10e-6) and coil.resistance == 0.1
    assert np.array(coil.saturation) == pytest.approx(np.array([[1.0, 0.4], [2.0, 0.1]]))
    assert coil.flux_linkage(np.array([1.0, 2.0, 4.0, -4.0])) == pytest.approx(np.array([10e-6, 14e-6, 16e-6, -16e-6]))
    assert Inductor.through([2.0], [20e-6]) == Inductor(10e-6)
    for currents, flux, words in (([1, 1], [1e-6, 2e-6], "current of point 2"), ([1, 2], [2e-6, 1e-6], "flux linkage of point 2"),
                                  ([1, 2], [1e-6, 3e-6], "slope before point 2"), ([], [], "at least one point")):
        with pytest.raises(ValueError, match=words):
            Inductor.through(currents, flux)


def test_stretches_are_odd():
    """Stretches are numbered from zero current outwards, both ways, and end at the points."""
    curve = ((1.0, 0.5), (2.0, 0.1))
    assert [stretch_at(curve, i) for i in (-3.0, -1.5, -0.5, 0.0, 0.5, 1.0, 2.5)] == [-2, -1, 0, 0, 0, 1, 2]
    assert [ends(curve, k) for k in (-2, -1, 0, 1, 2)] == [(None, -2.0), (-2.0, -1.0), (-1.0, 1.0), (1.0, 2.0), (2.0, None)]
