"""How fast to switch, in pictures: what is drawn, against losses, searches and courses that were computed another way."""

import time
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from boostkit.derivations import damping
from boostkit.design import Spec
from boostkit.design.given_coil import at_given_coil
from boostkit.design.sweep import sweep
from boostkit.parts import losses, snubber, tables, warming
from boostkit.parts.kinds import Capacitor, Heat, Inductor, Parts
from boostkit.show import sweep_panels

GAUGE = Spec.from_file(files("boostkit") / "data" / "tide_gauge.toml")
AT, CLOCK, HOT = (6.0, 18.0, 0.6), 150e3, 45.0
NODE = {"l_stray": 20e-9, "c_node": 130e-12, "v_out": 18.0, "i_peak": 2.1}
SNUB = {"resistance": 8.2, "capacitance": 680e-12}
LIMIT = 25.5


@pytest.fixture(scope="module")
def parts():
    """A switch and a diode of the table, a coil with core loss and a winding whose resistance grows."""
    table = tables.illustrative()
    coil = Inductor("coil", 50e-6, 0.05, 4.0, 3.0, ac_ratio=6.0, ac_frequency=CLOCK, core_loss=0.012, core_frequency=CLOCK, core_ripple=0.5,
                    core_alpha=1.3, core_beta=2.1, heat=Heat(100.0, 130.0))  # fmt: skip
    switch = next(s for s in table.switches if s.voltage_limit >= 30)
    diode = next(r for r in table.rectifiers if r.voltage_limit >= 30 and r.kind == "diode")
    return Parts(switch, diode, coil, Capacitor("bank", "ceramic", 200e-6, 25.0, 1e-3, 20.0))


@pytest.fixture(scope="module")
def found():
    """A small sweep with a clock at which nothing can be wound."""
    return sweep(GAUGE, [50e3, 500e3, 5e6], [0.5], sizes=2)


def drawn(figure, row):
    return {line.get_label(): line.get_xydata() for line in figure.axes[row].lines}


# --- losses at a given coil ---


def test_what_is_drawn_adds_up(parts):
    """The sum above is what stays, and the three parts below; its lowest point is where a search of its own finds it."""
    given = at_given_coil(parts, *AT, ambient=HOT)
    figure = sweep_panels.of_given_coil(given, {"own": CLOCK})
    above, below = drawn(figure, 0), drawn(figure, 1)
    parts_drawn = above["stays"][:, 1] + sum(below[name][:, 1] for name in ("heat of the ripple", "core", "edges"))
    assert np.allclose(above["all losses"][:, 1], parts_drawn, rtol=1e-12)
    plain = minimize_scalar(lambda u: float(warming.settle_many(parts, *AT, float(np.exp(u)), HOT).losses.total),
                            bounds=(np.log(2e4), np.log(5e5)), method="bounded")  # fmt: skip
    assert given.least_at == pytest.approx(np.exp(plain.x), rel=0.02)  # a minimum is flat
    assert "least" in figure.says and "own" in figure.says


def test_edges_scaled_cost_so_much_more(parts):
    """Three times the energy in a cycle, at the same warmth; and nothing else changes."""
    warm = dict.fromkeys(("switch", "rectifier", "inductor"), 60.0)
    once, thrice = (sweep_panels.at_kept_warmth(sweep_panels.edges_scaled(parts, k), *AT, CLOCK, warm)[1] for k in (1, 3))
    assert thrice.by_the_cycle == pytest.approx(3 * once.by_the_cycle, rel=0.02)  # they draw a little current of their own
    assert thrice.total - thrice.by_the_cycle == pytest.approx(once.total - once.by_the_cycle, rel=0.03)  # which the rest feels


def test_kept_warmth_is_the_settled_point_where_it_was_settled(parts):
    """At the example's own clock the quick way gives what settling gives."""
    settled = warming.settle_many(parts, *AT, np.array([CLOCK]), HOT)
    warm = {name: float(np.ravel(t)[0]) for name, t in settled.temperatures.items()}
    _, lost = sweep_panels.at_kept_warmth(parts, *AT, CLOCK, warm)
    assert float(lost.total) == pytest.approx(float(settled.losses.total[0]), rel=2e-4)  # two rounds of what is drawn on the way
    exact = losses.converter(parts, *AT, CLOCK, warm)
    assert sweep_panels.at_kept_warmth(parts, *AT, CLOCK, warm)[0].duty == pytest.approx(exact.switch.duty, abs=0.01)


def test_lowest_point_of_curves_with_known_minima():
    """a/f + b f is least at sqrt(a/b); a curve that only rises is least at its end."""
    f = np.geomspace(1e4, 1e6, 60)
    b = np.array([[1e-12], [1e-11]])
    assert sweep_panels.lowest(f, 1 / f + b * f / 1e0) == pytest.approx(np.sqrt(1 / b[:, 0]), rel=2e-3)  # a parabola over decades
    assert sweep_panels.lowest(f, f) == pytest.approx(1e4)
    gaps = np.where(f > 5e5, np.nan, 1 / f + 1e-10 * f)
    assert sweep_panels.lowest(f, gaps) == pytest.approx(1e5, rel=2e-3)


def test_least_loss_by_search_agrees_with_the_given_coil(parts):
    """For the parts as they are and for edges twice as dear, against the other search."""
    searched = sweep_panels.Searched.of(parts, *AT, CLOCK, HOT)
    for factor in (1.0, 2.0):
        other = at_given_coil(sweep_panels.edges_scaled(parts, factor), *AT, ambient=HOT).least_at
        assert searched.least_for(factor * searched.energy) == pytest.approx(other, rel=0.02)  # a minimum is flat
    assert np.all(np.diff(searched.least_at) < 0)  # dearer edges, slower clock


def test_closed_form_is_right_where_its_power_was_read(parts):
    """With the losses known at the least itself the formula gives it back; known elsewhere it is off."""
    searched = sweep_panels.Searched.of(parts, *AT, CLOCK, HOT)

    def error(f_reference):
        pairs = searched.compare(searched.energy, f_reference)
        return pairs.error[pairs.values == searched.energy][0]

    assert abs(error(searched.least_for(searched.energy))) < 0.06  # temperatures and the shift of the edges are left out of it
    assert abs(error(500e3)) > 0.15
    figure = sweep_panels.closed_form_figure(searched)
    assert "no bound promised" in figure.says and "exact" not in figure.says  # the search rests on formulas
    pairs, lines, below = searched.compare(searched.energy, CLOCK), drawn(figure, 0), drawn(figure, 1)
    assert np.allclose(lines["search"][:, 1], pairs.exact) and np.allclose(lines["formula"][:, 1], pairs.formula)
    assert np.allclose(below["formula"][:, 1], pairs.formula / pairs.exact - 1)


# --- size against loss ---


def test_the_line_joins_what_nothing_beats(found):
    """The joined points are the unbeaten ones; every design that is not refused has a dot."""
    figure = sweep_panels.size_against_loss(found)
    lines = drawn(figure, 0)
    keep = list(found.unbeaten)
    assert np.allclose(lines["no other beats these"], np.column_stack([found.volume[keep] * 1e6, found.loss[keep]]))
    dots = lines["every design"][::3]
    there = np.isfinite(found.loss)
    assert np.allclose(np.sort(dots[:, 1]), np.sort(found.loss[there]))
    assert f"{(~there).sum()} refused" in figure.says and (~there).any()
    low, high = figure.axes[0].get_xlim()
    assert low < lines["every design"][::3, 0].min() / 1.2 and high > lines["every design"][::3, 0].max() * 1.2  # room for labels


def test_smallest_at_each_frequency(found):
    """Against a plain look through all; the frequency at which nothing can be wound is left out."""
    small = sweep_panels.smallest_at(found)
    assert [d.f_sw for d in small] == [50e3, 500e3]
    for d in small:
        assert d.volume == np.nanmin(found.volume[found.f_sw == d.f_sw])
    lines = drawn(sweep_panels.sizes_over(found), 0)
    assert np.allclose(lines["all"][:, 1], sum(lines[name][:, 1] for name in small[0].volumes))


def test_a_sweep_of_refusals_is_told():
    """Nothing to draw: one line that says so."""
    nothing = sweep(GAUGE, [5e6], [0.5])
    for draw in (sweep_panels.size_against_loss, sweep_panels.sizes_over):
        with pytest.raises(ValueError, match="No design will do"):
            draw(nothing)


# --- the node that rings ---


def test_the_node_drawn_is_the_node_computed():
    """With the snubber: the exact peak, found between samples. Bare: the height that the formula gives."""
    course = snubber.course(**NODE, **SNUB)
    lines = drawn(sweep_panels.node(course, LIMIT), 0)
    assert lines["with the snubber"][:, 1].max() == pytest.approx(course.peak, rel=1e-3)  # samples
    over = damping.node_overshoot().formula(i_start=2.1, l_stray=20e-9, c_stray=130e-12)
    assert lines["bare"][:, 1].max() == pytest.approx(18.0 + over, rel=1e-2)  # 53 samples to a turn
    assert lines["with the snubber"][0, 1] == lines["bare"][0, 1] == 0.0


def test_a_snubber_of_next_to_nothing_is_the_bare_node():
    """A capacitor of a thousandth and a large resistor: the exact course is the undamped formula, over the first turn."""
    faint = snubber.course(**NODE, resistance=1e4, capacitance=1e-13)
    lines = drawn(sweep_panels.node(faint, LIMIT), 0)
    exact, bare = lines["with the snubber"], lines["bare"]
    early = bare[:, 0] < 12e-9
    assert np.allclose(np.interp(bare[early, 0], exact[:, 0], exact[:, 1]), bare[early, 1], atol=0.5)  # V of 44; 160 samples


# --- panels ---


def losses_panel(parts):
    return sweep_panels.given_coil(parts, *AT, CLOCK, HOT)


def node_panel(_):
    return sweep_panels.snubber(**NODE, f_sw=CLOCK, limit=LIMIT, **SNUB)


def formula_panel(parts):
    return sweep_panels.closed_form(sweep_panels.Searched.of(parts, *AT, CLOCK, HOT))


MOVES = [(losses_panel, {"edges": 3.0}, "least"), (losses_panel, {"i_out": 0.3}, "efficiency"), (losses_panel, {"core": 5.0}, "core"),
         (node_panel, {"resistance": 30.0}, "damping"), (node_panel, {"f_sw": 1e6}, "loss"),
         (formula_panel, {"f_reference": 60e3}, "formula"), (formula_panel, {"energy_period": 1e-7}, "error")]  # fmt: skip


@pytest.mark.parametrize(("make", "move", "words"), MOVES)
def test_a_slider_moves_readings_and_the_reset_brings_all_back(parts, make, move, words):
    """Another picture or other words, and the same bytes and words again after the reset."""
    panel = make(parts)
    before = panel.readings, panel.png
    after = panel.move(**move)
    assert words in after and after != before[0]
    assert panel.png != before[1] or "f_sw" in move  # the clock of a snubber shows in its loss alone
    assert panel.reset() == before[0] and panel.png == before[1]


def test_readings_of_the_losses_panel_are_those_of_the_terms(parts):
    """Dearer edges: the place of least loss moves down and the edges cost three times as much."""
    panel = losses_panel(parts)
    edges = [float(line.split("edges ")[1].split(" mW")[0]) for line in (panel.readings, panel.move(edges=3.0))]
    assert edges[1] == pytest.approx(3 * edges[0], rel=0.03)  # printed to three digits; the step of a slider


def test_the_loss_of_a_snubber_is_told():
    """C V^2 f, worked by hand: 680 pF, 18 V, 150 kHz; ten times that at ten times the clock."""
    panel = node_panel(None)
    assert "loss 33 mW at 150 kHz" in panel.readings  # 33.05 mW
    assert "loss 330 mW at 1.5 MHz" in panel.move(f_sw=1.5e6)


def test_a_load_out_of_reach_is_a_line(parts):
    """The picture stays, and the line says what is wrong."""
    weak = replace(parts, inductor=replace(parts.inductor, resistance=0.42, heat=Heat(10.0, 130.0)))
    panel = sweep_panels.given_coil(weak, *AT, CLOCK, HOT)
    picture = panel.png
    assert "out of reach" in panel.move(v_in=4.5) and panel.png == picture
    with pytest.raises(ValueError, match="no temperature settles"):
        sweep_panels.given_coil(replace(parts, inductor=replace(parts.inductor, resistance=2.0)), *AT, CLOCK, HOT)


@pytest.mark.parametrize(("make", "name", "values"), [(losses_panel, "edges", (0.5, 2.0)), (node_panel, "resistance", (5.0, 20.0)),
                                                      (formula_panel, "f_reference", (5e4, 2e5))])  # fmt: skip
def test_a_redraw_is_quick(parts, make, name, values):
    """Processor time of the best of ten moves: a slider misses its 60 ms beyond about 22."""
    panel, taken = make(parts), []
    for k in range(10):
        start = time.process_time()
        panel.move(**{name: values[k % 2]})
        taken.append(time.process_time() - start)
    assert min(taken) < 0.030  # with room for a busy machine
