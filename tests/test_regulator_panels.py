"""Regulators under sliders: margins, answers in time, lock-up and ringing as the model and the exact circuit have them."""

import io
import re
from dataclasses import replace

import control
import numpy as np
import pytest
from moving import moves_and_comes_back
from PIL import Image

from boostkit.circuit import Converter, averaged, regulated, switched
from boostkit.circuit.controller import Controller
from boostkit.control.compensator import Compensator
from boostkit.control.margins import margins
from boostkit.show import regulator_panels as loops
from boostkit.show import style
from boostkit.show import wrong_knob_panels as knob
from boostkit.show.live import Panel, Slider

BUILT = Converter.of(v_in=5.5, duty=0.709, f_sw=150e3, inductance=56e-6, r_inductor=0.047, r_switch=0.02, v_rectifier=0.4,
                     r_rectifier=0.02, capacitance=100e-6, r_capacitor=0.01, i_out=0.6)


def held(i_out: float, v_in: float = 5.5) -> Converter:
    stage = BUILT.change(i_out=i_out, v_in=v_in)
    return stage.change(duty=switched.duty_for(stage, 18.0))


HARD, BEFORE, ASLEEP = held(0.6), held(0.54), held(0.02)
STAGES = {"full": loops.seen(HARD), "asleep": loops.seen(ASLEEP)}
MODEL = averaged.model(HARD)
QUICK = Compensator("two zeros", 23.0, (MODEL.resonance,) * 2, (2 * MODEL.rhp_zero,) * 2)
LAW = Controller(QUICK.linear(), 18.0, most_duty=0.9)
WEAK = knob.thin_source(held(0.6, 6.0), 18.0)
MAKERS = {
    "loop": (lambda: loops.loop(STAGES, QUICK, 2e-3), {"gain": 2.0, "zero": 0.5}),
    "loop at another corner": (lambda: loops.loop(STAGES, QUICK, 2e-3), {"corner": "asleep"}),
    "path": (lambda: loops.path(STAGES, QUICK), {"gain": 3.0}),
    "lock-up": (lambda: knob.lock_up(WEAK, 18.0), {"most_duty": 0.85}),
    "too fast": (lambda: knob.too_fast(BEFORE, HARD, LAW), {"gain": 2.0, "i_out": 0.62}),
}


@pytest.mark.parametrize("name", MAKERS)
def test_a_slider_moves_picture_and_reading_and_reset_brings_them_back(name):
    """A move changes both; the quick picture is the full one; the reset gives the very same bytes."""
    make, change = MAKERS[name]
    moves_and_comes_back(make(), change)


@pytest.mark.parametrize("stage", STAGES.values(), ids=STAGES)
def test_the_fall_is_that_of_an_independent_closed_loop(stage):
    """python-control closes the same loop and steps the load: the same fall."""
    def system(one):
        return control.ss(one.a, one.b[:, None], one.c[None, :], one.d)

    times = np.linspace(0, 2e-3, 41)
    closed = control.series(system(stage.impedance), control.feedback(1, control.series(system(QUICK.linear()), system(stage.plant))))
    _, fall = control.step_response(closed, times)
    np.testing.assert_allclose(loops.answer(QUICK, stage, times), fall, atol=1e-6 * np.abs(fall).max())  # its own matrix exponential


def test_a_fall_that_grows_is_drawn_until_it_leaves():
    """Inside it stays, and after it has once been outside nothing comes back; what is not a number counts as outside."""
    np.testing.assert_array_equal(loops.until(np.array([0.0, 1.0, -2.0, 1.0]), 1.5), [0.0, 1.0, np.nan, np.nan])
    np.testing.assert_array_equal(loops.until(np.array([1.0, np.nan, 1.0]), 2.0), [1.0, np.nan, np.nan])


def test_the_loop_panel_reads_margins_and_says_when_there_are_none():
    """Its line holds what `margins` finds at that gain, and beyond the gain margin it says so."""
    panel = loops.loop(STAGES, QUICK, 2e-3)
    said = panel.move(gain=2.0)
    gain = panel.values["gain"]  # the slider's nearest step
    found = margins(lambda f: gain * QUICK(f) * STAGES["full"].plant(f), 1e-2, 73e3)
    assert f"phase margin {found.phase_margin:.1f}°" in said and said.endswith(", stable")
    assert panel.move(gain=1.2 * gain * found.gain_margin).endswith("not stable")


def test_a_margin_is_named_with_the_crossing_it_belongs_to():
    """Of several crossings the least margin counts; where it is not at the highest its frequency stands beside it, and the path's words
    tell the margin where it comes in for the last time."""
    found = replace(loops.judged(QUICK, STAGES["full"]), crossover=200.0, crossovers=(100.0, 200.0), phase_margin=10.0,
                    phase_margins=(10.0, 50.0))
    assert loops.told(found)[1] == [("phase margin", "10.0° at 100 Hz")]
    assert "circle at 200 Hz: margin there 50.0°" in loops.passing(found)
    alone = replace(found, phase_margin=50.0, phase_margins=(60.0, 50.0))
    assert loops.told(alone)[1] == [("phase margin", "50.0°")]


def test_zeros_that_move_keep_the_gain_above_them():
    """Far above the zeros the regulator does as before; below them it has more or less gain."""
    moved = loops._moved(QUICK, 1.0, 0.5)
    assert abs(moved(5e6) / QUICK(5e6)) == pytest.approx(1, rel=1e-3)  # the poles stay where they are
    assert abs(moved(1.0) / QUICK(1.0)) == pytest.approx(0.25, rel=1e-3)


def test_the_path_goes_round_the_critical_point_where_the_exact_loop_swings():
    """Three per cent on either side of the model's gain margin the exact multipliers agree with the words."""
    edge = loops.judged(QUICK, STAGES["full"]).gain_margin
    for share in (0.97, 1.03):  # averaged and exact differ by a per cent or two at a twentieth of the clock
        words = loops.passing(loops.judged(QUICK.scaled(share * edge), STAGES["full"]))
        stable = regulated.steady(HARD, knob.with_gain(LAW, share * edge)).stable
        assert ("does not go round" in words) == stable == (share < 1)


def test_the_thin_source_reaches_a_little_more_than_is_asked():
    """No duty gives more than SPARE times the output, and its own duty gives the output, on the near side of the peak."""
    outputs, top = knob.peak_of(WEAK)
    assert outputs.max() == pytest.approx(1.15 * 18, rel=2e-3)  # the search's own tolerance
    state = switched.steady_state(WEAK)
    assert state.output_voltage.mean == pytest.approx(18, rel=1e-6) and WEAK.switch.duty < top


def test_beyond_the_peak_an_overload_is_not_forgiven():
    """With a largest duty well beyond the peak the output stays low for ever, at the steady state of that duty; at the peak it
    comes back."""
    _, top = knob.peak_of(WEAK)
    begin = regulated.steady(WEAK, knob.slow_regulator(WEAK, 18.0)).last
    stuck, safe = (knob.overloaded(WEAK, knob.slow_regulator(WEAK, 18.0, most), begin) for most in (0.95, top))
    assert knob.back(safe) and not knob.back(stuck)
    assert "has come back" in knob.locked_words(safe) and "has not come back" in knob.locked_words(stuck)
    end = regulated.follow(WEAK, stuck.controller, 1500, begin=stuck.last, keep=False).output_voltage
    there = switched.steady_state(WEAK.change(duty=0.95)).output_voltage
    assert end.max == pytest.approx(there.max, rel=1e-3)  # a little is left of the way there


def test_a_hasty_regulator_rings_and_a_calm_one_does_not():
    """Above the gain margin the duty still swings at the end; the words say how much."""
    edge = loops.judged(QUICK, STAGES["full"]).gain_margin
    tails = []
    for share in (0.3, 1.15):
        course = knob.hasty(regulated.steady(BEFORE, knob.with_gain(LAW, share * edge)), HARD)
        tails.append(float(re.search(r"moves by ([\d.e−]+)", knob.hasty_words(course))[1].replace("−", "-")))
        assert tails[-1] == pytest.approx(np.ptp(course.duty[-knob.TAIL:]), rel=5e-3)  # three digits
    assert tails[1] > 20 * tails[0]


def test_a_gain_at_which_nothing_rests_is_refused_in_a_line():
    """Where the closed loop has no steady state the panel says why and keeps its picture."""
    loud = Compensator("two zeros", 50.0, (MODEL.resonance,) * 2, (70e3,) * 2)  # hardly anything takes the ripple away
    panel = knob.too_fast(BEFORE, HARD, Controller(loud.linear(), 18.0, high=0.9, most_duty=0.9))
    picture = panel.png
    assert "does not reach v_set = 18 V" in panel.move(gain=8.0) and panel.png == picture


def test_the_staircase_goes_by_its_line():
    """From the start up to the line, across to the line of no change, and so on: by hand for a line of slope -2."""
    x, y = loops.staircase(lambda i: 1 - 2 * (i - 1), 1.1, 2)
    np.testing.assert_allclose(x, [1.1, 1.1, 0.8, 0.8, 1.4])
    np.testing.assert_allclose(y, [1.1, 0.8, 0.8, 1.4, 1.4])


def test_a_course_is_read_beside_the_jump_at_the_clock():
    """Just after the clock the output stands on one side of its capacitor's jump: in a steady state each reading is the same."""
    rest = regulated.steady(HARD, LAW)
    time, output = loops.step_course(regulated.follow(HARD, LAW, 50, begin=rest.last), 18.0)
    assert np.ptp(output) < 1e-6 and time[0] == 0 and len(time) == 50


@pytest.mark.parametrize("gap", (0.45, 0.6, 0.8))
def test_rows_with_x_axes_of_their_own_keep_the_upper_name(gap):
    """However far apart two rows lie, the quick picture has the name below the upper one, like the full one."""
    def draw(far, onto):
        figure, axes = style.frame([1.0, 1.0], gap=gap, shared=False, onto=onto)
        for ax, words in zip(axes, ("frequency", "time"), strict=True):
            style.fit(ax, 0.0, far, which="x", pad=0.0)
            style.name_axis(ax.xaxis, words, "s")
        return figure

    panel = Panel(lambda far: far, draw, [Slider("far", "how far", "s", 1.0, 10.0, 2.0)])
    for far in (2.0, 9.0):
        panel.move(far=far)
        shown, whole = (np.asarray(Image.open(io.BytesIO(data)).convert("RGB")) for data in (panel.png, panel.figure.png()))
        np.testing.assert_array_equal(shown, whole)
