"""Pictures and panels of the interrupted coil: what they show is what the exact course says."""

import numpy as np
import pytest

from boostkit.circuit import Coil
from boostkit.derivations import kick
from boostkit.show import coil_panels

COIL = Coil(6.0, 56e-6, 2.0, 0.05)
PATHS = {"resistor": 22.0, "diode": 0.7, "clamp": 18.0, "coil_clamp": 18.0, "capacitance": 200e-12}
HIGHEST = {"resistor": 6 + 44, "diode": 6.7, "clamp": 18, "coil_clamp": 24, "capacitance": 6 + np.hypot(6, 2 * np.sqrt(56e-6 / 200e-12))}


def lines(ax):
    """The curves of an axes by their label."""
    return {line.get_label(): line for line in ax.lines}


def test_the_loop_with_the_current_is_the_thick_one():
    """One picture for each state; the source lies in the thick loop but where the path lies across the coil."""
    figure = coil_panels.circuits()
    source_is_thick = []
    for ax in figure.axes:
        plates = [line for line in ax.lines if set(line.get_xdata()) == {coil_panels.SOURCE - 12, coil_panels.SOURCE + 12}]
        source_is_thick.append(plates[0].get_linewidth() > 1.5)
    assert source_is_thick == [True, False, True]
    assert "the source is out of the loop" in figure.says


@pytest.mark.parametrize("pick", PATHS)
def test_each_path_gets_the_voltage_that_it_asks_for(pick):
    """Ohm's law, the source plus a drop, the clamp's own voltage, or the energy in the capacitance."""
    course = coil_panels.course_of(COIL, pick, PATHS[pick])
    assert course.v_switch_peak == pytest.approx(HIGHEST[pick], rel=1e-3)     # the winding damps the kick by half its zeta
    assert coil_panels.PATHS[pick][0].split()[-1] in course.path


def test_the_curves_are_the_exact_courses():
    """Every course is drawn as it was handed over, up to the end that was asked for."""
    found = {"resistor": COIL.through_resistor(22.0), "clamp": COIL.into_clamp(18.0, c_stray=2e-9)}   # fills it first
    figure = coil_panels.courses(found, until=5e-6)
    for ax, name in zip(figure.axes, ("i_inductor", "v_switch"), strict=True):
        for pick, course in found.items():
            x, y = lines(ax)[pick].get_data()
            wave = course.waveforms(600)
            assert x[-1] <= 5e-6 < x[-1] + 1e-7
            np.testing.assert_array_equal(y, getattr(wave, name)[: len(y)])
    assert "clamp: clamp of 18 V across the switch: highest voltage across the switch 18 V; no current after" in figure.says


def test_opening_offers_each_path_with_a_value_of_its_own():
    """A pick draws that path's course; moving a clamp across the switch near the source makes it take more."""
    panel = coil_panels.opening(COIL, PATHS)
    assert panel.readings.startswith("resistor of 22 Ω") and "50 V" in panel.readings
    assert panel.move(connected="clamp").startswith("clamp of 18 V across the switch")
    shown = [widget.description for widget in panel.box.children if getattr(widget.layout, "display", None) != "none"
             and getattr(widget, "description", "").startswith(("resistance", "voltage", "forward", "stray"))]
    assert shown == ["voltage of the clamp, V"]
    before = coil_panels.course_of(COIL, "clamp", 18.0).energies["path"]
    near = panel.values["v_clamp"] / 2
    assert f"{near:.3g} V" in panel.move(v_clamp=near)
    assert coil_panels.course_of(COIL, "clamp", near).energies["path"] > 1.3 * before
    picture = panel.png
    panel.reset()
    assert panel.png != picture and panel.readings.startswith("resistor of 22 Ω")


def test_no_slider_of_a_clamp_reaches_the_source():
    """At the source voltage or below the current would never end; the slider stops above it, even for a low clamp."""
    for volts in (6.5, 18.0):
        panel = coil_panels.opening(COIL, {"clamp": volts})
        widget = next(w for w in panel.box.children if getattr(w, "description", "").startswith("voltage of the clamp"))
        assert 10**widget.min > COIL.v_in
        panel.move(v_clamp=10**widget.min)
        assert panel.readings.startswith("clamp of")


def test_rise_marks_both_curves_and_tells_the_gap():
    """The straight ramp V t/L beside the exact rise; the gap in words is half of the closed time over the time constant."""
    panel = coil_panels.closing(Coil(6.0, 56e-6, 0.0, 0.5), 5e-6)
    drawn = lines(panel.figure.axes[0])
    time, ramp = drawn["straight ramp"].get_data()
    assert ramp[~np.isnan(ramp)] == pytest.approx((6.0 * time / 56e-6)[~np.isnan(ramp)])
    exact = kick.charging().formula(v_in=6.0, r_loop=0.5, inductance=56e-6, t=time)
    assert drawn["exact"].get_ydata() == pytest.approx(exact, rel=1e-12)
    assert "2.25 % high" in panel.readings      # x/2 + x^2/12 with x = R t/L = 0.0446
    assert "settle at 12 A" in panel.readings
    assert "straight ramp 536 mA" in panel.move(t=5e-6, v_in=6.0) and "12 A" not in panel.move(r_loop=0.25)
