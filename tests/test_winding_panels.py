"""Winding an inductor in pictures: numbers behind them against obvious answers, against one another and the exact circuit."""

import numpy as np
import pytest

from boostkit.circuit import Converter, switched
from boostkit.parts import cores, inductor_build
from boostkit.parts.core_materials import MU_0
from boostkit.show import winding_panels

DEMAND = {"inductance": 47e-6, "i_peak": 2.4, "i_rms": 2.0, "ripple": 0.58, "f_sw": 150e3, "duty": 0.68}
STAGE = Converter.of(v_in=6.0, inductance=47e-6, f_sw=150e3, duty=0.68, capacitance=100e-6, r_capacitor=0.01, r_load=30.0,
                     v_rectifier=0.4, r_switch=0.02)  # fmt: skip


@pytest.fixture(scope="module")
def built():
    """An inductor for the tide gauge, its gap ground into an E core."""
    return inductor_build.build(**DEMAND, core="E 16/8/5")


def lines(figure, row):
    return {line.get_label(): (line.get_xdata(), line.get_ydata()) for line in figure.axes[row].lines}


# --- core, turns and gap ---


def test_the_core_that_was_built_is_the_core_that_is_drawn(built):
    """With its own turns and gap the panel's core has the inductance and the flux density of the finished part."""
    wound = winding_panels.gapped(built.core, built.material, built.turns, built.gap, built.demand.hottest)
    assert wound.fringing == pytest.approx(built.fringing, rel=1e-9)
    assert wound.smallest_current_inductance == pytest.approx(47e-6, rel=2e-3)  # the curve's mu_r - 1 against the formula's mu_r
    narrowest = winding_panels.flux_density(wound, DEMAND["i_peak"]) * built.core.area / built.core.area_least
    assert narrowest == pytest.approx(built.flux_peak, rel=0.05)  # the formula takes the inductance as constant up to the peak
    assert narrowest < winding_panels.allowed(wound) == pytest.approx(0.75 * built.material.saturation_at(built.demand.hottest))


def test_twice_the_turns_four_times_the_inductance(built):
    """The inductance goes as the square of the turns, the flux density at a small current as the turns."""
    once, twice = (winding_panels.gapped(built.core, built.material, n, 3e-4, 85.0) for n in (10, 20))
    assert twice.smallest_current_inductance == pytest.approx(4 * once.smallest_current_inductance, rel=1e-6)
    assert winding_panels.flux_density(twice, 0.1) == pytest.approx(2 * winding_panels.flux_density(once, 0.1), rel=1e-3)  # straight yet


def test_the_energy_in_the_gap_by_the_field_itself(built):
    """Field energy B²/(2 mu0) in the gap, over its widened cross-section, against half of L i²: the share that the panel reads out."""
    wound = winding_panels.gapped(built.core, built.material, built.turns, built.gap, 25.0)
    current = 0.2
    flux = float(wound.flux_linkage_at(current)) / wound.turns
    in_gap = (flux / (wound.core.area * wound.fringing)) ** 2 / (2 * MU_0) * wound.core.area * wound.fringing * wound.gap
    whole = wound.smallest_current_inductance * current**2 / 2
    assert winding_panels.gap_share(wound) == pytest.approx(in_gap / whole, rel=2e-3)  # mu_r - 1 against mu_r
    assert winding_panels.gap_share(wound) > 0.8


def test_a_gap_beyond_the_fringing_formula_is_refused(built):
    """A gap that rivals the window has no formula; the panel says so in a line and keeps its picture."""
    with pytest.raises(ValueError, match="gap"):
        winding_panels.gapped(built.core, built.material, 20, built.core.breadth, 25.0)
    panel = winding_panels.core(inductor_build.build(**{**DEMAND, "i_peak": 1.2, "i_rms": 1.0}, core="E 13/7/4"))
    panel.move(core="P 11/7")
    before = panel.png
    assert "no longer holds" in panel.move(gap=2e-3) and panel.png == before


def test_a_powder_has_no_gap_to_move():
    """A core whose gap lies between its grains is refused in one line."""
    powder = inductor_build.build(**DEMAND, core="ring 16/10/6", material="powder")
    with pytest.raises(ValueError, match="between its grains"):
        winding_panels.core(powder)


def test_the_figure_marks_what_is_left_at_the_peak(built):
    """The marked points are the inductance and the flux density at the peak; the level is the allowed one."""
    figure = winding_panels.magnetised({"hot": built.magnetised}, 2.4, limit=0.25)
    amps, henry = lines(figure, 0)["hot"]
    assert np.interp(2.4, amps, henry) == pytest.approx(float(built.inductance_at(2.4)), rel=1e-3)  # 121 points
    assert henry[0] == max(henry) and henry[-1] < 0.3 * henry[0]
    for row, at_peak in enumerate((built.inductance_at(2.4), winding_panels.flux_density(built.magnetised, 2.4))):
        ring = [line for line in figure.axes[row].lines if len(line.get_xdata()) == 1]
        assert (ring[0].get_xdata()[0], ring[0].get_ydata()[0]) == pytest.approx((2.4, float(at_peak)))
    assert any(np.all(np.asarray(line.get_ydata()) == 0.25) for line in figure.axes[1].lines)
    assert np.all(np.diff(lines(figure, 1)["hot"][1]) > 0)


# --- saturation in the waveform ---


def test_far_below_saturation_both_are_one(built):
    """At a light load a core that could saturate and one that cannot carry the same current."""
    light = STAGE.change(r_load=90.0, r_inductor=built.resistance_dc)
    bent = switched.steady_state(winding_panels.with_core(light, built.magnetised, built.resistance_dc))
    plain = switched.steady_state(light)
    assert bent.inductor_current.max == pytest.approx(plain.inductor_current.max, rel=3e-3)  # the bends begin softly
    assert bent.output_voltage.mean == pytest.approx(plain.output_voltage.mean, rel=1e-4)


def test_the_peak_runs_away_while_the_output_tells_nothing(built):
    """At two and a half times the load the peak is far above that of a core without end, and the output within a hundredth of it."""
    full = STAGE.change(r_load=12.0, r_inductor=built.resistance_dc)
    bent = switched.steady_state(winding_panels.with_core(full, built.magnetised, built.resistance_dc))
    plain = switched.steady_state(full)
    assert bent.inductor_current.max > 1.5 * plain.inductor_current.max
    assert bent.output_voltage.mean == pytest.approx(plain.output_voltage.mean, rel=0.01)
    figure = winding_panels.overload(bent, plain)
    drawn = lines(figure, 0)
    assert max(drawn["the core saturates"][1]) == pytest.approx(bent.inductor_current.max, rel=1e-6)
    assert max(drawn["it does not"][1]) == pytest.approx(plain.inductor_current.max, rel=1e-6)


@pytest.mark.parametrize("r_load", [30.0, 20.0, 16.0, 12.0, 10.0])
def test_fewer_bends_change_little(built, r_load):
    """The curve that the panel keeps gives the peak of the full one within what its comment promises."""
    peaks = [switched.steady_state(winding_panels.with_core(STAGE.change(r_load=r_load), built.magnetised, 0.05, bends))
             .inductor_current.max for bends in (slice(1, None), winding_panels.BENDS)]  # fmt: skip
    assert peaks[1] == pytest.approx(peaks[0], rel=0.03)


# --- layers ---


@pytest.mark.parametrize("count", [1, 2, 3, 5, 10])
def test_the_best_thickness_is_the_best(count):
    """The marked thickness lies at the bottom of Dowell's curve, found here by trying."""
    tried = np.geomspace(0.1, 4.0, 20_001)
    found = tried[np.argmin(winding_panels.by_thickness(count, tried))]
    assert winding_panels.best_of(count) == pytest.approx(found, rel=0.025)  # the rule errs low by 2 % with two layers
    assert winding_panels.by_thickness(count, winding_panels.best_of(count)) == pytest.approx(
        winding_panels.by_thickness(count, found), rel=2e-3)  # fmt: skip


def test_a_thin_wire_resists_by_being_thin():
    """Far below the skin depth the layers do not matter: halve the thickness, double the resistance."""
    assert winding_panels.by_thickness(4, 0.1) == pytest.approx(10.0, rel=1e-3)
    assert winding_panels.by_thickness(4, 0.05) == pytest.approx(2 * winding_panels.by_thickness(4, 0.1), rel=1e-3)


def test_foil_of_three_layers_as_in_the_textbook():
    """Three layers one skin depth thick: Dowell's function as Erickson & Maksimovic, 3rd ed., eq. 10.84 to 10.88 build it up from
    G1 and G2, written out here (from memory)."""
    g1 = (np.sinh(2) + np.sin(2)) / (np.cosh(2) - np.cos(2))
    g2 = (np.sinh(1) * np.cos(1) + np.cosh(1) * np.sin(1)) / (np.cosh(2) - np.cos(2))
    m = np.arange(1, 4)
    loss = np.mean((2 * m**2 - 2 * m + 1) * g1 - 4 * m * (m - 1) * g2)  # of layer m over that of direct current, phi = 1
    assert winding_panels.by_thickness(3, 1.0) == pytest.approx(loss, rel=1e-9)


def test_the_two_rules_meet_dowell_at_their_ends():
    """As drawn, the thin rule lies on the curve at the left end and the thick one at the right."""
    drawn = lines(winding_panels.rules(3, 1.0), 0)
    exact, thin, thick = (drawn[name][1] for name in ("Dowell", "thin layers", "thick layers"))
    assert thin[0] == pytest.approx(exact[0], rel=1e-6) and thick[-1] == pytest.approx(exact[-1], rel=0.01)
    middle = np.nanargmax(np.where(np.isfinite(thin), thin, 0))
    assert thin[middle] > 1.5 * exact[middle]


# --- panels ---


@pytest.mark.parametrize(("make", "move", "words"), [
    (winding_panels.core, {"turns": 30}, "30 turns"),
    (winding_panels.core, {"gap": 1e-3}, "gap 1 mm"),
    (winding_panels.core, {"core": "E 20/10/6"}, "E 20/10/6"),
    (lambda built: winding_panels.overloaded(STAGE, built), {"load": 1.8}, "without saturation"),
    (lambda built: winding_panels.overloaded(STAGE, built), {"temperature": 120.0, "load": 1.3}, "without saturation"),
    (lambda built: winding_panels.layers(2, 0.5e-3, 150e3, 60.0), {"count": 5}, "5 layers"),
    (lambda built: winding_panels.layers(2, 0.5e-3, 150e3, 60.0), {"diameter": 0.3e-3}, "wire 300 µm"),
])  # fmt: skip
def test_a_slider_moves_picture_and_readings(built, make, move, words):
    """Every panel answers: another picture and other words, and the same bytes again with the reset."""
    panel = make(built)
    before = panel.readings, panel.png
    after = panel.move(**move)
    assert words in after and after != before[0] and panel.png != before[1]
    assert panel.reset() == before[0] and panel.png == before[1]


def test_a_refusal_is_a_line():
    """A wire out of the picture is told under it, and the picture stays."""
    panel = winding_panels.layers(2, 0.5e-3, 150e3, 60.0)
    before = panel.png
    assert "the picture reaches" in panel.move(f_sw=2e6, diameter=2e-3) and panel.png == before


def test_the_readings_go_the_right_way(built):
    """A wider gap: less inductance, less flux, more of the energy in it; a hotter core saturates earlier."""
    narrow, wide = (winding_panels.gapped(built.core, built.material, built.turns, gap, 85.0) for gap in (1e-4, 6e-4))
    assert narrow.smallest_current_inductance > wide.smallest_current_inductance
    assert winding_panels.flux_density(narrow, 1.0) > winding_panels.flux_density(wide, 1.0)
    assert winding_panels.gap_share(narrow) < winding_panels.gap_share(wide)
    cold, hot = (winding_panels.gapped(cores.shape("E 16/8/5"), built.material, 24, 3e-4, t).current_at(20e-6) for t in (25.0, 110.0))
    assert hot < cold
