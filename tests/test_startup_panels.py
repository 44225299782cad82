"""Switch-on and faults in pictures: the numbers behind them, against obvious answers, the formulas and the exact circuit."""

import math
from dataclasses import replace

import numpy as np
import pytest
from moving import moves_and_comes_back

from boostkit.circuit import Converter, faults, regulated
from boostkit.circuit.controller import Controller
from boostkit.circuit.linear import Linear
from boostkit.derivations import inrush
from boostkit.show import startup_panels
from boostkit.units import show

STAGE = Converter.of(v_in=7.2, duty=0.6, f_sw=150e3, inductance=56e-6, r_inductor=0.047, r_switch=0.02, v_rectifier=0.4,
                     r_rectifier=0.02, capacitance=47e-6, r_capacitor=0.01, i_out=0.3, r_source=0.05)
# current drive with an integrator and one zero, slow enough for any corner; v_set is that of the stage
NETWORK = Linear(np.array([[0.0]]), np.array([2000.0]), np.array([1.0]), 0.5)
REGULATOR = Controller(NETWORK, 18.0, drive="current", sense=0.33, slope=1.7e5, bias=1.2, high=1.3, i_limit=3.0, least_on_time=150e-9,
                       most_duty=0.9)
LIGHT = STAGE.change(i_out=0.02)
T_SOFT = 6e-3


@pytest.fixture(scope="module")
def starting():
    """The panel of starts, made once: it simulates them all."""
    return startup_panels.starting({"full load": STAGE, "least load": LIGHT}, REGULATOR, T_SOFT, shorter=3)


# --- panels ---


@pytest.mark.parametrize(("make", "change"), [
    (lambda: startup_panels.switching_on(STAGE), {"capacitance": 200e-6}),
    (lambda: startup_panels.switching_on(STAGE), {"r_source": 1.0}),
    (lambda: startup_panels.shorting(STAGE, 6.0), {"delay": 50e-6}),
    (lambda: startup_panels.shorting(STAGE, 6.0), {"inductance": 100e-6}),
])  # fmt: skip
def test_a_slider_moves_picture_and_reading_and_reset_brings_them_back(make, change):
    """A move changes both; the quick picture is the full one; the reset gives the very same bytes."""
    moves_and_comes_back(make(), change)


def test_the_start_answers_to_its_slider_and_its_place(starting):
    """A shorter soft start and another place change picture and words, and the reset brings the bytes back."""
    picture, reading = starting.png, starting.readings
    assert starting.move(t_soft=T_SOFT / 1.6**3) != reading and starting.png != picture
    assert starting.move(place="least load").startswith("least load: soft")
    assert starting.reset() == reading and starting.png == picture


def test_the_start_shows_the_length_that_the_slider_names(starting):
    """Words and curve belong to the soft start of that length, and to that place."""
    length = T_SOFT / 1.6**2
    own, reading = startup_panels.started(LIGHT, REGULATOR, length), starting.move(place="least load", t_soft=length)
    assert f"soft, {show(length, 's')}: inrush {show(own.inrush, 'A')}, later at most {show(own.later, 'A')}" in reading
    drawn = next(line for line in starting.figure.axes[0].lines if line.get_label().startswith("soft"))
    np.testing.assert_array_equal(drawn.get_ydata(), own.v_out)
    starting.reset()


def test_the_start_simulates_nothing_while_a_slider_moves(starting, monkeypatch):
    """Each start was followed when the panel was made; to follow one at a move would be too slow for the hand."""
    monkeypatch.setattr(regulated, "follow", lambda *a, **k: pytest.fail("a start is simulated at a move"))
    starting.move(t_soft=T_SOFT / 2.0, place="full load")
    starting.reset()


def test_a_switch_too_slow_to_be_seen_is_refused_in_words():
    """A trip level that the coil does not reach in the time followed is named, and the picture stays."""
    panel = startup_panels.shorting(STAGE, 7.0)
    picture = panel.png
    assert "does not open within" in panel.move(r_source=1.0)  # with so much resistance the short settles below 7 A
    assert panel.png == picture


# --- the inrush ---


def test_the_inrush_panel_reads_the_exact_circuit():
    """Its numbers are those of `faults.inrush`, below the line without resistance, which is the formula's."""
    panel = startup_panels.switching_on(STAGE)
    reading, ax = panel.move(r_source=0.5), panel.figure.axes[0]
    exact = faults.inrush(STAGE.change(i_out=0.0, r_source=0.5))
    assert f"highest current {exact.inductor_current.max:.3g} A" in reading
    assert f"output up to {exact.output_voltage.max:.3g} V" in reading
    free = inrush.inrush_peak().formula(v_in=7.2, v_rectifier=0.4, capacitance=47e-6, inductance=56e-6)
    assert free == pytest.approx(6.8 * math.sqrt(47 / 56)) and f"{free:.3g} A without resistance" in reading
    drawn = max(max(line.get_ydata()) for line in ax.lines if len(line.get_xdata()) > 100)
    assert drawn == pytest.approx(exact.inductor_current.max, rel=1e-3)  # of 300 samples
    assert drawn < free


def test_the_load_is_left_out_of_the_inrush():
    """What the load draws does not change the picture of an inrush without load."""
    assert startup_panels.switching_on(STAGE).png == startup_panels.switching_on(LIGHT).png


# --- a short ---


def test_the_short_panel_says_what_is_in_the_coil():
    """Its line holds the energy at the current at which the series switch opens."""
    panel = startup_panels.shorting(STAGE, 6.0, delay=5e-6, span=8e-4)
    _, ended = faults.tripped(faults.shorted(STAGE, 1e-3, duration=8e-4), 6.0, 5e-6)
    energy = 56e-6 * ended.inductor_current.max**2 / 2
    assert f"with {energy * 1e3:.3g} mJ in the coil" in panel.readings and "which is empty after" in panel.readings
    assert "not yet empty at the end" in panel.move(delay=4e-4)  # thirty amperes take longer to die than is followed


# --- a start ---


def test_a_soft_start_leaves_the_inrush_as_it_is():
    """With its reference at zero the regulator does not switch meanwhile: the first peak is that of a switch that never closes."""
    alone = faults.inrush(STAGE).inductor_current.max
    soft = startup_panels.started(STAGE, REGULATOR, T_SOFT)
    assert soft.inrush == pytest.approx(alone, rel=1e-3)  # of the ends of stretches
    assert startup_panels.started(STAGE, REGULATOR, 0.0).inrush > alone


def test_a_start_is_told_as_it_went():
    """What is drawn are values of the course itself: outputs at their times, the highest coil current nowhere missed."""
    start = startup_panels.started(STAGE, REGULATOR, T_SOFT)
    course = regulated.follow(STAGE, replace(REGULATOR, soft_start=T_SOFT), math.ceil((T_SOFT + startup_panels.AFTER) * 150e3))
    np.testing.assert_allclose(course.output(start.time), start.v_out, rtol=1e-9)
    coil = np.array([(piece.start, piece.state[0]) for piece in course.pieces])
    for begin, end, highest in zip(start.time[:-1], start.time[1:], start.highest[1:], strict=True):
        assert highest == coil[(coil[:, 0] > begin) & (coil[:, 0] <= end), 1].max()
    assert start.highest.max() == pytest.approx(course.inductor_current.max, rel=1e-3)
    assert max(start.inrush, start.later) == start.highest.max()
    assert start.top == course.output_voltage.max
    # a straight line from nought, then the set point itself; the exact one climbs in whole periods
    wave = course.waveforms(2)
    drawn = np.interp(start.time[5:], wave.time, wave.set_point)
    np.testing.assert_allclose(start.set_point[5:], drawn, atol=18.0 / (T_SOFT * 150e3))


def test_the_limit_holds_a_start_without_soft_start_and_a_soft_one_stays_below():
    """Without, the coil runs at its current limit all the way up; with a long soft start it carries load and filling current only."""
    none, soft = (startup_panels.started(STAGE, REGULATOR, t) for t in (0.0, 4 * T_SOFT))
    assert none.highest[-1] < 0.8 * none.later  # settled where it is drawn on
    assert none.later == pytest.approx(3.0, rel=0.01)  # what the coil rises within the least on-time
    assert soft.later < 0.8 * none.later
    assert soft.top == pytest.approx(18.0, rel=0.05)  # the overshoot of this slow regulator
    wild = startup_panels.started(STAGE, replace(REGULATOR, i_limit=None, high=np.inf), 0.0)
    assert wild.later > 2 * none.later and wild.top > none.top


def test_a_start_is_followed_as_far_as_asked():
    """A start without soft start is followed to the end of the longest one, so that nothing on the axis is made up."""
    start = startup_panels.started(STAGE, REGULATOR, 0.0, until=20e-3)
    assert start.time[-1] == pytest.approx(20e-3, rel=0.02)  # a stretch of a decade axis
    assert (np.diff(start.time) > 0).all() and start.v_out[-1] == pytest.approx(18.0, rel=0.01)
