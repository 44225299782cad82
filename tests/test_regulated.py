"""The closed loop on the exact circuit against what is known in closed form, against the open loop, and against itself.

An independent integration of the same loops is in test_regulated_against.py.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from boostkit.circuit import Converter, regulated, switched
from boostkit.circuit.controller import Controller, Sampled
from boostkit.circuit.linear import Linear
from boostkit.circuit.loop_periodic import derivative

F_SW = 150e3
T_SW = 1 / F_SW
STAGE = Converter.of(v_in=6.0, duty=0.68, f_sw=F_SW, inductance=47e-6, r_inductor=0.05, r_switch=0.03, v_rectifier=0.4,
                     r_rectifier=0.03, capacitance=100e-6, r_capacitor=0.01, r_load=18 / 0.35)  # fmt: skip
SECOND = Converter.of(v_in=6.0, duty=0.68, f_sw=F_SW, inductance=47e-6, r_inductor=0.05, r_switch=0.03, rectifier="switch",
                      r_rectifier=0.03, dead_time=60e-9, capacitance=100e-6, r_capacitor=0.01, i_out=0.35)  # fmt: skip
FILTERED = STAGE.change(r_source=0.1, l_source=1e-6, c_input=47e-6, r_input_capacitor=0.02)
STAGES = {"diode": STAGE, "light load": STAGE.change(r_load=900.0), "second switch": SECOND, "input capacitor": FILTERED,
          "saturating": STAGE.change(saturation=((1.0, 0.7), (2.0, 0.4)))}  # fmt: skip
TWO_ZEROS = Linear.corner_form(2 * np.pi * 8.0, (600, 600), (20e3, 75e3), integrators=1)
ONE_ZERO = Linear.corner_form(2 * np.pi * 60.0, (800,), (), integrators=1)
VOLTAGE = Controller(TWO_ZEROS, 18.0, high=1.0, i_limit=4.0, soft_start=300 * T_SW, least_on_time=200e-9, most_duty=0.9)
CURRENT = Controller(ONE_ZERO, 18.0, drive="current", sense=0.1, slope=3e5, high=0.6, most_duty=0.9)
DIGITAL = Sampled(((1.0,),), (0.0003,), (1.0,), 0.002, 18.0)


def fixed(duty, **more):
    """A regulator that regulates nothing: its control voltage stands still."""
    return Controller(Linear.constant(0.0), 18.0, bias=duty, most_duty=0.99, **more)


@pytest.mark.parametrize("name", STAGES)
def test_a_control_voltage_that_stands_still_is_a_fixed_duty(name):
    """Then the loop is the open one, and both walks through the circuit agree."""
    stage = STAGES[name]
    loop, plain = regulated.follow(stage, fixed(0.68), 300), switched.from_rest(stage, 300)
    size = max(abs(x) for x in plain.state)
    assert np.abs(np.subtract(loop.last.x, plain.state)).max() < 1e-11 * size  # two ways of rounding over 300 periods
    for ours, theirs in ((loop.output_voltage, plain.output_voltage), (loop.inductor_current, plain.inductor_current)):
        assert (ours.min, ours.max) == pytest.approx((theirs.min, theirs.max), rel=1e-11, abs=1e-11)
        assert ours.max_at == pytest.approx(theirs.max_at, abs=1e-5 * T_SW)  # a turn lies as sharp as the root of rounding


def test_a_step_within_a_period_is_the_open_loops():
    """A change of source and load at 0.3 of a period, the duty fixed: as `switched.after_step` has it."""
    after = STAGE.change(v_in=5.5, r_load=30.0)
    plain = switched.after_step(STAGE, after, 50, at=0.3)
    loop = regulated.follow(STAGE, fixed(0.68), 50, begin="steady", changes=((0.3 * T_SW, after),))
    assert loop.last.x == pytest.approx(plain.state, rel=1e-11)
    assert loop.output_voltage.min == pytest.approx(plain.output_voltage.min, rel=1e-11)


def energy(stage, piece, which):
    """What `which` says of one piece, J: the integral of a product of two rows."""
    m, rows = piece.mode.flow.moments(piece.state, piece.duration), piece.mode.rows
    return sum(factor * np.array(rows[a]) @ m @ np.array(rows[b]) for factor, a, b in which)


@pytest.mark.parametrize("controller", [VOLTAGE, CURRENT, DIGITAL], ids=["voltage", "current", "sampled"])
def test_energy_balances(controller):
    """Over a start-up, what comes from the source is what the load and the losses took and what is stored at the end."""
    course = regulated.follow(STAGE, controller, 400)
    heat = [(STAGE.inductor.resistance, "i_inductor", "i_inductor"), (1, "v_switch", "i_switch"), (1, "v_rectifier", "i_rectifier"),
            (STAGE.capacitor.series_resistance, "i_capacitor", "i_capacitor"), (1, "v_out", "i_load")]  # fmt: skip
    comes = sum(energy(STAGE, p, [(1, "v_input", "i_source")]) for p in course.pieces)
    goes = sum(energy(STAGE, p, heat) for p in course.pieces)
    current, voltage = course.last.x
    stored = STAGE.inductor.inductance * current**2 / 2 + STAGE.capacitor.capacitance * voltage**2 / 2
    assert comes == pytest.approx(goes + stored, rel=1e-11)  # rounding over a thousand pieces


def test_an_integrator_lets_no_error_last():
    """In steady state the mean output is the set point, whatever the losses; and the loop arrives there."""
    steady = regulated.steady(STAGE, VOLTAGE)
    assert steady.stable and steady.mode == "continuous"
    assert steady.output_voltage.mean == pytest.approx(18.0, rel=1e-13)
    settled = regulated.follow(STAGE, VOLTAGE, 4000, keep=False)
    assert settled.duty[-1] == pytest.approx(steady.duty, rel=1e-10)
    assert settled.pieces[0].state[:2] == pytest.approx(steady.state, rel=1e-9)


def test_a_network_integrates_the_error_it_is_given():
    """A bare integrator climbs by the integral of the error, here reckoned from the output alone."""
    course = regulated.follow(STAGE, Controller(Linear.corner_form(50.0, integrators=1), 18.0, high=10.0), 200)
    first, last = course.pieces[0], course.pieces[-1]
    begin, end = (np.array(p.mode.rows["control"]) @ w for p, w in ((first, first.state), (last, course.last.w)))
    area = sum(np.array(p.mode.rows["v_out"]) @ p.mode.flow.moments(p.state, p.duration)[:, -1] for p in course.pieces)
    assert end - begin == pytest.approx(50.0 * (18.0 * 200 * T_SW - area), rel=1e-11)


# Erickson & Maksimovic, Fundamentals of Power Electronics, 3rd ed., eq. 18.40-18.58 (as quoted): a disturbance of
# peak-current control grows by -(1 - m_a/m_2)/(D'/D + m_a/m_2) a period. The book holds the output still: so does 1 F.
@pytest.mark.parametrize(("share", "grows"), [(0.0, -1.5), (0.5, -0.42857142857142855), (1.0, 0.0)])
def test_peak_current_grows_by_the_books_factor(share, grows):
    """20 V to 50 V, duty 0.6: as a multiplier, and as what a nudge of the current does over the next periods."""
    stage = Converter.of(v_in=20.0, duty=0.6, f_sw=100e3, inductance=50e-6, capacitance=1.0, r_load=25.0)
    climb, ramp = 20 / 50e-6, share * 30 / 50e-6
    peak = 5.0 + climb * 3e-6 + ramp * 6e-6  # mean current 5 A, half the ripple, and the ramp at the end of the on-time
    steady = regulated.steady(stage, fixed(0.1 * peak, drive="current", sense=0.1, slope=ramp))
    assert steady.duty == pytest.approx(0.6, rel=1e-6)  # the mean output is off by its own droop
    assert min(steady.multipliers, key=lambda m: abs(m - grows)) == pytest.approx(grows, abs=3e-6)  # 1 F is not quite still
    assert steady.stable == (abs(grows) < 1)
    run = steady.last.copy()
    run.take(run.vector() + [1e-3, 0.0])
    course = regulated.follow(stage, steady.controller, 4, begin=run)
    starts = [piece.state[0] - steady.state[0] for piece in course.pieces if piece.mode.kind.switch == "closed"]
    assert starts == pytest.approx([1e-3 * grows**k for k in range(4)], abs=1e-8)


def numeric(run):
    """The derivative of a period by differences, from where `run` stands."""
    start, found = run.vector(), []
    for k in range(len(start)):
        nudge = 1e-6 * max(abs(start[k]), 1e-3)
        ends = []
        for sign in (1, -1):
            twin = run.copy()
            twin.take(start + sign * nudge * np.eye(len(start))[k])
            twin.period()
            ends.append(twin.vector())
        found.append((ends[0] - ends[1]) / (2 * nudge))
    return np.array(found).T


LOOPS = {
    "voltage": (STAGE, VOLTAGE), "current": (STAGE, CURRENT), "discontinuous": (STAGE.change(r_load=400.0), VOLTAGE),
    "second switch": (SECOND, VOLTAGE), "second switch, current": (SECOND, CURRENT), "input capacitor": (FILTERED, VOLTAGE),
    "sampled at once": (STAGE, replace(DIGITAL, delay=0)), "sampled": (STAGE, DIGITAL), "sampled late": (SECOND, replace(DIGITAL, delay=2)),
}  # fmt: skip


@pytest.mark.parametrize("name", LOOPS)
def test_multipliers_are_the_periods_own_derivative(name):
    """The exact derivative of a period against differences of two periods; and a steady state is one period's own end."""
    steady = regulated.steady(*LOOPS[name])
    run = steady.last.copy()
    run.period()
    assert run.vector() == pytest.approx(steady.last.vector(), rel=1e-9, abs=1e-11)
    exact, by_differences = derivative(run, steady.last), numeric(steady.last)
    size = np.abs(exact).max(axis=1, keepdims=True) + 1e-300
    assert np.abs((exact - by_differences) / size).max() < 1e-5  # differences of 1e-6 leave that much
    moduli = sorted(np.abs(np.linalg.eigvals(by_differences)))
    assert sorted(np.abs(steady.multipliers)) == pytest.approx(moduli, abs=2e-4)
    if "discontinuous" in name:
        assert steady.mode == "discontinuous"


def test_the_comparator_opens_the_switch_where_it_trips():
    """At each opening the control voltage is on the ramp, or on the sensed current with its slope, to rounding."""
    for controller in (VOLTAGE, CURRENT):
        course = regulated.follow(STAGE, controller, 100, begin="steady", changes=((10.2 * T_SW, STAGE.change(r_load=40.0)),))
        tripped = 0
        for before, after in pairwise(course.pieces):
            if before.mode.kind.switch == "closed" and after.mode.kind.switch == "open":
                w = before.mode.flow.advance(before.state, before.duration)
                y, on = np.array(before.mode.rows["control"]) @ w, after.start - T_SW * np.floor(before.start / T_SW + 1e-6)
                other = on * F_SW if controller is VOLTAGE else 0.1 * (w[0] + 3e5 * on)
                assert y == pytest.approx(other, abs=1e-12)
                tripped += 1
        assert tripped == 100


def test_a_current_limit_opens_at_the_limit():
    """Overloaded, each pulse ends at the limit to rounding or at the most duty (above half duty a bare limit swings), and the output
    falls short; so no steady state is handed out."""
    heavy = STAGE.change(r_load=9.0)
    course = regulated.follow(heavy, VOLTAGE, 900)
    turns = np.array([p.end_state[0] for p in course.pieces if p.start > 800.5 * T_SW and p.mode.kind.switch == "closed"])
    short = course.duty[801:] < 0.9 * (1 - 1e-12)
    assert turns[short] == pytest.approx([4.0] * int(short.sum()), rel=1e-12) and 40 < short.sum() < 99
    assert (turns[~short] < 4.0).all()
    assert course.window(800 * T_SW, 900 * T_SW).max < 18.0
    with pytest.raises(ValueError, match=r"i_limit = 4 A holds the current"):
        regulated.steady(heavy, VOLTAGE)


def test_the_least_on_time_outlasts_the_limit_and_the_most_duty_ends_a_pulse():
    """Both by the clock: durations to rounding."""
    blunt = replace(VOLTAGE, least_on_time=1e-6, i_limit=0.5, soft_start=0.0)
    shorted = STAGE.change(r_load=2.0)
    course = regulated.follow(shorted, blunt, 60)
    assert course.duty[20:] == pytest.approx(1e-6 * F_SW, rel=1e-12)
    weak = regulated.follow(STAGE, replace(VOLTAGE, v_set=200.0, i_limit=None, high=5.0, soft_start=0.0), 200)
    assert weak.duty[-50:] == pytest.approx(0.9, rel=1e-12)


def test_no_pulse_where_nothing_is_asked_for():
    """The output above its set point: every pulse skipped while the control voltage stands at the foot of the ramp."""
    course = regulated.follow(STAGE, replace(VOLTAGE, v_set=4.0, soft_start=0.0), 200)
    assert not course.duty[20:].any() and course.output_voltage.max > 5.0
    late = [p for p in course.pieces if p.start > 20 * T_SW]
    assert {p.mode.kind.clamp for p in late} == {-1} and {p.mode.kind.switch for p in late} == {"open"}
    with pytest.raises(ValueError, match="v_set = 4 V is out of reach"):
        regulated.steady(STAGE, replace(VOLTAGE, v_set=4.0))


def test_a_clamped_integrator_stands_still_and_comes_free_at_no_error():
    """A bare integrator at its limit: nothing winds up, and it comes free at the instant at which the error changes sign."""
    controller = Controller(Linear.corner_form(3000.0, integrators=1), 12.0, high=0.8, most_duty=0.9)
    course = regulated.follow(STAGE, controller, 120)
    held = [p for p in course.pieces if p.mode.kind.clamp == 1]
    freed = [p for p in held if p.ended_by and p.ended_by in [row for name, row in p.mode.guards if name == "frees"]]
    assert len(freed) >= 1
    assert [p.state[2] for p in held] == pytest.approx([held[0].state[2]] * len(held), rel=1e-14)
    for piece in freed:
        assert np.array(piece.mode.rows["error"]) @ piece.end_state == pytest.approx(0.0, abs=1e-11)


def test_a_clamped_network_with_a_direct_path_goes_on_as_if_the_limit_had_been_asked_for():
    """One zero, held at its limit: its state goes to the limit with the time constant of the zero; it leaves where y would fall below."""
    controller = replace(CURRENT, high=0.3, v_set=18.0)
    course = regulated.follow(STAGE, controller, 300)
    b, c, d = float(ONE_ZERO.b[0]), float(ONE_ZERO.c[0]), ONE_ZERO.d
    held = [p for p in course.pieces if p.mode.kind.clamp == 1]
    assert len(held) > 20
    for piece in held:
        gap = 0.3 - c * piece.state[2]  # bias is 0; gap' = -(b c / d) gap
        left = 0.3 - c * piece.end_state[2]
        assert left == pytest.approx(gap * np.exp(-b * c / d * piece.duration), abs=1e-13)


def test_a_network_that_starts_beyond_its_limit_is_put_on_it():
    """A bias above the limit: the clamp has charged the network before the first clock."""
    for network in (TWO_ZEROS, ONE_ZERO):
        course = regulated.follow(STAGE, Controller(network, 18.0, bias=5.0, high=0.4), 3)
        assert course.waveforms(100).control.max() <= 0.4 * (1 + 1e-14)
        assert course.duty == pytest.approx([0.4] * 3, rel=1e-12)  # the error asks for more all the time
        if not network.d:  # with a direct path it is the input that the clamp holds
            assert 5.0 + network.c @ course.pieces[0].state[2:5] == pytest.approx(0.4, rel=1e-13)


@pytest.mark.parametrize(("gain", "bias", "soft_start"), [(900.0, 0.0, 0.0), (9e3, 0.2, 20 * T_SW)], ids=["at once", "soft"])
def test_a_network_that_lags_behind_its_input_does_not_wind_up_either(gain, bias, soft_start):
    """An integrator with two poles behind it: held, all its states stay where they ask for the limit and no more; free again once the
    error changes sign, without a jump of the control voltage."""
    lag = Linear.corner_form(gain, (), (5e3, 9e3), integrators=1)
    course = regulated.follow(STAGE, Controller(lag, 12.0, high=0.6, most_duty=0.9, bias=bias, soft_start=soft_start), 150)
    held = [p for p in course.pieces if p.mode.kind.clamp == 1]
    free = [p for p in held if p.ended_by and p.ended_by in [row for name, row in p.mode.guards if name == "frees"]]
    assert free and course.waveforms(2000).control.max() <= 0.6 * (1 + 1e-12)
    assert any(p.mode.kind.rising for p in held) == bool(soft_start)
    for piece in held:
        z = piece.end_state[2:5]
        climbs = bias * T_SW / soft_start if piece.mode.kind.rising else 0.0
        offset = bias * piece.end_state[5] / 12.0
        assert [offset + lag.c @ z, climbs + lag.c @ lag.a @ z * T_SW] == pytest.approx([0.6, 0.0], abs=1e-10)
    for piece in free:  # at rest at the limit, so what asks for less is the sign of the error
        assert np.array(piece.mode.rows["error"]) @ piece.end_state == pytest.approx(0.0, abs=1e-6)


def test_a_clamp_that_holds_all_the_time_is_no_steady_state():
    """The amplifier at its limit, in current drive: what the current is then limited to does not reach the set point."""
    with pytest.raises(ValueError, match=r"high = 100 mV holds the control voltage"):
        regulated.steady(STAGE, replace(CURRENT, high=0.1))


def test_the_set_point_climbs_in_a_straight_line():
    """Soft start: linear in time, at its end exactly the set point, in whole periods."""
    wave = regulated.follow(STAGE, replace(VOLTAGE, soft_start=99.4 * T_SW), 150).waveforms(3000)
    assert wave.set_point == pytest.approx(np.minimum(18.0 * wave.time / (100 * T_SW), 18.0), abs=1e-10)


def test_a_sampled_regulators_pulse_ends_at_the_limit_or_after_the_least_on_time():
    """Its current limit is exact, counts from the least on-time on, and leaves the set point to climb as it did."""
    sharp = replace(DIGITAL, a=((1.0,),), b=(0.0,), c=(1.0,), d=0.0, start=(0.7,), i_limit=2.0, least_on_time=0.5e-6, soft_start=80 * T_SW)
    course = regulated.follow(STAGE.change(r_load=6.0), sharp, 150)
    turns = np.array([p.end_state[0] for p in course.pieces if p.mode.kind.switch == "closed"])
    by_limit = (course.duty[course.duty > 0] < 0.7 * (1 - 1e-12)) & (course.duty[course.duty > 0] > 0.5e-6 * F_SW * (1 + 1e-12))
    assert by_limit.sum() > 20 and turns[by_limit] == pytest.approx([2.0] * int(by_limit.sum()), rel=1e-12)
    assert course.duty[course.duty > 0].min() == pytest.approx(0.5e-6 * F_SW, rel=1e-12)  # the inrush is beyond the limit
    wave = course.waveforms(3000)
    assert wave.set_point == pytest.approx(np.minimum(18.0 * wave.time / (80 * T_SW), 18.0), abs=1e-10)


def test_to_go_on_is_to_have_gone_on():
    """Two courses end to end are one course, bit for bit, a change in the second included."""
    change = ((250.37 * T_SW, STAGE.change(r_load=30.0)),)
    whole = regulated.follow(STAGE, VOLTAGE, 400, changes=change)
    half = regulated.follow(STAGE, VOLTAGE, 200)
    for _ in range(2):  # `last` is not used up
        rest = regulated.follow(STAGE, VOLTAGE, 200, begin=half.last, changes=change)
        assert rest.starts[0] == 200 * T_SW
        assert np.array_equal(np.concatenate([half.duty, rest.duty]), whole.duty)
    digital = regulated.follow(STAGE, DIGITAL, 200)
    for _ in range(2):
        on = regulated.follow(STAGE, DIGITAL, 200, begin=digital.last)
        assert np.array_equal(np.concatenate([digital.duty, on.duty]), regulated.follow(STAGE, DIGITAL, 400).duty)


def test_not_to_keep_changes_nothing_but_what_is_kept():
    """Extremes and duties are the same with `keep=False`; progress is reported about a hundred times."""
    seen = []
    all_of_it = regulated.follow(STAGE, VOLTAGE, 700)
    little = regulated.follow(STAGE, VOLTAGE, 700, keep=False, progress=lambda done, of: seen.append((done, of)))
    assert np.array_equal(little.duty, all_of_it.duty)
    heavy = ((300 * T_SW, STAGE.change(r_load=4.0)),)  # the output is at its highest before, in the first batch of pieces looked at
    kept, dropped = (regulated.follow(STAGE, CURRENT, 700, changes=heavy, keep=keep) for keep in (True, False))
    assert kept.output_voltage.max_at < 400 * T_SW
    for one, other in ((all_of_it, little), (kept, dropped)):
        for quantity in ("output_voltage", "inductor_current"):
            a, b = getattr(one, quantity), getattr(other, quantity)
            assert (a.min, a.max) == pytest.approx((b.min, b.max), rel=1e-13, abs=1e-13)  # sums of another length
    assert {p.start >= 699 * T_SW * (1 - 1e-12) for p in little.pieces} == {True}
    assert seen[-1] == (700, 700) and len(seen) == 100
    assert all_of_it.duration == pytest.approx(700 * T_SW, rel=1e-14)


def test_windows_and_single_instants():
    """The output at given times and its extremes in a window, against the waveforms."""
    course = regulated.follow(STAGE, VOLTAGE, 120)
    wave = course.waveforms(40000)
    single = np.diff(wave.time, prepend=-1, append=1)
    inside = (single[:-1] > 0) & (single[1:] > 0)  # away from the instants that stand twice
    assert course.output(wave.time[inside]) == pytest.approx(wave.v_out[inside], rel=1e-12, abs=1e-12)
    t0, t1 = 40.3 * T_SW, 77.7 * T_SW
    some = wave.v_out[(wave.time > t0) & (wave.time < t1)]
    found = course.window(t0, t1)
    assert found.max == pytest.approx(some.max(), abs=1e-4) and found.min == pytest.approx(some.min(), abs=2e-3)  # 40000 samples see less
    assert found.max >= some.max() - 1e-12 and found.min <= some.min() + 1e-12
    assert t0 <= found.min_at <= t1 and t0 <= found.max_at <= t1
    with pytest.raises(ValueError, match="outside of what was kept"):
        course.window(1.0, 2.0)
    with pytest.raises(ValueError, match="what was kept of the course"):
        course.output([0.0, 1.0])


@pytest.mark.parametrize("delay", [0, 1, 3])
def test_a_sampled_regulator_reckons_once_a_period(delay):
    """Its duties are those of the recursion, worked out here from the output just before each clock."""
    s = Sampled(((1.0, 0.0), (0.0, 0.3)), (0.002, 0.5), (1.0, -0.002), 0.01, 18.0, adc_step=0.02, duty_step=1 / 512, delay=delay,
                soft_start=50 * T_SW, most_duty=0.75, start=(0.1, 0.2))  # fmt: skip
    course = regulated.follow(STAGE, s, 150)
    ends = [p for p, q in pairwise(course.pieces) if q.mode.kind.switch == "closed"]
    z, wait, expected = np.array(s.start), [0.0] * delay, []
    last = [p for p in course.pieces if abs((k := (p.start + p.duration) * F_SW) - round(k)) < 1e-6]
    outputs = {round((p.start + p.duration) * F_SW): np.array(p.mode.rows["v_out"]) @ p.end_state for p in last}
    for k in range(150):
        e = round((18.0 * min(k / 50, 1.0) - outputs.get(k, 0.0)) / 0.02) * 0.02
        asked = float(np.dot(s.c, z)) + s.d * e
        held = min(max(asked, 0.0), 0.75)
        z = np.array(s.a) @ z + np.array(s.b) * (e + (held - asked) / s.d)
        wait.append(round(held * 512) / 512)
        expected.append(wait.pop(0))
    assert course.duty == pytest.approx(expected, abs=1e-12)
    assert len(ends) > 10 and np.unique(course.duty).size > 3


def test_a_sampled_integrator_does_not_wind_up():
    """Without a direct path its state stays where it asks for the limit."""
    s = Sampled(((1.0,),), (0.01,), (1.0,), 0.0, 18.0, most_duty=0.7, delay=0)
    course = regulated.follow(STAGE, s, 30)
    assert course.last.brain.z[0] <= 0.7 and course.duty.max() == pytest.approx(0.7, rel=1e-12)


def test_a_pulse_below_the_least_on_time_is_skipped():
    """A sampled regulator that asks for less than the least on-time gets nothing; one that asks for more gets it."""
    for least, duty in ((0.0, 0.05), (0.06 * T_SW, 0.0), (0.04 * T_SW, 0.05)):
        s = Sampled((), (), (), 0.0, 18.0, least_on_time=least, delay=0)
        still = replace(s, a=((1.0,),), b=(0.0,), c=(1.0,), start=(0.05,))
        assert regulated.follow(STAGE, still, 3).duty == pytest.approx([duty] * 3, rel=1e-12)


def test_what_cannot_be_is_refused_in_words():
    """Name, value, rule."""
    for trouble, controller in (("drive", replace(VOLTAGE, drive="duty")), ("least_on_time", replace(VOLTAGE, least_on_time=1e-5)),
                                ("sense", replace(CURRENT, sense=0.0)), ("low", replace(VOLTAGE, low=2.0)),
                                ("v_set", replace(VOLTAGE, v_set=0)), ("delay", replace(DIGITAL, delay=-1)),
                                ("must be", replace(DIGITAL, b=(1.0, 2.0)))):  # fmt: skip
        with pytest.raises(ValueError, match=trouble):
            regulated.follow(STAGE, controller, 1)
    with pytest.raises(ValueError, match="begin"):
        regulated.follow(STAGE, VOLTAGE, 1, begin="somewhere")
    with pytest.raises(ValueError, match="add or take away a part"):
        regulated.follow(STAGE, VOLTAGE, 5, changes=((T_SW, FILTERED),))
    with pytest.raises(ValueError, match=r"switch\.frequency"):
        regulated.follow(STAGE, VOLTAGE, 5, changes=((T_SW, STAGE.change(f_sw=100e3)),))
    with pytest.raises(ValueError, match="changes: time"):
        regulated.follow(STAGE, VOLTAGE, 5, begin=regulated.follow(STAGE, VOLTAGE, 5).last, changes=((T_SW, STAGE),))
    with pytest.raises(ValueError, match="v_set = 90 V is out of reach"):
        regulated.steady(STAGE, replace(VOLTAGE, v_set=90.0))
    with pytest.raises(ValueError, match=r"most_duty = 0\.5 holds the duty"):
        regulated.steady(STAGE, replace(VOLTAGE, most_duty=0.5))
