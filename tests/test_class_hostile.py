"""A class as it really comes: rosters out of spreadsheets, runs that are killed, labs with a slip, sheets of every kind."""

import base64
import json
import os
import pickle
import tomllib

import pytest
from classes import LAB, ROSTER, fill_in, put_class

from boostkit.classroom import handed_in, on_paper, session
from boostkit.classroom.lab_file import read_lab, ready_labs
from boostkit.classroom.marking import FOLLOWS, NO_VALUE, RIGHT, TRAPPED, UNIT, WITHIN, WRONG, mark
from boostkit.classroom.roster import read_roster
from boostkit.classroom.sheets import READ_HERE, Sheet, read_sheet
from boostkit.classroom.tasks import expected
from boostkit.classroom.variants import variant, variants
from boostkit.paper.blocks import Caution

NAMED = f"# {READ_HERE} (keep this line): "


# ---------------------------------------------------------------- rosters

@pytest.mark.parametrize(("raw", "keys", "name"), [
    ("\ufeffKey;Name;Group\r\nk1;\"Müller; Jörg\";A\r\nk2;\"Zoë \"\"Z\"\" Å\";B\r\n".encode(), ("k1", "k2"), "Müller; Jörg"),
    ("key;name\nk1;Jörg Müller\n".encode("cp1252"), ("k1",), "Jörg Müller"),  # what a spreadsheet calls plain CSV on Windows
    (b"key,name,,\nk1,A,,\n,,,\nk2,B,,\n", ("k1", "k2"), "A"), (b"key\tname\rk1\tA\rk2\tB\r", ("k1", "k2"), "A"),
    (b" key , name \n k1 , A \n", ("k1",), "A"), (b"key,name\nk1,=1+1\n", ("k1",), "=1+1"),
])  # fmt: skip
def test_a_roster_out_of_a_spreadsheet_is_read(tmp_path, raw, keys, name):
    """Semicolons, byte order mark, quotes, umlauts in either encoding, empty columns and rows, old line ends."""
    (tmp_path / "r.csv").write_bytes(raw)
    found = read_roster(tmp_path / "r.csv")
    assert found.keys == keys and found.learners[0].name == name


def test_a_roster_in_another_encoding_says_what_to_save(tmp_path, monkeypatch):
    """Two bytes a letter are refused with the cure; a folder is named even where it is called by a full stop."""
    (tmp_path / "r.csv").write_bytes("key;name\nk1;Ä\n".encode("utf-16"))
    with pytest.raises(ValueError, match=r"^r.csv: .* save the table as CSV UTF-8$"):
        read_roster(tmp_path / "r.csv")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ValueError, match=rf"^{tmp_path.name}: is a folder"):
        read_roster(".")
    with pytest.raises(ValueError, match=rf"^{tmp_path.name}: holds no teacher/set.json"):
        session.mark(".")


# ---------------------------------------------------------------- runs

@pytest.mark.parametrize("left", [{}, {".boostkit-0a1b.tmp": b"half"}, {"lab.toml": LAB.encode()}])
def test_a_run_killed_before_its_first_file_goes_on(tmp_path, left):
    """A folder of the teacher with no set.json yet, and what a kill leaves there, is no set of another origin."""
    lab, roster = put_class(tmp_path)
    (tmp_path / "set" / "teacher").mkdir(parents=True)
    for name, content in left.items():
        (tmp_path / "set" / "teacher" / name).write_bytes(content)
    assert session.make(tmp_path / "set", lab, roster, seed=7).written == 8
    session.make(tmp_path / "whole", lab, roster, seed=7)
    assert (tmp_path / "set" / "teacher" / "lab.toml").read_bytes() == lab.read_bytes()
    assert (tmp_path / "set" / "teacher" / "set.json").read_bytes() == (tmp_path / "whole" / "teacher" / "set.json").read_bytes()


def test_a_folder_with_other_things_in_it_stays_refused(tmp_path):
    """Somebody's own notes, or the lab of another class, are no beginning of this one."""
    lab, roster = put_class(tmp_path)
    for name, content in (("notes.txt", "mine"), ("lab.toml", "title = 'another'")):
        there = tmp_path / name[:3] / "teacher"
        there.mkdir(parents=True)
        (there / name).write_text(content)
        with pytest.raises(ValueError, match="of another origin"):
            session.make(there.parent, lab, roster)
        assert [each.name for each in there.parent.rglob("*")] == ["teacher", name]


def test_a_register_that_the_kill_left_behind_blocks_no_new_learner(tmp_path):
    """Killed between set.json and the note that it is the kit's own, the set still takes a learner who joins later."""
    lab, roster = put_class(tmp_path)
    session.make(tmp_path / "set", lab, roster, seed=7)
    (tmp_path / "set" / "teacher" / ".made_by_boostkit.json").unlink()
    roster.write_text(ROSTER + "t99,Learner Number 99,a\n")
    assert session.make(tmp_path / "set", lab, roster).written == 1


def test_a_seed_that_could_not_be_read_again_is_refused_at_once(tmp_path):
    """Beyond 2^53 a number of JSON is no longer exact everywhere; nothing is written."""
    lab, roster = put_class(tmp_path)
    with pytest.raises(ValueError, match="seed"):
        session.make(tmp_path / "set", lab, roster, seed=2**60)
    assert not (tmp_path / "set").exists()


# ---------------------------------------------------------------- labs

READY = ready_labs()["03"].read_text(encoding="utf-8")
SLIPS = [  # old, new, words: each key of a lab wrong once
    ('title = "Two', 'titel = "Two', "title is missing"), ('title = "Two slopes"', "title = 3", "title = 3"),
    ("03_two_slopes.ipynb", "../03_two_slopes.ipynb", "without a folder"), ('"tide_gauge.toml"', '"no.toml"', "neither beside"),
    ('mode = "continuous"', 'mode = "Continuous"', "did you mean continuous"), ('mode = "continuous"', "mode = continuous", "line 5"),
    ('source = "usual"', 'sorce = "usual"', "did you mean source"), ('load = "max"', "load = 3", "point.load = 3"),
    ("drawing = '''", "drawing = 3\nd = '''", "drawing = 3"), ("cautions = [", "cautions = [3, ", "cautions.1 = 3"),
    ("check = [", 'check = ["{}", ', "check.1"), ('"47 µH"', '"47 µF"', "given.choices.inductance"), ('"47 µH"', '"-47 µH"', "-47 µH"),
    ('"47 µH"', "nan", "finite"), ('"choices.inductance" = "47 µH"', "", "needs \"choices.inductance\""),
    ("r_inductor =", "r_inducter =", "r_inducter"),
    ('"40 mΩ"', '"-40 mΩ"', "-40 mΩ"),
    ("[given]", "[[given]]", "given ="),
    ("[vary]", "[[vary]]", "vary ="), ('"source.voltage.usual"', '"source.voltage.usal"', "vary.source.voltage.usal"),
    ("from = 5.6", "form = 5.6", "from is missing"), ("to = 6.8", "to = inf", "to = inf"), ("step = 0.1 ", "step = 0 ", "steps above zero"),
    ("from = 5.6", 'from = "5.6 A"', "another kind"), ("{ from = 15, to = 21, step = 0.5 }", "{ values = [75, 80] }", "touch limit"),
    ("{ from = 15, to = 21, step = 0.5 }", "{ values = [5] }", "lab's numbers"), ('"mean_current"', '"mean current"', "task[2].id"),
    ('id = "mean_current"', 'id = "duty"', "stands above"), ('quantity = "mean_current"', 'quantity = "mean_curent"', "did you mean"),
    ("points = 2", 'points = "two"', "task[1].points"), ("tolerance = 0.01", "tolerance = 1", "task[1].tolerance"),
    ('follows = ["duty"]', 'follows = ["dutty"]', "task[2].follows"), ('trap = "complement"', 'trap = "half"', "task[1].trap"),
    ("measured = true", 'measured = "yes"', "task[5].measured"), ('by = "circuit"', 'by = "bench"', "task[5].by"),
    ('part = "Coil"', 'part = ""', "kit[2].part"), ('value = "{inductance}', 'value = "{inductanc}', "kit[2].value"),
    ('value = "{inductance}', 'value = "{k_load}', "{k_load} on the lab sheet"),
    ('expect = "duty"', 'expect = "dutty"', "measure[2].expect"),
    ('expect = "duty"\ntolerance = "5 %"', 'expect = "duty"\ntolerance = "5 V"', "measure[2].tolerance"),
    ("[[task]]", "[[tasks]]", "no [[task]]"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), SLIPS)
def test_a_lab_with_a_slip_writes_nothing_and_names_it(tmp_path, old, new, words):
    """One line with the lab's name and what is wrong; no folder is made."""
    assert old in READY and len(SLIPS) >= 30
    (tmp_path / "lab.toml").write_text(READY.replace(old, new, -1 if old == "[[task]]" else 1), encoding="utf-8")
    (tmp_path / "r.csv").write_text("key\nk1\nk2\n")
    (tmp_path / "03_two_slopes.ipynb").write_text('{"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}')
    with pytest.raises(ValueError, match=r"\A(?:lab|no)\.toml: [^\n]+\Z") as refused:
        session.make(tmp_path / "set", tmp_path / "lab.toml", tmp_path / "r.csv")
    assert words in str(refused.value) and not (tmp_path / "set").exists()


HIGH = LAB.replace("from = 15, to = 21, step = 0.5", "from = 40, to = 62, step = 2").replace(
    "[[task]]", '[[kit]]\npart = "Load"\nvalue = "{load_watts}"\n[[task]]', 1).replace("[given]", "above_touch_limit = true\n[given]")


def test_reasons_that_differ_in_a_number_alone_count_as_one(tmp_path):
    """All 500 draws lie above the limit, each by another amount: it says 500, not how many were alike to the digit."""
    (tmp_path / "lab.toml").write_text(LAB.replace("from = 15, to = 21, step = 0.5", "from = 65, to = 90, step = 0.5"), encoding="utf-8")
    with pytest.raises(ValueError, match=r"of 500 draws, 500 were refused because [0-9.]+ V is above the touch limit"):
        variant(read_lab(tmp_path / "lab.toml"), "t01", 1)


def test_a_sheet_above_the_touch_limit_says_so_whatever_the_lab_says(tmp_path):
    """Above 60 V (IEC 61140) the answer sheet begins with the caution; below it does not."""
    (tmp_path / "lab.toml").write_text(HIGH, encoding="utf-8")
    found = variants(read_lab(tmp_path / "lab.toml"), [f"k{n}" for n in range(30)], 1).values()
    warned = {one.highest > 60: [b for b in on_paper.sheet_page(one).blocks if isinstance(b, Caution)] for one in found}
    assert warned[True][0].title.endswith("above the 60 V DC touch limit") and warned[True][0].strong and warned[False] == []


def test_a_rating_beyond_its_ladder_is_named_before_anything_is_written(tmp_path):
    """The lab sheet fails for some learner, not the first: lab, name and learner in one line, and no folder."""
    lab, roster = put_class(tmp_path, lab=HIGH.replace("{ from = 0.6, to = 0.75, step = 0.01 }", "{ values = [0.6, 0.61, 0.62, 1.2] }"))
    with pytest.raises(ValueError, match=r"\Alab.toml: \{load_watts\} on the lab sheet: .* with the numbers of t0[2-8]\Z"):
        session.make(tmp_path / "set", lab, roster)
    assert not (tmp_path / "set").exists()


# ---------------------------------------------------------------- answers and sheets

SAME = ["{a:.4f} A", "{a:.4f}A", "{m:.1f}m", "{m:.1f} mA", "{a:.4f} Amps", "{a:.4f} Ampere", "{m:.1f} milliamperes", "{a:.4f} A.",
        "{m:.1f}·10^-3 A", "{m:.1f} x 10^-3 A", "{m:.1f}×10**-3 A", "{m:.1f}e-3 A", "I = {a:.4f} A", "= {a:.4f} A", "≈ {a:.4f} A",
        "{a:.4f} [A]", "\u200f{a:.4f}\u200e A", "{a:.4f}\u3000A", "{a:.4f} C/s", "{a:.4f} A pp", "{a:.4f} A p-p", "{a:.4f} App",
        "+{a:.4f} A", "{u:.0f} μA"]  # fmt: skip


@pytest.mark.parametrize("form", SAME)
def test_a_right_value_is_right_in_any_notation(one, form):
    """Units in words, powers of ten, what stands before and behind, marks of the direction of writing; and half of it is half of it."""
    for name, share, verdict in (("ripple_current", 1, RIGHT), ("ripple_current", 0.5, TRAPPED["peak"]), ("ripple_current", 1.5, WRONG)):
        a = share * expected(one)[name].value
        for text in (form.format(a=a, m=1e3 * a, u=1e6 * a), form.format(a=a, m=1e3 * a, u=1e6 * a).replace(".", ",", 1)):
            if text.endswith(",") or ".," in text:
                continue
            assert {each.task.id: each for each in mark(Sheet("t01", {name: text}), one).marks}[name].verdict == verdict, text


@pytest.mark.parametrize(("name", "form", "verdict"), [
    ("duty", "{v:.4f} ± 1 %", RIGHT), ("duty", "{p:.2f} ± 1 %", RIGHT), ("duty", "({p:.2f} ± 1) %", RIGHT),
    ("duty", "{p:.2f} per cent", RIGHT),
    ("duty", "{v:.4f} [-]", RIGHT), ("duty", "D={v:.4f}", RIGHT), ("duty", "{p:.2f}％", RIGHT), ("resonance", "{k:.5f} khz", UNIT),
    ("resonance", "{v:.2f} Hertz", RIGHT), ("mean_current", "{v:.4f} a", UNIT), ("mean_current", "{v:.4f} V", UNIT),
    ("ripple_measured", "{w:.4f} A (± {d:.4f} A)", WITHIN), ("ripple_measured", "{w:.4f} A", WRONG), ("duty", "1-0.3", NO_VALUE),
    ("duty", "{v:.4f} 1", NO_VALUE), ("mean_current", "\u202e{v:.4f} A\u202c", NO_VALUE), ("mean_current", "1 1/2 A", NO_VALUE),
    ("mean_current", "1e400 A", NO_VALUE), ("mean_current", "12 V ± 1 V", WRONG), ("mean_current", "nan", NO_VALUE),
    ("mean_current", "{v:.4f} A ± 1e400 A", NO_VALUE), ("mean_current", base64.b64encode(pickle.dumps(eval)).decode(), NO_VALUE),
])  # fmt: skip
def test_notation_and_its_verdict(one, name, form, verdict):
    """A percentage behind ± is of the number before it or both are percentages, whichever makes a share; a slip of capitals is one of
    units; what is no value stays none."""
    v = expected(one)[name].value
    text = form.format(v=v, p=100 * v, k=v / 1e3, w=1.05 * v, d=0.06 * v)
    found = {each.task.id: each for each in mark(Sheet("t01", {name: text}), one).marks}[name]
    assert found.verdict == verdict and "\n" not in found.feedback


def _book(source, **more) -> bytes:
    cell = {"cell_type": "code", "source": source, "metadata": {"tags": ["answer-here"]}}
    return json.dumps({"cells": [cell], "nbformat": 4, "nbformat_minor": 5, "metadata": {}, **more}).encode()


DUTY = f'{NAMED}duty\n# duty = "0.7"'
SHEETS = [  # ending, bytes; the text of the answer to duty, or words of the reason
    (".csv", "key;task;answer\n;duty;0,7 ± 0,01\n".encode("cp1252"), "0,7 ± 0,01"),
    (".csv", "key;task;answer\n;duty;7 µA\n".encode("cp1252"), "7 µA"),
    (".csv", "\ufeffkey;task;question;unit;answer\r\n;duty;\"Which; all?\";-;0,7\r\n".encode(), "0,7"),
    (".csv", b"key,task,answer\r,duty,0.7\r", "0.7"),
    (".csv", b"key,task,answer\n,duty,'=1+1\n", "=1+1"), (".csv", "key\ttask\tanswer\n\tduty\t0.7\n".encode("utf-16"), "CSV UTF-8"),
    (".csv", b"sep=;\nkey;task;answer\n;duty;0,7\n", "key, task and answer"), (".csv", b"key,task,answer\n,duty," + b'"' * 50_001, "row 2"),
    (".toml", b"[answers]\nduty.a.b = 1", "{'a': {'b': 1}}"),
    (".toml", b"[answers]\nduty = " + b"{a=" * 90 + b"1" + b"}" * 90, "{'a': {'a':"),
    (".toml", b"[answers]\nduty = " + b"[" * 400 + b"]" * 400, "[[[["), (".toml", b'[answers]\nduty = """\n0.7\n"""', "0.7"),
    (".toml", "key = \"\u202et01\"\n[answers]\nduty = 1".encode(), "nobody in this class"), (".toml", b"[answers]\rduty = 1", "line 1"),
    (".toml", b"[answers]\n" + b"".join(b"k%d = 1\n" % n for n in range(8000)), ""),
    (".toml", '[answers]\nduty = "7 µ"'.encode("latin-1"), "UTF-8"),
    (".ipynb", _book(DUTY, x="A" * 5_100_000), "clear its outputs"), (".ipynb", _book(DUTY, x="A" * 4_000_000), "0.7"),
    (".ipynb", _book(f"{NAMED}duty\nduty = " + "\"'" * 100_000), ""), (".ipynb", _book(f"{NAMED}duty\n#" + " " * 500_000 + "x"), ""),
    (".ipynb", _book(f'{NAMED}duty\n# duty = "\ud83d"'), "\ud83d"), (".ipynb", b'{"cells": [' + b"9" * 9000 + b"]}", "digits"),
    (".ipynb", _book(f"{NAMED}duty\nduty = __import__('os').system('touch RAN')\n# duty = \"0.7\""), "0.7"),
    (".ipynb", DUTY.encode("utf-16"), "UTF-8"),
]  # fmt: skip


def test_more_sheets_than_the_other_sixty(tmp_path, monkeypatch):
    """Each is read as text or unreadable for a reason of one line, whoever else handed in; nothing runs."""
    monkeypatch.chdir(tmp_path)
    for n, (ending, content, _) in enumerate(SHEETS):
        (tmp_path / f"s_k{n}{ending}").write_bytes(content)
    os.symlink("/", tmp_path / "loop")
    came = handed_in.collect([tmp_path], [f"k{n}" for n in range(len(SHEETS))])
    for n, (_, _, words) in enumerate(SHEETS):
        text = came.unreadable.get(f"k{n}") or came.sheets[f"k{n}"].answers.get("duty", "")
        assert words in text and (f"k{n}" not in came.unreadable or "\n" not in text), n
    assert not list(tmp_path.rglob("RAN")) and came.strays == ()


def test_the_same_answer_in_two_files_is_one_answer(one, tmp_path):
    """A blank or a decimal comma makes no difference; two different values are told to the learner in both."""
    (tmp_path / "a_t01.toml").write_text('[answers]\nduty = "0.7 "\nresonance = "600Hz"\nmean_current = "1 A"')
    (tmp_path / "b_t01.csv").write_text("key;task;answer\nt01;duty;0,7\nt01;resonance;600 Hz\nt01;mean_current;2 A\n")
    sheet = handed_in.collect([tmp_path], ["t01"]).sheets["t01"]
    assert (sheet.answers["duty"], sheet.answers["resonance"]) == ("0,7", "600 Hz")
    found = {each.task.id: each for each in mark(sheet, one).marks}["mean_current"]
    assert found.verdict == NO_VALUE and found.feedback.startswith("handed in twice with different values: 1 A | 2 A")


def test_a_mistake_written_in_words_is_carried_once(one, tmp_path):
    """From a wrong duty, written as a percentage in words, what follows is right in the learner's own numbers, through a sheet of TOML."""
    path = tmp_path / "answers_t01.toml"
    path.write_text('key = "t01"\n[answers]\nduty = ""\nmean_current = ""', encoding="utf-8")
    text = fill_in(path, {"duty": "50 percent", "mean_current": f"I = {2000 * one.letters['i_out']:.1f} milliamps"})
    assert tomllib.loads(text)["answers"]["duty"] == "50 percent"
    path.write_text(text, encoding="utf-8")
    assert [each.verdict for each in mark(read_sheet(path), one).marks][:2] == [WRONG, FOLLOWS]
