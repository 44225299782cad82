"""Answer sheets, out and in: what a learner writes comes back as text, and a hostile sheet is named and harmless."""

import json
import os
import tomllib

import pytest

from boostkit.classroom import handed_in
from boostkit.classroom.marking import NO_VALUE, mark
from boostkit.classroom.sheets import READ_HERE, Sheet, cell_sheet, csv_sheet, read_sheet, table, tasks_named, toml_sheet
from boostkit.classroom.stated import in_another_unit, stated

NAMED = f"# {READ_HERE} (keep this line): "


def test_a_toml_sheet_comes_back_as_it_was_filled_in(one, tmp_path):
    """An untouched sheet holds the key and no answer; a filled-in one holds the text that was written."""
    text = toml_sheet(one)
    assert tomllib.loads(text) == {"key": "t01", "answers": dict.fromkeys([t.id for t in one.lab.tasks], "")}
    path = tmp_path / "answers_t01.toml"
    path.write_text(text.replace('duty = ""', 'duty = "66.7 %"').replace('resonance = ""', "resonance = 671.5"), encoding="utf-8")
    assert read_sheet(path) == Sheet("t01", {"duty": "66.7 %", "resonance": "671.5"}, "answers_t01.toml")
    for task in one.lab.tasks:
        assert task.ask in text and f"[{task.unit or '-'}]" in text


@pytest.mark.parametrize(("delimiter", "encoding"), [(",", "utf-8-sig"), (";", "utf-8"), ("\t", "utf-8")])
def test_a_csv_sheet_comes_back_from_any_spreadsheet(one, tmp_path, delimiter, encoding):
    """Commas, semicolons and tabs, with and without a byte order mark; a decimal comma stays one answer."""
    lines = csv_sheet(one).lstrip("\ufeff").splitlines()
    rows = [["key", "task", "answer"], *(["t01", line.split(",")[1], "'1,94 A"] for line in lines[1:])]
    path = tmp_path / "x.csv"
    quote = '"' if delimiter == "," else ""
    path.write_text("\n".join(delimiter.join(f"{quote}{cell}{quote}" for cell in row) for row in rows), encoding=encoding)
    assert read_sheet(path) == Sheet("t01", {task.id: "1,94 A" for task in one.lab.tasks}, "x.csv")


def test_cells_of_a_workbook_are_read_as_text(one, tmp_path):
    """Lines of the tasks that a tagged cell's prompt names count, the last one of a name wins; nothing else of it is looked at."""
    def cell(source, *tags):
        return {"cell_type": "code", "source": source, "metadata": {"tags": list(tags)}, "outputs": [], "execution_count": None}

    cells = [cell(["# key: t01\n", f"{NAMED}duty, mean_current\n", 'duty = "0.7"  # first try\n', "# duty = '0.667'  # better\n",
                   "mean_current = 1.9 # A"], "answer-here"),
             cell(f"{NAMED.upper()}resonance\n  resonance = 671 Hz\nprint(open('x').read())", "answer-here"),
             cell(f"{NAMED}ripple_current\nripple_current = 1 A")]  # fmt: skip
    path = tmp_path / "w.ipynb"
    path.write_text(json.dumps({"cells": cells, "nbformat": 4, "nbformat_minor": 5, "metadata": {}}))
    assert read_sheet(path) == Sheet("t01", {"duty": "0.667", "mean_current": "1.9", "resonance": "671 Hz"}, "w.ipynb")


@pytest.mark.parametrize(("lines", "answers"), [
    (["# key: t01", "duty = 0.75", 'duty = "0.75"'], {}),  # a cell for working: its prompt names no task
    (["# key: t01", f"{NAMED}resonance", "duty = 0.75", '# resonance = "671 Hz"'], {"resonance": "671 Hz"}),
    ([f"{NAMED}duty", '# duty = ""', "duty = 0.75", "duty == 0.75", "duty += 1"], {}),  # code below a line not yet filled in
    ([f"{NAMED}duty", "duty = 1 - 6/18", '# duty = "0.667"', "duty = 0.75"], {"duty": "0.667"}),
    ([f"{NAMED}duty", '# duty = "0.667"', '# duty = ""'], {"duty": "0.667"}),
    ([f"{NAMED}duty", "# duty = 0.667  # I took the marks out"], {"duty": "0.667"}),
    ([f"{NAMED}duty", 'my_duty = "0.5"', 'x.duty = "0.5"', 'duty_off = "0.5"', 'print(duty, "= 0.5")'], {}),
    (["```text", f"{NAMED} duty ,resonance", 'duty = "0.667"', 'resonance = "671 Hz"', "```"], {"duty": "0.667", "resonance": "671 Hz"}),
])  # fmt: skip
def test_a_learners_code_is_no_answer(tmp_path, lines, answers):
    """Only the lines of the tasks that the prompt of the very cell names, and among those the lines to fill in before any code."""
    path = tmp_path / "w.ipynb"
    path.write_bytes(_notebook("\n".join(lines), f"{NAMED}peak_current"))
    assert read_sheet(path).answers == answers


def test_a_workbook_whose_prompts_are_gone_is_named(tmp_path):
    """Answers that nobody would read must not pass in silence."""
    path = tmp_path / "w.ipynb"
    path.write_bytes(_notebook('# key: t01\nduty = "0.667"'))
    with pytest.raises(ValueError, match=r"w.ipynb: has no cell left with the line '# answers read from this cell"):
        read_sheet(path)


def _notebook(*sources, **more) -> bytes:
    cells = [{"cell_type": "code", "source": source, "metadata": {"tags": ["answer-here"]}} for source in sources]
    return json.dumps({"cells": cells, "nbformat": 4, "nbformat_minor": 5, "metadata": {}, **more}).encode()


@pytest.mark.parametrize("kind", ["code", "markdown", "raw"])
def test_a_prompt_reads_back_as_nothing_answered(one, tmp_path, kind):
    """A blanked cell names its tasks and holds no answer; a code cell may be run as it is."""
    tasks = tasks_named("duty = 0.6667\n  # ripple_current = '1 A'\nother = 3", one.lab)
    assert [task.id for task in tasks] == ["duty", "ripple_current"]
    source = cell_sheet(tasks, "t01", kind)
    path = tmp_path / "w.ipynb"
    path.write_text(json.dumps({"cells": [{"cell_type": kind, "source": source, "metadata": {"tags": ["answer-here"]}}]}))
    assert read_sheet(path) == Sheet("t01", {}, "w.ipynb")
    filled = source.replace('duty = ""', 'duty = "66.7 %"')
    path.write_text(json.dumps({"cells": [{"cell_type": kind, "source": filled, "metadata": {"tags": ["answer-here"]}}]}))
    assert read_sheet(path) == Sheet("t01", {"duty": "66.7 %"}, "w.ipynb")
    if kind == "code":  # a prompt that is run takes no name of the workbook's
        names: dict = {}
        exec(filled, names)
        assert names.keys() == {"__builtins__"}


@pytest.mark.parametrize(("text", "unit", "value", "expanded"), [
    ("1.94 A", "A", 1.94, 0), ("620 mA", "A", 0.62, 0), ("66.7 %", "", 0.667, 0), ("0.667", "", 0.667, 0), ("1.94", "A", 1.94, 0),
    ("1,94 A", "A", 1.94, 0), ("1,795 A", "A", 1.795, 0), ("0,667", "", 0.667, 0), ("\u22120.3", "V", -0.3, 0), ("4k7", "Ω", 4700, 0),
    ("1.94 A ± 0.04 A", "A", 1.94, 0.04), ("(1.94 ± 0.04) A", "A", 1.94, 0.04), ("1.94 ± 0.04 A", "A", 1.94, 0.04),
    ("1.94 A +/- 40 mA", "A", 1.94, 0.04), ("1.94 A +- 2 %", "A", 1.94, 0.0388), ("88 % ± 1 %", "", 0.88, 0.01),
    # JCGM 100, 7.2.2 (2): the digits in brackets are the standard uncertainty in the last digits of the result (from memory)
    ("1.94(2) A", "A", 1.94, 0.04), ("620(12) mA", "A", 0.62, 0.024), ("0.6670(5)", "", 0.667, 0.001),
])  # fmt: skip
def test_an_answer_is_read_as_engineers_write_it(text, unit, value, expanded):
    """Value, unit, prefix, decimal comma, and the two ways of stating an uncertainty (JCGM 100, 7.2.2 and 7.2.4)."""
    found = stated(text, unit)
    assert (found.value, found.expanded) == pytest.approx((value, expanded), rel=1e-12)  # rounding only


@pytest.mark.parametrize("text", ["", "about two", "2/3", "1e999 A", "nan", "1,234.5 A", "1,234,567 A", "1 A ± 2 A ± 3 A",
                                  "1 A ± -1 A", "1" * 300, "5 V", "5 KA", "__import__('os')", "1.94(2", "±", "\x00", "0x10 A"])  # fmt: skip
def test_what_is_no_value_is_refused_in_one_line(text):
    """No expression, no other kind of quantity, no number beyond a computer's."""
    with pytest.raises(ValueError, match=r"\A[^\n]+\Z"):
        stated(text, "A")


def test_another_kind_of_quantity_is_told_from_no_quantity():
    """5 V for a current is a value of another kind; a capital K is forgiven here; words are nothing."""
    assert (in_another_unit("5 V", "A").value, in_another_unit("5 V", "A").unit) == (5.0, "V")
    assert in_another_unit("5 KHz", "Hz").value == 5000
    assert in_another_unit("five", "A") is None


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-cmd", "@SUM(A1)", "\t=1", " =1", "'=1", "＝1", "|calc", "\r=1", "\n@x"])
def test_no_cell_of_a_table_is_a_formula(cell):
    """What would begin a formula in a spreadsheet gets an apostrophe in front (common practice, no source)."""
    written = table(("a",), [(cell,)]).splitlines()[1].strip('"')
    assert written.startswith("'")


def test_plain_cells_of_a_table_stay_plain():
    """Numbers and words are written as they are; a number is no formula."""
    assert table(("a", "b"), [("µ", 1.5)]) == "\ufeffa,b\nµ,1.5\n"


DEEP = b"[" * 60_000 + b"]" * 60_000
BAD = [  # ending, bytes, words of the reason: the whole sheet cannot be read
    (".toml", b"", "is empty"), (".toml", b"\n  \n", "is empty"), (".toml", b"\x00" * 500, "line 1"), (".toml", b"\xff\xfe\x00k", "UTF-8"),
    (".toml", b"key = t01", "line 1"), (".toml", b"key = \"t01\"\n[answers\n", "line 2"), (".toml", b"key = \"t01\"", "answers is missing"),
    (".toml", b"key = \"t01\"\nanswers = 3", "must be a table"), (".toml", b"key = 5\n[answers]\n", "must be text"),
    (".toml", b"[answers]\nduty = 1\nduty = 2", "line 3"), (".toml", b"[answers]\n[answers]\n", "line 2"),
    (".toml", b"answers = " + b"[\n" * 40_000, "nested too deeply"), (".toml", b"a = 1\n" * 40_000, "larger than"),
    (".toml", b"[" + b"a." * 45_000 + b"a]\n", "a line of more than"), (".toml", b"a" + b".a" * 45_000 + b" = 1", "a line of more than"),
    (".toml", b"x = " + b"1" * 900 + b"." * 90_000, "a line of more than"), (".toml", b"x = \"\"\"" + b"a\n" * 45_000, None),
    (".toml", b"PK\x03\x04" + bytes(range(256)), "UTF-8"),
    (".toml", b"key = \"t99\"\n[answers]\n", "nobody in this class"), (".toml", b"key = \"../../x\"\n[answers]\n", "nobody in this class"),
    (".toml", b"key = \"good\"\n[answers]\nduty = 1\n", "carries the key of good"), (".toml", "key = “t01”".encode(), "line 1"),
    (".toml", b"<html><body>404</body></html>", "line 1"), (".toml", b"{\"key\": \"t01\"}", "line 1"),
    (".csv", b"", "is empty"), (".csv", b"\x00\x00", "key, task and answer"), (".csv", b"\xff\xfek\x00", "UTF-8"),
    (".csv", b"a,b,c\n1,2,3\n", "key, task and answer"), (".csv", b"key,task,answer,answer\n", "each once"),
    (".csv", b"key,task,answer\ngood,duty,1\nother,duty2,2\n", "row 3"), (".csv", b"key,task,answer\nx,duty,1\nx,duty,2\n", "stands twice"),
    (".csv", b"key,task,answer\nx,duty,\"1\n", "row"), (".csv", b"key,task,answer\nx,duty,\"1\"2\n", "row 2"),
    (".csv", b"key,task,answer\nx,duty," + b"9" * 150_000 + b"\n", "larger than"), (".csv", b"k" * 250_000, "larger than"),
    (".csv", b"PK\x03\x04\x14\x00" + bytes(range(256)), "UTF-8"), (".csv", b"key,task,answer\nt99,duty,1\n", "nobody in this class"),
    (".ipynb", b"", "is empty"), (".ipynb", b"{", "line 1"), (".ipynb", b"[]", "one object"), (".ipynb", b"{}", "no cell with the tag"),
    (".ipynb", b"{\"cells\": 3}", "no cell with the tag"), (".ipynb", b"{\"cells\": [1, null, \"x\", []]}", "no cell with the tag"),
    (".ipynb", b"{\"cells\": [{\"metadata\": {\"tags\": \"answer-here\"}}]}", "no cell with the tag"),
    (".ipynb", b"{\"cells\": [], \"cells\": []}", "stands twice"), (".ipynb", b"{\"cells\": [NaN]}", "not a number"),
    (".ipynb", b"{\"cells\": " + DEEP + b"}", "nested too deeply"), (".ipynb", b"{\"a\": " + b"1" * 10_000 + b"}", None),
    (".ipynb", b"[" * 1_000_000, "nested too deeply"), (".ipynb", b"x" * 5_100_000, "larger than"),
    (".ipynb", _notebook(f"# key: good\n{NAMED}duty\nduty = 1"), "carries the key of good"),
    (".ipynb", _notebook("# key: a\n# key: b\nduty = 1"), "more than one key"),
]  # fmt: skip
ODD = [  # ending, bytes: readable, and its one answer is no value
    (".toml", b"[answers]\nduty = \"__import__('os').system('touch RAN')\""), (".toml", b"[answers]\nduty = [1, 2]"),
    (".toml", b"[answers]\nduty = true"), (".toml", b"[answers]\nduty = nan"), (".toml", b"[answers]\nduty = inf"),
    (".toml", b"[answers]\nduty = 1979-05-27"), (".toml", b"[answers]\nduty = " + b"9" * 900),
    (".toml", "[answers]\nduty = \"٠.٦٦٧\"".encode()), (".csv", b"key,task,answer\n,duty,=cmd|' /C calc'!A0\n"),
    (".ipynb", _notebook(f"{NAMED}duty\nimport os\nos.system('touch RAN')\nduty = eval('0.6')")),
    (".ipynb", _notebook([f"{NAMED}duty\n", "duty = open('RAN', 'w')\n", 5, None, {"a": 1}])),
    (".ipynb", _notebook(f"{NAMED}duty\n%%bash\ntouch RAN\nduty = $(touch RAN)")),
]  # fmt: skip


def test_sixty_hostile_sheets_are_named_and_harm_nobody(one, tmp_path, monkeypatch):
    """Each is unreadable for a reason, or its answer no value; nothing runs; the good sheet among them is read."""
    monkeypatch.chdir(tmp_path)
    assert len(BAD) + len(ODD) >= 60
    folder = tmp_path / "returned"
    folder.mkdir()
    for n, (ending, content, *_) in enumerate([*BAD, *ODD]):
        (folder / f"sheet_bad{n}{ending}").write_bytes(content)
    (folder / "good.toml").write_bytes(b"key = \"good\"\n[answers]\nduty = \"0.7\"")
    came = handed_in.collect([folder], [*(f"bad{n}" for n in range(len(BAD) + len(ODD))), "good"])
    for n, (_, _, words) in enumerate(BAD):
        reason = came.unreadable[f"bad{n}"]
        assert f"sheet_bad{n}" in reason and "\n" not in reason and len(reason) < 300 and (words or "") in reason
    for n in range(len(BAD), len(BAD) + len(ODD)):
        first = mark(came.sheets[f"bad{n}"], one).marks[0]
        assert (first.verdict, first.points) == (NO_VALUE, 0) and "\n" not in first.feedback
    assert came.sheets["good"].answers == {"duty": "0.7"}
    assert not list(tmp_path.rglob("RAN"))


def test_links_pipes_and_folders_are_no_sheets(tmp_path):
    """A link is not followed, a pipe does not hang, a folder named like a sheet is no sheet."""
    secret = tmp_path / "secret.toml"
    secret.write_text("[answers]\nduty = 1")
    (tmp_path / "a.toml").symlink_to(secret)
    with pytest.raises(ValueError, match="link to another place"):
        read_sheet(tmp_path / "a.toml")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "b.toml")
        with pytest.raises(ValueError, match="no ordinary file"):
            read_sheet(tmp_path / "b.toml")
    (tmp_path / "c.toml").mkdir()
    with pytest.raises(ValueError, match="is a folder"):
        read_sheet(tmp_path / "c.toml")
    with pytest.raises(ValueError, match="cannot be read"):
        read_sheet(tmp_path / "gone.toml")
    with pytest.raises(ValueError, match="must end in"):
        read_sheet(tmp_path / "program.py")


def test_whose_a_sheet_is(tmp_path):
    """The name or the folder decides, the longest key first; the key inside must agree; what fits nobody is a stray."""
    for name, text in {
        "answers_t01 (1).toml": "[answers]\nduty = 1", "T02/whatever.toml": "[answers]\nduty = 2", "x_1.toml": "[answers]\nduty = 3",
        "a_1.toml": "[answers]\nduty = 4", "loose.toml": "key = 't03'\n[answers]\nduty = 5", "nobody.toml": "[answers]\nduty = 6",
        "t01/scenario.toml": "broken", "T02/again.toml": "[answers]\nduty = 2\nresonance = 9", "t03/other.toml": "[answers]\nduty = 7",
    }.items():  # fmt: skip
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    came = handed_in.collect([tmp_path], ["t01", "t02", "t03", "1", "a_1"])
    found = {key: sheet.answers for key, sheet in came.sheets.items()}
    assert found["t01"] == {"duty": "1"} and found["t02"] == {"duty": "2", "resonance": "9"}
    assert found["1"] == {"duty": "3"} and found["a_1"] == {"duty": "4"}
    assert found["t03"]["duty"].startswith("handed in twice")
    assert came.unreadable == {} and len(came.strays) == 1 and "nobody.toml" in came.strays[0]


def test_a_broken_file_beside_a_good_one_is_a_note(tmp_path):
    """Who hands in a readable sheet and a broken one is marked by the readable one, and the teacher is told; a blank one is no sheet."""
    (tmp_path / "a_t01.toml").write_text("[answers]\nduty = 1")
    (tmp_path / "b_t01.csv").write_text("nonsense")
    (tmp_path / "a_t02.toml").write_text("[answers]\nduty = ''")
    (tmp_path / "b_t02.csv").write_text("nonsense")
    came = handed_in.collect([tmp_path], ["t01", "t02"])
    assert came.sheets["t01"].answers == {"duty": "1"} and "b_t01.csv" in came.notes["t01"][0]
    assert "t02" not in came.sheets and "b_t02.csv" in came.unreadable["t02"]
