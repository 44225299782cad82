"""Switch-on and steps against the integrator written from Kirchhoff's laws, and leaps against walking each period."""

import math
import tracemalloc
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from kirchhoff import Network, clock, follow, run
from stages import INPUT, LOSSLESS, SECOND, converters, stage

from boostkit.circuit import switched, transients

SMALL = {"capacitance": 2e-6}          # charges within tens of periods, overshoots, and meets every mode on the way
CASES = {
    "diode": SMALL,
    "ringing into discontinuous conduction": {**SMALL, "r_load": 300},
    "lossless": {**SMALL, **LOSSLESS},
    "constant current through its knee": {**SMALL, "r_load": None, "i_out": 0.4},
    "constant current, high knee": {**SMALL, "r_load": None, "i_out": 0.4, "v_knee": 9.0},
    "knee and a large ESR": {**SMALL, "r_load": None, "i_out": 0.4, "r_capacitor": 2.0},
    "second switch": {**SMALL, **SECOND},
    "dead time, light": {**SMALL, **SECOND, "dead_time": 1e-7, "r_load": 600},
    "rectifier beside the switch": {**SMALL, "r_switch": 3.0, "v_rectifier": 0.2, "r_load": 5},
    "second conduction": {"capacitance": 2e-7, "duty": 0.15, "r_load": 10, "inductance": 2e-6},
    "source resistance": {**SMALL, "r_source": 0.2},
    "input capacitor": {**SMALL, **INPUT},
    "source inductance": {**SMALL, **INPUT, "l_source": 1e-6},
    "never switched": {**SMALL, "duty": 0.0},
    "peak current": {**SMALL, "duty": None, "peak_current": 1.2},
    "peak current, light": {**SMALL, "duty": None, "peak_current": 0.6, "r_load": 600},
    "two thresholds": {**SMALL, "duty": None, "f_sw": None, "peak_current": 2.0},
}  # fmt: skip


def size(states):
    """What one unit of each state counts for: its largest value on the way."""
    return np.max(np.abs(states), axis=1) + 1e-30


def agree(transient, course, rel):
    """The states at all our switching instants, and the extremes, agree with the independent course."""
    pieces = transient.pieces
    mine = np.array([p.state for p in pieces] + [transient.state]).T
    instants = np.array([p.start for p in pieces] + [transient.duration])
    theirs = np.array([reference(course, t) for t in instants]).T
    assert np.max(np.abs(mine - theirs) / size(mine)[:, None]) < rel
    assert transient.duration == pytest.approx(course.time, rel=1e-11)
    for extreme, quantity in ((transient.output_voltage, "v_out"), (transient.inductor_current, "i_inductor")):
        low, high = course.extremes(quantity, 60)
        span = max(abs(low), abs(high))
        assert abs(extreme.min - low) < rel * span and abs(extreme.max - high) < rel * span
        for value, at in ((extreme.min, extreme.min_at), (extreme.max, extreme.max_at)):
            around = course.at(quantity, np.array([at * (1 - 1e-9), at, min(at * (1 + 1e-9), course.time)]))
            assert np.min(np.abs(around - value)) < max(rel, 1e-7) * span       # 1e-9 of the time to either side of a jump


def reference(course, t):
    """The state of the independent course at a time."""
    k = min(np.searchsorted([segment[3] for segment in course.segments], t), len(course.segments) - 1)
    return course.segments[k][4](t)


def joined(transient):
    """Every piece begins in the state in which the one before it ended, to rounding, and when it ended."""
    pieces = transient.pieces
    states = np.array([p.state for p in pieces] + [transient.state]).T
    ends = np.array([p.end_state for p in pieces]).T
    reached = [max(abs(e.min), abs(e.max)) for e in (transient.inductor_current, *[transient.output_voltage] * (len(states) - 1))]
    scale = np.maximum(np.maximum.accumulate(np.abs(states), axis=1)[:, 1:], 1e-3 * np.array(reached)[:, None]) + 1e-30
    assert np.max(np.abs(ends - states[:, 1:]) / scale) < 1e-11                 # a resting current is put to zero exactly
    clock_ends = np.array([p.start + p.duration for p in pieces])
    starts = np.array([p.start for p in pieces[1:]] + [transient.duration])
    assert np.max(np.abs(clock_ends - starts)) < 1e-12 * transient.duration


@pytest.mark.parametrize("name", CASES)
def test_switch_on_agrees_with_the_integrator(name):
    """From empty capacitors and no current, state by state over 40 periods of every drive, load and rectifier."""
    c = stage(**CASES[name])
    found = switched.from_rest(c, 40)
    joined(found)
    agree(found, run(c, found.pieces[0].state, 40), 1e-9)
    assert found.pieces[0].state == (0.0,) * len(found.state) and found.periods == 40


def stepped(before, after, x, periods, at):
    """The independent course of a step `at` this share of the first period, from the state x."""
    courses, t_sw = [], 1 / before.switch.frequency
    segments, networks = [], (Network(before), Network(after))
    for network, converter, begin, end in ((networks[0], before, 0, at * t_sw), (networks[1], after, at * t_sw, t_sw)):
        edge = 0.0
        for gate, duration in clock(converter):
            start, stop = max(edge, begin), min(edge + duration, end)
            if stop > start:
                x, _, _ = follow(network, gate, np.array(x), start, stop - start, segments)
            edge += duration
    courses = run(after, x, periods - 1, t_sw)
    courses.segments[:0] = segments
    return courses


@pytest.mark.parametrize("at", [0, 0.3, 0.7, 0.9])
@pytest.mark.parametrize("change", [
    {"r_load": 10}, {"r_load": 900}, {"v_in": 4.0}, {"v_in": 30.0}, {"duty": 0.5}, {"duty": 0.8}, {"r_load": None, "i_out": 1.0},
])  # fmt: skip
def test_step_agrees_with_the_integrator(change, at):
    """A step in load, source or duty, at the start of a period, in either phase, and in the rest of the current."""
    before, after = stage(**SMALL, r_load=60), stage(**{**SMALL, "r_load": 60} | change)
    found = switched.after_step(before, after, 30, at=at)
    x = switched.steady_state(before).pieces[0].state
    joined(found)
    agree(found, stepped(before, after, x, 30, at) if at else run(after, x, 30), 1e-9)
    assert found.periods == 30 and found.duration == pytest.approx(30 / 150e3, rel=1e-12)


@pytest.mark.parametrize("change", [SECOND, {**SECOND, "dead_time": 2e-7}, {**INPUT, "l_source": 1e-6}])
def test_step_within_a_period_of_other_circuits(change):
    """The same with a second switch, dead time, an input filter."""
    before, after = stage(**{**SMALL, **change}), stage(**{**SMALL, **change, "r_load": 10, "duty": 0.6})
    found = switched.after_step(before, after, 20, at=0.65)
    agree(found, stepped(before, after, switched.steady_state(before).pieces[0].state, 20, 0.65), 1e-9)


def test_step_without_change_stays_in_steady_state():
    """A step to the same converter goes on as before, whenever it comes."""
    s = switched.steady_state(stage())
    for at in (0, 0.3, 0.68, 0.9):
        t = switched.after_step(stage(), stage(), 50, at=at)
        assert t.output_voltage.max == pytest.approx(s.output_voltage.max, rel=1e-12)
        assert t.inductor_current.min == pytest.approx(s.inductor_current.min, rel=1e-12)


def test_switch_on_ends_in_the_steady_state():
    """A long switch-on arrives where `steady_state` says, in either mode."""
    for letters in ({}, {"r_load": 600, "capacitance": 2e-6}, {"r_load": None, "i_out": 0.6}):
        s = switched.steady_state(stage(**letters))
        t = switched.from_rest(stage(**letters), 20_000, keep=False)
        assert t.state == pytest.approx(s.pieces[0].state, rel=1e-11, abs=1e-12)     # the slowest multiplier is dead by then


# ------------------------------------------------------------------------------------------------- leaps

def walked(converter, periods, monkeypatch):
    """The same switch-on, period by period."""
    with monkeypatch.context() as patch:
        patch.setattr(transients, "leap", lambda *_: None)
        return switched.from_rest(converter, periods)


def compare(leapt, plain):
    """Two transients agree at the start of every piece, in their extremes and when these were reached."""
    joined(leapt)
    one, other = leapt.pieces, plain.pieces
    assert [p.mode.kind for p in one] == [p.mode.kind for p in other]
    a, b = (np.array([p.state for p in pieces]).T for pieces in (one, other))
    assert np.max(np.abs(a - b) / size(b)[:, None]) < 1e-10
    assert np.max(np.abs([p.start - q.start for p, q in zip(one, other, strict=True)])) < 1e-10 * plain.duration
    for quantity in ("output_voltage", "inductor_current"):
        x, y = getattr(leapt, quantity), getattr(plain, quantity)
        span = max(abs(y.min), abs(y.max))
        assert abs(x.min - y.min) < 1e-10 * span and abs(x.max - y.max) < 1e-10 * span


@pytest.mark.parametrize("name", ["diode", "ringing into discontinuous conduction", "lossless", "second switch", "dead time, light",
                                  "constant current through its knee", "second conduction", "knee and a large ESR"])  # fmt: skip
def test_leaps_equal_walking(name, monkeypatch):
    """Over 1,500 periods with changing patterns, leaping gives the same pieces as walking, and does leap."""
    c = stage(**CASES[name])
    leapt = switched.from_rest(c, 1500)
    compare(leapt, walked(c, 1500, monkeypatch))
    assert len(leapt.kept) < 300 or name == "second conduction"


@pytest.mark.filterwarnings("error")
@settings(derandomize=True, max_examples=50, deadline=None, database=None)
@given(converters())
def test_leaps_equal_walking_for_random_converters(converter):
    """The same for random converters: whatever the pattern does, a leap changes nothing."""
    assume(converter.input_capacitor is None)
    assume(converter.inductor.resistance > 0)   # a lossless stage rings for ever about an event and touches it without crossing
    compare(switched.from_rest(converter, 1000), walked(converter, 1000, pytest.MonkeyPatch()))


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("letters", [
    # the rectifier comes to wake again in later periods, by a dip between two ends that keep to the pattern
    {"v_in": 57.65, "inductance": 5.25e-8, "r_inductor": 0, "f_sw": 78.46e3, "duty": 0.064127, "r_switch": 3.267e-4,
     "v_rectifier": 0, "r_rectifier": 0.01149, "capacitance": 1.204e-3, "r_capacitor": 0.1843, "r_load": None, "i_out": 25.95,
     "v_knee": 89.5},
    # quantities that hardly move any more: their turning point is put at infinity by rounding
    {"v_in": 18.856, "inductance": 1.3797e-4, "f_sw": 16807.9, "capacitance": 7.5936e-5, "duty": 0.0, "r_inductor": 0.16426,
     "r_switch": 0, "r_rectifier": 0, "r_capacitor": 9.38668, "r_load": 39.924, "v_rectifier": 0.72051},
])  # fmt: skip
def test_leap_sees_what_happens_between_the_ends(letters, monkeypatch):
    """Guards and extremes inside a piece count in a leap as in a walk."""
    c = stage(**letters)
    compare(switched.from_rest(c, 1200), walked(c, 1200, monkeypatch))


def test_load_crossing_its_knee_is_no_switching_instant():
    """The edges of a waveform are where other elements begin to conduct, nothing else."""
    t = switched.from_rest(stage(**CASES["constant current through its knee"]), 10)
    kinds = [p.mode.kind for p in t.pieces]
    changes = [after != before for before, after in pairwise(kinds)]
    moved = [after[:2] != before[:2] for before, after in pairwise(kinds)]
    assert len(t.waveforms(500).edges) == sum(moved) < sum(changes)


def test_leap_is_not_fooled_by_a_course_that_runs_away():
    """At an output that grows sevenfold each period near the load's knee, later trial periods run out to 1e172; the earlier
    ones must not count as settled beside them (they once did, and the pieces did not join by 1e-5)."""
    c = stage(v_in=14.82, inductance=0.04434, r_inductor=23.59, f_sw=519.6e3, duty=0.83285, r_switch=1.232, v_rectifier=1.276,
              r_rectifier=0.0772, capacitance=1.08823e-9, r_capacitor=214.535, r_load=None, i_out=2.4872e-3)  # fmt: skip
    found = switched.from_rest(c, 40)
    joined(found)
    agree(found, run(c, (0.0, 0.0), 40), 1e-9)


# ------------------------------------------------------------------------------------------------- what is kept

@pytest.mark.parametrize("letters", [{}, {"r_load": 600}, INPUT, {"duty": None, "peak_current": 1.2}])
def test_keeping_nothing_changes_no_figure(letters):
    """With `keep=False` extremes and last state are the same, and only the last periods' pieces are there."""
    c = stage(**letters)
    kept, bare = switched.from_rest(c, 300), switched.from_rest(c, 300, keep=False)
    assert bare.output_voltage == kept.output_voltage and bare.inductor_current == kept.inductor_current
    assert bare.state == kept.state and bare.duration == kept.duration
    assert len(bare.kept) == 1 and bare.pieces[-1][1:] == kept.pieces[-1][1:]       # the modes are other objects


def test_memory_does_not_grow_with_the_periods():
    """With `keep=False` ten times the periods need no more memory."""
    peaks = []
    for periods in (5_000, 50_000):
        tracemalloc.start()
        switched.from_rest(stage(), periods, keep=False)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0]                    # the allocator's own rounding; kept pieces would make it tenfold


@pytest.mark.parametrize("letters", [{}, INPUT])
def test_progress_is_reported(letters):
    """The callback hears about a hundred times how far it is, in rising order, up to the end."""
    heard = []
    switched.from_rest(stage(**letters), 1000, progress=lambda done, periods: heard.append((done, periods)))
    assert heard == [(k * 10, 1000) for k in range(1, 101)]


def test_waveforms_of_a_transient():
    """The samples run from 0 to the end; the first are those of an uncharged circuit."""
    t = switched.from_rest(stage(**SMALL), 20)
    w = t.waveforms(2000)
    assert (w.time[0], w.i_inductor[0], w.v_out[0]) == (0, 0, 0) and w.time[-1] == pytest.approx(t.duration, rel=1e-12)
    assert w.v_out.max() <= t.output_voltage.max and w.v_out.max() == pytest.approx(t.output_voltage.max, rel=1e-3)


@pytest.mark.parametrize(("call", "said"), [
    (lambda: switched.from_rest(stage(), 0), "periods = 0 must be a whole number of at least 1"),
    (lambda: switched.from_rest(stage(), 2.5), "periods = 2.5 must be a whole number"),
    (lambda: switched.from_rest(stage(), True), "periods = True must be a whole number"),
    (lambda: switched.from_rest(stage(c_input=1e-5), 5), "input_capacitor sits on a source without resistance"),
    (lambda: switched.from_rest(stage(duty=None, f_sw=None, peak_current=200.0), 5), "never reaches peak_current"),
    (lambda: switched.from_rest(stage(duty=None, f_sw=None, peak_current=2.0, r_load=0.5), 5), "never comes to rest"),
    (lambda: switched.from_rest(stage(**LOSSLESS | {"r_load": None}, i_out=1.5, duty=None, f_sw=None, peak_current=2.0), 99),
     "never comes to rest"),
    (lambda: switched.after_step(stage(), stage(**INPUT), 5), "before has 2 states and after has 3"),
    (lambda: switched.after_step(stage(), stage(), 5, at=1.0), "at = 1 must lie in [0, 1)"),
    (lambda: switched.after_step(stage(), stage(), 5, at=math.nan), "at = nan must be a finite number"),
    (lambda: switched.after_step(stage(), stage(f_sw=1e5), 5, at=0.3), "needs the same clock"),
    (lambda: switched.after_step(stage(), stage(), 0, at=0.3), "periods = 0 must be a whole number"),
    (lambda: switched.after_step(stage(r_load=None, i_out=0.0), stage(), 5), "load.current = 0 A: nothing takes"),
])  # fmt: skip
def test_what_cannot_be_followed_is_refused(call, said):
    """Nonsense, a drive that gets stuck and steps that make no sense are refused with the values."""
    with pytest.raises(ValueError) as caught:
        call()
    assert said in str(caught.value)


@settings(derandomize=True, max_examples=15, deadline=None, database=None)
@given(converters(), st.integers(3, 25))
def test_random_switch_on_agrees_with_the_integrator(converter, periods):
    """Random converters, some tens of periods, against the independent integrator."""
    network = Network(converter)
    on = "channel" if network.second else "diode"
    states = [("closed", "off", True), ("closed", "off", False), ("open", on, True), ("open", on, False)]
    if converter.switch.on_resistance:
        states.append(("closed", "body" if network.second else "diode", True))
    speeds = [np.abs(np.linalg.eigvals(network.solve(*state)[0][10:])).max() for state in states
              if state[2] or converter.load.current]  # fmt: skip
    assume(max(speeds) < 50 * converter.switch.frequency)                # else the explicit integrator takes seconds
    found = switched.from_rest(converter, periods)
    course = run(converter, (0.0,) * len(found.state), periods)
    states = np.array([p.state for p in found.pieces] + [found.state]).T
    assert np.max(np.abs(course.x - found.state) / size(states)) < 1e-9
