"""Files in and out: errors by file and key, output whole or not at all, nothing over existing work."""

import dataclasses
import json
import math
import os
import stat

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from boostkit import files
from boostkit.files import REGISTER, Section, read_json, read_toml, to_json, write_all

SPEC = """
title = "Harbour tide gauge"
[source]
voltage = { min = 5.5, usual = "6 V", max = 7.2 }
[load]
voltage = 18.0
[choices]
frequency = "150 kHz"
rectifier = "diode"
"""


def written(folder, text, name="gauge.toml"):
    """A file with this text or these bytes, and the function that reads it."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def refusal(folder, call):
    """The one line with which `call` is refused; it never shows the folder that the test works in."""
    with pytest.raises(ValueError) as caught:
        call()
    said = str(caught.value)
    assert said.isprintable() and len(said) < 300 and str(folder) not in said and "/tmp" not in said
    return said


def listing(folder):
    """Every path below a folder with its bytes, links as where they point to."""
    return {str(p.relative_to(folder)): os.readlink(p) if p.is_symlink() else p.is_file() and p.read_bytes()
            for p in folder.rglob("*")}


def test_reads_by_type_and_finishes(tmp_path):
    """A good file gives each value in base units, defaults where keys are absent, and no complaint at the end."""
    top = read_toml(written(tmp_path, "\ufeff" + SPEC))         # with the byte order mark some editors write
    assert top.text("title") == "Harbour tide gauge"
    voltage = top.section("source").section("voltage")
    assert [voltage.quantity(name, "V", low=0, open_low=True) for name in ("min", "usual", "max")] == [5.5, 6.0, 7.2]
    load = top.section("load")
    assert load.has("voltage") and not load.has("current") and load.value("voltage") == 18.0
    assert load.quantity("current", "A", None) is None and load.quantity("knee", "V", 1.0) == 1.0
    choices = top.section("choices")
    assert choices.quantity("frequency", "Hz") == 150e3 and choices.choice("rectifier", ("diode", "switch")) == "diode"
    assert choices.choice("mode", ("a", "b"), "a") == "a" and choices.text("note", "none") == "none"
    assert top.section("limits", optional=True) is None
    top.finish()


TYPED = [
    ("[load]\nvoltage = 5", lambda s: s.section("load").quantity("voltage", "V", low=7.2, open_low=True, why="boost"),
     "gauge.toml: load.voltage = 5 V must lie above 7.2 V: boost"),
    ("[load]\nvoltage = '5 A'", lambda s: s.section("load").quantity("voltage", "V"),
     'gauge.toml: load.voltage = "5 A" must be a number in V, as in "12 V": "A" is another kind of quantity'),
    ("v = true", lambda s: s.quantity("v", "V"), "gauge.toml: v = True must be a number in V"),
    ("v = nan", lambda s: s.quantity("v", "V"), "gauge.toml: v = nan must be a finite number in V"),
    ("v = [1]", lambda s: s.quantity("v", "V"), "gauge.toml: v = [1] must be a number in V"),
    ("v = 2026-01-01", lambda s: s.quantity("v", "V"), "gauge.toml: v = 2026-01-01 must be a number in V"),
    ("v = 0x" + "f" * 5000, lambda s: s.quantity("v", "V"),
     "gauge.toml: v = a number of very many digits must be a finite number in V"),
    ("a = 1", lambda s: s.quantity("v", "V"), "gauge.toml: v is missing"),
    ("[load]", lambda s: s.section("load").section("step"), "gauge.toml: load.step is missing"),
    ("load = 5", lambda s: s.section("load", optional=True), "gauge.toml: load = 5 must be a table of keys"),
    ("kind = 'diod'", lambda s: s.choice("kind", ("diode", "switch")),
     'gauge.toml: kind = "diod" must be one of diode, switch; did you mean diode?'),
    ("kind = 3", lambda s: s.choice("kind", ("diode", "switch")), "gauge.toml: kind = 3 must be one of diode, switch"),
    ("title = 3", lambda s: s.text("title"), "gauge.toml: title = 3 must be one line of text, 1 to 200 characters"),
    ("title = ' '", lambda s: s.text("title"), 'gauge.toml: title = " " must be one line of text, 1 to 200 characters'),
    ('title = "a\\nb"', lambda s: s.text("title"),
     'gauge.toml: title = "a?b" must be one line of text, 1 to 200 characters'),
    ("v = 1", lambda s: s.fail("v", "1 V", "must lie above 2 V"), "gauge.toml: v = 1 V must lie above 2 V"),
]


@pytest.mark.parametrize(("text", "ask", "words"), TYPED, ids=range(len(TYPED)))
def test_errors_name_file_key_value_and_rule(tmp_path, text, ask, words):
    """Each typed reading refuses in the same form: file, full key, value, rule."""
    assert refusal(tmp_path, lambda: ask(read_toml(written(tmp_path, text)))) == words


def test_unknown_keys_are_refused_with_the_nearest(tmp_path):
    """A mistyped key is found at any depth by one call at the top; a far one lists what is known."""
    def finish(text):
        top = read_toml(written(tmp_path, text))
        top.has("title")
        load = top.section("load")
        load.has("voltage"), load.has("current")
        top.finish()

    finish("[load]\nvoltage = 1")
    assert refusal(tmp_path, lambda: finish("[load]\nvoltgae = 1")) == (
        "gauge.toml: load.voltgae is not a known key; did you mean voltage?")
    assert refusal(tmp_path, lambda: finish("zzz = 1\n[load]")) == (
        "gauge.toml: zzz is not a known key; known here: title, load")
    assert "load" in refusal(tmp_path, lambda: finish('[load]\n"\\u001b[31m" = 1'))
    assert len(refusal(tmp_path, lambda: finish(f"[load]\n{'k' * 100000} = 1"))) < 200


BROKEN_TOML = [
    (b"a = 1\nb = 2\nc 3", "gauge.toml: line 3: "), (b"a = 1\na = 2", "gauge.toml: line 2: "),
    (b"[load\nv=1", "gauge.toml: line 1: "), (b"a = 1\n[b]\n[b]\n", "gauge.toml: line 3: "),
    (b"a = 1\nb = 'open", "gauge.toml: line 2: "), (b"a = \n", "gauge.toml: line 1: "),
    (b"a = 1\nb = \x80", "gauge.toml: line 2: is not UTF-8 text"), ("a = 1".encode("utf-16"), "is not UTF-8"),
    (b"", "gauge.toml: is empty"), (b" \n\t\n", "gauge.toml: is empty"), (b"\x00", "gauge.toml: line 1"),
    (b"a = " + b"[" * 100_000, "nested too deeply"), (b"a = " + b"9" * 5000, "gauge.toml: exceeds the limit"),
    (b"#" * 5_000_001, "gauge.toml: is larger than 5 MB"),
]


@pytest.mark.parametrize(("raw", "words"), BROKEN_TOML, ids=range(len(BROKEN_TOML)))
def test_broken_toml_is_one_line_with_its_place(tmp_path, raw, words):
    """A fault of syntax, encoding or size is one line with the file's name and, where there is one, the line."""
    said = refusal(tmp_path, lambda: read_toml(written(tmp_path, raw)))
    assert said.startswith("gauge.toml: ") and words in said


def test_what_is_no_file_is_refused(tmp_path):
    """Missing file, folder, pipe and endless device are refused by name at once."""
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "folder.toml").mkdir()
    said = {name: refusal(tmp_path, lambda name=name: read_toml(tmp_path / name))
            for name in ("none.toml", "folder.toml", "pipe.toml", "/dev/zero", "none/none.toml")}
    assert said["none.toml"] == "none.toml: cannot be read: no such file or directory"
    assert said["folder.toml"] == "folder.toml: is a folder" and said["pipe.toml"] == "pipe.toml: is no ordinary file"
    assert said["/dev/zero"] == "zero: is no ordinary file" and said["none/none.toml"].startswith("none.toml: ")


BROKEN_JSON = [
    ('{"a": 1,\n "b": }', "d.json: line 2: "), ('{"a": NaN}', "NaN is not a number"),
    ('{"a": 1, "a": 2}', 'd.json: key "a" stands twice'), ('{"a": -Infinity}', "-Infinity is not a number"),
    ("[1]", "d.json: must hold one object"), ("", "is empty"), ("[" * 100_000, "too deeply"),
]


@pytest.mark.parametrize(("text", "words"), BROKEN_JSON, ids=range(len(BROKEN_JSON)))
def test_broken_json_is_one_line(tmp_path, text, words):
    """JSON is held to the same rules, and to one meaning for each key."""
    assert words in refusal(tmp_path, lambda: read_json(written(tmp_path, text, "d.json")))


LONG = "a" + ".a" * 40


@pytest.mark.parametrize("text", [
    "x = 1\n" + "a" + ".a" * 200_000 + " = 1", "x = 1\n[[" + "a." * 200_000 + "a]]", f"x = 1\ny = {{ b = 1, {LONG} = 1 }}",
    "x = 1\n" + "'a' . \"b c\" ." * 20 + "a = 1", f"x = 1\n  {LONG}",
])  # fmt: skip
def test_an_endless_dotted_key_is_refused_at_once(tmp_path, text):
    """Its line is told; the parser, whose time grows with the square of the words, does not see it."""
    said = refusal(tmp_path, lambda: read_toml(written(tmp_path, text)))
    assert said == "gauge.toml: line 2: a key has more than 32 words between dots"


def test_dots_that_are_no_deep_key_are_read(tmp_path):
    """Numbers, texts, remarks, and a key of as many words as may be."""
    for text in ("x = [" + "1.5, " * 5000 + "1.5]", 'x = "' + "a." * 5000 + '"', "x" + ".a" * 31 + " = 1", f"# {LONG} = 1\nx = 1"):
        assert list(read_toml(written(tmp_path, text + " " * 400_000)).data) == ["x"]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_a_table_is_parted_by_what_its_first_row_has_most_of(mark):
    """Remarks and empty rows are left out but count, cells lose the spaces at their ends, quotation marks pair and hold a cell together."""
    text = f'# made up, by hand; twice\n\nname{mark} value \na{mark}"1{mark}5"\n{mark}\nb{mark} "two"\n'
    assert files.rows(text, "t.csv") == [(3, ["name", "value"]), (4, ["a", f"1{mark}5"]), (6, ["b", "two"])]
    assert files.rows("# nothing\n\n", "t.csv") == []
    with pytest.raises(ValueError, match="^t.csv: row 2: is no row of a CSV table: "):
        files.rows('a,b\n"1,2\n', "t.csv")


@given(st.binary(max_size=60) | st.text(alphabet='a=[]{}"\n\\u1.,:#', max_size=40).map(str.encode))
def test_any_bytes_give_a_section_or_a_refusal(tmp_path_factory, raw):
    """Whatever stands in a file, reading it gives a Section or one printable line."""
    folder = tmp_path_factory.getbasetemp()
    for read, name in ((read_toml, "x.toml"), (read_json, "x.json")):
        try:
            assert isinstance(read(written(folder, raw, name)), Section)
        except ValueError as trouble:
            assert str(trouble).isprintable() and str(trouble).startswith(name)


@dataclasses.dataclass(frozen=True)
class Point:
    """A result as the kit has them: a frozen dataclass, nested, with numpy inside."""

    name: str
    values: object


def test_json_out_and_in_again(tmp_path):
    """Dataclasses and numpy values come back as plain JSON, equal to the last bit, µ as itself."""
    values = {"x": np.float64(0.1), "n": np.int64(3), "ok": np.True_, "a": np.array([1.5, 2]), "p": Point("", None)}
    text = to_json(Point("33 µH", values))
    assert "µ" in text and text.endswith("}\n")
    back = read_json(written(tmp_path, text, "d.json")).data
    plain = {"x": 0.1, "n": 3, "ok": True, "a": [1.5, 2.0], "p": {"name": "", "values": None}}
    assert back == {"name": "33 µH", "values": plain}


UNSPEAKABLE = [math.nan, math.inf, np.float64(np.nan), np.array([1, np.inf]), 1j, {1: 2}, {1, 2}, object, b""]


@pytest.mark.parametrize("bad", UNSPEAKABLE)
def test_json_refuses_what_it_cannot_say(bad):
    """nan, inf and foreign types are refused, with the key."""
    with pytest.raises(ValueError, match=r"result\.values\.v.* cannot be written as JSON"):
        to_json(Point("", {"v": bad}))


def test_writes_all_and_renews_its_own(tmp_path):
    """Text and bytes land in a folder made for them; the same source renews them; nothing else is left there."""
    folder = tmp_path / "new" / "deep"
    both = {folder / "d.json": "µ\n", folder / "d.pdf": b"\x00\xff"}
    write_all(both, "gauge.toml")
    assert set(listing(folder)) == {"d.json", "d.pdf", REGISTER}
    assert (folder / "d.json").read_bytes() == "µ\n".encode() and (folder / "d.pdf").read_bytes() == b"\x00\xff"
    once = listing(folder)
    write_all(both, "gauge.toml")
    assert listing(folder) == once                                      # a second run changes no byte
    write_all({folder / "d.json": "new"}, "gauge.toml")
    write_all({folder / "other.csv": "1"}, "stage.toml")                # keeps the entries of the others
    entries = json.loads((folder / REGISTER).read_text())
    assert {name: entry["source"] for name, entry in entries.items()} == {
        "d.json": "gauge.toml", "d.pdf": "gauge.toml", "other.csv": "stage.toml"}
    assert (folder / "d.json").read_text() == "new" and stat.S_IMODE((folder / "d.json").stat().st_mode) & 0o400


def test_relative_paths_and_two_folders(tmp_path, monkeypatch):
    """A bare name lands in the current folder; files of one call may lie in several folders, each with its register."""
    monkeypatch.chdir(tmp_path)
    write_all({"a.txt": "1", "sub/b.txt": "2", "sub/../c.txt": "3"}, "s")
    assert set(listing(tmp_path)) == {"a.txt", "c.txt", REGISTER, "sub", "sub/b.txt", f"sub/{REGISTER}"}
    assert set(json.loads((tmp_path / REGISTER).read_text())) == {"a.txt", "c.txt"}


def foreign(folder):
    """A file that someone else made."""
    (folder / "d.json").write_text("mine")


def changed(folder):
    """A file of this kit that was edited afterwards."""
    write_all({folder / "d.json": "1"}, "gauge.toml")
    (folder / "d.json").write_text("1 and my notes")


def other_source(folder):
    """A file of this kit, made from another input."""
    write_all({folder / "d.json": "1"}, "stage.toml")


def link(folder):
    """A link to somebody's file, even one that the register knows."""
    write_all({folder / "d.json": "1"}, "gauge.toml")
    (folder / "d.json").rename(folder / "elsewhere")
    (folder / "d.json").symlink_to("elsewhere")


def dangling(folder):
    """A link to nothing, through which a file could be made elsewhere."""
    (folder / "d.json").symlink_to(folder / "nowhere")


def bad_register(folder):
    """A register that was tampered with counts as none."""
    foreign(folder)
    (folder / REGISTER).write_text('{"d.json": 5}')


KEPT = [(foreign, "was not written by this kit"), (changed, "has been changed"), (other_source, '"stage.toml"'),
        (link, "is a link"), (dangling, "is a link"), (bad_register, "was not written by this kit")]


@pytest.mark.parametrize(("prepare", "words"), KEPT)
def test_existing_work_is_kept_unless_forced(tmp_path, prepare, words):
    """Whatever this kit did not write itself from the same source stays, and all else too; force replaces it."""
    prepare(tmp_path)
    before = listing(tmp_path)
    files_out = {tmp_path / "a.txt": "a", tmp_path / "d.json": "2"}
    said = refusal(tmp_path, lambda: write_all(files_out, "gauge.toml"))
    assert said.startswith("d.json: exists and ") and words in said
    assert listing(tmp_path) == before
    write_all(files_out, "gauge.toml", force=True)
    assert not (tmp_path / "d.json").is_symlink() and (tmp_path / "d.json").read_text() == "2"
    assert listing(tmp_path).get("elsewhere") == before.get("elsewhere") and not (tmp_path / "nowhere").exists()


def test_impossible_targets_change_nothing(tmp_path):
    """A folder in a file's place, a file in a folder's place, the register's name, half a character: all refused."""
    (tmp_path / "d.json").mkdir()
    (tmp_path / "file").write_text("x")
    before = listing(tmp_path)
    for bad, content, words in (
        ("d.json", "1", "d.json: is a folder"), ("file/x", "1", "a.txt, x: could not be written: "),
        ("file/y/x", "1", "a.txt, x: could not be written: "), (REGISTER, "{}", f"{REGISTER}: is no name"),
        ("..", "1", "..: is no name"), ("s", "\ud800", "s: holds half a character"), ("n" * 300, "1", "a.txt, nnn"),
    ):
        targets = {tmp_path / "new" / "a.txt": "a", tmp_path / bad: content}
        said = refusal(tmp_path, lambda targets=targets: write_all(targets, "gauge.toml", force=True))
        assert said.startswith(words) and listing(tmp_path) == before
    (tmp_path / REGISTER).symlink_to("file")
    assert "ordinary file" in refusal(tmp_path, lambda: write_all({tmp_path / "a": "1"}, "s", force=True))
    assert (tmp_path / "file").read_text() == "x"


@pytest.mark.parametrize("links", [True, False])
@pytest.mark.parametrize("step", ["fsync", "replace"])
@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_failure_half_way_puts_everything_back(tmp_path, monkeypatch, step, count, links):
    """The disk fails at the first, second or third file (the register): old files back, new ones gone, no leftovers."""
    write_all({tmp_path / "a": "old a"}, "s")
    before = listing(tmp_path)
    real, calls = getattr(os, step), []

    def failing(*args):
        calls.append(args)
        if len(calls) == count:
            raise OSError(28, "No space left on device")
        return real(*args)

    def no_link(*args, **more):
        raise OSError(95, "not supported")

    with monkeypatch.context() as patch:
        patch.setattr(files.os, step, failing)
        if not links:
            patch.setattr(files.os, "link", no_link)
        said = refusal(tmp_path, lambda: write_all({tmp_path / "a": "new a", tmp_path / "b": "b"}, "s"))
    assert said == "a, b: could not be written: no space left on device" and len(calls) >= count
    assert listing(tmp_path) == before
    write_all({tmp_path / "a": "new a", tmp_path / "b": "b"}, "s")      # and afterwards all is well
    assert (tmp_path / "a").read_text() == "new a"
