"""Gain rows, loss pictures and heat balance: numbers behind the pictures, against obvious answers, formulas and the settled converter."""

from dataclasses import replace

import numpy as np
import pytest

from boostkit.circuit import Converter
from boostkit.derivations import gain_peak
from boostkit.parts import losses, tables, warming
from boostkit.parts.kinds import Parts
from boostkit.show import loss_panels
from boostkit.units import show

STAGE = Converter.of(v_in=6.0, inductance=47e-6, f_sw=150e3, duty=0.68, capacitance=100e-6, r_load=30.0, r_inductor=0.3)


def shipped(names: dict[str, str]) -> Parts:
    """Invented parts of the kit, by name."""
    have = tables.illustrative()
    found = {part.name: part for table in ("switches", "rectifiers", "inductors", "capacitors") for part in getattr(have, table)}
    return Parts(**{what: found[name] for what, name in names.items()}, control_current=2e-3)


PARTS = shipped({"switch": "switch 30 V 20 mΩ", "rectifier": "diode 30 V metal", "inductor": "coil 56 µH 4 A",
                 "capacitor": "ceramic 22 µF 25 V"})
POINT = warming.settle(PARTS, 6.0, 18.0, 0.6, 150e3, 45.0)
LOADS = np.geomspace(0.02, 1.0, 15)
ALONG = warming.settle_many(PARTS, 6.0, 18.0, LOADS, 150e3, 45.0).losses


# --- gain ---


def curve(ax, label: str) -> np.ndarray:
    return next(line for line in ax.lines if line.get_label() == label).get_ydata()


def rings(ax) -> list[tuple[float, float]]:
    """The points marked in a row, by their duty."""
    return sorted((float(line.get_xdata()[0]), float(line.get_ydata()[0])) for line in ax.lines if len(line.get_xdata()) == 1)


def test_the_gain_row_peaks_where_the_formula_says():
    """With the winding as the only loss the drawn peak is sqrt(R/R_L)/2 at D = 1 - sqrt(R_L/R), efficiency one half."""
    figure = loss_panels.gain_rows(STAGE)
    gain = curve(figure.axes[0], "with losses")
    letters = {"r_inductor": 0.3, "r_load": 30.0}
    duty, height = rings(figure.axes[0])[-1]
    assert height == pytest.approx(gain_peak.peak_gain().formula(**letters), rel=0.002)     # a parabola through three points
    assert duty == pytest.approx(gain_peak.peak_duty().formula(**letters), abs=0.001)
    assert rings(figure.axes[1])[-1] == pytest.approx((duty, 0.5), abs=0.01)                 # steep there
    assert gain[0] == pytest.approx(30 / 30.3, rel=1e-3) and gain[-1] < 0.2 * height         # passed through; and next to nothing
    assert f"highest, {show(height)}, at duty {show(duty)}" in figure.says


def test_without_loss_there_is_no_peak():
    """Resistances of nothing: the gain climbs up to the last duty."""
    gain = curve(loss_panels.gain_rows(STAGE.change(r_inductor=0.0)).axes[0], "with losses")
    assert np.all(np.diff(gain) > 0)


# --- losses ---


def test_the_kinds_take_every_loss_once():
    """No loss is left out and none counted twice, at a point and in arrays."""
    for found in (POINT.losses, ALONG):
        assert np.allclose(sum(loss_panels.kinds_of(found).values()), found.total, rtol=1e-12)
    every = [name for names, *_ in loss_panels.KINDS.values() for name in names]
    assert sorted(every) == sorted(losses.HEATS)


def widths(ax) -> list[float]:
    """The lengths of the bars, key and bars of no length left out."""
    boxes = [path.vertices for areas in ax.collections for path in areas.get_paths()]
    return sorted(float(np.ptp(box[:, 0])) for box in boxes if box[:, 1].min() > -0.9 and np.ptp(box[:, 0]) > 0)


def test_the_bars_add_up_to_all_that_is_lost():
    """Lengths of the bars in W, the rest among them, make up the losses of the point; the longest is the largest loss."""
    bars = widths(loss_panels.where_it_goes(POINT.losses, 0.6, LOADS, ALONG).axes[0])
    assert sum(bars) == pytest.approx(POINT.losses.total, rel=1e-9)
    assert bars[-1] == pytest.approx(max(POINT.losses.items.values()), rel=1e-12)
    few = widths(loss_panels.where_it_goes(POINT.losses, 0.6, LOADS, ALONG, names=("switch edges",)).axes[0])
    assert len(few) == 2 and sum(few) == pytest.approx(POINT.losses.total, rel=1e-9)


def test_the_stack_ends_at_what_efficiency_leaves():
    """The upper edge of the topmost kind is one minus the efficiency at every load."""
    stack = loss_panels.where_it_goes(POINT.losses, 0.6, LOADS, ALONG).axes[1]
    edge = stack.collections[-1].get_paths()[0].vertices
    for load, efficiency in zip(LOADS, ALONG.efficiency, strict=True):
        assert edge[np.isclose(edge[:, 0], load), 1].max() == pytest.approx(1 - efficiency, rel=1e-9)


def test_the_largest_come_first():
    """Names sorted by loss; a loss of nothing has no bar."""
    names = loss_panels.largest(POINT.losses)
    amounts = [POINT.losses.items[name] for name in names]
    assert amounts == sorted(amounts, reverse=True) and min(amounts) > 0
    assert "rectifier gate" not in names


# --- heat ---


@pytest.mark.parametrize("what", ["inductor", "switch", "rectifier"])
def test_the_crossing_is_where_the_part_settles(what):
    """Heat made equals heat carried off at the temperature that the exact circuit settles at."""
    heat = loss_panels.heat_of(PARTS, what, POINT)
    assert heat.settles == pytest.approx(POINT.temperatures[what], abs=0.2)  # K: formula against exact circuit, some 1 % of a rise


@pytest.mark.parametrize("ambient", [-10.0, 90.0])
def test_another_ambient_and_another_way_out(ambient):
    """Moved far from the point it still finds what `settle_many` finds for such a part."""
    other = replace(PARTS, inductor=replace(PARTS.inductor, heat=replace(PARTS.inductor.heat, resistance=100.0)))
    found = warming.settle_many(other, 6.0, 18.0, 0.6, 150e3, ambient).temperatures["inductor"]
    heat = loss_panels.heat_of(PARTS, "inductor", POINT, resistance=100.0, ambient=ambient)
    assert heat.settles - ambient == pytest.approx(float(found) - ambient, rel=0.001)  # by formula both; the current lost on the way stays


def test_a_part_that_runs_away_settles_nowhere():
    """With a way out so poor that `settle_many` calls it a runaway the two curves do not meet."""
    poor = 4000.0
    other = replace(PARTS, inductor=replace(PARTS.inductor, heat=replace(PARTS.inductor.heat, resistance=poor)))
    assert warming.settle_many(other, 6.0, 18.0, 0.6, 150e3, 45.0).runs_away
    heat = loss_panels.heat_of(PARTS, "inductor", POINT, resistance=poor)
    assert np.isnan(heat.settles) and np.all(heat.made > heat.carried)
    assert "more is made than carried off" in loss_panels.heat_picture(heat).says


# --- panels ---

RANGES = {"v_in": (5.5, 6.0, 7.2), "v_out": 18.0, "i_out": (0.02, 0.6, 0.6), "f_sw": 150e3, "temperature": 60.0}


@pytest.mark.parametrize(("panel", "letter", "value", "words"), [
    (lambda: loss_panels.gain(STAGE), "r_inductor", 0.6, "highest"),
    (lambda: loss_panels.losses_of(PARTS, **RANGES), "i_out", 0.05, "are lost"),
    (lambda: loss_panels.losses_of(PARTS, **RANGES), "f_sw", 600e3, "are lost"),
    (lambda: loss_panels.losses_of(PARTS, **RANGES), "temperature", 100.0, "are lost"),
    (lambda: loss_panels.heating(PARTS, "inductor", POINT), "resistance", 200.0, "settles"),
    (lambda: loss_panels.heating(PARTS, "inductor", POINT), "ambient", 100.0, "settles"),
])
def test_a_slider_moves_picture_and_readings(panel, letter, value, words):
    """Every panel answers: another picture and other words, and the same bytes again with the reset."""
    made = panel()
    made.reset()
    before = made.readings, made.png
    after = made.move(**{letter: value})
    assert words in after and after != before[0] and made.png != before[1]
    assert made.reset() == before[0] and made.png == before[1]


def test_the_panel_agrees_with_the_solver_at_that_temperature():
    """The readings are the losses of parts held at the slider's temperature."""
    told = loss_panels.losses_of(PARTS, **RANGES).move(v_in=7.0, i_out=0.1)
    held = replace(PARTS, **{name: replace(getattr(PARTS, name), heat=replace(getattr(PARTS, name).heat, resistance=0.0))
                             for name in ("switch", "rectifier", "inductor")})
    found = warming.settle_many(held, 7.0, 18.0, 0.1, 150e3, 60.0)
    assert f"{1e3 * float(found.losses.total):.3g} mW are lost" in told


def test_out_of_reach_is_a_line_and_the_picture_stays():
    """A source too low for the load is refused in words under the last good picture."""
    weak = replace(PARTS, inductor=replace(PARTS.inductor, resistance=0.5))
    made = loss_panels.losses_of(weak, (2.0, 6.0, 7.2), 18.0, (0.02, 0.6, 0.6), 150e3, 60.0)
    before = made.png
    assert "out of reach" in made.move(v_in=2.0) and made.png == before
