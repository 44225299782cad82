"""Captures with a known truth, damaged: what is measured still covers the truth, or is refused or noted in one line."""

import numpy as np
import pytest
from captures import captured, truths

from boostkit.bench import compare, features
from boostkit.bench.capture import read
from boostkit.bench.instrument import read_mapping
from boostkit.bench.steadiness import unbroken
from boostkit.circuit import Converter

NAMES = ("v_switch", "v_out", "i_inductor")
CONVERTER = Converter.of(v_in=6.0, f_sw=150e3, duty=0.6, r_load=30, inductance=47e-6, capacitance=100e-6, r_inductor=0.04, r_switch=0.02,
                         v_rectifier=0.4, r_rectifier=0.02, r_capacitor=0.01)  # fmt: skip
WHOLE, STATE = captured(CONVERTER, NAMES, seed=3, noise=0.003, samples=6000, bits=12)
TRUTH = truths(STATE, NAMES)
A = np.column_stack([WHOLE.time, *(WHOLE.channels[name] for name in NAMES)])
COLUMNS = '[columns]\ntime = "t"\nv_switch = "A"\nv_out = "B"\ni_inductor = "C"\n'
MILLI = A * [1e6, 1e3, 1e3, 1e3]


def mapping(columns: str = COLUMNS, change: tuple[str, str] = ("", "")) -> str:
    """The mapping of the capture, its instrument included, with one text changed."""
    lines = [columns, "[instrument]", "bits = 12", f"time_error = {WHOLE.instrument.time_error}"]
    for name, c in WHOLE.instrument.channels.items():
        lines += [f"[instrument.{name}]", f"range = {c.range!r}", f"offset = {c.offset!r}", f"gain_error = {c.gain_error}",
                  f"probe_error = {c.probe_error}", f"offset_error = {c.offset_error!r}"]  # fmt: skip
    text = "\n".join(lines) + "\n"
    assert change[0] in text
    return text.replace(*change, 1) if change[0] else text


def text(rows, head="t,A,B,C", cell="%.9g", mark=",", decimal="."):
    """Rows as an instrument writes them."""
    return "\n".join([head, *(mark.join(cell % x for x in row).replace(".", decimal) for row in rows)]) + "\n"


def times(**by):
    """The capture with columns t, A, B, C changed by a function each."""
    rows = A.copy()
    for name, change in by.items():
        rows[:, "tABC".index(name)] = change(rows[:, "tABC".index(name)])
    return rows


def rows(change):
    """The lines of the file with one function of (number, line) applied to each row of numbers."""
    return "\n".join([LINES[0], *(change(k, line) for k, line in enumerate(LINES[1:], 1))])


def without(*spans):
    """The rows but for these."""
    keep = np.ones(len(A), dtype=bool)
    for span in spans:
        keep[span] = False
    return A[keep]


def spiked(column, value, seed=1):
    """Sixty samples of a column replaced."""
    found = A.copy()
    found[np.random.default_rng(seed).integers(0, len(A), 60), column] = value
    return found


LINES = text(A).split("\n")[:-1]
LOST = np.random.default_rng(1).random(len(A)) < 0.3
FINE = {  # what may be wrong with a file that holds the waveform nevertheless
    "as it is": text(A), "cut in its last row": text(A)[:-20], "a row cut": rows(lambda k, line: line[:9] if k == 3000 else line),
    "NUL bytes for a row": rows(lambda k, line: "\0" * 50 if k == 3000 else line),
    "NUL in a cell": rows(lambda k, line: line[:3] + "\0" if k == 9 else line),
    "UTF-16": text(A).encode("utf-16"), "byte order mark": "\ufeff" + text(A), "semicolons": text(A, "t;A;B;C", mark=";", decimal=","),
    "tabs": text(A, "t\tA\tB\tC", mark="\t"), "every cell quoted": rows(lambda k, line: ",".join(f'"{c}"' for c in line.split(","))),
    "some cells quoted": rows(lambda k, line: '"' + line.replace(",", '",', 1)), "blanks": text(A, " t , A , B , C ", mark=" , "),
    "a comma at each end": text(A, "t,A,B,C,").replace("\n", ",\n"), "CR": text(A).replace("\n", "\r"),
    "CR CR LF": text(A).replace("\n", "\r\r\n"), "end of file mark": text(A) + "\x1a",
    "statistics below": text(A) + "mean,1,2\nmax,3,4,5\n",
    "a header in the middle": rows(lambda k, line: LINES[0] if k == 3000 else line), "units": text(A, "t,A,B,C\ns,V,V,A"),
    "units of their own": text(MILLI, "t,A,B,C\n(us),(mV),(mV),(mA)"), "before time zero": text(times(t=lambda t: t - 5e-5)),
    "long after": text(times(t=lambda t: t + 1e3), cell="%.17g"), "990 lines before": "x,y\n" * 990 + text(A),
    "a third lost": text(A[~LOST]), "two holes": text(without(slice(1000, 1400), slice(3000, 3900))),
    "holes in six periods": text(without(*(slice(k, k + 60) for k in range(900, 4500, 600)))),
    "second half frozen": text(np.vstack([A[:3000], A[3000:] * [1, 0, 0, 0] + A[2999] * [0, 1, 1, 1]])),
    "much noise": text(A + np.random.default_rng(1).normal(0, 1, A.shape) * [0, 1, 1, 0.3]), "six samples in a period": text(A[::100]),
    "quoted remarks with commas": rows(lambda k, line: line + ',"a, b"').replace("t,A,B,C", "t,A,B,C,remark"),
    "mixed gaps": rows(lambda k, line: ("", ",,,", line.rsplit(",", 1)[0], "nan,nan,nan,nan", "garbage")[k % 5] if k % 97 < 5 else line),
}  # fmt: skip


def measured(tmp_path, content, keys=None):
    """Capture and readings of a file with this content."""
    path = tmp_path / "scope.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    path.with_suffix(".toml").write_text(keys or mapping(), encoding="utf-8")
    capture = read(path)
    return capture, features.measure(capture)


@pytest.mark.parametrize("case", FINE)
def test_what_is_measured_covers_the_truth(tmp_path, case):
    """Every reading is there and within 2.5 standard uncertainties of what made the capture: of 300 some lie beyond two."""
    capture, found = measured(tmp_path, FINE[case])
    assert found.mode in ("continuous", "cannot tell") and set(TRUTH) - set(found.readings) == {"conduction_end"}
    off = {name: (found[name].value.n - truth) / found[name].value.s for name, truth in TRUTH.items() if name in found}
    assert max(map(abs, off.values())) < 2.5, off
    compare.table(found, STATE)
    if case != "six samples in a period":
        assert np.isfinite(compare.overlay(capture, STATE, found).rms("v_out"))


HELD = {  # damage that is said in a note, and the readings that then must not be there
    "current cut off above": (times(C=lambda i: np.minimum(i, np.percentile(i, 80))), "i_inductor", "look cut off"),
    "current cut off below": (times(C=lambda i: np.maximum(i, np.percentile(i, 20))), "i_inductor", "look cut off"),
    "switch voltage cut off": (times(A=lambda v: np.minimum(v, 10)), "v_switch", "look cut off at 10 V"),
    "output voltage cut off": (times(B=lambda v: np.minimum(v, np.percentile(v, 70))), "v_out", "look cut off"),
    "drifting output": (times(B=lambda v: v * np.linspace(1, 1.2, len(v))), "", "v_out is in no steady state: its mean wanders by 2"),
    "drifting current": (times(C=lambda i: i + np.linspace(0, 1, len(i))), "", "i_inductor is in no steady state"),
    "current upside down": (times(C=lambda i: -i), "", "i_inductor: its mean is below zero"),
    "spikes in the current": (spiked(3, 1e3), "", "i_inductor: spikes move its mean and rms"),
    "a steady output": (times(B=lambda v: 0 * v + 18), "", "its ripple is only 0.0 steps"),
    "a hole in each period": (without(*(slice(k, k + 60) for k in range(0, 6000, 291))), "mean", "every period has a hole in it"),
}


@pytest.mark.parametrize("case", HELD)
def test_what_cannot_be_trusted_is_noted(tmp_path, case):
    """A note names the channel and the reason, and readings that would be wrong are left out."""
    content, gone, words = HELD[case]
    _, found = measured(tmp_path, text(content))
    assert [note for note in found.notes if words in note and "\n" not in note], found.notes
    assert not gone or not [name for name in found.readings if gone in name and not name.startswith("v_switch.ripple")]


def thousands(mark):
    """Whole numbers of ns and mV with a mark between thousands."""
    return "\n".join(["t;A;B;C\nns;mV;mV;mA", *(";".join(f"{x:,.0f}".replace(",", mark) for x in row) for row in MILLI * [1e3, 1, 1, 1])])


REFUSED = {  # content, mapping, words
    "commas between and within": (text(A, decimal=","), None, "scope.csv: row 3: has 8 cells, the header 4"),
    "thousands with commas": (thousands(","), None, 'scope.csv: row 91: time = "1,007" has a decimal comma or one between thousands'),
    "thousands with blanks": (thousands(" "), None, "scope.csv: "), "time backwards": (text(A[::-1]), None, "scope.csv: row 3: time ="),
    "time jumps back": (text(np.vstack([A[:3000], A[2000:]])), None, "scope.csv: row 3002: time ="),
    "time still": (text(A * [0, 1, 1, 1]), None, "scope.csv: row 3"),
    "time of too few digits": (text(times(t=lambda t: t + 1.7e9), cell="%.12g"), None, "scope.csv: row 3"),
    "time beyond all units": (text(times(t=lambda t: t * 1e-295)), None, "scope.csv: row 3: time = 1.14e-303 s comes"),
    "time of ages": (text(times(t=lambda t: t * 1e30)), None, "scope.csv: row 3: time ="),
    "all nan": (text(A * [1, np.nan, 1, 1]), None, "scope.csv: no row after"),
    "one row": (text(A[:1]), None, "scope.csv: "), "two rows": (text(A[:2]), None, "scope.csv: v_switch shows 0 openings"),
    "header only": ("t,A,B,C\n", None, "scope.csv: no row after row 1"),
    "no header": (text(A, ""), None, 'scope.csv: no row names the column "t"'),
    "a column missing": (text(A, "t,A,B,X"), None, 'scope.csv: no row names the column "C"'),
    "half a period": (text(A[:290]), None, "scope.csv: v_switch shows"),
    "two periods and a half": (text(A[:1456]), None, "scope.csv: v_switch shows 3 openings"),
    "two samples in a period": (text(A[::300]), None, "scope.csv: v_switch has 2.0 samples in a period"),
    "no edges": (text(times(A=lambda v: 0 * v + 5)), None, "scope.csv: v_switch shows 0"),
    "output for switch voltage": (text(A[:, [0, 2, 1, 3]]), None, "scope.csv: v_switch goes from 14.6 V to 14.7 V"),
    "switch voltage upside down": (text(times(A=lambda v: -v)), None, "scope.csv: v_switch goes from -1"),
    "spikes beyond all": (text(spiked(1, 1e6)), None, "scope.csv: v_switch"),
    "noise beyond all": (text(A + np.random.default_rng(1).normal(0, 6, A.shape) * [0, 1, 1, 1]), None, "scope.csv: v_switch shows"),
    "time bends": (text(times(t=lambda t: t * (1 + 0.2 * np.sin(t * 4e4)))), None, "scope.csv: v_switch: the switching instants stray"),
    "out of range when open": (rows(lambda k, line: f"{A[k - 1, 0]},OL,1,1" if A[k - 1, 1] > 12 else line), None,
     "scope.csv: v_switch shows 0 whole"),
    "values beyond numbers": (text(times(B=lambda v: v * 1e200), cell="%.17g"), None, "scope.csv: holds 0 usable"),
    "units in the cells": (text(A, cell="%.9g V"), None, "scope.csv: no row after"),
    "amperes for a voltage": (text(A, "t,A,B,C\ns,A,V,A"), None, 'scope.csv: column "A": "A" is no unit of v_switch'),
    "volts for time": (text(A), mapping(change=('"t"', '{ column = "t", unit = "V" }')), 'scope.csv: column "t": "V" is no unit of time'),
    "one column for two": (text(A), mapping(change=('"B"', '"A"')), 'scope.toml: columns.v_out = "A" is the column of another quantity'),
    "empty lines as samples": (text(A).replace("\n", "\n\n"), mapping(change=('time = "t"', 'interval = "11.4 ns"')),
     "scope.csv: has 6000 empty lines"),
    "a program": (bytes(range(256)) * 99, None, "scope.csv: no row names"),
    "a bad quote": (text(A).replace("\n", '"\n', 1), None, 'scope.csv: no row names the column "t"'),
    "a minus of typesetting": (text(A).replace("-", "\u2212"), None, "scope.csv: holds 1 usable rows and 5999 others"),
    "no units word": (text(A, "t,A,B,C\nsecond,Volt,Volt,Amp"), None, 'scope.csv: column "A": "Volt" is no unit'),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_measured_is_refused_in_one_line(tmp_path, case):
    """One ValueError of one line that names the file, and the row, column or channel."""
    content, keys, words = REFUSED[case]
    with pytest.raises(ValueError, match=r"\A[^\n]+\Z") as refused:
        measured(tmp_path, content, keys)
    assert str(refused.value).startswith(words)


def test_there_are_more_than_sixty():
    """The captures of this file, none twice."""
    assert len(FINE) + len(HELD) + len(REFUSED) >= 60 and len(SLIPS) >= 30


SLIPS = [  # each key of a mapping wrong once: old, new, key in the message
    ("[columns]", "[[columns]]", "columns"), ('time = "t"', "time = 1.5", "columns.time"), ('time = "t"', "time = -1", "columns.time"),
    ('time = "t"', 'time = { unit = "s" }', "columns.time.column"),
    ('time = "t"', 'time = { column = "t", scale = "x" }', "columns.time.scale"),
    ('time = "t"', "interval = 0", "columns.interval"), ('time = "t"', 'interval = "4 V"', "columns.interval"),
    ('time = "t"', "interval = nan", "columns.interval"),
    ('time = "t"', "interval = { line = 4 }", "columns.interval.line"), ('v_out = "B"', 'v-out = "B"', "columns.v-out"),
    ('"B"', '{ column = "B", scale = nan }', "columns.v_out.scale"),
    ('"B"', '{ column = "B", scale = 0 }', "columns.v_out.scale"), ('"B"', '{ column = "B", skale = 1 }', "columns.v_out.skale"),
    ("bits = 12", "bits = 0", "instrument.bits"),
    ("bits = 12", "bits = true", "instrument.bits"), ("bits = 12", 'bandwidth = "1 V"', "instrument.bandwidth"),
    ("time_error = ", 'time_error = "1 ns" #', "instrument.time_error"),
    ("[instrument]", "[[instrument]]", "instrument"), ("range = ", "range = -1 #", "instrument.v_switch.range"),
    ("range = ", 'range = "5 A" #', "instrument.v_switch.range"),
    ("offset = ", "offset = nan #", "instrument.v_switch.offset"),
    ("gain_error = ", "gain_error = 2 #", "instrument.v_switch.gain_error"),
    ("probe_error = ", 'probe_error = "x" #', "instrument.v_switch.probe_error"),
    ("offset_error = ", "offset_error = -1 #", "instrument.v_switch.offset_error"),
    ("range = ", 'coupling = "GND"\nrange = ', "instrument.v_switch.coupling"),
    ("range = ", "ofset = 1\nrange = ", "instrument.v_switch.ofset"),
    ("[instrument]", '[file]\ndelimiter = "|"\n[instrument]', "file.delimiter"),
    ("[instrument]", '[file]\ndecimal = ";"\n[instrument]', "file.decimal"),
    ("[instrument]", '[file]\nencoding = "x"\n[instrument]', "file.encoding"),
    ("[columns]", "title = 3\n[columns]", "title"), ("[instrument.v_out]", "[instrument.v_ot]", "instrument.v_ot"),
    ('time = "t"\n', "", "columns.time"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key"), SLIPS)
def test_a_mapping_with_a_slip_is_refused_by_its_key(tmp_path, old, new, key):
    """One line with the mapping's name and the full key."""
    path = tmp_path / "scope.toml"
    path.write_text(mapping(change=(old, new)), encoding="utf-8")
    with pytest.raises(ValueError, match=r"\A[^\n]+\Z") as refused:
        read_mapping(path)
    assert str(refused.value).startswith(f"scope.toml: {key} ")


def test_a_comma_that_is_said_to_be_decimal_is_read_so(tmp_path):
    """Where the mapping says which, the doubt is gone: three decimals and whole numbers."""
    whole = text(np.column_stack([np.arange(9), np.arange(9) / 8 + 1]), "t;C", cell="%.4g", mark=";", decimal=",").replace("1;1,125",
     "1;14,125")
    path = tmp_path / "scope.csv"
    path.write_text(whole.replace("1,25\n", "1,250\n").replace("1,5\n", "1,500\n").replace("1,75\n", "1,750\n"))
    keys = '[columns]\ntime = "t"\ni_inductor = "C"\n'
    path.with_suffix(".toml").write_text(keys)
    with pytest.raises(ValueError, match=r"scope.csv: row 3: i_inductor = \"14,125\" has a decimal comma or one between thousands"):
        read(path)
    path.with_suffix(".toml").write_text(keys + '[file]\ndecimal = ","\n')
    assert read(path).channels["i_inductor"][1] == 14.125


def test_no_sample_clear_of_the_edges_is_no_overlay(tmp_path):
    """With six samples in a period each may lie on an edge; the overlay says so and gives no residual of nothing."""
    capture, found = measured(tmp_path, FINE["six samples in a period"])
    with pytest.raises(ValueError, match=r"\Ascope.csv: no sample lies clear of the switching instants, at 5.8 in a period"):
        compare.overlay(capture, STATE, found)


def test_whole_periods_are_those_without_a_hole(tmp_path):
    """Two holes of 4.6 µs and 10.3 µs at a period of 6.67 µs: periods are counted on either side of them, in runs."""
    capture, found = measured(tmp_path, FINE["two holes"])
    runs = unbroken(capture, found.edges)
    assert len(runs) >= 2 and 4 <= np.diff(runs).sum() < found.edges.periods
    assert f"over {np.diff(runs).sum()} whole periods" in found["v_out.mean"].how
