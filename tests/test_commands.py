"""The command line as a user meets it: exit status, one line on stderr, and files that appear whole or not at all."""

import json
import os
import shutil
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from boostkit import __main__ as command_line
from boostkit.circuit import Converter, switched
from boostkit.parts import losses

DATA = Path(str(files("boostkit"))) / "data"
SPEC = """
title = "Small"
[source]
voltage = { min = 4.5, usual = 5.0, max = 5.5 }
[load]
voltage = 12.0
current = { min = 0.1, usual = 0.3, max = 0.5 }
step = { from = 0.1, to = 0.5 }
[limits]
ripple = 0.1
efficiency = 0.8
ambient = { min = 0, max = 40 }
[choices]
frequency = "150 kHz"
rectifier = "diode"
"""
CONVERTER = (DATA / "stage.toml").read_text(encoding="utf-8")
KEYS = {  # of `waveforms --json`
    "mode": None, "output_voltage": ["mean", "min", "max"], "inductor_current": ["mean", "min", "max", "rms"],
    "switch_current": ["mean", "rms"], "rectifier_current": ["mean", "rms"], "capacitor_current": ["rms"],
    "input_power": None, "output_power": None, "losses": ["inductor", "switch", "rectifier", "capacitor"],
    "efficiency": None, "conduction_end": None,
}  # fmt: skip


def listing(folder="."):
    """Every file under a folder with its bytes, and every folder."""
    return {str(path): path.read_bytes() if path.is_file() else None for path in sorted(Path(folder).rglob("*"))}


def refused(run, key, *words):
    """The command ends with status 2, says one line that holds all of `key`, and changes nothing."""
    before = listing()
    status, out, err = run(*words)
    assert (status, out) == (2, ""), (status, out, err)
    assert err.startswith("boostkit: ") and err.count("\n") == 1 and err.endswith("\n"), err
    assert all(part in err for part in ([key] if isinstance(key, str) else key)), err
    assert listing() == before


def changed(text, old, new):
    assert text.count(old) == 1, f"{old} stands {text.count(old)} times in the text"
    return text.replace(old, new)


# malformed specifications and converters


@pytest.mark.parametrize("old, new, key", [
    ('title = "Small"', "", "title is missing"),
    ('title = "Small"', 'title = ""', "title ="),
    ('title = "Small"', "title = 3", "title = 3"),
    ('title = "Small"', 'title = "two\\nlines"', "title ="),
    ('title = "Small"', 'title = "Small', "line 2"),
    ('title = "Small"', 'titel = "Small"', "title is missing"),
    ("voltage = 12.0", "voltage = 5.0", ["load.voltage = 5 V", "above the highest source voltage, 5.5 V"]),
    ("voltage = 12.0", "voltage = 0", "load.voltage = 0 V"),
    ("voltage = 12.0", "voltage = nan", "load.voltage"),
    ("voltage = 12.0", "voltage = inf", "load.voltage"),
    ("voltage = 12.0", "voltage = true", "load.voltage"),
    ("voltage = 12.0", "voltage = [12.0]", "load.voltage"),
    ("voltage = 12.0", 'voltage = "12 A"', "load.voltage"),
    ("voltage = 12.0", 'voltage = "12 V; rm"', "load.voltage"),
    ("voltage = 12.0", "voltage = 12.0\nvoltage = 13.0", "line 7"),
    ("voltage = 12.0", "", "load.voltage is missing"),
    ("usual = 5.0", "usual = 6.0", ["source.voltage.max = 5.5 V", "6 V"]),
    ("usual = 5.0, ", "", "source.voltage.usual is missing"),
    ("usual = 5.0", "usal = 5.0", "source.voltage.usual is missing"),
    ("min = 4.5", "min = -4.5", "source.voltage.min = -4.5 V"),
    ("max = 5.5 }", "max = 5.5, most = 6 }", ["source.voltage.most is not a known key", "max"]),
    ("[source]", "[sauce]", "source is missing"),
    ("[source]\nvoltage = { min = 4.5, usual = 5.0, max = 5.5 }", "source = 5", "source = 5"),
    ("{ min = 0.1, usual = 0.3, max = 0.5 }", "0", "load.current = 0 A"),
    ("{ min = 0.1, usual = 0.3, max = 0.5 }", "-1", "load.current = -1 A"),
    ("from = 0.1, to = 0.5", "from = 0.5, to = 0.1", ["load.step.to = 100 mA", "500 mA"]),
    ("from = 0.1, to = 0.5", "to = 0.5", "load.step.from is missing"),
    ("efficiency = 0.8", "efficiency = 1.2", "limits.efficiency"),
    ("efficiency = 0.8", "efficiency = 88", "limits.efficiency"),
    ("efficiency = 0.8", "eficiency = 0.8", ["limits.eficiency is not a known key", "did you mean efficiency?"]),
    ("ripple = 0.1", "ripple = 0", "limits.ripple = 0 V"),
    ("step = { from = 0.1, to = 0.5 }\n[limits]", "[limits]\nstep_deviation = 0.5",
     ["limits.step_deviation", "load.step"]),
    ("min = 0, max = 40", "min = 40, max = 0", "limits.ambient.max = 0 °C"),
    ("min = 0, max = 40", "min = -300, max = 40", "limits.ambient.min"),
    ('"150 kHz"', '"150 kV"', "choices.frequency"),
    ('"150 kHz"', "1", "choices.frequency"),
    ('"diode"', '"valve"', ["choices.rectifier", "diode, switch"]),
    ('rectifier = "diode"', 'inductance = "33 µF"', "choices.inductance"),
    ('rectifier = "diode"', "ripple_fraction = 3", "choices.ripple_fraction = 3"),
    ('rectifier = "diode"', 'series_resistance = "1 kΩ"',
     ["choices.series_resistance = 1 kΩ", "limits.ripple = 100 mV"]),
    ('rectifier = "diode"', "inductance = 10", ["load.voltage = 12 V is out of reach", "would help"]),
])  # fmt: skip
def test_a_malformed_specification_is_refused(run, old, new, key):
    """One line that names file and key, exit status 2, nothing written; the same where it is read as a scenario."""
    Path("small.toml").write_text(changed(SPEC, old, new), encoding="utf-8")
    named = ["small.toml: ", *([key] if isinstance(key, str) else key)]
    refused(run, named, "design", "small.toml", "-o", "out")
    if "out of reach" not in named[1] and "series_resistance" not in named[1]:
        refused(run, named, "open", "books", "--copy-only", "--scenario", "small.toml")


@pytest.mark.parametrize("old, new, key", [
    ("voltage = 6.0", "voltage = -6.0", "source.voltage = -6 V"),
    ("voltage = 6.0", 'voltage = "6 A"', "source.voltage"),
    ("voltage = 6.0", "", "source.voltage is missing"),
    ("voltage = 6.0", "voltage = 6.0\ninductance = 1e-6", ["source.inductance = 1 µH", "input_capacitor"]),
    ('"47 µH"', '"47 µF"', "inductor.inductance"),
    ('"47 µH"', "0", "inductor.inductance = 0 H"),
    ('"47 µH"', '"forty"', "inductor.inductance"),
    ('"47 µH"', "1e400", "inductor.inductance"),
    ('inductance = "47 µH"', 'inductivity = "47 µH"', "inductor.inductance is missing"),
    ("resistance = 0.04", "resistence = 0.04", ["inductor.resistence is not a known key", "did you mean resistance?"]),
    ("duty = 0.68", "duty = 1", "switch.duty = 1"),
    ("duty = 0.68", "duty = -0.1", "switch.duty = -0.1"),
    ("duty = 0.68", "", "switch.duty = missing"),
    ("duty = 0.68", "duty = 0.68\npeak_current = 2", "switch.peak_current = 2"),
    ('frequency = "150 kHz"\n', "", "switch.frequency is missing"),
    ("forward_voltage = 0.4", 'kind = "switch"\nforward_voltage = 0.4', ["rectifier.forward_voltage = 0.4", "diode"]),
    ("forward_voltage = 0.4", 'kind = "switch"\ndead_time = "2 µs"', ["rectifier.dead_time = 2 µs", "open time"]),
    ("forward_voltage = 0.4", 'kind = "tube"', "rectifier.kind"),
    ("forward_voltage = 0.4", "forward_voltage = 0.4\ndead_time = 1e-7", "rectifier.dead_time"),
    ('"100 µF"', '"100 µF', "line"),
    ('"100 µF"', '"-100 µF"', "capacitor.capacitance"),
    ("[capacitor]", "[capacitors]", "capacitor is missing"),
    ("resistance = 30.0", "resistance = 30.0\ncurrent = 0.6", "load.resistance = given twice"),
    ("resistance = 30.0", "", "load.resistance = missing"),
    ("resistance = 30.0", "resistance = 30.0\nknee = 1.0", "load.knee = 1"),
    ("resistance = 30.0", "current = 0.6\nknee = 0", "load.knee"),
    ("[load]", "[cooling]\nfan = 1\n[load]", "cooling is not a known key"),
])  # fmt: skip
def test_a_malformed_converter_is_refused(run, old, new, key):
    """One line that names file and key, exit status 2, and no CSV file."""
    Path("stage.toml").write_text(changed(CONVERTER, old, new), encoding="utf-8")
    refused(
        run,
        ["stage.toml: ", *([key] if isinstance(key, str) else key)],
        "waveforms",
        "stage.toml",
        "--csv",
        "out/w.csv",
    )


@pytest.mark.parametrize("raw, words", [
    (b"", "is empty"), (b"\xff\xfe\x00", "line 1: is not UTF-8 text"),
    (b"[[[", "line 1"), (b"a = " + b"[" * 5000, "nested"),
    (b'title = "\x00"', "line 1"), (b"PK\x03\x04", "line 1"),
])  # fmt: skip
@pytest.mark.parametrize("command", ["design", "waveforms"])
def test_what_is_no_toml_at_all_is_refused(run, command, raw, words):
    """Empty, binary and hostile files: the line says what is wrong with the file."""
    Path("odd.toml").write_bytes(raw)
    refused(run, ["odd.toml: ", words], command, "odd.toml", {"design": "-o", "waveforms": "--csv"}[command], "out")


@pytest.mark.parametrize("command", ["design", "waveforms", "handout"])
def test_a_file_that_is_missing_or_a_folder_is_refused(run, command):
    """The name and the reason, and nothing written."""
    Path("folder").mkdir()
    refused(run, ["none.toml", "no such file"] if command != "handout" else "none.toml", command, "none.toml")
    refused(run, "folder", command, "folder")


@pytest.mark.parametrize("words", [["design", "--nonsense"], ["waveforms"],
                                   ["waveforms", "stage.toml", "--points", "3"],
                                   ["waveforms", "stage.toml", "--from-rest", "0"], ["fly"]])  # fmt: skip
def test_a_command_that_makes_no_sense_is_status_2(run, words):
    """A wrong option, a missing or impossible argument and an unknown command, each explained on stderr."""
    Path("stage.toml").write_text(CONVERTER, encoding="utf-8")
    before = listing()
    status, out, err = run(*words)
    assert (status, out) == (2, "") and "Error: " in err
    assert listing() == before


def test_an_interrupted_command_does_not_look_done(run, monkeypatch):
    """Ctrl-C ends with the shell's 130, not with a status that means written."""

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(Converter, "from_file", interrupted)
    assert run("waveforms", "stage.toml")[0] == 130


# design


@pytest.fixture(scope="module")
def designed(tmp_path_factory):
    """The first of the two README commands, as a program of its own, in an empty folder."""
    folder = tmp_path_factory.mktemp("designed")
    done = subprocess.run([sys.executable, "-m", "boostkit", "design"], cwd=folder, capture_output=True,
                          encoding="utf-8", env=surroundings())  # fmt: skip
    return folder, done


def surroundings():
    """This process's environment, with boostkit importable from any folder."""
    return {**os.environ, "PYTHONPATH": str(DATA.parents[1]), "PYTHONUTF8": "1"}


def test_the_built_in_example_is_designed(designed):
    """Both files appear in a folder named after the title; every verdict is printed; all demands are met."""
    folder, done = designed
    assert done.returncode == 0, done.stderr
    assert sorted(listing(folder / "harbour-tide-gauge")) == [
        str(folder / "harbour-tide-gauge" / name) for name in (".made_by_boostkit.json", "design.json", "design.pdf")
    ]
    assert (folder / "harbour-tide-gauge" / "design.pdf").read_bytes().startswith(b"%PDF-")
    lines = done.stdout.splitlines()
    assert [line.split()[0] for line in lines[:3]] == ["met"] * 3 and not any("NOT MET" in line for line in lines)
    assert any(line.startswith("met") and "step deviation" in line for line in lines)
    assert lines[-1].startswith("written:") and done.stderr == ""


def test_a_second_run_renews_and_changes_no_byte(designed, run):
    """Deleted output comes back the same; unchanged output is written over without a word."""
    shutil.copytree(designed[0] / "harbour-tide-gauge", "harbour-tide-gauge")
    before = listing()
    Path("harbour-tide-gauge/design.pdf").unlink()
    assert run("design")[0] == 0
    assert listing() == before


def test_an_edited_design_is_kept_unless_forced(designed, run):
    """Work of the user's own is not lost: refused with status 2, and with --force put right."""
    shutil.copytree(designed[0] / "harbour-tide-gauge", "harbour-tide-gauge")
    before = listing()
    Path("harbour-tide-gauge/design.json").write_text("{}", encoding="utf-8")
    refused(run, ["design.json", "has been changed", "force"], "design")
    assert run("design", "--force")[0] == 0
    assert listing() == before


def test_a_design_file_feeds_waveforms(designed, run):
    """The converter in `design.json`, put into TOML by hand, gives 18 V, and the inductor peak of its corner but for the little
    that edges and core draw through the coil there."""
    data = json.loads((designed[0] / "harbour-tide-gauge" / "design.json").read_text(encoding="utf-8"))
    assert list(data)[:7] == ["spec", "converter", "corners", "verdicts", "lines", "parts", "cautions"]
    assert Converter.from_dict(data["converter"]).to_dict() == data["converter"]
    tables = ["\n".join([f"[{name}]", *(f"{key} = {json.dumps(value)}" for key, value in keys.items())])
              for name, keys in data["converter"].items()]  # fmt: skip
    Path("stage.toml").write_text("\n".join(tables), encoding="utf-8")
    status, out, _ = run("waveforms", "stage.toml", "--json")
    usual = next(c for c in data["corners"] if (c["v_in"], c["i_out"]) == (6.0, 0.6))
    assert status == 0 and json.loads(out)["output_voltage"]["mean"] == pytest.approx(18.0, rel=1e-9)  # see `duty_for`
    drawn = sum(usual["losses"][name] for name in losses.ON_THE_WAY) / (18.0 * 0.6)  # as a share of the load
    below = 1 - json.loads(out)["inductor_current"]["max"] / usual["inductor_peak"]
    assert 0.5 * drawn < below < 1.5 * drawn  # the mean follows the load; the ripple does not


def test_a_design_that_falls_short_is_written_and_says_so(run):
    """Status 1, every demand that is not met named, and both files there with the same verdicts."""
    text = changed(changed(SPEC, "efficiency = 0.8", "efficiency = 0.99"), "ripple = 0.1", "ripple = 0.05")
    Path("hard.toml").write_text(text + 'capacitance = "4.7 µF"\n', encoding="utf-8")
    status, out, _ = run("design", "hard.toml", "-o", "out")
    short = [line for line in out.splitlines() if line.startswith("NOT MET")]
    assert status == 1 and len(short) == 2 and "output ripple" in short[0] and "efficiency" in short[1]  # the gate's 5 V are invented
    verdicts = json.loads(Path("out/design.json").read_text(encoding="utf-8"))["verdicts"]
    assert [verdict["demand"].split()[0] for verdict in verdicts if not verdict["met"]] == ["output", "efficiency"]
    assert Path("out/design.pdf").read_bytes().startswith(b"%PDF-")


# waveforms


def test_the_summary_has_exactly_its_keys_and_closes(run):
    """The documented keys, the numbers of `steady_state`, and input power = output power + losses."""
    Path("stage.toml").write_text(CONVERTER, encoding="utf-8")
    status, out, err = run("waveforms", "stage.toml", "--json")
    data, s = json.loads(out), switched.steady_state(Converter.from_file("stage.toml"))
    assert (status, err, list(data)) == (0, "", list(KEYS))
    assert all(list(data[name]) == keys for name, keys in KEYS.items() if keys)
    assert data["mode"] == "continuous" and data["conduction_end"] == 1.0
    assert data["output_voltage"] == {
        "mean": s.output_voltage.mean,
        "min": s.output_voltage.min,
        "max": s.output_voltage.max,
    }
    assert data["input_power"] == pytest.approx(
        data["output_power"] + sum(data["losses"].values()), rel=1e-10
    )  # as promised
    assert data["efficiency"] == pytest.approx(data["output_power"] / data["input_power"], rel=1e-12)  # one division


def test_a_source_with_resistance_has_its_own_loss(run):
    """`losses` gains `source`, and nothing else changes its name."""
    Path("stage.toml").write_text(
        changed(CONVERTER, "voltage = 6.0", "voltage = 6.0\nresistance = 0.05"), encoding="utf-8"
    )
    losses = json.loads(run("waveforms", "stage.toml", "--json")[1])["losses"]
    assert set(losses) == {*KEYS["losses"], "source"} and losses["source"] > 0


def test_a_light_load_is_discontinuous(run):
    """A hundredth of the load: the mode says so, and the rectifier stops before the period ends."""
    Path("stage.toml").write_text(changed(CONVERTER, "resistance = 30.0", "resistance = 3000.0"), encoding="utf-8")
    data = json.loads(run("waveforms", "stage.toml", "--json")[1])
    assert (
        data["mode"] == "discontinuous" and 0.68 < data["conduction_end"] < 1 and data["inductor_current"]["min"] == 0
    )


def test_the_summary_for_people_carries_units(run):
    """Without --json: a line for each number, with its unit."""
    Path("stage.toml").write_text(CONVERTER, encoding="utf-8")
    printed = run("waveforms", "stage.toml")[1].splitlines()
    lines = {line[:28].strip(): line[28:].strip() for line in printed}
    assert lines["mode"] == "continuous" and lines["output voltage mean"].endswith(" V")
    assert lines["inductor current rms"].endswith(" A") and lines["input power"].endswith(" W")
    assert lines["losses switch"].endswith("W") and lines["efficiency"].endswith(" %")


def test_waveforms_are_written_with_units_and_not_over_other_work(run):
    """The head names column and unit; the columns agree with the summary; a stranger's file is kept."""
    Path("stage.toml").write_text(CONVERTER, encoding="utf-8")
    Path("mine.csv").write_text("mine", encoding="utf-8")
    refused(run, ["mine.csv", "was not written by this kit"], "waveforms", "stage.toml", "--csv", "mine.csv")
    assert run("waveforms", "stage.toml", "--csv", "w.csv", "--points", "2000")[0] == 0
    before = listing()
    head = Path("w.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    assert head == ["time (s)", "i_inductor (A)", "v_out (V)", "v_capacitor (V)", "v_inductor (V)", "v_switch (V)",
                    "i_switch (A)", "i_rectifier (A)", "i_capacitor (A)", "i_load (A)",
                    "i_source (A)", "v_input (V)"]  # fmt: skip
    table = dict(zip(head, np.loadtxt("w.csv", delimiter=",", skiprows=1).T, strict=True))
    s = switched.steady_state(Converter.from_file("stage.toml"))
    assert len(table["time (s)"]) >= 2000 and table["time (s)"][-1] == pytest.approx(1 / 150e3, rel=1e-9)  # ten digits
    mean = np.trapezoid(table["v_out (V)"], table["time (s)"]) * 150e3
    assert mean == pytest.approx(s.output_voltage.mean, rel=1e-6)  # trapezia over 2000 samples of nearly straight lines
    assert table["i_inductor (A)"].max() == pytest.approx(s.inductor_current.max, rel=1e-9)  # ten digits
    assert run("waveforms", "stage.toml", "--csv", "w.csv", "--points", "2000")[0] == 0 and listing() == before
    assert run("waveforms", "stage.toml", "--csv", "mine.csv", "--force")[0] == 0
    assert Path("mine.csv").read_text(encoding="utf-8").startswith("time (s),")


def test_a_switch_on_is_followed(run):
    """--from-rest: as many periods as asked for, the numbers of `from_rest`, and a waveform that starts at rest."""
    Path("stage.toml").write_text(CONVERTER, encoding="utf-8")
    status, out, _ = run("waveforms", "stage.toml", "--from-rest", "40", "--json", "--csv", "on.csv")
    data, t = json.loads(out), switched.from_rest(Converter.from_file("stage.toml"), 40)
    assert status == 0 and list(data) == [
        "periods",
        "duration",
        "output_voltage",
        "inductor_current",
        "capacitor_voltage",
    ]
    assert (data["periods"], data["duration"]) == (40, pytest.approx(40 / 150e3, rel=1e-12))  # a sum of forty
    assert data["inductor_current"] == {
        "max": t.inductor_current.max,
        "max_at": t.inductor_current.max_at,
        "end": t.state[0],
    }
    table = np.loadtxt("on.csv", delimiter=",", skiprows=1)
    assert (table[0, 1], table[0, 3]) == (0, 0) and table[-1, 1] == pytest.approx(t.state[0], rel=1e-9)  # ten digits
    assert table[-1, 3] == pytest.approx(data["capacitor_voltage"]["end"], rel=1e-9)


# open


def test_open_copies_the_workbooks_and_keeps_your_changes(run):
    """Every workbook and the scenario; a second run restores what is missing and keeps what was changed."""
    home = command_line._workbooks()
    wanted = {path.name for path in home.iterdir() if path.suffix in (".ipynb", ".toml")}
    status, out, _ = run("open", "books", "--copy-only")
    assert status == 0 and "kept" not in out
    assert {path.name for path in Path("books").iterdir()} == wanted | {".made_by_boostkit.json"}
    book = sorted(name for name in wanted if name.endswith(".ipynb"))[0]
    assert Path("books", book).read_bytes() == (home / book).read_bytes()
    Path("books", book).write_text("mine", encoding="utf-8")
    Path("books/scenario.toml").unlink()
    status, out, _ = run("open", "books", "--copy-only")
    assert status == 0 and out.endswith(f"; kept as they are: {book}\n")
    assert Path("books", book).read_text(encoding="utf-8") == "mine" and Path("books/scenario.toml").is_file()


def test_a_scenario_is_put_in_place_and_not_over_a_changed_one(run):
    """Into a new folder and over the untouched built-in one; a changed one stays, nothing is copied, until --force."""
    Path("mine.toml").write_text(SPEC, encoding="utf-8")
    for first in (["open", "books", "--copy-only"], ["open", "books", "--copy-only", "--scenario", "mine.toml"]):
        assert run(*first)[0] == 0
    assert Path("books/scenario.toml").read_text(encoding="utf-8") == SPEC
    assert run("open", "books", "--copy-only")[0] == 0  # without a scenario the one in place stays
    assert Path("books/scenario.toml").read_text(encoding="utf-8") == SPEC
    Path("books/scenario.toml").write_text(SPEC + "# my note\n", encoding="utf-8")
    next(Path("books").glob("*.ipynb")).unlink()
    refused(run, ["scenario.toml", "has been changed"], "open", "books", "--copy-only", "--scenario", "mine.toml")
    assert run("open", "books", "--copy-only", "--scenario", "mine.toml", "--force")[0] == 0
    assert Path("books/scenario.toml").read_text(encoding="utf-8") == SPEC


def test_open_into_a_place_that_cannot_be_written_is_refused(run):
    """A folder that cannot be made is no folder of kept workbooks."""
    Path("file").write_text("", encoding="utf-8")
    refused(run, "could not be written", "open", "file/books", "--copy-only")


# handout


def notebook(path, *sources):
    """A small notebook with a title and these code cells."""
    cells = [{"cell_type": "markdown", "id": "top", "metadata": {}, "source": "# A small page"}]
    cells += [{"cell_type": "code", "id": f"c{n}", "metadata": {}, "source": source, "outputs": [],
               "execution_count": None}
              for n, source in enumerate(sources)]  # fmt: skip
    Path(path).write_text(
        json.dumps({"nbformat": 4, "nbformat_minor": 5, "metadata": {}, "cells": cells}), encoding="utf-8"
    )


def test_a_workbook_is_run_and_printed(run):
    """Status 0, a PDF named after the workbook, the workbook itself untouched; a stranger's PDF is kept."""
    notebook("small.ipynb", "print(6 * 7)")
    before = listing()
    status, out, err = run("handout", "small.ipynb")
    assert (status, out, err) == (0, "written: small.pdf\n", "")
    assert Path("small.pdf").read_bytes().startswith(b"%PDF-") and listing().items() >= before.items()
    Path("mine.pdf").write_text("mine", encoding="utf-8")
    refused(run, ["mine.pdf", "was not written by this kit"], "handout", "small.ipynb", "-o", "mine.pdf")


def test_a_failing_cell_is_named_and_the_rest_is_printed(run):
    """Status 1, one line for the cell, and the PDF is there."""
    notebook("bad.ipynb", "1 / 0", "print('still here')")
    status, out, err = run("handout", "bad.ipynb", "-o", "out/bad.pdf", "--no-code")
    assert (status, out, err) == (1, "written: out/bad.pdf\n", "cell 2: ZeroDivisionError: division by zero\n")
    assert Path("out/bad.pdf").read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    "text", ["", "hello", "{}", "[]", '{"nbformat": 4}', '{"cells": 3, "nbformat": 4, "metadata": {}}']
)
def test_what_is_no_workbook_is_refused(run, text):
    """One line that names the file, status 2, no PDF."""
    Path("broken.ipynb").write_text(text, encoding="utf-8")
    refused(run, "broken.ipynb", "handout", "broken.ipynb")


# as a program of its own


@pytest.mark.parametrize("words, status, said", [
    (["--version"], 0, "boostkit"),
    (["waveforms", "odd.toml"], 2, "boostkit: odd.toml: source is missing"),
])  # fmt: skip
def test_the_program_itself_ends_with_the_status(tmp_path, words, status, said):
    """What the tests above run inside this process holds for a process of its own."""
    (tmp_path / "odd.toml").write_text("[inductor]\n", encoding="utf-8")
    done = subprocess.run([sys.executable, "-m", "boostkit", *words], cwd=tmp_path, capture_output=True,
                          encoding="utf-8", env=surroundings())  # fmt: skip
    assert done.returncode == status and (done.stdout + done.stderr).startswith(said)
    assert [path.name for path in tmp_path.iterdir()] == ["odd.toml"]
