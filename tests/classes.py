"""A small class for the tests of the classroom: a lab, a roster and a workbook with tagged cells, all invented."""

from __future__ import annotations

import base64
import json

import nbformat

ROSTER = "key,name,group\n" + "".join(f"t{n:02d},Learner Number {n},{'ab'[n % 2]}\n" for n in range(1, 9))
LAB = """
title = "A small lab"
workbook = "small.ipynb"
scenario = "tide_gauge.toml"
point = { source = "usual", load = "max" }
[given]
"choices.inductance" = "47 µH"
"choices.capacitance" = "100 µF"
"choices.frequency" = "150 kHz"
r_inductor = "40 mΩ"
v_rectifier = "0.4 V"
[vary]
"source.voltage.usual" = { from = 5.6, to = 6.8, step = 0.1 }
"load.voltage" = { from = 15, to = 21, step = 0.5 }
"load.current.max" = { from = 0.6, to = 0.75, step = 0.01 }
[[task]]
id = "duty"
ask = "Which duty does the output ask for, all parts without loss?"
quantity = "duty"
points = 2
tolerance = 0.01
trap = "complement"
[[task]]
id = "mean_current"
ask = "How large is the mean coil current at this duty?"
quantity = "mean_current"
points = 2
tolerance = 0.02
follows = ["duty"]
[[task]]
id = "ripple_current"
ask = "How large is the ripple of the coil current at this duty, peak to peak?"
quantity = "ripple_current"
points = 4
tolerance = 0.02
follows = ["duty"]
trap = "peak"
[[task]]
id = "resonance"
ask = "At which frequency does the output filter resonate?"
quantity = "resonance"
points = 1
tolerance = 0.02
follows = ["duty"]
[[task]]
id = "ripple_measured"
ask = "What ripple of the coil current do you measure, peak to peak?"
quantity = "ripple_current"
by = "circuit"
points = 2
tolerance = 0.03
trap = "peak"
measured = true
"""

UNTOUCHED = [
    "# A small lab\n\nSlope is *rise over run*:\t$V_{in}/L$.  \nTwo blanks end the line above.",
    "spec = Spec.from_file('scenario.toml')   # tabs\tand umlauts: äöü µΩ\n\n\nprint(spec.title)\n",
    "A picture: ![sketch](attachment:sketch.png)",
    "",
]
PICTURE = base64.b64encode(b"\x89PNG\r\n\x1a\n not a real picture").decode()


def notebook(secrets: list[str]):
    """A workbook whose tagged cells, outputs, metadata and unused attachments hold these texts."""
    told = " ".join(secrets)
    v4 = nbformat.v4
    tagged = {"metadata": {"tags": ["answer-here"], "boss": told}}
    cells = [
        v4.new_markdown_cell(UNTOUCHED[0], metadata={"remark": told}, attachments={"key.txt": {"text/plain": told}}),
        v4.new_code_cell(UNTOUCHED[1], outputs=[v4.new_output("stream", text=told)], execution_count=3),
        v4.new_markdown_cell(UNTOUCHED[2], attachments={"sketch.png": {"image/png": PICTURE, "text/plain": told}}),
        v4.new_code_cell(f"duty = {secrets[0]}\nripple_current = '{told}'", outputs=[v4.new_output("stream", text=told)], **tagged),
        v4.new_markdown_cell(f"mean_current = {told}\n\nresonance = {told}", attachments={"k.txt": {"text/plain": told}}, **tagged),
        v4.new_raw_cell(f"free words {told}", **tagged),
        v4.new_markdown_cell(f"Solution: {told}", metadata={"tags": ["key-only"]}),
        v4.new_code_cell(UNTOUCHED[3]),
    ]
    return v4.new_notebook(cells=cells, metadata={"author": told, "widgets": {"state": told}})


def put_class(folder, secrets=("0.6543",), lab: str = LAB, roster: str = ROSTER):
    """Lab, roster and workbook in a folder; returns the paths of the first two."""
    (folder / "lab.toml").write_text(lab, encoding="utf-8")
    (folder / "roster.csv").write_text(roster, encoding="utf-8")
    (folder / "small.ipynb").write_text(json.dumps(notebook(list(secrets))), encoding="utf-8")
    return folder / "lab.toml", folder / "roster.csv"


def fill_in(path, answers: dict[str, str]) -> str:
    """The text of a TOML answer sheet with these answers written in."""
    lines = path.read_text(encoding="utf-8").split("\n")
    return "\n".join(f'{name} = "{answers[name]}"' if (name := line.partition(" ")[0]) in answers else line for line in lines)
