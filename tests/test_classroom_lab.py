"""The lab file: what the ready labs hold, and what is refused in words."""

import tomllib
from pathlib import Path

import pytest

from boostkit.classroom.lab_file import read_lab, ready_labs
from boostkit.classroom.quantities import NAMES, asked, taken

LAB = '''
title = "Two slopes"
workbook = "03_two_slopes.ipynb"
scenario = "tide_gauge.toml"
{top}
[given]
"choices.inductance" = "47 µH"
"choices.capacitance" = "100 µF"
r_inductor = "40 mΩ"
{given}
[vary]
"source.voltage.usual" = {{ from = "5.6 V", to = 6.8, step = "100 mV" }}
{vary}
[[task]]
id = "duty"
ask = "Which duty?"
quantity = "duty"
{task}
'''
WORKBOOKS = Path(__file__).parents[1] / "workbooks"


def lab(tmp_path, **parts):
    """A small lab with these lines put in, read."""
    path = tmp_path / "lab.toml"
    path.write_text(LAB.format(**dict.fromkeys(("top", "given", "vary", "task"), "") | parts), encoding="utf-8")
    return read_lab(path)


def test_a_lab_is_read(tmp_path):
    """Steps in any spelling become the values that a learner may get, each of at most three digits."""
    found = lab(tmp_path, vary='"choices.frequency" = { values = ["100 kHz", "80 kHz"] }')
    assert found.vary[0].values == tuple(round(5.6 + 0.1 * n, 1) for n in range(13))
    assert found.vary[1].values == (80e3, 100e3) and found.combinations == 26
    assert dict(found.given)["r_inductor"] == 0.04 and found.tasks[0].unit == "" and found.points == 1
    assert (found.mode, found.source, found.load, found.above_touch_limit) == ("continuous", "usual", "max", False)


def test_what_stands_on_the_lab_sheet_is_read(tmp_path):
    """Parts, checks, measurements and cautions, all optional."""
    more = '''
[[kit]]
part = "Coil"
value = "47 µH"
[[measure]]
what = "ripple of the coil current"
how = "current probe around the lead of the coil"
expect = "ripple_current"
tolerance = "10 %"
'''
    found = lab(tmp_path, top='check = ["The fuse is in place."]\ncautions = ["The output stays charged."]', task=more)
    assert found.kit[0].part == "Coil" and found.kit[0].substitute == "" and found.check == ("The fuse is in place.",)
    assert found.measure[0].expect == "ripple_current" and found.measure[0].tolerance == 0.1
    assert found.cautions == ("The output stays charged.",)


@pytest.mark.parametrize(("parts", "said"), [
    ({"top": 'mod = "continuous"'}, "mod is not a known key; did you mean mode?"),
    ({"top": 'mode = "both"'}, "mode = \"both\" must be one of"),
    ({"top": "above_touch_limit = 1"}, "must be true or false"),
    ({"top": 'point = { load = "most" }'}, "point.load = \"most\""),
    ({"top": 'check = "The fuse."'}, "must be a list of sentences"),
    ({"top": 'check = [""]'}, "must be one line of text"),
    ({"given": 'inductance = "47 µH"'}, "write its key of the scenario instead"),
    ({"given": "duty = 0.6"}, "is set by the kit"),
    ({"given": "colour = 3"}, "neither a letter nor one of"),
    ({"given": '"choices.series_resistance" = "10.25 mΩ"'}, "at most three digits"),
    ({"given": 'r_switch = "20 mH"'}, "r_switch"),
    ({"vary": 'r_inductor = { from = 1, to = 2, step = 1 }'}, "stands under [given] as well"),
    ({"vary": '"load.voltage" = { from = 15, to = 21, step = 0.125 }'}, "at most three digits"),
    ({"vary": '"load.voltage" = { from = 21, to = 15, step = 1 }'}, "must rise"),
    ({"vary": '"load.voltage" = { from = 15, to = 21, step = 0 }'}, "must rise"),
    ({"vary": '"load.voltage" = { from = 15, to = 21, step = 1e-9 }'}, "at most 1000 steps"),
    ({"vary": '"load.voltage" = { values = [] }'}, "must list 1 to"),
    ({"vary": '"load.voltage" = { from = 15, to = 21 }'}, "step is missing"),
    ({"task": "tolerance = 0.5"}, "a wrong answer would pass for a right one"),
    ({"task": "points = 0"}, "points"),
    ({"task": 'by = "bench"'}, "must be one of formula, circuit"),
    ({"task": 'follows = ["duty"]'}, "ids of tasks that stand above"),
    ({"task": 'trap = "typo"'}, "must be one of peak"),
    ({"task": '[[task]]\nid = "duty"\nask = "?"\nquantity = "duty"'}, "stands above already"),
    ({"task": '[[task]]\nid = "a/b"\nask = "?"\nquantity = "duty"'}, "must be letters, digits"),
    ({"task": '[[task]]\nid = "b"\nask = "?"\nquantity = "ripple_curent"'}, "did you mean ripple_current?"),
    ({"task": '[[task]]\nid = "b"\nask = "?"\nquantity = "ripple_voltage"'}, "the other way does"),
    ({"task": '[[task]]\nid = "b"\nask = "?"\nquantity = "rhp_zero"\nby = "circuit"'}, "the other way does"),
    ({"task": '[[task]]\nid = "b"\nask = "?"\nquantity = "duty"\nby = "circuit"\nfollows = ["duty"]'}, "takes no answers"),
    ({"task": '[[measure]]\nwhat = "a"\nhow = "b"\nexpect = "rhp_zero"\ntolerance = 0.1'}, "cannot be read off the circuit"),
])  # fmt: skip
def test_a_bad_lab_is_refused_in_words(tmp_path, parts, said):
    """One line that names the file, the key, the value and the rule."""
    with pytest.raises(ValueError, match=r"^lab\.toml: ") as refused:
        lab(tmp_path, **parts)
    assert said in str(refused.value) and "\n" not in str(refused.value)


@pytest.mark.parametrize(("name", "said"), [
    ("../own.toml", "without a folder"), ("own.json", "ends in .toml"), ("nowhere.toml", "neither beside the lab file"),
])  # fmt: skip
def test_a_scenario_lies_beside_the_lab_or_is_the_kits_own(tmp_path, name, said):
    """No other folder, though the file is there, nothing that is no TOML, and nothing that is not there."""
    own = (WORKBOOKS / "scenario.toml").read_text(encoding="utf-8")
    (tmp_path / "lab").mkdir()
    for path in (tmp_path / "own.toml", tmp_path / "lab" / "own.json"):
        path.write_text(own, encoding="utf-8")
    path = tmp_path / "lab" / "lab.toml"
    path.write_text(LAB.format(top="", given="", vary="", task="").replace("tide_gauge.toml", name), encoding="utf-8")
    with pytest.raises(ValueError, match=r"^lab\.toml: scenario = ") as refused:
        read_lab(path)
    assert said in str(refused.value)


def test_a_scenario_beside_the_lab_comes_first(tmp_path):
    """A teacher's own scenario of the same name replaces the kit's."""
    own = (WORKBOOKS / "scenario.toml").read_text(encoding="utf-8").replace("Harbour", "Lake")
    (tmp_path / "tide_gauge.toml").write_text(own, encoding="utf-8")
    assert lab(tmp_path).scenario["title"] == "Lake tide gauge"


def test_the_ready_labs_are_there():
    """One for each of the workbooks that are taken to the bench, each with its workbook, and saying that it is invented."""
    assert set(ready_labs()) >= {"03", "05", "06", "07", "11"}
    for name, path in ready_labs().items():
        found = read_lab(name)
        assert (WORKBOOKS / found.workbook).is_file() and found.workbook.startswith(name)
        assert "invented" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["03", "05", "06", "07", "11"])
def test_no_task_gives_its_numbers_away(name):
    """What is asked holds no number: the numbers come from each learner's own scenario."""
    for task in tomllib.loads(ready_labs()[name].read_text(encoding="utf-8"))["task"]:
        assert not any(c.isdigit() for c in task["ask"])


@pytest.mark.parametrize("name", NAMES)
def test_each_quantity_can_be_asked(name):
    """Each has a meaning and a way to its value; a formula's example has all the letters that it takes."""
    quantity = asked(name)
    assert quantity.meaning and (quantity.derivation or quantity.read)
    if quantity.derivation:
        values = quantity.formula.example
        assert set(taken(quantity.formula, values)) == {each.name for each in quantity.formula.inputs}


def test_a_letter_follows_from_its_definition():
    """K from coil, load and clock; where one of them is not known, it is named."""
    formula = asked("dry_gain").formula
    letters = {"inductance": 40e-6, "v_out": 20.0, "i_out": 0.1, "f_sw": 100e3, "duty": 0.5}
    assert taken(formula, letters)["k_load"] == pytest.approx(0.04, rel=1e-12)  # 2 L f/R = 8/200 by hand
    del letters["i_out"]
    with pytest.raises(ValueError, match="nothing tells i_out"):
        taken(formula, letters)
