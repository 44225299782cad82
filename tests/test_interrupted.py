"""A coil whose current is interrupted: the exact courses against Kirchhoff's laws, the energy books, and plain sense.

The courses are held against scipy's `solve_ivp` of Kirchhoff's laws, written down here.
"""

import math

import numpy as np
import pytest
from coils import drawn
from scipy.integrate import solve_ivp

from boostkit.circuit import Coil

# --- the exact course against Kirchhoff's laws ---


def kirchhoff(coil, current_of, c_stray, times):
    """solve_ivp of loop and node: L di/dt = V_in - R i - v, C dv/dt = i - i_path(v)."""
    def rates(t, x):
        return [(coil.v_in - coil.r_inductor * x[0] - x[1]) / coil.inductance, (x[0] - current_of(x[1])) / c_stray]
    found = solve_ivp(rates, (0, times[-1]), [coil.i_start, 0.0], method="DOP853", rtol=1e-12, atol=1e-12, t_eval=times,
                      max_step=1e-8)
    return found.y


@pytest.mark.parametrize(("follow", "current_of"), [
    (lambda c: c.into_capacitance(1e-9), lambda v: 0.0),
    (lambda c: c.through_resistor(500, "switch", c_stray=1e-9), lambda v: v / 500),
    (lambda c: c.through_resistor(100, "coil", c_stray=1e-9), lambda v: (v - 6.0) / 100),
    (lambda c: c.through_diode(0.7, 5.0, c_stray=1e-9), lambda v: max(0.0, (v - 6.7) / 5)),
    (lambda c: c.into_clamp(40, "switch", 20.0, c_stray=1e-9), lambda v: max(0.0, (v - 40) / 20)),
], ids=["capacitance", "voltmeter", "resistor", "diode", "clamp"])
def test_two_states_agree_with_kirchhoff(follow, current_of):
    """With stray capacitance: current and voltage agree with scipy to 1e-8 of their largest, through every start and stop."""
    coil = Coil(6.0, 10e-6, 0.8, 0.3)
    seen = follow(coil).waveforms(300)
    times, first = np.unique(seen.time, return_index=True)
    current, voltage = kirchhoff(coil, current_of, 1e-9, times)
    assert seen.i_inductor[first] == pytest.approx(current, abs=1e-8 * np.max(np.abs(current)))
    assert seen.v_switch[first] == pytest.approx(voltage, abs=1e-8 * np.max(np.abs(voltage)))
    assert seen.i_path[first] == pytest.approx([current_of(v) for v in voltage], abs=2e-8 * np.max(np.abs(voltage)))


@pytest.mark.parametrize(("follow", "across"), [
    (lambda c: c.through_resistor(30, "coil"), lambda i: 30 * i),
    (lambda c: c.through_resistor(30, "switch"), lambda i: 30 * i - 6.0),
    (lambda c: c.closed(20e-6, 0.1), lambda i: 0.1 * i - 6.0),
    (lambda c: c.through_diode(0.7, 0.1), lambda i: 0.7 + 0.1 * i),
    (lambda c: c.into_clamp(40, resistance=2.0), lambda i: 34 + 2 * i),
    (lambda c: c.into_clamp(40, "coil"), lambda i: 40.0),
], ids=["resistor", "resistor across switch", "closed", "diode", "clamp", "clamp across coil"])
def test_one_state_agrees_with_kirchhoff(follow, across):
    """Without stray capacitance: `across` is what stands against the coil, L di/dt = -R i - across; scipy finds the end."""
    coil = Coil(6.0, 10e-6, 0.8, 0.3)
    course = follow(coil)
    seen = course.waveforms(100)

    def zero(t, x):
        return x[0]
    zero.terminal, zero.direction = True, -1
    found = solve_ivp(lambda t, x: (-0.3 * x - across(x[0])) / 10e-6, (0, 2 * course.duration), [0.8], method="DOP853",
                      rtol=1e-12, atol=1e-14, dense_output=True, events=zero)
    inside = seen.time <= found.t[-1]
    assert seen.i_inductor[inside] == pytest.approx(found.sol(seen.time[inside])[0], abs=1e-8 * 0.8)
    assert seen.v_switch == pytest.approx(6.0 + np.array([across(i) for i in seen.i_inductor]), rel=1e-12)
    ends = found.t_events[0]
    assert course.time_to_rest == (pytest.approx(ends[0], rel=1e-8) if ends.size else math.inf)


@pytest.mark.parametrize("seed", range(40))
def test_the_books_balance(seed):
    """What the field and the source give arrives in path, winding, field and capacitance, to rounding."""
    g, coil = drawn(seed)
    courses = [coil.closed(g["t"]), coil.through_resistor(g["r_path"]), coil.through_resistor(g["r_path"], "switch"),
               coil.through_diode(g["v_rectifier"], 0.1), coil.into_clamp(g["v_clamp"]), coil.into_clamp(g["v_clamp"], "coil"),
               coil.into_capacitance(g["c_stray"])]
    for course in courses:
        assert abs(course.books) < 1e-10, course.path
    stiff = [coil.through_diode(g["v_rectifier"], 0.1, g["c_stray"]), coil.into_clamp(g["v_clamp"], "coil", 1.0, g["c_stray"])]
    for course in stiff:      # rounding grows with the ratio of the time constants, 1e7 and more
        assert abs(course.books) < 1e-7, course.path


def test_the_books_of_a_coil_without_current():
    """A coil that rings up from rest gives back what it took, and one without a source has no books to close: both balance."""
    for coil in (Coil(6.0, 1e-3, 0.0), Coil(6.0, 47e-6, 1e-9), Coil(0.0, 1e-3, 0.0)):
        assert abs(coil.into_capacitance(2e-10).books) < 1e-10
    assert Coil(0.0, 1e-3, 0.0).closed(1.0).books == 0
    assert Coil(6.0, 1e-3, 0.0).into_capacitance(2e-10).v_switch_peak == pytest.approx(12.0)     # twice the source


# --- what follows without arithmetic ---


def test_the_path_decides_the_voltage():
    """The same coil makes 20 V, 2 MV or 6.7 V: resistance times current, and a diode's forward voltage above the source."""
    coil = Coil(6.0, 47e-6, 2.0)
    assert coil.through_resistor(10).v_switch_peak == pytest.approx(6 + 20)
    assert coil.through_resistor("1 MΩ", "switch").v_switch_peak == pytest.approx(2e6)
    assert coil.through_diode("0.7 V").v_switch_peak == pytest.approx(6.7)
    for v_in in (1.0, 100.0):
        assert Coil(v_in, 47e-6, 2.0).through_resistor(10).waveforms(9).v_path.max() == pytest.approx(20)


def test_obvious_answers():
    """Twice the clamp voltage, half the time; the source adds nothing to a clamp across the coil; slope is voltage over L."""
    coil = Coil("6 V", "47 µH", "2 A")
    slow, fast = (coil.into_clamp(volts, "coil") for volts in (20, 40))
    assert slow.time_to_rest == pytest.approx(2 * fast.time_to_rest)
    assert slow.energies["source"] == fast.energies["source"] == 0
    assert slow.energies["path"] == pytest.approx(fast.energies["path"])
    clamped = coil.into_clamp(12)           # at twice the source the source gives as much as the field
    assert clamped.energies["source"] == pytest.approx(clamped.energies["field_before"])
    assert clamped.energies["path"] == pytest.approx(47e-6 * 2.0**2)
    seen = Coil(6, 47e-6, 2, 0.3).through_diode(0.7, 0.1, c_stray="200 pF").waveforms(400)
    assert len(seen.edges) == 2         # the diode starts, and stops; the fading ring does not wake it again
    woken = coil.through_diode(0.7, 0.1, c_stray="200 pF")      # a ring that nothing else damps wakes the diode again
    assert len(woken.parts) > 10 and woken.time_to_rest == woken.parts[2].start
    inside = (seen.time > 2e-6) & (seen.time < 50e-6)
    slopes = np.gradient(seen.i_inductor[inside], seen.time[inside])[1:-1]
    assert slopes == pytest.approx(seen.v_inductor[inside][1:-1] / 47e-6, rel=1e-4)       # differences of samples


def test_peak_is_reached_where_the_current_is_zero():
    """A lossless kick peaks where the coil current passes zero, and swings as far below the source as above it."""
    course = Coil(6.0, 47e-6, 2.0).into_capacitance(200e-12)
    part = course.parts[0]
    current, voltage = part.stage.flow.advance(part.state, course.peak_at)
    assert abs(current) < 1e-12 and voltage == course.v_switch_peak
    assert course.waveforms(20001).v_switch.min() == pytest.approx(2 * 6.0 - course.v_switch_peak, rel=1e-5)     # sampled


@pytest.mark.parametrize(("wrong", "words"), [
    (lambda c: c.into_clamp(6), "v_clamp = 6 V must lie above 6 V: .*never falls to zero"),
    (lambda c: c.into_clamp("4 V"), "v_clamp = 4 V must lie above 6 V"),
    (lambda c: c.into_clamp(0, "coil"), "v_clamp = 0 V must lie above 0 V"),
    (lambda c: c.through_diode(0), "v_forward = 0 V must lie above 0 V"),
    (lambda c: c.into_clamp(30, "core"), '"switch" or "coil"'),
    (lambda c: c.through_resistor(0), "resistance = 0 Ω must"),
    (lambda c: c.into_capacitance("200 Ω"), "c_stray"),
    (lambda c: c.into_capacitance(200e-12, 1.0), "duration = 1 s must be at most .*rings"),
    (lambda c: c.closed(0), "duration = 0 s must"),
    (lambda c: Coil(6, 47e-6, 0).into_clamp(30), "i_start = 0 A must .*nothing to interrupt"),
    (lambda c: Coil(6, 0, 1), "inductance = 0 H must"),
    (lambda c: Coil(6, 1e-6, float("nan")), "i_start = nan must"),
    (lambda c: c.closed(1e-6).waveforms(1), "n = 1 must"),
    (lambda c: c.closed(1e-6).waveforms(10**10), "n = 1e10 must"),
    (lambda c: Coil(6, 1e12, 1e-15, 0.05).through_diode(0.7, 0.1, 2e-10), "at most 3000 times within .*more often"),
    (lambda c: c.through_diode(0.7, 1e-6, 2e-10), "must be solved to 1e-06, and the energies .* differ by"),
])
def test_nonsense_is_refused(wrong, words):
    """One line: name, value, rule, and why."""
    with pytest.raises(ValueError, match=words) as trouble:
        wrong(Coil(6.0, 47e-6, 2.0))
    assert "\n" not in str(trouble.value)
