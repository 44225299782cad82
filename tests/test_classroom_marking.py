"""Marking: each verdict where it belongs, each mistake once."""

import math
from dataclasses import replace

import pytest

from boostkit.classroom.marking import FOLLOWS, MISSING, NO_VALUE, RIGHT, SHARES, TRAPPED, UNIT, WITHIN, WRONG, mark
from boostkit.classroom.sheets import Sheet
from boostkit.classroom.tasks import expected

HALF = TRAPPED["peak"]


def marked(one, **answers) -> dict:
    """The marks of a sheet by task."""
    return {each.task.id: each for each in mark(Sheet("t01", answers), one).marks}


def test_a_sheet_of_right_answers_gets_every_point(one):
    """The key itself, to four digits and with prefixes, is marked right throughout."""
    answers = {name: f"{each.value:.4g} {each.unit}".strip() for name, each in expected(one).items()}
    found = mark(Sheet("t01", answers), one)
    assert {each.verdict for each in found.marks} == {RIGHT}
    assert found.points == one.lab.points == 11


def test_the_formulas_are_those_of_the_trade(one):
    """The key against D = 1 - V_in/V_out, I_L = I_out/D', ripple = V_in D/(L f_s), reckoned here by hand."""
    n, key = one.letters, expected(one)
    duty = 1 - n["v_in"] / n["v_out"]
    assert key["duty"].value == pytest.approx(duty, rel=1e-12)  # rounding only
    assert key["mean_current"].value == pytest.approx(n["i_out"] / (1 - duty), rel=1e-12)
    assert key["ripple_current"].value == pytest.approx(n["v_in"] * duty / (47e-6 * 150e3), rel=1e-12)
    assert key["resonance"].value == pytest.approx((1 - duty) / (2 * math.pi * math.sqrt(47e-6 * 100e-6)), rel=1e-12)


@pytest.mark.parametrize(("off", "verdict"), [(0.0099, RIGHT), (-0.0099, RIGHT), (0.0101, WRONG), (-0.0101, WRONG)])
def test_the_tolerance_is_the_labs(one, off, verdict):
    """The task says 1 %: just inside is right, just outside is wrong."""
    assert marked(one, duty=repr(expected(one)["duty"].value * (1 + off)))["duty"].verdict == verdict


def test_a_mistake_counts_once(one):
    """With a wrong duty, what follows from it is right and what does not is wrong; the right later value stays right."""
    n = one.letters
    follows = n["v_in"] * 0.5 / (47e-6 * 150e3)
    found = marked(one, duty="0.5", ripple_current=f"{follows} A", mean_current=f"{n['i_out'] / 0.3} A",
                   resonance=f"{expected(one)['resonance'].value} Hz")  # fmt: skip
    assert [found[name].verdict for name in ("duty", "ripple_current", "mean_current", "resonance")] == [WRONG, FOLLOWS, WRONG, RIGHT]
    assert found["ripple_current"].points == 4 and "duty" in found["ripple_current"].feedback


def test_a_rounded_right_answer_passes_its_rounding_on(one):
    """A duty at the edge of its tolerance moves D' further: with the learner's own duty the current is right, and not a mistake carried."""
    duty = expected(one)["duty"].value * 1.0099
    found = marked(one, duty=repr(duty), mean_current=f"{one.letters['i_out'] / (1 - duty)} A")["mean_current"]
    assert abs(one.letters["i_out"] / (1 - duty) / expected(one)["mean_current"].value - 1) > 0.02
    assert found.verdict == RIGHT and found.points == 2


def test_a_mistake_may_follow_and_add_its_own(one):
    """From a wrong duty, the wrong prefix, or half of the ripple: the second mistake is named, the first is not counted again."""
    follows = one.letters["v_in"] * 0.5 / (47e-6 * 150e3)
    assert marked(one, duty="0.5", ripple_current=f"{follows * 1e3} A")["ripple_current"].verdict == UNIT
    assert marked(one, duty="0.5", ripple_current=f"{follows / 2} A")["ripple_current"].verdict == HALF


@pytest.mark.parametrize("wild", ["0", "-3", "1", "5", "1e300", "1e-300", "-1e300"])
def test_a_wild_earlier_answer_leads_nowhere(one, wild):
    """An earlier answer that puts a formula out of its range stops nothing: later right values are right, others wrong."""
    right = expected(one)["mean_current"].value
    assert marked(one, duty=wild, mean_current=f"{right} A")["mean_current"].verdict == RIGHT
    assert marked(one, duty=wild, mean_current="77 A")["mean_current"].verdict in (WRONG, NO_VALUE)


@pytest.mark.parametrize(("name", "text", "verdict"), [
    ("mean_current", lambda v: f"{v} mA", UNIT), ("mean_current", lambda v: f"{v * 1e6}", UNIT), ("mean_current", lambda v: f"{v} V", UNIT),
    ("mean_current", lambda v: f"{v} mV", UNIT), ("mean_current", lambda v: f"{v * 10} A", WRONG),
    ("mean_current", lambda v: f"{v * 2} V", WRONG),
    ("mean_current", lambda v: f"{v} KA", UNIT), ("mean_current", lambda v: f"{v}", RIGHT), ("mean_current", lambda v: f"{-v} A", WRONG),
    ("duty", lambda v: f"{100 * v}", UNIT), ("duty", lambda v: f"{100 * v} %", RIGHT), ("duty", lambda v: f"{v} %", UNIT),
    ("duty", lambda v: f"{v} V", UNIT), ("duty", lambda v: f"{1 - v}", TRAPPED["complement"]),
    ("resonance", lambda v: f"{2 * math.pi * v}", UNIT), ("resonance", lambda v: f"{2 * math.pi * v} rad/s", UNIT),
    ("resonance", lambda v: f"{1e3 * v} mHz", RIGHT), ("resonance", lambda v: f"{v} rad/s", WRONG),
    ("ripple_current", lambda v: f"{v / 2} A", HALF), ("ripple_current", lambda v: f"{v * 500} mA", HALF),
    ("ripple_current", lambda v: f"{v * 2} A", WRONG), ("mean_current", lambda v: f"{v / 2} A", WRONG),
    ("ripple_measured", lambda v: f"{v * 1.029} A", RIGHT), ("ripple_measured", lambda v: f"{v * 1.05} A", WRONG),
    ("ripple_measured", lambda v: f"{v * 1.05} A ± 6 %", WITHIN), ("ripple_measured", lambda v: f"{v * 1.05} A ± 4 %", WRONG),
    ("ripple_measured", lambda v: f"{v * 3} A ± 300 %", WRONG), ("mean_current", lambda v: f"{v * 1.03} A ± 5 %", WRONG),
    ("ripple_measured", lambda v: f"{v / 2} A ± 1 %", HALF), ("duty", lambda v: "two thirds", NO_VALUE),
    ("duty", lambda v: "2/3", NO_VALUE),
    ("duty", lambda v: "", MISSING),
])  # fmt: skip
def test_each_verdict_where_it_belongs(one, name, text, verdict):
    """Prefix, unit, percentage, rad/s, peak, complement, measured uncertainty (only where the task is measured, and not a vague one)."""
    found = marked(one, **{name: text(expected(one)[name].value)})[name]
    assert found.verdict == verdict, found.feedback
    assert found.points == found.task.points * SHARES.get(verdict, 0)
    assert found.feedback and "\n" not in found.feedback


def test_an_answer_to_no_task_is_noted(one):
    """A misspelt task earns nothing and is told to the teacher."""
    found = mark(Sheet("t01", {"dutty": "0.667", "duty": "x" * 500}), one)
    assert "dutty" in found.notes[0] and found.points == 0


def test_no_interval_hides_a_mistake_that_the_task_names(one):
    """With the widest tolerance that a lab may have, half the ripple behind an interval that reaches the right value stays half of it."""
    ripple = next(task for task in one.lab.tasks if task.id == "ripple_measured")
    wide = replace(one, lab=replace(one.lab, tasks=(replace(ripple, tolerance=0.2),)))
    half = expected(one)["ripple_measured"].value / 2
    assert marked(wide, ripple_measured=f"{half} A ± 105 %")["ripple_measured"].verdict == HALF
    assert marked(wide, ripple_measured=f"{1.3 * half} A ± 60 %")["ripple_measured"].verdict == WITHIN  # near no mistake
