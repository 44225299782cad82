"""Derating and yield: numbers behind the pictures of a finished design, and the panels that move them."""

import re
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest

from boostkit.design import Spec, design, step
from boostkit.design.loop import regulate
from boostkit.design.tolerance import Demand, Outcome
from boostkit.parts import capacitor_choice, capacitor_types
from boostkit.parts.capacitor_choice import AGE
from boostkit.show import design_panels
from boostkit.units import read, show

COLD_HOT = (-10.0, 45.0)
CERAMIC, WET = (capacitor_choice.choose("output", 80e-6, 18.0, 0.9, 150e3, COLD_HOT, 0.5, kinds=(kind,))[0]
                for kind in ("ceramic", "electrolytic"))  # fmt: skip


def lot(values, limit=None, least=False, unit="V"):
    """An outcome of these units."""
    return Outcome(Demand("ripple", limit, unit, least), np.array(values, float), None, None, {}, {"capacitance": -1.0})


def drawn(figure, label):
    """The x and y of a line by its label; "" for the first unlabelled one."""
    lines = figure.axes[0].lines
    return next(line for line in lines if line.get_label() == label).get_data()


# --- the share of units that keep a limit ---


def test_shares_are_counted():
    """Of four units at 1, 2, 3 and 4 one keeps a highest value of 1.5, two keep 2, and all keep 4; a lowest one the other way."""
    assert design_panels.keeping(lot([4, 2, 1, 3]), [0.5, 1.5, 2, 4]).tolist() == [0, 0.25, 0.5, 1]
    assert design_panels.keeping(lot([4, 2, 1, 3], least=True), [0.5, 1.5, 2, 4.5]).tolist() == [1, 0.75, 0.75, 0]


def test_it_agrees_with_the_demand_itself():
    """The share at any limit is the share that `Demand.met` counts there, for both kinds of demand."""
    values = np.random.default_rng(3).normal(5.0, 1.0, 500)
    for least in (False, True):
        for limit in (values[7], 4.0, 6.5):
            outcome = lot(values, limit, least)
            assert design_panels.keeping(outcome, [limit])[0] == outcome.demand.met(values).mean()


def test_a_unit_without_output_keeps_nothing():
    """nan counts among the units and keeps no limit, however wide."""
    for least in (False, True):
        assert design_panels.keeping(lot([1.0, np.nan], least=least), [0.0 if least else 9.0])[0] == 0.5


@pytest.mark.parametrize("least", [False, True])
def test_the_curve_runs_from_none_to_all_and_the_limit_is_marked(least):
    """A looser limit never loses a unit; the mark says the share at the demand's own limit, in the words as well."""
    figure = design_panels.yields(lot(np.linspace(1.0, 2.0, 101), 1.25, least), worst=0.9 if least else 2.1)
    share = next(y for y in (line.get_ydata() for line in figure.axes[0].lines) if len(y) == design_panels.POINTS)
    assert np.all((np.diff(share) <= 0) if least else (np.diff(share) >= 0))
    assert {share[0], share[-1]} == {0.0, 1.0}
    assert drawn(figure, "limit 1.25 V")[0].tolist() == [1.25, 1.25]
    assert f"{'75.2' if least else '25.7'} % of the units keep at {'least' if least else 'most'} 1.25 V" in figure.says   # 76 or 26 of 101
    assert f"at its worst {'900 m' if least else '2.1 '}V" in figure.says


def test_without_a_demand_nothing_is_marked():
    """No limit, no dashed line, and no word about one."""
    figure = design_panels.yields(lot([1.0, 2.0, 3.0]))
    assert figure.says == "3 units: ripple from 1 V to 3 V, half of them below 2 V"


def test_no_unit_no_picture():
    """A lot of which no unit reached its output is refused in words."""
    with pytest.raises(ValueError, match="ripple: no unit of 2 reached"):
        design_panels.yields(lot([np.nan, np.nan]))
    assert "1 units" in design_panels.yields(lot([2.0])).says       # one alone, all ends equal, is drawn


# --- what is left of a capacitor ---


@pytest.mark.parametrize("bank", [CERAMIC, WET], ids=["ceramic", "electrolytic"])
def test_the_rings_are_what_the_choice_reckoned_with(bank):
    """At its voltage, new: `usual`; in the worse of cold and heat, ten years old: `effective`."""
    a_type = capacitor_types.of(bank.kind)
    worst = a_type.temperature.lowest(COLD_HOT[0], COLD_HOT[1] + a_type.rise)
    volts, new = drawn(design_panels.remains(bank, 18.0, worst), "new")
    _, left = drawn(design_panels.remains(bank, 18.0, worst, AGE / 8760), "cold or hot, and old")
    assert np.interp(18.0, volts, new) == pytest.approx(bank.usual, rel=1e-12)
    assert np.interp(18.0, volts, left) == pytest.approx(bank.effective, rel=1e-12)


def test_ceramics_lose_by_voltage_and_age():
    """The higher the voltage and the older, the less is left; without voltage and at 25 °C a usual new piece has what is marked."""
    figure = design_panels.remains(CERAMIC, 18.0, 25.0, 1e3 / 8760)
    new, young = drawn(figure, "new")[1], drawn(figure, "cold or hot, and old")[1]
    old = drawn(design_panels.remains(CERAMIC, 18.0, 25.0, AGE / 8760), "cold or hot, and old")[1]
    assert new[0] == pytest.approx(CERAMIC.count * CERAMIC.capacitance) and np.all(np.diff(new) < 0)
    assert np.allclose(young, new * (1 - capacitor_types.of("ceramic").tolerance)) and np.all(old < young)


def test_beyond_its_rating_nothing_is_drawn():
    """A voltage above the rating is refused by name."""
    with pytest.raises(ValueError, match="voltage = .* rated voltage"):
        design_panels.remains(CERAMIC, 1.01 * CERAMIC.voltage_limit, 25.0)


# --- panels ---


@pytest.mark.parametrize(("panel", "move", "words"), [
    (lambda: design_panels.derating(CERAMIC, 18.0, COLD_HOT), {"voltage": 5.0}, "at 5"),
    (lambda: design_panels.derating(CERAMIC, 18.0, COLD_HOT), {"years": 1.0}, "after 1 years"),
    (lambda: design_panels.derating(WET, 18.0, COLD_HOT), {"temperature": 45.0}, "at 45"),
    (lambda: design_panels.stricter(lot(np.linspace(0.02, 0.03, 51), 0.06), 0.031), {"limit": 0.025}, "keep at most 2"),
    (lambda: design_panels.stricter(lot(np.linspace(0.94, 0.96, 51), 0.9, True, "%")), {"limit": 0.95}, "keep at least 9"),
    (lambda: design_panels.stricter(lot(np.linspace(2.0, 3.0, 51), unit="A")), {"limit": 2.2}, "keep at most 2.2"),
])
def test_a_slider_moves_picture_and_readings(panel, move, words):
    """Every panel answers: another picture and other words, and back again with the reset."""
    made = panel()
    before = made.readings, made.png
    after = made.move(**move)
    assert after != before[0] and words in after and made.png != before[1]
    assert made.reset() == before[0]
    assert made.png == before[1]


def test_the_derating_panel_starts_at_the_worse_end_of_the_ambient():
    """A ceramic of this kit loses more in the cold than in the heat; the panel starts where less is left."""
    a_type = capacitor_types.of("ceramic")
    left = {t: float(a_type.capacitance_left(18.0 / CERAMIC.voltage_limit, t)) for t in COLD_HOT}
    assert design_panels.derating(CERAMIC, 18.0, COLD_HOT).values["temperature"] == min(left, key=left.get)


def test_half_of_the_units_keep_the_middle_ones_value():
    """Where nothing is demanded the panel starts at the median, which half of the units keep."""
    shares = re.findall(r"([\d.]+) % of the units", design_panels.stricter(lot(np.linspace(1.0, 2.0, 100))).readings)
    assert shares == ["50"]


# --- the load step ---


@pytest.fixture(scope="module")
def held():
    """The tide gauge as drawn, its loop, and its corners."""
    spec = Spec.from_file(files("boostkit") / "data" / "tide_gauge.toml")
    converter = design(spec).converter
    return regulate(spec, converter), step.stages(spec, converter)


def ways(loop, at, v_in):
    """The load step of the specification up and back at this source voltage."""
    worn, jump = min(place.capacitance for place in at), loop.spec.step
    low, high = (at[step.Place(v_in, i_out, worn)].converter for i_out in (jump.low, jump.high))
    return design_panels.both_ways(low, high, loop.controller, 1e-3)


def test_a_swing_is_what_the_verdict_counts(held):
    """The curves that are drawn come as far as the step deviation that the loop is judged by."""
    loop, at = held
    for moved in loop.moved:
        up, back = ways(loop, at, moved.v_in)
        assert (up.farthest, back.farthest) == pytest.approx((moved.up, moved.back), rel=1e-6)     # another instant of the same clock
        assert -up.off.min() == pytest.approx(up.farthest, rel=0.02)        # samples may miss the tip
        assert back.off.max() == pytest.approx(back.farthest, rel=0.02)
        assert up.time[0] < 0 < up.time[-1] and np.all(np.diff(up.time) > -1e-12)


def test_at_first_the_capacitor_alone_feeds_the_step(held):
    """Charge: before the loop answers, the output falls by the step times the time over the capacitance."""
    loop, at = held
    v_in, t = loop.spec.v_in.usual, 2.0 / loop.spec.frequency
    up, _ = ways(loop, at, v_in)
    rest = (up.time < 0) & (up.time > -t)
    then = (up.time > t) & (up.time < 2 * t)
    fell = up.off[rest].mean() - up.off[then].mean()
    rough = (loop.spec.step.high - loop.spec.step.low) * 1.5 * t / min(p.capacitance for p in at)
    assert fell == pytest.approx(rough, rel=0.25)      # the ripple's shape changes, and the samples lie unevenly in a period


def test_swings_are_told_against_their_limit():
    """Both rows with their limit, on the side to which the output goes; no limit, no word of one."""
    seen = design_panels.Swing(np.array([-1e-5, 0.0, 1e-4]), np.array([0.0, 0.0, -0.3]), 0.31)
    figure = design_panels.swings({"low": seen}, {"low": seen}, 0.6)
    assert "step up: low: 310 mV; step back: low: 310 mV; it may get 600 mV" in figure.says
    heights = [{float(y) for line in ax.lines for y in line.get_ydata()} for ax in figure.axes]
    assert -0.6 in heights[0] and 0.6 in heights[1] and 0.6 not in heights[0]
    assert "it may" not in design_panels.swings({"low": seen}, {"low": seen}).says


def test_the_crossover_moves_the_load_step(held):
    """It starts at the loop itself; slower, the output gets farther off; far beyond the zero the margin is gone; reset brings all back."""
    loop, at = held
    loop = replace(loop, corners=tuple(replace(h, phase_margin=77.0) for h in loop.corners))     # told by this loop alone
    panel = design_panels.quicker(loop, at)
    assert "least phase margin 77°" in panel.readings
    start, worst = (panel.readings, panel.png), max(m.up for m in loop.moved)
    off = [read(re.search(r"gets (\S+ m?V) off", panel.move(crossover=k * loop.crossover))[1], "V") for k in (1.0, 4 ** (-1 / 3))]
    assert f"gets {show(worst, 'V')} off" in start[0] and off[0] < off[1]
    fast = panel.move(crossover=4 * loop.crossover)
    assert "too little" in fast or "no such loop" in fast
    assert panel.reset() == start[0] and panel.png == start[1]
