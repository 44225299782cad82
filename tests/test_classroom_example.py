"""A workbook's copy handed in as the answer sheet, and copies that compute with the example instead of the learner's numbers."""

import re
from pathlib import Path

import pytest
from classes import LAB, put_class

from boostkit.classroom import session
from boostkit.classroom.copies import given_away, shown_numbers, told_numbers
from boostkit.classroom.lab_file import read_lab, ready_labs
from boostkit.classroom.numbers import numbers_at
from boostkit.classroom.tasks import expected
from boostkit.classroom.variants import variant
from boostkit.files import read_json, to_json
from boostkit.paper import workbook
from boostkit.units import show

BOOKS = Path(__file__).parent.parent / "workbooks"
OWN = {"source.voltage.usual": 6.0, "source.voltage.min": 5.5, "load.voltage": 18.0, "load.current.max": 0.6, "load.current.min": 0.02,
       "load.step.from": 0.1}  # as tide_gauge.toml has them  # fmt: skip
LEARNERS = [f"t{n:02d}" for n in range(1, 31)]


def made(folder: Path, lab, learners=LEARNERS):
    """The set of a class."""
    (folder / "roster.csv").write_text("key\n" + "".join(f"{key}\n" for key in learners), encoding="utf-8")
    session.make(folder / "set", lab, folder / "roster.csv", [BOOKS], seed=7)
    return folder / "set"


def ready_example(folder: Path, name: str) -> Path:
    """A ready lab with copies that compute with the example."""
    text = ready_labs()[name].read_text(encoding="utf-8")
    commented = re.compile(r'^# (copies = "example") .*$', re.M)
    assert len(commented.findall(text)) == 1
    (folder / "lab.toml").write_text(commented.sub(r"\1", text), encoding="utf-8")
    return folder / "lab.toml"


def answers_of(there: Path, key: str):
    """The right answers of a learner, with the numbers that the set gave them."""
    kept = read_json(there / "teacher" / "set.json").data
    return expected(variant(read_lab(there / "teacher" / kept["lab"]), key, 7, kept["learners"][key]["draw"]))


# the copy as the sheet


@pytest.mark.parametrize("name", ready_labs())
def test_a_copy_filled_in_is_marked(name, tmp_path):
    """The cell below the close filled in, code of the exercises written into the other cells, and a TOML sheet that agrees: all right."""
    there = made(tmp_path, name, ["t01"])
    right = {task: f"{each.value:.4g}" for task, each in answers_of(there, "t01").items()}
    path = next((there / "copies/t01").glob("*.ipynb"))
    book = read_json(path).data
    for cell in book["cells"]:
        if "Your working goes here." in cell["source"]:
            cell["source"] += "".join(f"\n{task} = 0.75" for task in right)
        cell["source"] = re.sub(r'^# (\w+) = ""$', lambda m: f'# {m[1]} = "{right[m[1]]}"', cell["source"], flags=re.M)
    (there / "returned" / path.name).write_text(to_json(book), encoding="utf-8")
    assert {mark.verdict for mark in session.mark(there).marks[0].marks} == {"right"}
    sheet = (there / "copies/t01/answers_t01.toml").read_text(encoding="utf-8")
    sheet = re.sub(r'^(\w+) = ""$', lambda m: f'{m[1]} = "{right[m[1]]}"', sheet, flags=re.M)
    (there / "returned/answers_t01.toml").write_text(sheet, encoding="utf-8")
    assert {mark.verdict for mark in session.mark(there).marks[0].marks} == {"right"}


# copies of the example


def test_only_the_scenario_beside_the_copy_changes(tmp_path):
    """Sheet and lab sheet ask for the learner's own numbers as ever; the scenario is the file that the lab names, word for word."""
    put_class(tmp_path)
    (tmp_path / "test.toml").write_text(LAB.replace("[given]", 'copies = "example"\n[given]', 1), encoding="utf-8")
    sets = [tmp_path / "lab set", tmp_path / "test set"]
    for folder in sets:
        session.make(folder, tmp_path / f"{folder.name.split()[0]}.toml", tmp_path / "roster.csv", seed=7)
    draws = [read_json(folder / "teacher/set.json").data["learners"] for folder in sets]
    same = [key for key in draws[0] if draws[0][key]["draw"] == draws[1][key]["draw"]]
    assert same
    shipped = (BOOKS / "scenario.toml").read_bytes().decode()
    for key in same:
        home = [folder / "copies" / key for folder in sets]
        for file in home[0].glob("[!.]*"):
            texts = [(each / file.name).read_text(encoding="utf-8") for each in home]
            assert (texts[0] == texts[1]) is (file.name != "scenario.toml")
        head, _, rest = (home[1] / "scenario.toml").read_text(encoding="utf-8").partition("\n")
        assert head.startswith("# The example's numbers, not those of " + key) and rest == shipped
        keys = [(folder / "teacher/keys" / f"{key}.md").read_text(encoding="utf-8") for folder in sets]
        assert keys[0] == keys[1]


@pytest.mark.parametrize("name", ready_labs())
def test_the_example_answers_no_sheet(name, tmp_path):
    """Thirty learners: what the workbook says with the example passes for none of their answers, save what is read at the bench."""
    lab = read_lab(ready_example(tmp_path, name))
    there = made(tmp_path, tmp_path / "lab.toml")
    middle = {each.key: each.values[len(each.values) // 2] for each in lab.vary}
    example = expected(numbers_at(lab, {key: OWN.get(key, value) for key, value in middle.items()}))
    for key in LEARNERS:
        for task, each in answers_of(there, key).items():
            assert each.task.measured or abs(example[task].value / each.value - 1) > each.tolerance, (key, task)


def test_an_executed_copy_of_the_example_tells_no_answer(tmp_path):
    """Workbook 03, run beside the scenario of its copy: what it prints are the outputs of the solved workbook, which the draw has seen;
    the example's own duty is among them, and of thirty learners' answers no four digits, and three only by chance."""
    there = made(tmp_path, ready_example(tmp_path, "03"))
    ran = workbook.run(next((there / "copies/t01").glob("*.ipynb")), timeout=60)
    shown = [output.get("text", "") + str(output.get("data", {}).get("text/plain", ""))
             for cell in ran.cells for output in cell.get("outputs", [])]  # fmt: skip
    told, text = told_numbers({"cells": [{"shown": shown}], "metadata": {}}), "\n".join(shown)
    solved = shown_numbers(workbook.read(BOOKS / "03_two_slopes.ipynb"))
    assert told and told.keys() <= solved.keys()
    told |= told_numbers({"cells": [{"source": cell.source} for cell in ran.cells], "metadata": {}})
    answers = [answers_of(there, key) for key in LEARNERS]
    assert [given_away(told, each.values()) for each in answers] == [[]] * len(LEARNERS)
    example = expected(numbers_at(read_lab(there / "teacher/lab.toml"), {key: OWN[key] for key in varying(there)}))
    assert re.search(printed(example["duty"]), text)
    by_chance = [each for one in answers for each in one.values() if not each.task.measured and re.search(printed(each), text)]
    assert len(by_chance) <= 6  # of 120: the workbook prints some hundred numbers, and there are 900 of three digits


def varying(there: Path) -> list[str]:
    """The keys of what varies in a set."""
    return list(read_json(there / "teacher/set.json").data["learners"]["t01"]["numbers"])


def printed(each) -> str:
    """A pattern for an answer as the kit prints it: three digits, the unit, no further digit before or behind."""
    return rf"(?<![\d.]){re.escape(show(each.value, each.unit))}(?![\d.]\d)"


@pytest.mark.parametrize(("lab", "words"), [
    (LAB.replace("[given]", 'copies = "mine"\n[given]', 1), "copies = \"mine\" must be one of own numbers, example"),
    (LAB[:LAB.index("[vary]")].replace("[given]", 'copies = "example"\n[given]', 1) + LAB[LAB.index("[[task]]"):],
     "the example itself answers duty right; vary more numbers"),
])  # fmt: skip
def test_what_cannot_be_is_refused(tmp_path, lab, words):
    """Another word, and a lab in which nothing varies: its copies would compute the answers whatever is drawn."""
    put_class(tmp_path, lab=lab)
    with pytest.raises(ValueError, match=re.escape(words)):
        session.make(tmp_path / "set", tmp_path / "lab.toml", tmp_path / "roster.csv", seed=7)
    assert not (tmp_path / "set").exists()
