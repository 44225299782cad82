"""The whole way: roster, copies, sheets filled by a script with known right, wrong and follow-on answers, marks."""

import csv
import io
import json
import re
import subprocess
import sys

import pytest
from classes import LAB, ROSTER, UNTOUCHED, fill_in, put_class

from boostkit.classroom import on_paper, outcome, session
from boostkit.classroom.copies import blanked
from boostkit.classroom.lab_file import read_lab
from boostkit.classroom.tasks import expected
from boostkit.classroom.variants import variant
from boostkit.paper import workbook
from boostkit.units import show

KEYS = [f"t{n:02d}" for n in range(1, 9)]


def files_in(folder) -> dict[str, bytes]:
    """Every file below a folder with its bytes."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def rows_of(path) -> list[dict]:
    """A CSV file as dictionaries."""
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


@pytest.fixture
def made(tmp_path):
    """A class of eight, its set made."""
    lab, roster = put_class(tmp_path)
    session.make(tmp_path / "set", lab, roster, seed=7)
    return tmp_path / "set"


def test_from_roster_to_marks(made):
    """Seven ways to hand in, each marked as it must be; the eighth handed in nothing."""
    copies, back = made / "copies", made / "returned"
    key = {k: {n: a.value for n, a in expected(variant(read_lab(made / "teacher" / "lab.toml"), k, 7)).items()} for k in KEYS}

    def right(k):
        return {name: f"{value:.4g}" for name, value in key[k].items()}

    def hand_in(k, answers):
        (back / f"answers_{k}.toml").write_text(fill_in(copies / k / f"answers_{k}.toml", answers), encoding="utf-8")

    hand_in("t01", right("t01"))
    v_in, i_out = (json.loads((made / "teacher" / "set.json").read_text())["learners"]["t02"]["numbers"][name]
                   for name in ("source.voltage.usual", "load.current.max"))  # fmt: skip
    hand_in("t02", right("t02") | {"duty": "0.5", "mean_current": f"{i_out / 0.5:.4g} A", "ripple_current": f"{v_in * 0.5 / 7.05:.4g} A",
                                   "resonance": ""})  # fmt: skip
    hand_in("t03", {"duty": f"{100 * key['t03']['duty']:.4g}", "mean_current": f"{key['t03']['mean_current']:.4g} mA",
                    "ripple_current": f"{key['t03']['ripple_current'] / 2:.4g} A", "resonance": "about 600 Hz",
                    "ripple_measured": f"{1.06 * key['t03']['ripple_measured']:.4g} A ± 8 %"})  # fmt: skip
    (back / "answers_t04.toml").write_text("this is no sheet")
    rows = rows_of(copies / "t05" / "answers_t05.csv")
    table = ["key;task;answer", *(f"t05;{row['task']};{key['t05'][row['task']]:.4g}".replace(".", ",") for row in rows)]
    (back / "from a spreadsheet.csv").write_text("\n".join(table))
    book = json.loads((copies / "t06" / "small_t06.ipynb").read_text(encoding="utf-8"))
    for cell in book["cells"]:
        cell["source"] = re.sub(r'^(# )?(\w+) = ""', lambda m: f'{m[1] or ""}{m[2]} = "{key["t06"][m[2]]:.4g}"', cell["source"], flags=re.M)
    (back / "small_t06.ipynb").write_text(json.dumps(book), encoding="utf-8")
    hand_in("t07", right("t01"))

    found = session.mark(made)
    verdicts = {each.key: [one.verdict for one in each.marks] for each in found.marks}
    assert verdicts["t01"] == ["right"] * 5
    assert verdicts["t02"] == ["wrong", *["follows from an earlier answer"] * 2, "missing", "right"]
    assert verdicts["t03"] == ["wrong unit or prefix", "wrong unit or prefix", "peak for peak-to-peak", "no value",
                               "right within measurement uncertainty"]  # fmt: skip
    assert verdicts["t05"] == ["right"] * 5
    assert verdicts["t06"] == ["right"] * 5  # the workbook names four, and its last emptied cell asks for the fifth
    assert "wrong" in verdicts["t07"]  # another learner's answers do not fit
    marks = {row["key"]: row for row in rows_of(made / "teacher" / "marks.csv")}
    assert {k: marks[k]["points"] for k in KEYS} == {"t01": "11", "t02": "8", "t03": "6", "t04": "", "t05": "11", "t06": "11", "t08": "",
                                                     "t07": f"{found.marks[6].points:g}"}  # fmt: skip
    assert marks["t04"]["sheet"].startswith("unreadable, because answers_t04.toml: line 1") and marks["t08"]["sheet"] == "not handed in"
    assert marks["t03"]["name"] == "Learner Number 3" and marks["t03"]["group"] == "b"


def test_every_answer_has_a_line_of_feedback_without_a_name(made):
    """feedback.csv: a row an answer by key alone; hard.csv: the hardest task first, its verdicts counted."""
    for k in KEYS[:3]:
        duty = expected(variant(read_lab(made / "teacher" / "lab.toml"), k, 7))["duty"].value
        (made / "returned" / f"answers_{k}.toml").write_text(fill_in(made / "copies" / k / f"answers_{k}.toml", {"duty": repr(duty)}))
    session.mark(made)
    feedback = rows_of(made / "teacher" / "feedback.csv")
    assert len(feedback) == 3 * 5 + 5 and all(row["feedback"] for row in feedback if row["task"])
    assert "Learner" not in (made / "teacher" / "feedback.csv").read_text(encoding="utf-8")
    hard = rows_of(made / "teacher" / "hard.csv")
    assert [row["task"] for row in hard][-1] == "duty" and hard[-1]["verdicts"] == "3 right" and hard[-1]["share of points"] == "100 %"
    assert hard[0]["verdicts"] == "3 missing" and hard[0]["share of points"] == "0 %"


def test_no_copy_tells_an_answer_or_a_name(made):
    """In every learner's folder: no answer to four digits, no name, no group, not the seed; only their own key."""
    lab = read_lab(made / "teacher" / "lab.toml")
    for k in KEYS:
        whole = b"\n".join(files_in(made / "copies" / k).values()).decode()
        for each in expected(variant(lab, k, 7)).values():
            for spelling in (show(each.value, each.unit, 4), f"{each.value:.4g}"):
                number = spelling.partition(" ")[0]
                assert len(number.replace(".", "").lstrip("0")) < 4 or number not in whole, (k, each.id)
        assert "Learner" not in whole and "seed" not in whole
        assert not [other for other in KEYS if other != k and f'"{other}"' in whole]
        assert all(json.dumps(text, ensure_ascii=False) in whole for text in UNTOUCHED)


def test_the_numbers_in_place_are_the_variants(made):
    """The scenario beside a copy is a specification with the learner's numbers; the sheet shows the same."""
    from boostkit.design import Spec

    kept = json.loads((made / "teacher" / "set.json").read_text())["learners"]
    for k in KEYS:
        spec = Spec.from_file(made / "copies" / k / "scenario.toml")
        assert spec.v_in.usual == kept[k]["numbers"]["source.voltage.usual"] and spec.v_out == kept[k]["numbers"]["load.voltage"]
        assert f"V_out = {show(spec.v_out, 'V')}" in (made / "copies" / k / f"answers_{k}.toml").read_text(encoding="utf-8")
        key = (made / "teacher" / "keys" / f"{k}.md").read_text(encoding="utf-8")
        answers = expected(variant(read_lab(made / "teacher" / "lab.toml"), k, 7))
        assert {name: each.value for name, each in answers.items()} == kept[k]["answers"]
        assert all(show(each.value, each.unit, 4) in key for each in answers.values())
    assert len({tuple(one["numbers"].values()) for one in kept.values()}) == len(KEYS)


def test_nothing_is_overwritten_and_a_second_run_changes_nothing(made, tmp_path):
    """A learner works in the copy, then the set is made again: no byte changes anywhere."""
    (made / "copies" / "t01" / "answers_t01.toml").write_text("my work")
    before = files_in(made)
    again = session.make(made, tmp_path / "lab.toml", tmp_path / "roster.csv")
    assert (again.learners, again.written) == (8, 0) and files_in(made) == before


def test_a_stopped_run_goes_on_where_it_stopped(tmp_path):
    """Stopped in the middle, then run again: the same files as in one go."""
    lab, roster = put_class(tmp_path)
    session.make(tmp_path / "whole", lab, roster, seed=7)

    def stop(done, total, words):
        if words == "copies for t03":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        session.make(tmp_path / "set", lab, roster, seed=7, progress=stop)
    assert len(list((tmp_path / "set" / "copies").iterdir())) == 3
    assert session.make(tmp_path / "set", lab, roster).written == 5
    assert files_in(tmp_path / "set") == files_in(tmp_path / "whole")


def test_who_joins_later_changes_nobody(made, tmp_path):
    """A new roster with a learner more: the others keep their files; who left is still known to the marking."""
    before = files_in(made / "copies")
    (tmp_path / "roster.csv").write_text("key\na00\n" + "\n".join(KEYS[1:]))
    assert session.make(made, tmp_path / "lab.toml", tmp_path / "roster.csv").written == 1
    after = files_in(made / "copies")
    assert {name: after[name] for name in before} == before and "a00/scenario.toml" in after
    (made / "returned" / "answers_t01.toml").write_text("[answers]\nduty = 1")
    assert [each.key for each in session.mark(made).read] == ["t01"]


@pytest.mark.parametrize(("change", "words"), [
    ("seed", "holds a set of seed 7, not 8"), ("lab", "another lab file"), ("foreign", "of another origin"),
    ("set", "not as this kit wrote"), ("book", "put it beside the lab file"),
])  # fmt: skip
def test_another_set_is_refused(made, tmp_path, change, words):
    """Another seed, another lab, a folder of other origin, a spoilt set.json, a missing workbook: one line, nothing written."""
    target, seed, lab = made, None, tmp_path / "lab.toml"
    if change == "seed":
        seed = 8
    elif change == "lab":
        lab.write_text(LAB.replace("points = 4", "points = 3"), encoding="utf-8")
    elif change == "foreign":
        target = tmp_path / "mine"
        (target / "copies").mkdir(parents=True)
    elif change == "set":
        (made / "teacher" / "set.json").write_text('{"lab": 3}')
    else:
        (tmp_path / "small.ipynb").unlink()
    before = files_in(tmp_path)
    with pytest.raises(ValueError, match=words):
        session.make(target, lab, tmp_path / "roster.csv", seed=seed)
    assert files_in(tmp_path) == before


def test_a_lab_that_would_ask_for_other_answers_marks_nobody(made):
    """Points may change once the set is out; a number that moves the answers may not."""
    (made / "returned" / "answers_t01.toml").write_text("[answers]\nduty = 1")
    lab = made / "teacher" / "lab.toml"
    text = lab.read_text(encoding="utf-8")
    lab.write_text(text.replace("points = 4", "points = 3"), encoding="utf-8")
    assert session.mark(made).lab.points == 10
    lab.write_text(text.replace('"47 µH"', '"48 µH"'), encoding="utf-8")
    with pytest.raises(ValueError, match=r"lab.toml: gives t01 another answer to ripple_current"):
        session.mark(made, force=True)


def test_marks_changed_by_hand_are_kept(made):
    """A table of marks that the teacher has edited is not replaced unless asked."""
    session.mark(made)
    session.mark(made)
    path = made / "teacher" / "marks.csv"
    path.write_text("mine")
    with pytest.raises(ValueError, match="changed since"):
        session.mark(made)
    assert path.read_text() == "mine"
    session.mark(made, force=True)
    assert path.read_text() != "mine"


def test_numbers_are_drawn_again_where_the_workbook_tells_an_answer(tmp_path):
    """An untagged cell that holds a learner's answer by chance: another draw; where nothing varies, the cell is named."""
    lab, roster = put_class(tmp_path)
    answer = expected(variant(read_lab(lab), "t02", 7))["ripple_current"].value
    book = json.loads((tmp_path / "small.ipynb").read_text())
    book["cells"].append({"cell_type": "markdown", "id": "last", "metadata": {}, "source": f"seen: {answer * 1e3:.4g}"})
    (tmp_path / "small.ipynb").write_text(json.dumps(book))
    session.make(tmp_path / "set", lab, roster, seed=7)
    kept = json.loads((tmp_path / "set" / "teacher" / "set.json").read_text())["learners"]
    assert kept["t02"]["draw"] > 0 and kept["t02"]["answers"]["ripple_current"] != pytest.approx(answer, rel=5e-4)  # four digits
    head, _, tail = LAB.partition("[vary]")
    lab.write_text(head + tail[tail.index("[[task]]"):], encoding="utf-8")
    book["cells"][-1]["source"] = f"seen: {expected(variant(read_lab(lab), 't02', 7))['resonance'].value:.4f}"
    (tmp_path / "small.ipynb").write_text(json.dumps(book))
    with pytest.raises(ValueError, match=r"small.ipynb: cell 8 holds the digits .* of resonance"):
        session.make(tmp_path / "other", lab, roster, seed=7)


def test_a_sheet_that_breaks_the_marking_stops_nobody(made, monkeypatch):
    """Should an answer ever make a formula fail in a way that nobody foresaw, that learner is unreadable and the rest go on."""
    real = outcome.mark

    def failing(sheet, variant):
        return real(sheet, variant) if sheet.key == "t02" else 1 / 0

    monkeypatch.setattr(outcome, "mark", failing)
    for k in KEYS[:2]:
        (made / "returned" / f"answers_{k}.toml").write_text("[answers]\nduty = 1")
    found = session.mark(made)
    assert [each.key for each in found.read] == ["t02"] and "cannot be judged" in found.unreadable[0].unreadable


def test_formulas_in_names_and_answers_stay_text(tmp_path):
    """A name and an answer that a spreadsheet would run are written as text."""
    lab, roster = put_class(tmp_path, roster='key,name\nt01,"=HYPERLINK(""x"")"\n')
    session.make(tmp_path / "set", lab, roster)
    (tmp_path / "set" / "returned" / "answers_t01.toml").write_text("[answers]\nduty = \"=cmd|' /C calc'!A0\"\n")
    session.mark(tmp_path / "set")
    tables = [(tmp_path / "set" / "teacher" / name).read_text(encoding="utf-8-sig") for name in ("marks.csv", "feedback.csv", "hard.csv")]
    cells = [cell for text in tables for row in csv.reader(io.StringIO(text)) for cell in row]
    assert any("HYPERLINK" in cell for cell in cells) and any("cmd|" in cell for cell in cells)
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))]


def test_pdfs_of_sheet_copy_and_key(tmp_path):
    """With pdf, each learner's sheet, copy and key are PDFs too; they are added to a set that had none. The copy's holds what the copy
    holds, and nothing of the outputs that the workbook stored."""
    lab, roster = put_class(tmp_path, roster="key\nt01\n")
    session.make(tmp_path / "set", lab, roster)
    assert session.make(tmp_path / "set", lab, roster, pdf=True).written == 1
    home = tmp_path / "set" / "copies" / "t01"
    for path in (home / "answers_t01.pdf", home / "small_t01.pdf", tmp_path / "set" / "teacher" / "keys" / "t01.pdf"):
        assert path.read_bytes().startswith(b"%PDF-")
    book = workbook.read(tmp_path / "small.ipynb")
    page = on_paper.copy_page(blanked(book, read_lab(lab), "t01"), "small_t01.ipynb")
    shown = " ".join(block.text for block in page.blocks if hasattr(block, "text"))
    assert "key: t01" in shown and "0.6543" not in shown and "not run" in page.note
    assert "0.6543" in str(book)


def boostkit(*arguments):
    """Run the command line."""
    return subprocess.run([sys.executable, "-m", "boostkit", *map(str, arguments)], capture_output=True, text=True)


def test_the_command_line_makes_and_marks(tmp_path):
    """Exit status 0 where all is well, 1 where a sheet could not be read, 2 where the input cannot be used."""
    lab, roster = put_class(tmp_path, roster=ROSTER.replace("t08,", "t09,"))
    done = boostkit("class", "make", lab, roster, "-o", tmp_path / "set", "--seed", 7)
    assert (done.returncode, done.stderr) == (0, "") and "8 learners, 8 of them written" in done.stdout
    (tmp_path / "set" / "returned" / "answers_t01.toml").write_text("[answers]\nduty = 1")
    done = boostkit("class", "mark", tmp_path / "set")
    assert done.returncode == 0 and "1 of 8 sheets marked" in done.stdout and "1 wrong" in done.stdout
    (tmp_path / "set" / "returned" / "answers_t09.toml").write_text("broken")
    done = boostkit("class", "mark", tmp_path / "set", tmp_path / "set" / "returned")
    assert done.returncode == 1 and done.stderr.startswith("t09: unreadable, because answers_t09.toml: line 1")
    done = boostkit("class", "mark", tmp_path)
    assert done.returncode == 2 and "no set was made" in done.stderr and done.stderr.count("\n") == 1
