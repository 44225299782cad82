"""Tables of candidate parts: every number arrives in base units, and every fault is named by file, row and column."""

import csv
import io
from dataclasses import fields
from importlib.resources import files

import pytest

from boostkit.parts import tables
from boostkit.parts.kinds import Capacitor, Heat, Inductor, Rectifier, Switch

READERS = {"switches": tables.read_switches, "rectifiers": tables.read_rectifiers, "inductors": tables.read_inductors,
           "capacitors": tables.read_capacitors}
HEAD = "name, voltage limit [V], current limit [A], on resistance [mΩ], rise time [ns], fall time [ns]"
ROW = "mine, 30, 9, 20, 10, 9"


def written(folder, text, name="mine.csv"):
    """A file with this text or these bytes."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def switches(folder, *lines):
    """The switches of a table with these lines."""
    return tables.read_switches(written(folder, "\n".join(lines) + "\n"))


def refusal(folder, *lines, reader=tables.read_switches):
    """The one line with which such a table is refused."""
    with pytest.raises(ValueError) as caught:
        reader(written(folder, "\n".join(lines) + "\n"))
    said = str(caught.value)
    assert said.startswith("mine.csv: ") and said.isprintable() and len(said) < 300 and str(folder) not in said
    return said


# what arrives


def test_a_row_arrives_in_base_units(tmp_path):
    """Prefixes of the header are converted, and what the row leaves out is left out of the part."""
    (part,) = switches(tmp_path, HEAD, ROW)
    assert part == Switch("mine", 30.0, 9.0, 0.02, 10e-9, 9e-9)


@pytest.mark.parametrize("head, cell", [("on resistance [Ω]", "0.02"), ("on resistance [mohm]", "20"), ("on resistance [Ω]", "R02"),
                                        ("on resistance [Ω]", "20 mΩ"), ("on resistance [µΩ]", "2e4"), (" on  resistance[mΩ ]", " 20 ")])
def test_the_unit_may_stand_in_the_header_or_in_the_cell(tmp_path, head, cell):
    """Twenty milliohms, in every way that an engineer may write them, are the same number to the last bit."""
    (part,) = switches(tmp_path, HEAD.replace("on resistance [mΩ]", head), ROW.replace(" 20,", f"{cell},"))
    assert part.on_resistance == 0.02


def test_columns_may_stand_in_any_order_and_be_parted_by_semicolons(tmp_path):
    """A spreadsheet's export: semicolons, a byte order mark, DOS line ends, a remark and empty lines."""
    lines = ("\ufeff# remark, with; both", "", "fall time [ns];name;voltage limit [V];current limit [A];rise time [ns];on resistance [mΩ]",
             '9;"a, quoted";30;9;10;20', ";;;;;", "")  # fmt: skip
    text = "\r\n".join(lines)
    assert tables.read_switches(written(tmp_path, text)) == (Switch("a, quoted", 30.0, 9.0, 0.02, 10e-9, 9e-9),)


def test_a_row_may_be_shorter_than_the_header_only_where_the_part_can_do_without(tmp_path):
    """Missing cells at the end are empty cells."""
    (part,) = switches(tmp_path, f"{HEAD}, gate charge [nC], origin", ROW)
    assert part.gate_charge == 0 and not part.invented
    assert "row 2: fall time is missing" in refusal(tmp_path, HEAD, "mine, 30, 9, 20, 10")


def test_heat_and_origin_arrive(tmp_path):
    """Thermal resistance and limit go into `heat`; `invented` in the column `origin` marks a part as such."""
    (part,) = switches(tmp_path, f"{HEAD}, thermal resistance [K/W], temperature limit [°C], origin", f"{ROW}, 65, 150, invented")
    assert part.heat == Heat(65.0, 150.0) and part.invented


def test_a_diode_and_a_second_switch_share_a_table(tmp_path):
    """Each row has the columns of its kind; a slope may be negative, in mV/K."""
    head = "name, kind, voltage limit [V], current limit [A], resistance [mΩ], forward voltage [mV], forward voltage slope [mV/K]"
    lines = (f"{head}, dead time [ns]", "d, diode, 30, 6, 40, 330, -1.2,", "s, switch, 30, 9, 20, , , 40")
    diode, switch = tables.read_rectifiers(written(tmp_path, "\n".join(lines)))
    assert (diode.kind, diode.forward_voltage, diode.forward_slope) == ("diode", 0.33, -0.0012)
    assert (switch.kind, switch.dead_time, switch.resistance) == ("switch", 40e-9, 0.02)


@pytest.mark.parametrize("name", READERS)
def test_the_shipped_tables_are_what_their_cells_say(name):
    """Against the standard library's own CSV reader: each number times the prefix of its header, worked out here."""
    text = (files("boostkit") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO("\n".join(line for line in text.splitlines() if not line.startswith("#")))))
    found = getattr(tables.illustrative(), name)
    assert [part.name for part in found] == [row["name"] for row in rows] and 6 <= len(rows) <= 10
    factor = {"m": 1e-3, "µ": 1e-6, "n": 1e-9, "p": 1e-12, "k": 1e3}
    columns = {column: field for column, (field, _, _) in tables.COLUMNS[tables.TABLES[name]].items()}
    checked = 0
    for part, row in zip(found, rows, strict=True):
        assert part.invented and part.heat.resistance == float(row["thermal resistance [K/W]"])
        for head, cell in row.items():
            column, _, unit = head.removesuffix("]").partition(" [")
            if column in columns and cell:
                scale = factor.get(unit[0], 1.0) if len(unit) > 1 and unit != "m" else 1.0
                assert getattr(part, columns[column]) == pytest.approx(float(cell) * scale, rel=1e-12)  # rounding of one product
                checked += 1
    assert checked >= 4 * len(rows)


def test_every_field_of_a_part_has_a_column():
    """What a part knows can be given in a table, all but a curve, which is more than a cell holds; a field without a column
    could never be anything but its default."""
    for kind, columns in tables.COLUMNS.items():
        given = {field for field, _, _ in columns.values()} | {word for word, kinds in tables.WORDS.items() if kind in kinds}
        assert given | {"name", "heat", "invented"} == {f.name for f in fields(kind)} - {"saturation"}


@pytest.mark.parametrize("name", READERS)
def test_the_template_is_a_header_that_the_reader_takes(tmp_path, name):
    """A template is refused only because no part follows it."""
    with pytest.raises(ValueError, match="holds a header and no part"):
        READERS[name](written(tmp_path, tables.template(name)))


def test_the_candidates_reach_from_too_weak_to_sixty_volts():
    """Around the tide gauge (18 V, 2.5 A) there is something to choose and something to refuse, and something for 60 V."""
    found = tables.illustrative()
    for parts, kind in ((found.switches, Switch), (found.rectifiers, Rectifier), (found.capacitors, Capacitor)):
        assert all(isinstance(part, kind) for part in parts)
        assert sum(27 <= part.voltage_limit <= 60 for part in parts) >= 3 and max(part.voltage_limit for part in parts) >= 90
        assert min(part.voltage_limit for part in parts) < 27
    assert all(isinstance(part, Inductor) for part in found.inductors)
    assert min(part.saturation_current for part in found.inductors) < 2.5 < max(part.saturation_current for part in found.inductors)


def test_a_folder_holds_whichever_tables_there_are(tmp_path):
    """A kind without a table has no candidates; a folder without any is refused."""
    with pytest.raises(ValueError, match=r"holds none of switches\.csv, rectifiers\.csv"):
        tables.read_folder(tmp_path)
    written(tmp_path, f"{HEAD}\n{ROW}\n", "switches.csv")
    found = tables.read_folder(tmp_path)
    assert [part.name for part in found.switches] == ["mine"] and found.rectifiers == found.inductors == found.capacitors == ()


# what is refused


@pytest.mark.parametrize("head, said", [
    ("on resistence [mΩ]", "row 1: on resistence is not a known key; did you mean on resistance?"),
    ("on resistance", 'row 1: column "on resistance" must say its unit in brackets, as in [Ω]'),
    ("on resistance [mA]", '"mA" is another kind of quantity'),
    ("on resistance [blue]", '"blue" is no unit known here'),
    ("on resistance [mΩ", "must close its bracket"),
    ("rise time [ns]", 'row 1: column "rise time" stands twice'),
])  # fmt: skip
def test_a_column_that_makes_no_sense_is_named(tmp_path, head, said):
    """Unknown (with the nearest known), without unit, with a unit of another kind, twice."""
    assert said in refusal(tmp_path, HEAD.replace("on resistance [mΩ]", head), ROW)


@pytest.mark.parametrize("cell, said", [
    ("abc", 'mine.csv: row 2: on resistance = "abc" must be a number in Ω'),
    ("-20", "mine.csv: row 2: on resistance = -20 mΩ must"),
    ("nan", "mine.csv: row 2: on resistance = "), ("inf", "mine.csv: row 2: on resistance = "),
    ("20 V", "is another kind of quantity"), ("", "mine.csv: row 2: on resistance is missing"),
])  # fmt: skip
def test_a_cell_that_makes_no_sense_is_named_with_its_row(tmp_path, cell, said):
    """File, row, column, value and rule."""
    assert said in refusal(tmp_path, HEAD, ROW.replace(" 20,", f" {cell},"))


def test_the_row_named_is_the_line_of_the_file(tmp_path):
    """Remarks and empty lines count, as an editor counts them."""
    assert "row 5: current limit" in refusal(tmp_path, "# remark", HEAD, ROW, "", "other, 30, 0, 20, 10, 9")


def test_a_decimal_comma_is_refused_with_the_reason(tmp_path):
    """A comma as decimal mark is not guessed at."""
    said = refusal(tmp_path, HEAD.replace(",", ";"), ROW.replace(",", ";").replace(" 20;", ' "20,5";'))
    assert "row 2: on resistance" in said and "decimal point" in said


def test_rows_that_do_not_fit_are_refused(tmp_path):
    """Too many cells, the same name twice, a quote left open, an empty file, a header alone."""
    assert "row 2: has 7 cells, and the header 6" in refusal(tmp_path, HEAD, f"{ROW}, 5")
    assert 'name = "mine" must stand in one row only' in refusal(tmp_path, HEAD, ROW, ROW)
    assert "is no row of a CSV table" in refusal(tmp_path, HEAD, f'"{ROW}')
    assert "is empty" in refusal(tmp_path, "", "")
    assert "holds no header" in refusal(tmp_path, "# nothing")
    assert "holds a header and no part" in refusal(tmp_path, HEAD)


def test_a_rectifier_has_only_what_its_kind_has(tmp_path):
    """A dead time for a diode and a forward voltage for a second switch are refused."""
    head = "name, kind, voltage limit [V], current limit [A], resistance [mΩ], forward voltage [mV], dead time [ns]"
    diode = refusal(tmp_path, head, "d, diode, 30, 6, 40, 330, 50", reader=tables.read_rectifiers)
    switch = refusal(tmp_path, head, "s, switch, 30, 6, 40, 330, 50", reader=tables.read_rectifiers)
    assert "row 2: dead time" in diode and "row 2: forward voltage" in switch
    assert 'row 2: kind = "triode" must be one of diode, switch' in refusal(
        tmp_path, head, "s, triode, 30, 6, 40, 330, 50", reader=tables.read_rectifiers)


def test_a_file_that_is_no_text_is_refused(tmp_path):
    """No such file, and bytes that are no UTF-8."""
    with pytest.raises(ValueError, match=r"absent\.csv: cannot be read"):
        tables.read_switches(tmp_path / "absent.csv")
    with pytest.raises(ValueError, match=r"mine\.csv: line 1: is not UTF-8 text"):
        tables.read_switches(written(tmp_path, HEAD.encode("latin-1", "replace") + b"\xff"))
