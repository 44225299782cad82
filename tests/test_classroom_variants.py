"""Each learner's numbers: the same whenever they are made, unlike those of others, and fair."""

from itertools import pairwise

import pytest

from boostkit.circuit import switched
from boostkit.classroom.lab import three_digits
from boostkit.classroom.lab_file import read_lab
from boostkit.classroom.numbers import numbers_at
from boostkit.classroom.roster import Learner, Roster
from boostkit.classroom.tasks import expected
from boostkit.classroom.variants import refusal, variant, variants
from boostkit.design import Spec

READY = ("03", "05", "06", "07", "11")
CLASS = [f"t{n:02d}" for n in range(1, 31)]
LAB = '''
title = "A small lab"
workbook = "03_two_slopes.ipynb"
scenario = "tide_gauge.toml"
mode = "{mode}"
{top}
[given]
"choices.capacitance" = "100 µF"
{coil}
r_inductor = "40 mΩ"
[vary]
{vary}
[[task]]
id = "duty"
ask = "Which duty?"
quantity = "{quantity}"
tolerance = 0.01
trap = "complement"
'''
SIX_BY_FOUR = '"source.voltage.usual" = { from = 6, to = 6.5, step = 0.1 }\n"load.voltage" = { from = 16, to = 19, step = 1 }'


def lab(tmp_path, vary=SIX_BY_FOUR, mode="continuous", top="", quantity="duty"):
    """A small lab with these steps."""
    path = tmp_path / "lab.toml"
    coil = "" if "inductance" in vary else '"choices.inductance" = "47 µH"'
    path.write_text(LAB.format(vary=vary, coil=coil, mode=mode, top=top, quantity=quantity), encoding="utf-8")
    return read_lab(path)


def drawn(found):
    """The numbers of a class, key to tuple."""
    return {key: tuple(one.numbers.values()) for key, one in found.items()}


def test_numbers_come_from_key_and_seed_alone(tmp_path):
    """Pinned, so that a class that was made with one version of the kit can be marked with the next."""
    small = lab(tmp_path)
    assert variant(small, "t01", 7).numbers == PINNED
    assert variant(lab(tmp_path), "t01", 7).numbers == PINNED
    assert {tuple(variant(small, "t01", seed).numbers.values()) for seed in range(12)} != {tuple(PINNED.values())}


def test_the_order_of_the_roster_plays_no_part(tmp_path):
    """Sorted another way, every learner has the same numbers; the answer comes in the order of the roster."""
    small = lab(tmp_path)
    one, other = variants(small, CLASS[:20], 3), variants(small, CLASS[:20][::-1], 3)
    assert drawn(one) == drawn(other)
    assert list(one) == CLASS[:20] and list(other) == CLASS[:20][::-1]


def test_only_the_key_of_a_learner_is_used(tmp_path):
    """Names and groups change nothing and stand nowhere in what goes out."""
    small = lab(tmp_path)
    found = variants(small, Roster((Learner("t01", "Ida Berg", "morning"),)), 7)["t01"]
    assert found.numbers == variant(small, "t01", 7).numbers
    assert "t01" in found.scenario_text() and "Ida" not in found.scenario_text() and "Ida" not in repr(found)


def test_no_two_are_alike_where_the_steps_allow_it(tmp_path):
    """24 sets of numbers for 24 learners are all given out; a learner more gets one of them again, and nobody goes without."""
    small = lab(tmp_path)
    assert small.combinations == 24 and all(not refusal(numbers_at(small, n)) for n in every(small))
    assert len(set(drawn(variants(small, CLASS[:24], 1)).values())) == 24
    assert len(set(drawn(variants(small, CLASS, 1)).values())) == 24


def every(small):
    """All the sets of numbers that the steps of a lab with two of them allow."""
    first, second = small.vary
    return [{first.key: a, second.key: b} for a in first.values for b in second.values]


def test_who_has_numbers_keeps_them_when_others_join(tmp_path):
    """The draws of a class that was made are handed in again with the longer roster."""
    small = lab(tmp_path)
    before = variants(small, CLASS[:20], 1)
    after = variants(small, CLASS[:24], 1, made={key: one.draw for key, one in before.items()})
    assert {key: drawn(after)[key] for key in before} == drawn(before)
    assert len(set(drawn(after).values())) == 24
    assert any(one.draw for one in before.values())  # some had to give way: there was something to keep


def test_a_draw_can_be_made_again_alone(tmp_path):
    """Key, seed and the number of the draw bring the same numbers and answers back, without the class."""
    small = lab(tmp_path)
    for key, one in variants(small, CLASS[:24], 1).items():
        again = variant(small, key, 1, one.draw)
        assert again.numbers == one.numbers and again.draw == one.draw
        assert [a.value for a in expected(again).values()] == [a.value for a in expected(one).values()]


@pytest.mark.parametrize("name", READY)
def test_the_ready_labs_are_fair(name):
    """Thirty learners: all different, below 60 V, in the lab's mode and 15 % from its border, with few digits and the same tasks."""
    found = variants(read_lab(name), CLASS, 2026)
    assert len(set(drawn(found).values())) == len(CLASS)
    for one in found.values():
        state, converter = one.state, one.state.converter
        assert state.mode == one.lab.mode and state.output_voltage.max < 60 and state.switch_voltage.max < 60  # V, IEC 61140
        assert state.output_voltage.mean == pytest.approx(one.spec.v_out, rel=1e-9)  # the solver's own rounding
        nearer = converter.change(r_load=converter.load.resistance * (1.15 if one.lab.mode == "continuous" else 0.85))
        moved = switched.steady_state(nearer.change(duty=switched.duty_for(nearer, one.spec.v_out)))
        assert moved.mode == one.lab.mode
        assert all(three_digits(value) for value in one.letters.values())
        answers = expected(one)
        assert list(answers) == [task.id for task in one.lab.tasks] and all(each.value > 0 for each in answers.values())


@pytest.mark.parametrize("name", READY)
def test_the_answers_of_learners_differ(name):
    """Copying a neighbour does not do: for most pairs of neighbours some answer differs by more than its tolerance."""
    found = [expected(one) for one in variants(read_lab(name), CLASS, 2026).values()]
    differ = [any(abs(a[i].value - b[i].value) > a[i].tolerance * a[i].value for i in a) for a, b in pairwise(found)]
    assert sum(differ) >= 0.9 * len(differ)


def test_a_scenario_file_reads_back(tmp_path):
    """What is written for a learner is the scenario with the learner's numbers, to the last digit."""
    one = variant(lab(tmp_path), "t01", 7)
    path = tmp_path / "scenario.toml"
    path.write_text(one.scenario_text(), encoding="utf-8")
    spec = Spec.from_file(path)
    assert spec.to_dict() == one.spec.to_dict()
    assert spec.v_in.usual == one.numbers["source.voltage.usual"] and spec.inductance == 47e-6
    assert "V_in = 6.2 V (source voltage)" in one.told()
    assert not any("ΔI_out" in line for line in one.told())  # no task takes the load's step
    assert any("ΔI_out" in line for line in variant(read_lab("11"), "t01", 7).told())


def test_numbers_above_the_touch_limit_are_not_given_out(tmp_path):
    """60 V DC (IEC 61140); only a lab that says so goes beyond."""
    steps = '"load.voltage" = { from = 50, to = 70, step = 1 }\n"load.current.max" = { values = [0.4, 0.5] }'
    keys = [f"k{n}" for n in range(20)]
    assert all(one.state.switch_voltage.max <= 60 for one in variants(lab(tmp_path, steps), keys, 1).values())
    free = variants(lab(tmp_path, steps, top="above_touch_limit = true"), keys, 1)
    assert any(one.spec.v_out > 60 for one in free.values())
    with pytest.raises(ValueError, match=r"lab.toml: no numbers .* touch limit of 60 V DC .*IEC 61140"):
        variant(lab(tmp_path, '"load.voltage" = { from = 65, to = 70, step = 1 }'), "t01", 1)


@pytest.mark.parametrize(("mode", "quantity"), [("continuous", "duty"), ("discontinuous", "border_duty")])
def test_loads_near_the_border_are_refused(tmp_path, mode, quantity):
    """Of loads from a fifth of the border's to three times it, those of the other mode and those within 15 % of the border."""
    border = 6 * (2 / 3) * (1 / 3) / (2 * 47e-6 * 150e3)  # A: V_in D D'/(2 L f), Erickson & Maksimovic, eq. 5.32; about 0.095
    key, light = "load.current.min", 'point = { load = "min" }'
    small = lab(tmp_path, '"load.current.min" = { from = 0.02, to = 0.34, step = 0.002 }', mode, light, quantity)
    fair = [amps for amps in small.vary[0].values if not refusal(numbers_at(small, {key: amps}))]
    if mode == "continuous":
        assert min(fair) == pytest.approx(1.15 * border, rel=0.03)  # the winding's loss moves the border, a step is 2 %
        assert fair == [amps for amps in small.vary[0].values if amps >= min(fair)]
    else:
        assert max(fair) == pytest.approx(0.85 * border, rel=0.03)
        assert fair == [amps for amps in small.vary[0].values if amps <= max(fair)]


def test_a_mistake_that_would_pass_is_refused(tmp_path):
    """At half duty D and D' are the same number: who mixes them up would be right."""
    only = '"load.voltage" = {{ values = [{}] }}'
    assert "would pass" in refusal(numbers_at(lab(tmp_path, only.format(12)), {"load.voltage": 12.0}))
    assert refusal(numbers_at(lab(tmp_path, only.format(14)), {"load.voltage": 14.0})) == ""


@pytest.mark.parametrize(("steps", "said"), [
    ('"load.voltage" = { values = [6.5, 7] }', "must lie above the highest source voltage"),
    ('"load.voltage" = { values = [50] }\n"load.current.max" = { values = [9] }', "out of reach"),
    ('"choices.inductance" = { values = ["3 µH"] }', "discontinuous conduction, the lab is about continuous"),
    ('"source.voltage.usual" = { values = [5] }', "must not lie below min"),
    ('"load.step.from" = { values = [0.00001] }', "more than three digits"),
])  # fmt: skip
def test_a_lab_without_fair_numbers_says_why(tmp_path, steps, said):
    """The commonest reason, named once, with the lab's file."""
    with pytest.raises(ValueError, match=r"^lab\.toml: no numbers within the steps") as refused:
        variant(lab(tmp_path, steps), "t01", 1)
    assert said in str(refused.value) and "\n" not in str(refused.value)


@pytest.mark.parametrize("seed", [-1, 1.0, True, "7", 2**60])
def test_a_seed_is_a_whole_number(tmp_path, seed):
    """Anything else is refused by name."""
    with pytest.raises(ValueError, match="seed = "):
        variant(lab(tmp_path), "t01", seed)


def test_progress_is_told(tmp_path):
    """Once for each learner, the last with all done."""
    told = []
    variants(lab(tmp_path), CLASS[:5], 1, progress=lambda *words: told.append(words))
    assert [done for done, _, _ in told] == [1, 2, 3, 4, 5] and {total for _, total, _ in told} == {5}
    assert {key for _, _, key in told} == set(CLASS[:5])


PINNED = {"source.voltage.usual": 6.2, "load.voltage": 18.0}  # as this kit first drew them; no other source
