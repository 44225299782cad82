"""The pictures of a class: numbers behind them against obvious answers, and against the kit's own marking and judging."""

import time

import numpy as np
import pytest

from boostkit.circuit import switched
from boostkit.classroom import marking
from boostkit.classroom.lab_file import read_lab
from boostkit.classroom.sheets import Sheet
from boostkit.classroom.tasks import expected
from boostkit.classroom.variants import NEAREST, variant, variants
from boostkit.derivations import sizing
from boostkit.show import class_panels

KEYS = [f"t{n:02d}" for n in range(1, 13)]
LAB = read_lab("03")
CLASS = variants(LAB, KEYS, 1)
ANSWERS = {task.id: [expected(one)[task.id].value for one in CLASS.values()] for task in LAB.tasks}
TOLERANCES = {task.id: task.tolerance for task in LAB.tasks}


def border_of(one) -> float:
    letters = one.letters
    return sizing.border_current().formula(v_in=letters["v_in"], duty=1 - letters["v_in"] / letters["v_out"],
                                           inductance=letters["inductance"], f_sw=letters["f_sw"])  # fmt: skip


def crosses(ax) -> int:
    """How many points are drawn as crosses."""
    return sum(len(line.get_xdata()) for line in ax.lines if line.get_marker() == "x")


# --- distance ---


def test_a_load_is_fair_on_its_own_side_of_the_band_only():
    """At the limits themselves it is fair, between them never, beyond them on one side."""
    ratio = [0.5, 0.85, 0.86, 1.0, 1.14, 1.15, 2.0]
    assert list(class_panels.is_fair(ratio, 0.15, "continuous")) == [False] * 5 + [True] * 2
    assert list(class_panels.is_fair(ratio, 0.15, "discontinuous")) == [True] * 2 + [False] * 5


def test_the_picture_of_ready_labs_has_no_cross_and_tells_the_extremes():
    """Every draw of both labs is fair, by the formula as by the judge; ratios are those of load and border."""
    dry = variants(read_lab("05"), KEYS, 1)
    groups = {name: ([one.letters["i_out"] for one in of.values()], [border_of(one) for one in of.values()], mode)
              for name, of, mode in (("03", CLASS, "continuous"), ("05", dry, "discontinuous"))}  # fmt: skip
    figure = class_panels.distances(groups, NEAREST)
    assert crosses(figure.axes[0]) == 0 and figure.says.count("0 of 12 draws refused") == 2
    drawn = np.concatenate([line.get_xdata() for line in figure.axes[0].lines if line.get_marker() == "o"])
    wanted = np.concatenate([np.divide(load, border) for load, border, _ in groups.values()])
    assert np.allclose(np.sort(drawn), np.sort(wanted))


def test_the_distance_is_that_of_the_exact_circuit():
    """In continuous conduction load over border is mean coil current over half its ripple; the parts' losses move both a little."""
    for one in CLASS.values():
        state = one.state
        assert state.mode == "continuous"
        exact = state.inductor_current.mean / (state.ripple_current / 2)
        # what the parts lose, 5 % to 7 % here, has to come through the coil as well, so the exact distance is larger
        assert 1.0 < exact / (one.letters["i_out"] / border_of(one)) < 1.08


def test_a_wider_range_is_refused_more_often():
    """All draws fair in a range below the band; with a range that ends far beyond it, the share that lies above the limit."""
    border, share = np.full(100, 0.1), (np.arange(100) + 0.5) / 100
    panel = class_panels.refused(border, share, 0.02, 0.05, 0.22, NEAREST)
    assert "0 of 100 draws refused" in panel.readings
    panel.move(highest=0.22)
    assert "67 of 100 draws refused" in panel.readings      # 0.085 is 32.5 % of the way from 0.02 to 0.22: 33 middles lie below it
    assert crosses(panel.figure.axes[0]) == 67
    assert panel.reset().count("0 of 100 draws refused") == 1


def test_the_short_rule_and_the_judge_agree_away_from_the_border():
    """A load well inside the band is refused by the exact circuit too, one well outside it is not."""
    one = variant(read_lab("05"), "t01", 1)
    for times, mode in ((0.7, "discontinuous"), (1.3, "continuous")):
        circuit = one.state.converter.change(r_load=one.letters["v_out"] / (times * border_of(one)))
        duty = switched.duty_for(circuit, one.letters["v_out"])
        assert switched.steady_state(circuit.change(duty=duty)).mode == mode
        assert class_panels.is_fair(times, NEAREST, mode)


# --- closeness ---


def test_copied_answers_pass_as_the_marking_says():
    """The table of who could copy from whom is the one that real marking gives, sheet for sheet."""
    table = class_panels.passing(ANSWERS, TOLERANCES)
    for row, one in enumerate(list(CLASS.values())[:4]):
        for column in range(len(KEYS)):
            sheet = Sheet(one.key, {name: repr(values[column]) for name, values in ANSWERS.items()})
            alone = [mark for mark in marking.mark(sheet, one).marks if abs(1 - ANSWERS[mark.task.id][column]
                     / ANSWERS[mark.task.id][row]) <= mark.task.tolerance]  # fmt: skip
            assert table[row, column] == len(alone)
            assert all(mark.verdict == marking.RIGHT for mark in alone)
    assert np.all(np.diag(table) == len(LAB.tasks))


def test_the_bars_count_pairs():
    """Three answers, two of them one per cent apart: two of six ordered pairs pass at two per cent, none of the other task's."""
    figure = class_panels.neighbours({"a": [1.0, 1.01, 2.0], "b": [1.0, 2.0, 3.0]}, {"a": 0.02, "b": 0.02})
    assert "Of 6 pairs" in figure.says and "a 33.3 %" in figure.says and "b 0 %" in figure.says and "all of them 0 %" in figure.says


# --- tolerance ---

GRID = np.array([0.01, 0.1, 0.6])
OFF = np.array([0.005, 0.05, -0.08, -0.5])
SHARES = (np.abs(OFF)[None, :] <= GRID[:, None]).astype(float)
HONEST = np.array([True, True, True, False])


def test_a_tolerance_has_two_kinds_of_unfairness():
    """Too narrow refuses two of three honest answers, too wide lets the mistake pass, between them neither."""
    said = [class_panels.verdicts(GRID, OFF, SHARES, HONEST, now).says for now in GRID]
    assert "2 of 3 honest answers without full points, 0 of 1 mistakes" in said[0]
    assert "0 of 3 honest answers without full points, 0 of 1 mistakes" in said[1]
    assert "0 of 3 honest answers without full points, 1 of 1 mistakes" in said[2]


def test_half_points_are_not_full_ones():
    """A named mistake with half its points has not passed, and an honest answer with half has been refused."""
    figure = class_panels.verdicts(GRID, OFF, np.full((3, 4), 0.5), HONEST, 0.1)
    assert "3 of 3 honest answers without full points, 0 of 1 mistakes" in figure.says


def test_the_band_is_the_tolerance():
    """The tinted band reaches from minus to plus the tolerance."""
    ax = class_panels.verdicts(GRID, OFF, SHARES, HONEST, 0.1).axes[0]
    heights = np.concatenate([path.vertices[:, 1] for areas in ax.collections for path in areas.get_paths()])
    assert (heights.min(), heights.max()) == (-0.1, 0.1)


@pytest.mark.parametrize(("now", "place"), [(0.01, 0), (0.03, 0), (0.033, 1), (0.25, 2), (5.0, 2)])
def test_the_nearest_tolerance_is_near_as_a_ratio(now, place):
    """Between 1 % and 10 % the middle is 3.16 %."""
    assert class_panels.nearest_of(GRID, now) == place


# --- what was hard ---


def test_the_bars_of_a_class_are_as_long_as_its_counts():
    """Each bar begins where the one before it ends, and all end at the number of sheets."""
    figure = class_panels.hard({"duty": (20, 5, 3), "ripple_current": (28, 0, 0)})
    boxes = [path.vertices for areas in figure.axes[0].collections for path in areas.get_paths()]
    rows = {row: sorted((box[:, 0].min(), box[:, 0].max()) for box in boxes if abs(box[:, 1].mean() - row) < 0.5) for row in (0, 1)}
    assert [end for _, end in rows[0]] == [20, 25, 28] and [start for start, _ in rows[0]] == [0, 20, 25]
    assert max(end for _, end in rows[1]) == 28
    assert figure.says == "duty: 20 full points, 5 half, 3 none; ripple_current: 28 full points, 0 half, 0 none"


# --- time ---


def test_a_move_is_drawn_quickly():
    """Less than 20 ms of processor time, the middle of many moves."""
    shares = np.ones((45, 30))
    tolerance = class_panels.tolerance(np.geomspace(0.01, 0.8, 45), np.linspace(-0.5, 0.2, 30), shares, np.arange(30) > 2, 0.1)
    refused = class_panels.refused(np.linspace(0.08, 0.12, 200), np.linspace(0, 1, 200), 0.02, 0.05, 0.2, NEAREST)
    for panel, name, places in ((tolerance, "now", (0.02, 0.3)), (refused, "highest", (0.08, 0.19))):
        taken = []
        for n in range(20):
            start = time.process_time()
            panel.move(**{name: places[n % 2] * (1 + n / 100)})
            taken.append(time.process_time() - start)
        assert np.median(taken) < 0.02
