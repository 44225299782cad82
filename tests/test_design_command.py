"""`boostkit design` with tables of one's own and with demands that real parts do not meet: exit status, words, files."""

import json
from pathlib import Path

import pytest
from test_commands import SPEC, changed, listing, refused

from boostkit.parts import tables

SWITCHES = "name,voltage limit [V],current limit [A],on resistance [mΩ],rise time [ns],fall time [ns]\n"
COILS = "name,inductance [µH],resistance [mΩ],saturation current [A],rms current [A]\n"


def put(**files):
    """A folder of tables, and the specification beside it."""
    Path("mine").mkdir()
    for name, text in files.items():
        Path("mine", f"{name}.csv").write_text(text, encoding="utf-8")
    Path("small.toml").write_text(SPEC, encoding="utf-8")


@pytest.mark.parametrize("name, text, said", [
    ("switches", "", ["switches.csv", "is empty"]),
    ("switches", SWITCHES, ["switches.csv", "holds a header and no part"]),
    ("switches", SWITCHES.replace("mΩ", "mH") + "a,40,9,20,10,9\n", ["switches.csv: row 1", "on resistance", "Ω"]),
    ("switches", SWITCHES + "a,40 A,9,20,10,9\n", ["switches.csv: row 2", 'voltage limit = "40 A"', "V"]),
    ("switches", SWITCHES + "a,40,9,-20,10,9\n", ["switches.csv: row 2", "on resistance = -20 mΩ", "[0 Ω"]),
    ("switches", SWITCHES + "a,40,9,20,10\n", ["switches.csv: row 2", "fall time"]),
    ("switches", SWITCHES + "a,nan,9,20,10,9\n", ["switches.csv: row 2", "voltage limit"]),
    ("inductors", COILS + "a,100,50,3,2\na,47,50,3,2\n", ["inductors.csv", '"a"', "one row only"]),
    ("inductors", COILS.replace("rms", "root") + "a,100,50,3,2\n", ["inductors.csv: row 1", "root current is not a known"]),
    ("coils", COILS + "a,100,50,3,2\n", ["mine", "holds none of switches.csv"]),
])  # fmt: skip
def test_a_table_that_cannot_be_used_is_refused(run, name, text, said):
    """One line that names file, row, column, value and rule; status 2, nothing written."""
    put(**{name: text})
    refused(run, said, "design", "small.toml", "--parts", "mine", "-o", "out")


@pytest.mark.parametrize("folder", ["none", "small.toml"])
def test_a_missing_folder_of_tables_is_refused(run, folder):
    """By name, and so is a file in its place."""
    put()
    refused(run, [folder, "holds none of"], "design", "small.toml", "--parts", folder, "-o", "out")


def test_an_ambient_that_no_part_bears_is_refused(run):
    """What `design` can draw and no data of parts tell of: file, key, value and rule."""
    Path("small.toml").write_text(changed(SPEC, "min = 0, max = 40", "min = 0, max = 200"), encoding="utf-8")
    refused(run, ["small.toml: limits.ambient", "200 °C", "[-60 °C, 150 °C]"], "design", "small.toml", "-o", "out")


def test_own_switches_are_taken_and_what_is_not_known_is_said(run):
    """Status 0; the unknown diode and the switch's unknown cooling are on the terminal, in the file, and no met or NOT MET."""
    put(switches=SWITCHES + "tiny,10,1,20,10,9\nmine,40,9,20,10,9\n")
    status, out, err = run("design", "small.toml", "--parts", "mine", "-o", "out")
    assert (status, err) == (0, "") and "NOT MET" not in out
    open_points = [line for line in out.splitlines() if "not judged" in line]
    assert any(line.startswith("Rectifier: only drawn") for line in open_points)
    assert any(line.startswith("Switch: no thermal resistance") for line in open_points)
    assert not any("temperature of the switch" in line or "temperature of the rectifier" in line for line in out.splitlines())
    data = json.loads(Path("out/design.json").read_text(encoding="utf-8"))
    assert data["choice"]["switch"]["best"] == ["mine"] and "bears 10 V" in data["choice"]["switch"]["refused"]["tiny"]
    assert [part["value"] for part in data["parts"] if part["what"] == "Switch"] == ["mine"]


DRIVEN = SWITCHES.replace("\n", ",gate charge [nC],drive voltage [V]\n")


@pytest.mark.parametrize("rows, status, best, words", [
    ("mine,40,9,20,10,9,8,2.5\n", 0, ["mine"], None),
    ("mine,40,9,20,10,9,8,5\n", 1, ["mine"], "the gate drive that must be changed. Take a switch that is fully on with 4."),
    ("strong,40,9,5,5,5,1,5\nmine,40,9,40,20,20,8,2.5\n", 0, ["mine", "strong"], None),
])  # fmt: skip
def test_the_drive_voltage_of_an_own_switch_decides(run, rows, status, best, words):
    """From 4.5 V: one of 2.5 V is driven and one of 5 V is not, and of the two the one that is driven is taken, whatever it loses."""
    put(switches=DRIVEN + rows)
    found, out, err = run("design", "small.toml", "--parts", "mine", "-o", "out")
    data = json.loads(Path("out/design.json").read_text(encoding="utf-8"))
    short = [line for line in out.splitlines() if line.startswith("NOT MET")]
    assert (found, err, data["choice"]["switch"]["best"]) == (status, "", best)
    assert len(short) == status and all("Under-voltage lockout" in line and words in " ".join(out.split()) for line in short)


def test_what_falls_short_is_written_and_named(run):
    """A demand that no parts meet: status 1, both files, and the demand with its value; the same bytes again."""
    Path("small.toml").write_text(changed(SPEC, "efficiency = 0.8", "efficiency = 0.99"), encoding="utf-8")
    status, out, _ = run("design", "small.toml", "-o", "out")
    assert status == 1 and next(line for line in out.splitlines() if line.startswith("NOT MET")).count("efficiency") == 1
    before = listing("out")
    assert before[str(Path("out/design.pdf"))].startswith(b"%PDF-")
    assert run("design", "small.toml", "-o", "out")[:2] == (status, out) and listing("out") == before


def test_a_template_of_each_table_is_a_header_that_is_understood(run):
    """With one part that says only what it must, each is a table that the command reads."""
    must = {"switches": "a,40,9,0.02,1e-8,1e-8", "inductors": "a,1e-4,0.05,3,2"}
    for name, row in must.items():
        columns = tables.template(name).strip().split(",")
        wanted = dict(zip(SWITCHES.strip().split(",") if name == "switches" else COILS.strip().split(","), row.split(","), strict=True))
        cells = {head.partition("[")[0].strip(): value for head, value in wanted.items()}
        must[name] = tables.template(name) + ",".join(cells.get(column.partition("[")[0].strip(), "") for column in columns) + "\n"
    put(**must)
    found = tables.read_folder("mine")
    assert found.switches[0].on_resistance == 0.02 and found.inductors[0].inductance == 1e-4
