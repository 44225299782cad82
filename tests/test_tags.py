"""The cells of the workbooks that a learner's copy empties or leaves out: where they stand, and that the rest goes on without them."""

import dis
import re
from itertools import product
from pathlib import Path
from types import CodeType

import pytest

from boostkit.classroom import session
from boostkit.classroom.copies import blanked, given_away, told_numbers
from boostkit.classroom.lab_file import read_lab, ready_labs
from boostkit.classroom.numbers import numbers_at
from boostkit.classroom.sheets import ANSWER_HERE, KEY_ONLY, tasks_named
from boostkit.classroom.tasks import expected
from boostkit.classroom.variants import variant
from boostkit.design import design
from boostkit.files import read_json
from boostkit.paper import workbook

FOLDER = Path(__file__).parent.parent / "workbooks"
LATER = [path for path in sorted(FOLDER.glob("*.ipynb")) if path.name[:2] > "14"]  # the teacher's own
BOOKS = [path for path in sorted(FOLDER.glob("*.ipynb")) if "01" <= path.name[:2] <= "14"]
LABS = {name: read_lab(path) for name, path in ready_labs().items()}
EXERCISES = re.compile(r"^##? .*Exercises$", re.M)
STATEMENT = re.compile(r"^\*\*(\d)\. ?[^*]*\*\*", re.M)
LEARNERS = 30
every_book = pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
every_lab = pytest.mark.parametrize("name", LABS)


def tags(cell) -> list[str]:
    """The tags of a cell."""
    return cell.metadata.get("tags", [])


def exercises(path) -> list:
    """The cells of a workbook from the heading of its exercises to its close."""
    cells = workbook.read(path).cells
    first = next(n for n, cell in enumerate(cells) if cell.cell_type == "markdown" and EXERCISES.search(cell.source))
    last = next(n for n, cell in enumerate(cells) if cell.cell_type == "markdown" and re.search(r"^## Close$", cell.source, re.M))
    return cells[first:last]


def printed(cell) -> str:
    """What a code cell shows as plain text."""
    return "\n".join(output.get("text", "") + str(output.get("data", {}).get("text/plain", "")) for output in cell.outputs)


def taken_and_given(source: str) -> tuple[set[str], set[str]]:
    """The names that a cell takes from cells above it, and those that it gives."""
    taken, given, inner = set(), set(), [compile(source, "cell", "exec")]
    for step in dis.get_instructions(inner[0]):
        if step.opname == "LOAD_NAME" and step.argval not in given:
            taken.add(step.argval)
        elif step.opname == "STORE_NAME":
            given.add(step.argval)
    while inner:
        code = inner.pop()
        taken |= {step.argval for step in dis.get_instructions(code) if step.opname == "LOAD_GLOBAL"} - given
        inner += [constant for constant in code.co_consts if isinstance(constant, CodeType)]
    return taken, given


def lent(cells) -> list[str]:
    """The names that cells of a learner's copy would take from cells that it empties or leaves out."""
    giver: dict[str, int] = {}  # name: the tagged cell that gave it last
    found = []
    for number, cell in enumerate(cells, 1):
        if cell.cell_type == "code":
            taken, given = taken_and_given(cell.source)
            if not tags(cell):
                found += [f"cell {number} takes {name} from cell {giver[name]}" for name in sorted(taken & giver.keys())]
            for name in given:
                giver.pop(name, None)
                if tags(cell):
                    giver[name] = number
    return found


# every workbook


def test_there_are_workbooks_and_labs_to_look_at():
    """None found would pass everything below."""
    assert len(BOOKS) == 14 and sorted(LABS) == ["03", "05", "06", "07", "11"]


@every_book
def test_only_the_two_tags_are_used(path):
    """One tag a cell: emptied or left out; a misspelt tag would hand the solution out."""
    found = [tags(cell) for cell in workbook.read(path).cells if tags(cell)]
    assert len(found) >= 5 and all(each in ([ANSWER_HERE], [KEY_ONLY]) for each in found)


def test_later_workbooks_use_no_other_tag():
    """On the bench and in class: where a cell carries a tag at all, it is one of the two."""
    assert len(LATER) == 1
    assert all(tags(cell) in ([], [ANSWER_HERE], [KEY_ONLY]) for path in LATER for cell in workbook.read(path).cells)


@every_book
def test_each_exercise_has_a_place_for_its_answer(path):
    """Below each statement, and above the next, a code cell is emptied; no statement is."""
    places: dict[str, int] = {}
    for cell in exercises(path):
        if cell.cell_type == "markdown":
            for match in STATEMENT.finditer(cell.source):
                places[match[1]] = 0
                assert not tags(cell)
        elif ANSWER_HERE in tags(cell):
            places[list(places)[-1]] += 1
    assert list(places) == [str(n) for n in range(1, len(places) + 1)] and len(places) >= 4
    assert set(places.values()) == {1}


@every_book
def test_no_solution_is_left_among_the_exercises(path):
    """A code cell that a copy keeps there only shows what the judge says of a wrong line."""
    kept = [cell for cell in exercises(path) if cell.cell_type == "code" and not tags(cell)]
    assert all(printed(cell).startswith("not yet:") and "assert" not in cell.source for cell in kept)


@every_book
def test_the_introduction_promises_no_answer(path):
    """What the exercises say of their cells holds for the workbook and for a copy: no answer is said to stand in every cell."""
    said = next(cell.source for cell in exercises(path) if cell.cell_type == "markdown" and EXERCISES.search(cell.source))
    first = EXERCISES.split(said)[1].strip().splitlines()[0]
    assert first.startswith(("Put your own answer into each cell.", "Write your own answer")) and "judged by" not in said


@every_book
def test_no_line_that_the_judge_accepts_is_left(path):
    """In the whole workbook: what a learner is asked to write does not stand in the copy."""
    right = [cell for cell in workbook.read(path).cells if cell.cell_type == "code" and printed(cell).startswith("right:")]
    assert all(tags(cell) == [ANSWER_HERE] for cell in right)


@every_book
def test_the_rest_takes_no_name_from_an_emptied_cell(path):
    """Neither a name that would be missing nor one that would still hold an earlier value."""
    assert lent(workbook.read(path).cells) == []


@pytest.mark.parametrize(("source", "names"), [
    ("a + b", {"a", "b"}), ("a = 1\na + b", {"b"}), ("a = a + 1", {"a"}), ("[x * a for x in b]", {"a", "b"}),
    ("def f(x):\n    return x + a", {"a"}), ("from m import a\na", set()), ("lambda: [a for _ in b]", {"a", "b"}),
])  # fmt: skip
def test_names_taken_from_above_are_found(source, names):
    """The check above sees names at the top, in comprehensions and in functions, and knows what the cell has made itself."""
    assert taken_and_given(source)[0] - {"range"} == names


# the workbooks of the ready labs


@every_lab
def test_no_solution_is_taken_for_a_task_of_the_lab(name):
    """A line such as `duty = ...` in an emptied cell would ask for the task there, at a place that means another duty."""
    lab = LABS[name]
    emptied = [cell.source for cell in workbook.read(FOLDER / lab.workbook).cells if ANSWER_HERE in tags(cell)]
    assert emptied and not any(tasks_named(source, lab) for source in emptied)


@every_lab
def test_the_last_emptied_cell_asks_for_every_task(name):
    """No cell of a ready workbook names a task, so a learner can hand in the workbook by the one cell below its close."""
    lab = LABS[name]
    cells = blanked(workbook.read(FOLDER / lab.workbook), lab, "t01")["cells"]
    asked = [re.findall(r'^# (\w+) = ""$', cell["source"], re.M) for cell in cells if ANSWER_HERE in cell["metadata"].get("tags", [])]
    assert asked[-1] == [task.id for task in lab.tasks] and not any(asked[:-1])
    place = max(n for n, cell in enumerate(cells) if ANSWER_HERE in cell["metadata"].get("tags", []))
    assert re.search(r"^## Close$", cells[place - 1]["source"], re.M)


@every_lab
def test_a_design_is_found_at_every_corner_of_a_lab(name):
    """All that varies in the scenario at its lowest and its highest together: the workbooks and `boostkit design` find parts."""
    lab = LABS[name]
    middle = {each.key: each.values[len(each.values) // 2] for each in lab.vary}
    varied = [each for each in lab.vary if "." in each.key]
    corners = [dict(zip((each.key for each in varied), ends, strict=True))
               for ends in product(*((each.values[0], each.values[-1]) for each in varied))]  # fmt: skip
    assert len(corners) >= 8
    for corner in corners:
        assert design(numbers_at(lab, middle | corner).spec).converter


@every_lab
def test_a_copy_runs_with_the_numbers_of_a_learner(name, tmp_path, monkeypatch):
    """From top to bottom beside the learner's own scenario, the emptied cells left as they are."""
    lab = LABS[name]
    (tmp_path / "scenario.toml").write_text(variant(lab, "t01", 7).scenario_text(), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    names: dict = {}
    for number, cell in enumerate(blanked(workbook.read(FOLDER / lab.workbook), lab, "t01")["cells"], 1):
        if cell["cell_type"] == "code":
            exec(compile(cell["source"], f"cell {number} of {lab.workbook}", "exec"), names)


@every_lab
def test_no_copy_of_a_class_tells_an_answer(name, tmp_path):
    """Thirty learners: none of the four digits of their answers stands anywhere in the copy that they get."""
    lab, roster = LABS[name], tmp_path / "roster.csv"
    roster.write_text("key\n" + "".join(f"t{n:02d}\n" for n in range(1, LEARNERS + 1)), encoding="utf-8")
    made = session.make(tmp_path / "set", name, roster, [FOLDER], seed=7)
    assert made.written == LEARNERS and made.notes == ()
    redrawn = 0
    for key, one in read_json(tmp_path / "set/teacher/set.json").data["learners"].items():
        told = told_numbers(read_json(next((tmp_path / "set/copies" / key).glob("*.ipynb"))).data)
        answers = expected(variant(lab, key, 7, one["draw"]))
        assert len(answers) >= 5 and given_away(told, answers.values()) == []
        redrawn += bool(one["draw"] and given_away(told, expected(variant(lab, key, 7)).values()))
    assert redrawn <= 2  # a workbook holds some dozen numbers of four digits, so one may meet an answer by chance
