"""Captured waveforms out of files as instruments write them, broken and hostile ones included."""

import tracemalloc

import numpy as np
import pytest

from boostkit.bench import capture, example
from boostkit.bench.capture import read
from boostkit.bench.instrument import Column, Mapping, read_mapping
from boostkit.bench.meters import read_readings

N = 300
TIME = np.arange(N) * 4e-9
VOLTS, AMPS = np.round(18 + 0.02 * np.sin(TIME * 1e6), 4), np.round(1 + 0.3 * np.cos(TIME * 1e6), 4)
KEYS = """
[columns]
time = "TIME"
v_out = { column = "CH1", unit = "V", scale = 10 }
i_inductor = "CH2"
"""
BY_INTERVAL = KEYS.replace('time = "TIME"', 'interval = { line = "Time per row" }')


def rows(delimiter=",", decimal=".", time=True, end="\n", scale=1.0):
    """The rows of the waveform, as text."""
    def line(k):
        cells = ([f"{TIME[k] * scale:.6e}"] if time else []) + [f"{VOLTS[k] / 10:.5f}", f"{AMPS[k]:.4f}"]
        return delimiter.join(cells).replace(".", decimal)

    return end.join(line(k) for k in range(N)) + end


def written(folder, text, keys=KEYS, name="scope"):
    """A capture and its mapping in a folder; the path of the capture."""
    path = folder / f"{name}.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    if keys:
        path.with_suffix(".toml").write_text(keys, encoding="utf-8")
    return path


def refusal(call):
    """The one line with which a call is refused."""
    with pytest.raises(ValueError) as caught:
        call()
    said = str(caught.value)
    assert said.isprintable() and len(said) < 400 and "/" not in said.split(":")[0]
    return said


HEAD = "Model,none\nFirmware,1.2\nTime per row,4.0e-09,s\n\nTIME,CH1,CH2\n"
SEMI = HEAD.replace(",", ";")
FORMS = {
    "comma": (HEAD + rows(), KEYS),
    "units below the header": (HEAD + "s,V,A\n" + rows(), KEYS),
    "semicolon, decimal comma": (SEMI + rows(";", ","), KEYS),
    "tab, decimal comma": (HEAD.replace(",", "\t") + rows("\t", ","), KEYS),
    "tab, decimal point": (HEAD.replace(",", "\t") + rows("\t"), KEYS),
    "quoted decimal commas": (HEAD + "\n".join(",".join(f'"{c}"' for c in r.split(";")) for r in rows(";", ",").split("\n")[:-1]), KEYS),
    "byte order mark": (b"\xef\xbb\xbf" + ("TIME,CH1,CH2\n" + rows()).encode(), KEYS),
    "UTF-16": (("\ufeff" + HEAD + rows()).encode("utf-16-le"), KEYS),
    "UTF-16, big end first": (("\ufeff" + HEAD + rows()).encode("utf-16-be"), KEYS),
    "old Windows encoding": (("Temperature,23 °C\nLead,30 µV\n" + HEAD + rows()).encode("cp1252"), KEYS),
    "CR and LF": ((HEAD + rows()).replace("\n", "\r\n"), KEYS),
    "CR alone": ((HEAD + rows()).replace("\n", "\r"), KEYS),
    "delimiter at the end of each row": (HEAD.replace("CH2\n", "CH2,\n") + rows(end=",\n"), KEYS),
    "blank lines and NUL bytes at the end": (HEAD + rows() + "\n\n\0\0\0\0\0\n\0\0", KEYS),
    "no end of the last line": (HEAD + rows().rstrip("\n"), KEYS),
    "unused columns": ("N,TIME,word,CH1,CH2\n" + "\n".join(f"{k},{a},ok,{b},{c}" for k, (a, b, c) in
                       enumerate(r.split(",") for r in rows().split("\n")[:-1])), KEYS),
    "time in µs by its row of units": ("TIME,CH1,CH2\nµs,V,A\n" + rows(scale=1e6), KEYS),
    "time in ns by its title": ("t (ns),CH1,CH2\n" + rows(scale=1e9), KEYS.replace("TIME", "t (ns)")),
    "time in ms by the mapping": ("TIME,CH1,CH2\n" + rows(scale=1e3), KEYS.replace('"TIME"', '{ column = "TIME", unit = "ms" }')),
    "interval in a line above": (HEAD.replace("TIME,", "") + rows(time=False), BY_INTERVAL),
    "interval with its prefix": ("Time per row: 4 ns\nCH1,CH2\n" + rows(time=False), BY_INTERVAL),
    "interval with a decimal comma": ("Time per row;4,0E-9\nCH1;CH2\n" + rows(";", ",", time=False), BY_INTERVAL),
    "interval in the mapping": ("CH1,CH2\n" + rows(time=False), KEYS.replace('time = "TIME"', 'interval = "4 ns"')),
    "columns by number, no header": (rows(), '[columns]\ntime = 1\nv_out = { column = 2, scale = 10 }\ni_inductor = 3\n'),
    "columns by number, some lines first": (
        "a,b\nc,1\n" + rows(), '[columns]\ntime = 1\nv_out = { column = 2, scale = 10 }\ni_inductor = 3\n'),
    "the kit's own names": ("time,v_out,i_inductor\n" + "\n".join(f"{t!r},{v!r},{i!r}" for t, v, i in
                            zip(TIME.tolist(), VOLTS.tolist(), AMPS.tolist(), strict=True)), None),
}  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
def test_every_way_to_write_it_reads_the_same(tmp_path, form):
    """One waveform in many forms: the same numbers, in SI units, and nothing left out."""
    found = read(written(tmp_path, *FORMS[form]))
    assert found.time == pytest.approx(TIME, abs=1e-15)              # the file prints seven digits
    assert found.channels["v_out"] == pytest.approx(VOLTS, abs=1e-12) and found.channels["i_inductor"] == pytest.approx(AMPS, abs=1e-12)
    assert found.gaps == () and found.notes == () and found.units == {"v_out": "V", "i_inductor": "A"}
    assert found.interval == pytest.approx(4e-9, rel=1e-9)


@pytest.mark.parametrize("piece", [80, 1000, 4096])
def test_pieces_leave_no_seam(tmp_path, monkeypatch, piece):
    """Read in small pieces, a file with trouble in it gives the same numbers, the same gaps and the same rows as in one."""
    lines = (SEMI + rows(";", ",").replace("1,8", ";;;", 1)).split("\n")
    lines[200] = "OL;OL;OL"
    path = written(tmp_path, "\r\n".join(lines))
    whole = read(path)
    monkeypatch.setattr(capture, "PIECE", max(piece, len("\n".join(lines[:9]))))
    parts = read(path)
    assert parts.gaps == whole.gaps and len(whole.gaps) == 2 and parts.overflowed == whole.overflowed
    assert np.array_equal(parts.time, whole.time) and np.array_equal(parts.channels["v_out"], whole.channels["v_out"])


GAPS = {  # what stands in row 100: the reason given
    "4.0e-7,,1.0": "v_out is missing", "4.0e-7,1.8": "i_inductor is missing", "4.0e-7,nan,1.0": "v_out is missing",
    "4.0e-7,OL,1.0": "v_out is beyond the instrument's range", "4.0e-7,****,1.0": "v_out is beyond the instrument's range",
    "4.0e-7,9.9E+37,1.0": "v_out is beyond the instrument's range", "4.0e-7,9.91E+37,1.0": "v_out is missing",
    "4.0e-7,-inf,1.0": "v_out is beyond the instrument's range", "4.0e-7,one,1.0": 'v_out = "one" is no number',
    "4.0e-7,1_8,1.0": 'v_out = "1_8" is no number', "4.0e-7,0x12,1.0": 'v_out = "0x12" is no number',
    "4.0e-7,1.8,1.0,7": "has 4 cells, most rows 3", "4.0e-7,1.\x008,1.0": "holds bytes that are no text", "": "is empty",
    "4.0e-7,1.8 1.8,1.0": 'v_out = "1.8 1.8" is no number', "OL,OL,OL": "time is beyond the instrument's range",
}  # fmt: skip


@pytest.mark.parametrize("line", GAPS)
@pytest.mark.parametrize("row", [6, 100, 305])
def test_what_cannot_be_used_is_left_out_and_named(tmp_path, line, row):
    """A row without its numbers, first, last or between, is left out with row and reason; the others keep their times."""
    lines = (HEAD + rows()).split("\n")
    lines[row - 1] = line
    found = read(written(tmp_path, "\n".join(lines)))
    kept = np.delete(np.arange(N), row - 6)
    assert found.gaps == (((row, GAPS[line]),) if line or row == 100 else ())         # an empty line at either end is no row
    assert found.time == pytest.approx(TIME[kept], abs=1e-15) and found.channels["v_out"] == pytest.approx(VOLTS[kept], abs=1e-12)
    assert ("v_out" in found.overflowed) == ("range" in GAPS[line])


def test_a_lost_sample_does_not_shift_the_rest(tmp_path):
    """Where time follows from the interval, a missing cell still takes its time; where time has a column, a jump is named."""
    lines = (HEAD.replace("TIME,", "") + rows(time=False)).split("\n")
    lines[99] = ","
    found = read(written(tmp_path, "\n".join(lines), BY_INTERVAL))
    assert found.time == pytest.approx(np.delete(TIME, 94), abs=1e-15)
    lines = (HEAD + rows()).split("\n")
    del lines[99]
    assert read(written(tmp_path, "\n".join(lines))).gaps == ((100, "comes 8 ns after the row above"),)


REFUSED = {
    "empty": ("", KEYS, "scope.csv: no row names the column \"TIME\""),
    "a word processor's file": ("PK\x03\x04 not a table", KEYS, "scope.csv: no row names the column"),
    "a column missing": (HEAD.replace("CH2", "CH3") + rows(), KEYS, 'scope.csv: no row names the column "CH2" beside "TIME"; scope.toml'),
    "a column twice": (HEAD.replace("CH2", "CH2,CH2") + rows(), KEYS, 'scope.csv: row 5: the column "CH2" stands twice'),
    "header only": (HEAD, KEYS, "scope.csv: no row after row 5 holds a number in each of time, v_out, i_inductor"),
    "one row": (HEAD + "0,1,1\n", KEYS, "scope.csv: holds 1 usable rows"),
    "mostly broken": (HEAD + "0,1,1\n1,1,1\n" + "2,x,1\n" * 9, KEYS, 'scope.csv: holds 2 usable rows and 9 others: row 8 v_out = "x"'),
    "time stands still": (HEAD + "0,1,1\n1e-6,1,1\n1e-6,1,1\n", KEYS, "scope.csv: row 8: time = 1 µs must be later"),
    "time runs back": (HEAD + rows() + rows(), KEYS, f"scope.csv: row {N + 6}: time = 0 s must be later"),
    "no interval": ("CH1,CH2\n" + rows(time=False), BY_INTERVAL, 'scope.csv: no line before the numbers starts with "Time per row"'),
    "interval of zero": ("Time per row,0\nCH1,CH2\n" + rows(time=False), BY_INTERVAL, "scope.csv: no line before the numbers"),
    "interval in volts": ("Time per row,4 V\nCH1,CH2\n" + rows(time=False), BY_INTERVAL, "scope.csv: row 1: Time per row"),
    "an unknown unit": ("TIME,CH1,CH2\ns,furlongs,A\n" + rows(), KEYS.replace(', unit = "V"', ""), 'scope.csv: column "CH1": "furlongs"'),
    "no mapping": (HEAD + rows(), None, "scope.csv: no row names the columns time and one of v_out"),
    "thousands separators": (SEMI + rows(";", ",").replace("1,8", "1.801,8"), KEYS, "scope.csv: "),
    "one endless line": (b"TIME,CH1,CH2\n0,1,1\n" + b"1" * 9_000_000, KEYS, "scope.csv: has a line of more than 4 million"),
    "a mapping of nothing": (HEAD + rows(), "[columns]\ntime = 1\n", "scope.toml: columns holds no quantity"),
    "two kinds of time": (HEAD + rows(), KEYS + "interval = 1\n", "scope.toml: columns.time = given twice"),
    "no kind of time": (HEAD + rows(), '[columns]\nv_out = "CH1"\n', "scope.toml: columns.time = missing"),
    "a scale of zero": (HEAD + rows(), KEYS.replace("10", "0"), "scope.toml: columns.v_out.scale = 0 must not be zero"),
    "an unknown key": (HEAD + rows(), KEYS.replace("scale", "skale"), "scope.toml: columns.v_out.skale is not a known key; did you"),
    "a column by a broken number": (HEAD + rows(), KEYS.replace('"CH2"', "0"), "scope.toml: columns.i_inductor = 0 must lie in"),
    "a channel not mapped": (HEAD + rows(), KEYS + "[instrument.v_ut]\nrange = 1\n", "scope.toml: instrument.v_ut is not a known key"),
    "half a bit": (HEAD + rows(), KEYS + "[instrument]\nbits = 7.5\n", "scope.toml: instrument.bits = 7.5 must be a whole number"),
    "a broken mapping": (HEAD + rows(), "[columns\n", "scope.toml: line 1:"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_a_useless_file_is_refused_in_one_line(tmp_path, case):
    """What cannot be read says so in one line with file, and row, column or key."""
    text, keys, said = REFUSED[case]
    assert refusal(lambda: read(written(tmp_path, text, keys))).startswith(said)


def test_what_is_no_file_is_refused(tmp_path):
    """A folder and a missing file are named."""
    (tmp_path / "folder.csv").mkdir()
    assert refusal(lambda: read(tmp_path / "folder.csv")) == "folder.csv: is a folder"
    assert refusal(lambda: read(tmp_path / "none.csv")).startswith("none.csv: cannot be read: no such file")


def test_broken_bytes_never_do_worse_than_a_refusal(tmp_path):
    """Sixty captures with bytes changed, cut out and put in: each is read or refused in one line, and what is read is finite."""
    whole, rng, refused = (HEAD + rows()).encode(), np.random.default_rng(5), 0
    for k in range(60):
        raw = bytearray(whole)
        for at in rng.integers(0, len(raw), 1 + 4 * k):
            raw[at] = rng.integers(0, 256)
        cut, length = int(rng.integers(0, len(raw))), int(rng.integers(0, 3000))
        raw[cut : cut + length] = rng.bytes(int(rng.integers(0, 200)))
        path = written(tmp_path, bytes(raw), name=f"broken{k}")
        try:
            found = read(path)
        except ValueError as trouble:
            assert str(trouble).startswith(f"broken{k}.csv: ") and str(trouble).isprintable()
            refused += 1
        else:
            assert all(np.isfinite(v).all() and len(v) == len(found.time) for v in found.channels.values())
            assert (np.diff(found.time) > 0).all() and all(row > 0 and reason for row, reason in found.gaps)
    assert 5 < refused < 60                  # some of each, or the sixty are no test


def test_memory_stays_near_that_of_the_numbers(tmp_path):
    """A file of 200 000 rows takes little more than twice its numbers and one piece of text."""
    steps = "\n".join(f"{k}.5,1.8,{k % 7}.25" for k in range(200_000))
    path = written(tmp_path, "TIME,CH1,CH2\n" + steps)
    read(path)                               # so that what is loaded once does not count
    tracemalloc.start()
    try:
        found = read(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    numbers = 200_000 * 8 * 4                # three columns and the row numbers
    assert len(found.time) == 200_000
    assert peak < 3 * numbers + 12 * capture.PIECE        # a piece of text lives as lines too, about ten times its size


def test_the_example_is_made_again_to_the_byte():
    """The shipped capture, its mapping and its meter readings come out of `example` as they are, say that they are invented,
    and are small."""
    home = capture.Path(example.__file__).parent.parent / "data"
    for name, text in example.texts().items():
        assert (home / name).read_bytes() == text.encode() and "Invented" in text.split("\n")[0]
    assert (home / "tide_gauge_capture.csv").stat().st_size < 400_000


def test_the_example_is_read_whole():
    """All its samples but the two that are lost, in SI units and within the range of its instrument."""
    home = capture.Path(example.__file__).parent.parent / "data"
    found = read(home / "tide_gauge_capture.csv")
    assert len(found.time) == example.ROWS - 2 and [reason for _, reason in found.gaps] == ["v_out is missing", "i_inductor is missing"]
    assert found.interval == pytest.approx(5e-9) and 17 < found.channels["v_out"].mean() < 19
    assert found.instrument.step("v_out") == pytest.approx(1e-3) and found.instrument.channel("i_inductor").offset_error == 0.01


def test_a_mapping_says_what_each_channel_may_be_off_by(tmp_path):
    """Limits given for the instrument hold for each channel, unless that has its own."""
    path = tmp_path / "scope.toml"
    path.write_text(KEYS + '[instrument]\nbits = 8\ngain_error = "1.5 %"\n[instrument.v_out]\nrange = "25.6 V"\ngain_error = 0.02\n')
    found = read_mapping(path)
    assert found.columns["v_out"] == Column("CH1", "V", 10.0) and found.time == Column("TIME")
    assert found.instrument.step("v_out") == pytest.approx(0.1) and found.instrument.step("i_inductor") is None
    assert [found.instrument.channel(name).gain_error for name in ("v_out", "i_inductor")] == [0.02, 0.015]
    assert read(written(tmp_path, HEAD + rows(), None), Mapping({"v_out": Column("CH1")}, Column("TIME"))).channels["v_out"][0] < 2


def test_meter_readings_carry_their_makers_limits(tmp_path):
    """0.5 % of reading and 2 digits of 10 mV, on a display of that step: each a limit over the square root of three."""
    path = tmp_path / "readings.toml"
    meter = 'of_reading = "0.5 %"\ndigits = 2\nlast_place = "10 mV"\n'
    path.write_text(f'[v_out]\nreading = "18.04 V"\n{meter}[i_in]\nreading = [1.1, 1.2, 1.3]\n')
    found = read_readings(path)
    assert found["v_out"].n == 18.04
    assert found["v_out"].s == pytest.approx(np.sqrt((0.0902**2 + 0.02**2 + 0.005**2) / 3))
    assert found["i_in"].n == pytest.approx(1.2) and found["i_in"].s == pytest.approx(0.1 / np.sqrt(3))
    assert "p_out was not read; there are v_out, i_in" in refusal(lambda: found["p_out"])


@pytest.mark.parametrize("text, said", [
    ("", "readings.toml: is empty"), ('title = "none"\n', "readings.toml: holds no reading"),
    ("[power]\nreading = 1\n", "readings.toml: power = a table must be called v_"),
    ("[v_in]\nreading = 6\ndigits = 2\n", "readings.toml: v_in.digits = 2 needs last_place"),
    ("[v_in]\nreading = [6]\n", "readings.toml: v_in.reading = [6] must be one reading or a list"),
    ('[v_in]\nreading = [6, "7 A"]\n', "readings.toml: v_in.reading ="),
    ("[v_in]\nof_reading = 0.1\n", "readings.toml: v_in.reading is missing"),
    ("[v_in]\nreading = 6\nof_reeding = 0.1\n", "readings.toml: v_in.of_reeding is not a known key; did you mean of_reading"),
])  # fmt: skip
def test_useless_readings_are_refused(tmp_path, text, said):
    """Readings that cannot be used are refused by file and key."""
    path = tmp_path / "readings.toml"
    path.write_text(text)
    assert refusal(lambda: read_readings(path)).startswith(said)
