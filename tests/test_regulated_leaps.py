"""Periods of the closed loop that are marched and checked together, against the same loop walked period by period."""

from dataclasses import replace

import numpy as np
import pytest
from test_regulated import CURRENT, DIGITAL, F_SW, FILTERED, SECOND, STAGE, T_SW, VOLTAGE

from boostkit.circuit import loop_leap, loop_march, regulated
from boostkit.circuit.modes import Block

LIGHT = STAGE.change(r_load=400.0)
STEP = ((320.37 * T_SW, STAGE.change(r_load=30.0)), (420.8 * T_SW, STAGE.change(v_in=5.5)))
LOOPS = {
    "voltage": (STAGE, VOLTAGE), "current": (STAGE, CURRENT), "sampled": (STAGE, DIGITAL), "discontinuous": (LIGHT, VOLTAGE),
    "with steps": (STAGE, replace(DIGITAL, adc_step=0.02, duty_step=1 / 1024, i_limit=3.0)), "second switch": (SECOND, VOLTAGE),
    "input capacitor": (FILTERED, VOLTAGE), "sampled, discontinuous": (LIGHT, DIGITAL), "dead time": (SECOND, CURRENT),
    "clamped": (STAGE, replace(CURRENT, high=0.3)),
    "skipping": (STAGE.change(r_load=5e3), replace(VOLTAGE, least_on_time=5e-7)),
    "no series resistance": (STAGE.change(r_capacitor=None, r_switch=None), CURRENT),
}  # fmt: skip


@pytest.fixture
def walked(monkeypatch):
    """`regulated.follow` without marches."""
    def follow(*case, **more):
        with monkeypatch.context() as m:
            m.setattr(loop_leap, "_march", lambda run, most: [])
            return regulated.follow(*case, **more)

    return follow


def marched(course):
    """How many of its periods stand in blocks."""
    return sum(part.spans[0].starts.size for part in course.kept if isinstance(part, Block))


@pytest.mark.parametrize("name", LOOPS)
def test_marching_is_walking(name, walked):
    """Start-up, a step of load and one of source: every duty, every piece and the last state agree."""
    stage, controller = LOOPS[name]
    changes = tuple((at, stage.change(**({"v_in": 5.5} if k else {"r_load": 30.0, "i_out": None}))) for k, (at, _) in enumerate(STEP))
    quick, plain = (follow(stage, controller, 520, changes=changes) for follow in (regulated.follow, walked))
    assert marched(plain) == 0 and marched(quick) > 300
    # rounding; the current limit of one case doubles a difference at each of a dozen periods above half duty
    off = 1e-9 if name == "with steps" else 1e-11
    assert np.abs(quick.duty - plain.duty).max() < off
    assert [p.mode.kind for p in quick.pieces] == [p.mode.kind for p in plain.pieces]
    assert [p.ended_by for p in quick.pieces] == [p.ended_by for p in plain.pieces]
    assert np.array([p.start for p in quick.pieces]) == pytest.approx(np.array([p.start for p in plain.pieces]), abs=off * T_SW)
    sizes = np.abs([p.state for p in plain.pieces]).max(axis=0)
    assert (np.abs(np.subtract([p.state for p in quick.pieces], [p.state for p in plain.pieces])) < 1e-9 * sizes + 1e-300).all()
    for one, other in ((quick.output_voltage, plain.output_voltage), (quick.inductor_current, plain.inductor_current)):
        assert (one.min, one.max) == pytest.approx((other.min, other.max), rel=1e-10, abs=1e-10)


@pytest.mark.parametrize(("stage", "controller"), [(STAGE.change(r_load=9.0), VOLTAGE), (STAGE, replace(CURRENT, slope=0.0))],
                         ids=["at the current limit", "without a ramp"])  # fmt: skip
def test_each_period_of_a_swinging_loop_is_the_walk_from_its_start(stage, controller):
    """Where every period multiplies rounding, courses drift apart; so each marched period is walked again from where it began."""
    course, checked = regulated.follow(stage, replace(controller, soft_start=0.0), 300), 0
    assert np.ptp(course.duty[-20:]) > 0.1
    ends = {round(p.start * F_SW): p.state for p in course.pieces if abs(p.start * F_SW - round(p.start * F_SW)) < 1e-6}
    for block in (part for part in course.kept if isinstance(part, Block)):
        first = block.spans[0]
        for at, w in zip(first.starts, first.states.T, strict=True):
            run, k = course.last.copy(), round(at * F_SW)
            run.done, run.mode, run.clamp, run.w = k, None, first.mode.kind.clamp, w.copy()
            duty = run.period() * F_SW
            assert duty == pytest.approx(course.duty[k], abs=1e-12)
            if k + 1 in ends:
                assert run.w[: run.loop.nx] == pytest.approx(ends[k + 1][: run.loop.nx], rel=1e-11, abs=1e-11)
            checked += 1
    assert checked > 150


def test_what_is_kept_can_be_asked_as_if_it_had_been_walked(walked):
    """Waveforms, single instants, windows, the last period, and going on from it."""
    quick, plain = (follow(STAGE, VOLTAGE, 450, changes=STEP) for follow in (regulated.follow, walked))
    wave, other = quick.waveforms(3000), plain.waveforms(3000)
    assert wave.v_out == pytest.approx(other.v_out, rel=1e-10) and wave.control == pytest.approx(other.control, rel=1e-9, abs=1e-11)
    times = np.linspace(0, 449.9, 777) * T_SW
    assert quick.output(times) == pytest.approx(plain.output(times), rel=1e-9, abs=1e-10)
    a, b = (course.window(325 * T_SW, 350.5 * T_SW) for course in (quick, plain))
    assert (a.min, a.max) == pytest.approx((b.min, b.max), rel=1e-10)
    little = regulated.follow(STAGE, VOLTAGE, 450, changes=STEP, keep=False)
    assert len(little.pieces) == 2 and little.pieces[0].start == pytest.approx(449 * T_SW, rel=1e-13)
    on = regulated.follow(STAGE.change(v_in=5.5), VOLTAGE, 30, begin=quick.last)
    assert on.duty == pytest.approx(walked(STAGE.change(v_in=5.5), VOLTAGE, 30, begin=plain.last).duty, abs=1e-10)


@pytest.mark.parametrize("name", ["voltage", "discontinuous", "current"])
def test_a_march_without_eyes_is_caught(name, walked, monkeypatch):
    """A march that looks at no guard keeps to a pattern that has ended; the check finds the first period that does not hold."""
    failures, failed = [], loop_leap._failed
    monkeypatch.setattr(loop_leap, "_failed", lambda run: (failures.append(run.done), failed(run)))
    monkeypatch.setattr(loop_march, "PASSED", -np.inf)
    stage, controller = LOOPS[name]
    changes = ((100.3 * T_SW, stage.change(r_load=12.0)), (190.6 * T_SW, stage.change(r_load=900.0)))
    quick, plain = (follow(stage, replace(controller, soft_start=0.0), 360, changes=changes) for follow in (regulated.follow, walked))
    assert failures and np.abs(quick.duty - plain.duty).max() < 1e-9  # a hard start multiplies rounding
    assert [p.mode.kind for p in quick.pieces] == [p.mode.kind for p in plain.pieces]


def test_a_march_that_is_off_is_not_believed(walked, monkeypatch):
    """A part in 10^9 too much in what a march makes of a state: the joints do not close, and all is walked."""
    seen, through = loop_march.Move._seen, loop_march.Move._through
    monkeypatch.setattr(loop_march.Move, "_seen", lambda *of: None if (found := seen(*of)) is None else found * (1 + 1e-9))
    monkeypatch.setattr(loop_march.Move, "_through", lambda *of: through(*of) * (1 + 1e-9))
    quick, plain = (follow(STAGE, CURRENT, 150) for follow in (regulated.follow, walked))
    assert marched(quick) == 0 and np.array_equal(quick.duty, plain.duty)


def test_an_event_a_little_late_is_not_believed(walked, monkeypatch):
    """The opening a part in 10^9 of a period later than the comparator's crossing, all else right: the guard has fallen before."""
    monkeypatch.setattr(loop_march, "_zero", lambda p, zero=loop_march._zero: zero(p) + 1e-8)
    quick, plain = (follow(STAGE, CURRENT, 150) for follow in (regulated.follow, walked))
    pulsed = sum(p.spans[0].starts.size for p in quick.kept if isinstance(p, Block) and p.spans[0].ended_by)
    assert pulsed == 0 and quick.duty == pytest.approx(plain.duty, abs=1e-12)


def test_events_of_a_march_lie_where_they_belong():
    """At each opening in a block the comparator's two inputs are equal, and neither control voltage nor current has been beyond."""
    course = regulated.follow(STAGE, VOLTAGE, 400)
    blocks = [part for part in course.kept if isinstance(part, Block) and part.spans[0].ended_by]
    assert sum(block.spans[0].starts.size for block in blocks) > 200
    for block in blocks:
        span = block.spans[0]
        y, clock = np.array(span.mode.rows["control"]) @ span.ends, span.durations * F_SW
        opened = {row: name for name, row in span.mode.guards}[span.ended_by] == "opens"
        assert y == pytest.approx(clock, abs=1e-12) if opened else span.ends[0] == pytest.approx(4.0, rel=1e-12)
        assert (block.spans[-1].starts + block.spans[-1].durations) * F_SW % 1 == pytest.approx(np.round(
            (block.spans[-1].starts + block.spans[-1].durations) * F_SW % 1), abs=1e-9)  # fmt: skip
