"""The lab sheets: that every number on them is the learner's circuit's, that none tells an answer, and that what they say holds."""

import re
from functools import cache

import numpy as np
import pytest
from classes import LAB, put_class
from scipy.optimize import brentq

from boostkit.circuit import switched
from boostkit.classroom import labsheet, on_paper, session
from boostkit.classroom.copies import given_away, told_numbers
from boostkit.classroom.lab_file import read_lab
from boostkit.classroom.numbers import settled
from boostkit.classroom.quantities import NAMES
from boostkit.classroom.ratings import RATINGS, STOPS_AT, filled
from boostkit.classroom.tasks import expected, reading
from boostkit.classroom.variants import variants
from boostkit.units import read

READY = ("03", "05", "06", "07", "11")
CLASS = [f"t{n:02d}" for n in range(1, 31)]
SHEET = '''
check = ["Load {r_load} is screwed on."]
cautions = ["The output stands at {v_out}."]
drawing = """
 P ── coil ── N
"""
'''
MEASURE = '[[measure]]\nwhat = "Output"\nhow = "Voltmeter from Q to S."\nexpect = "output_voltage"\ntolerance = "2 %"\n'
KIT = '[[kit]]\npart = "Load"\nvalue = "{r_load}, {load_watts}"\n'
BEFORE_POINT = 'scenario = "tide_gauge.toml"\n'


@cache
def learners(name):
    """Thirty learners of a ready lab."""
    return tuple(variants(read_lab(name), CLASS, 2026).values())


def rating(one, name):
    """A number of the lab sheet in base units."""
    return RATINGS[name][1](one.letters, one.state)


def changed(one, **letters):
    """The learner's circuit with another part, brought back to its output."""
    return settled(one.state.converter.change(**letters), one.letters["v_out"])


def small(tmp_path, sheet=SHEET, tail=KIT + MEASURE):
    """The small lab of the tests with something on its lab sheet."""
    text = LAB.replace(BEFORE_POINT, BEFORE_POINT + sheet) + tail
    return put_class(tmp_path, lab=text, roster="key,name\nt01,Learner Number 1\nt02,Learner Number 2\n")


# what each sheet must say

SAYS = {  # words that a sheet may not do without, by lab; what they are about stands beside them
    "all": ("eye protection", "current limit", "floating", "60 v dc", "iec 61140", "clip at s", "minus stripe", "below 1 v",
            "beyond a duty of 0.8"),
    "03": ("current probe", "shunt", "differential", "upside down", "demagnetise"),
    "05": ("current probe", "shunt", "no decade box", "zero line"),
    "06": ("ground spring", "bandwidth limit 20 mhz", "ac coupling", "pick-up", "100 khz"),
    "07": ("in series with each other", "legs", "uncertainty", "halve"),
    "11": ("never open the feedback", "soldered", "transformer", "over-voltage stop", "second supply", "clips at s", "bandwidth limit"),
}  # fmt: skip


@pytest.mark.parametrize("name", READY)
def test_a_sheet_is_whole(name):
    """Parts with what may stand in, checks, cautions, measurements; the words that each cannot do without."""
    lab = read_lab(name)
    assert len(lab.kit) >= 8 and all(part.substitute for part in lab.kit) and len(lab.check) >= 6
    assert len(lab.cautions) >= 7 and len(lab.measure) >= 4 and lab.drawing
    sheet = labsheet.text(learners(name)[0]).lower().replace("\u00a0", " ")
    assert not [word for word in (*SAYS["all"], *SAYS[name]) if word not in sheet]
    assert all(task.quantity in {each.expect for each in lab.measure} for task in lab.tasks if task.measured)
    assert "{" not in sheet and "none" not in sheet


@pytest.mark.parametrize("name", READY)
def test_markdown_and_page_say_the_same(name):
    """Every sentence of the lab stands in both, with the learner's numbers in."""
    one = learners(name)[0]
    lab = one.lab
    page = [text for block in labsheet.page(one).blocks for text in texts(block)]
    sheet = labsheet.text(one)
    sentences = [*lab.cautions, *lab.check, *(each.how for each in lab.measure), *(each.caution for each in lab.measure if each.caution),
                 *(each.value for each in lab.kit), *(each.substitute for each in lab.kit)]  # fmt: skip
    for sentence in sentences:
        said = filled(sentence, one.letters, one.state)
        assert said in page or on_paper.plain(said) in page
        assert on_paper.plain(said) in sheet


def texts(block):
    """The texts of a block, cells too."""
    for value in vars(block).values():
        for inner in value if isinstance(value, tuple) else (value,):
            yield from inner if isinstance(inner, tuple) else (inner,) if isinstance(inner, str) else ()


# expected values


@pytest.mark.parametrize("name", READY)
def test_no_sheet_tells_an_answer(name):
    """Thirty learners: no answer's four digits on the sheet, and no printed reading that would pass for an answer."""
    for one in learners(name):
        answers = expected(one).values()
        told = told_numbers({"cells": [{"source": labsheet.text(one)}], "metadata": {}})
        assert given_away(told, answers) == []
        for measure in one.lab.measure:
            if measure.expect in NAMES and labsheet.asking(measure, one.lab) is None:
                value = reading(one, measure.expect)
                close = [each.id for each in answers if each.unit == labsheet._expected(measure, one)[1]
                         and abs(value / each.value - 1) <= each.tolerance]
                assert close == [], (measure.what, close)


@pytest.mark.parametrize("name", READY)
def test_what_is_asked_stands_in_the_teachers_key_only(name):
    """The row of a value that a task asks for holds no number with a unit; the key has it with its range."""
    one = learners(name)[3]
    rows = [block.rows[0][0] for block in labsheet.page(one).blocks if getattr(block, "head", ("",))[0] == "Expected"]
    assert len(rows) == len(one.lab.measure)
    key = labsheet.key_text(one).split("\n- ")[1:]
    for measure, row in zip(one.lab.measure, rows, strict=True):
        asked = labsheet.asking(measure, one.lab)
        assert ("within" in row) == bool(measure.expect and not asked)
        if asked:
            number = int(re.search(r"question (\d+)", row.lower())[1])
            assert one.lab.tasks[number - 1] is asked and asked.measured == ("write it there" in row)
        if measure.expect:
            assert any(line.startswith(f"{measure.what}: ") for line in key)


@pytest.mark.parametrize("name", READY)
def test_the_printed_key_tells_what_the_written_one_tells(name):
    """The page holds every row of the bench that the Markdown holds, under a heading that an empty line sets apart."""
    one = learners(name)[3]
    written = labsheet.key_text(one)
    assert written.startswith("\n## At the bench\n")
    page = on_paper.key_page(one, (), labsheet.key_blocks(one))
    rows = next(block.rows for block in page.blocks if getattr(block, "head", ("",))[0] == "Measured")
    assert [f"- {what}: {told}" for what, told in rows] == [line for line in written.splitlines() if line[:2] == "- "]
    assert not any("\\" in told for _, told in rows)


@pytest.mark.parametrize("name", READY)
def test_the_printed_sheets_give_the_numbers_of_the_written_one(name):
    """As many letters, in the same order and with the same meanings: none that no task of this lab needs."""
    one = learners(name)[2]
    for page in (on_paper.sheet_page(one), on_paper.key_page(one, ())):
        rows = next(block.rows for block in page.blocks if getattr(block, "head", ("",))[0] == "Letter")
        assert [f"{shown} ({meaning})" for _, shown, meaning in rows] == [line.split(" = ")[1] for line in one.told()]


@pytest.mark.parametrize("name", READY)
def test_a_range_is_the_value_with_its_tolerance(name):
    """As printed, to three digits: `1.88 A, within 5 %: 1.79 A to 1.97 A`."""
    one = learners(name)[0]
    lines = {line.partition(": ")[0]: line.partition(": ")[2] for line in labsheet.key_text(one).split("\n- ")[1:]}
    for measure in one.lab.measure:
        if measure.expect:
            value, unit = labsheet._expected(measure, one)
            printed, tolerance, low, high = re.fullmatch(r"(.+), within (.+ %): (.+) to (.+)", lines[measure.what].strip()).groups()
            assert read(tolerance, "") == measure.tolerance
            for text, factor in ((printed, 1), (low, 1 - measure.tolerance), (high, 1 + measure.tolerance)):
                assert read(text, unit) == pytest.approx(factor * value, rel=5e-3)  # three digits


def test_expected_readings_by_hand():
    """Charge balance: what the source gives is the load current over the share in which the switch is open (lab 03 and 06)."""
    for name in ("03", "06"):
        for one in learners(name)[:5]:
            by_hand = one.letters["i_out"] / (1 - reading(one, "duty"))
            # the slopes are not quite straight, and the output's ripple moves the rectifier's mean: a few per mille
            assert reading(one, "source_current") == pytest.approx(by_hand, rel=5e-3)


def test_ringing_by_an_averaged_circuit():
    """The eigenvalue of the averaged circuit, written out here (state-space averaging, a textbook method), turns at the same rate."""
    for one in learners("11")[:5]:
        n, duty = one.letters, one.state.duty
        off, load = 1 - duty, n["v_out"] / n["i_out"]
        share = load / (load + n["r_capacitor"])
        path = n["r_inductor"] + duty * n["r_switch"] + off * n["r_rectifier"] + off * share * n["r_capacitor"]
        matrix = np.array([[-path / n["inductance"], -off * share / n["inductance"]],
                           [off * share / n["capacitance"], -share / load / n["capacitance"]]])  # fmt: skip
        swing = abs(np.linalg.eigvals(matrix)[0].imag) / (2 * np.pi)
        assert reading(one, "ringing") == pytest.approx(swing, rel=0.01)  # an average over a period leaves terms of f/f_sw out
        assert reading(one, "ringing") < expected(one)["resonance"].value
    assert reading(learners("05")[0], "ringing") == 0  # in discontinuous conduction nothing rings


# ratings, on the exact circuit


@pytest.mark.parametrize("name", READY)
def test_ratings_leave_room(name):
    """Each part stands what the exact circuit asks of it, with the margin that the sheet is made with."""
    for one in learners(name):
        v_out, i_out, state = one.letters["v_out"], one.letters["i_out"], one.state
        clamp = rating(one, "clamp")
        assert state.output_voltage.max < STOPS_AT * v_out < 0.95 * clamp  # a Zener diode of 5 %
        assert rating(one, "capacitor_volts") > 1.05 * clamp and rating(one, "blocked_volts") >= 2 * clamp
        assert rating(one, "load_watts") >= 2 * v_out * i_out
        assert rating(one, "saturation") >= 1.3 * state.inductor_current.max
        assert state.duty < 0.8
        if name != "05":  # there the limit is 0.5 A from start to end
            assert rating(one, "current_limit") >= 1.3 * state.source_current.mean
        assert v_out / rating(one, "r_load") == pytest.approx(i_out, rel=1e-12)
        assert one.letters["v_in"] / rating(one, "r_load") < 0.5  # the first power-up does not sit in the limit of 0.5 A


@pytest.mark.parametrize(("name", "least", "most"), [("03", 1.2, 2.5), ("05", 0.3, 0.8), ("06", 1.2, 2.5), ("07", 1.2, 2.5),
                                                     ("11", 1.0, 2.5)])  # fmt: skip
def test_the_clamp_stands_a_lost_load(name, least, most):
    """Without its load and at the duty set, the converter gives the Zener diode less than half of its 5 W: about what the sheet says."""
    for one in learners(name)[::6]:
        converter, clamp = one.state.converter, rating(one, "clamp")

        def above(load, converter=converter, clamp=clamp):
            return switched.steady_state(converter.change(r_load=load)).output_voltage.mean - clamp

        load = brentq(above, converter.load.resistance, 1e4)
        assert least < clamp**2 / load < most


def test_the_border_can_be_reached_within_the_limit():
    """Lab 05: at the border the source gives less than 0.5 A, and the load is no less than the fixed 100 Ω in series."""
    for one in learners("05"):
        border = expected(one)["border_current"].value
        assert one.letters["v_out"] * border / one.letters["v_in"] / 0.95 < 0.5  # with 5 % of loss
        assert one.letters["v_out"] / border > 100 and rating(one, "r_load") < 1100


def test_the_regulator_can_start_within_the_limit():
    """Lab 11: with the base load, at the largest duty of 0.8, the limited source carries the output beyond what is set."""
    for one in learners("11"):
        n = one.letters
        assert rating(one, "current_limit") * (1 - 0.8) * rating(one, "r_base") > 1.2 * n["v_out"]
        both = 1 / (1 / rating(one, "r_base") + 1 / rating(one, "r_step"))
        assert both == pytest.approx(rating(one, "r_load"), rel=1e-12)
        assert rating(one, "r_load") / rating(one, "r_small") == pytest.approx(0.1, rel=0.15)  # a step of E12 is 20 %


# what the sheets say of other parts


def test_a_shunt_changes_little():
    """50 mΩ in the path of the coil: up to 2 %; 0.1 Ω at the light load: less than one per cent."""
    for name, shunt, most in (("03", 0.05, 0.025), ("06", 0.05, 0.025), ("05", 0.1, 0.01)):
        for one in learners(name)[::5]:
            other = changed(one, r_inductor=one.letters["r_inductor"] + shunt)
            for quantity in ("duty", "ripple_current", "peak_current"):
                assert abs(_read(other, quantity) / _read(one.state, quantity) - 1) < most


def _read(state, quantity):
    return {"duty": state.duty, "ripple_current": state.ripple_current, "peak_current": state.inductor_current.max}[quantity]


def test_another_coil():
    """68 µH: in continuous conduction 0.69 of the ripple at the same duty; dry, a fifth more duty and a sixth less current."""
    one = learners("03")[0]
    other = changed(one, inductance=68e-6)
    assert other.ripple_current / one.state.ripple_current == pytest.approx(47 / 68, rel=0.01)
    assert other.duty == pytest.approx(one.state.duty, rel=1e-3)
    one = learners("05")[0]
    other = changed(one, inductance=68e-6)
    assert other.duty / one.state.duty == pytest.approx(1.2, abs=0.02)
    assert other.inductor_current.max / one.state.inductor_current.max == pytest.approx(5 / 6, abs=0.02)


def test_another_rectifier_switch_and_capacitor():
    """Silicon: 1 % to 2 % more duty, 2 % more source current. 20 mΩ of switch: half a per cent. A wet capacitor: ten times the ripple."""
    for one in (*learners("03")[::10], *learners("06")[::10], *learners("07")[::10], *learners("11")[::10]):
        other = changed(one, v_rectifier=0.8)
        assert 1.005 < other.duty / one.state.duty < 1.02
        assert 1.015 < other.source_current.mean / one.state.source_current.mean < 1.03
    for one in learners("07")[::10]:
        gained = changed(one, r_switch=one.letters["r_switch"] - 0.019).efficiency - one.state.efficiency
        assert 0.002 < gained < 0.008
    one = learners("03")[0]
    assert 7 < changed(one, r_capacitor=0.2).ripple_voltage / one.state.ripple_voltage < 15


def test_half_the_frequency_moves_no_conduction_loss():
    """Lab 07: the source power hardly changes but for the edges, which the circuit has not; the coil does not saturate."""
    for one in learners("07")[::5]:
        other = changed(one, f_sw=one.letters["f_sw"] / 2)
        assert other.mode == "continuous" and other.ripple_current / one.state.ripple_current == pytest.approx(2, rel=0.02)
        assert abs(other.input_power - one.state.input_power) < 0.02  # W, beside 0.1 W or more at the edges
        assert other.inductor_current.max < rating(one, "saturation")


# reading, filling, writing


@pytest.mark.parametrize(("sheet", "tail", "said"), [
    ('check = ["Load {r_lod}."]\n', "", r"check.1 = .*\{r_lod\}.* is neither a letter nor"),
    ('drawing = 3\n', "", "drawing = 3 must be text"),
    (f'drawing = "{"x" * 120}"\n', "", "drawing = .* must be text of at most 30 lines, 88 letters"),
    ("", MEASURE.replace("output_voltage", "outputvoltage"), "did you mean output_voltage"),
    ("", MEASURE.replace('tolerance = "2 %"\n', ""), "tolerance is missing"),
    ("", MEASURE + 'colour = "red"\n', "colour is not a known key"),
])  # fmt: skip
def test_a_bad_sheet_is_refused_in_words(tmp_path, sheet, tail, said):
    """One line that names the file, the key, the value and the rule."""
    lab, _ = small(tmp_path, sheet, tail)
    with pytest.raises(ValueError, match=said) as raised:
        read_lab(lab)
    assert "\n" not in str(raised.value)


def test_a_number_that_nothing_tells_stops_before_anything_is_written(tmp_path):
    """A letter that is known but has no value in this lab: named, and no file is there. So is a rating whose letters are missing."""
    lab, roster = small(tmp_path, 'check = ["Look: {v_ref}."]\n')
    with pytest.raises(ValueError, match="{v_ref} on the lab sheet: nothing in the lab tells it"):
        session.make(tmp_path / "set", lab, roster)
    assert not (tmp_path / "set").exists()
    one = learners("03")[0]
    with pytest.raises(ValueError, match="{r_step} on the lab sheet needs i_step"):
        filled("{r_step}", {name: value for name, value in one.letters.items() if name != "i_step"}, one.state)


def test_a_number_and_its_unit_stay_together():
    """No line break between them, in what is filled in and in what stands there."""
    one = learners("03")[0]
    said = filled("At {v_out} and 5 A in 3 steps of 1 mm", one.letters, one.state)
    assert said.count("\u00a0") == 3 and "3 steps" in said


def test_the_set_holds_a_lab_sheet_for_each_learner(tmp_path):
    """lab_KEY.md always, lab_KEY.pdf with pdf; the key in it and no name; the teacher's key has the readings; made once."""
    lab, roster = small(tmp_path)
    session.make(tmp_path / "set", lab, roster)
    home = tmp_path / "set" / "copies" / "t01"
    sheet = (home / "lab_t01.md").read_text(encoding="utf-8")
    assert "lab sheet of t01" in sheet and "Learner" not in sheet and " P ── coil ── N" in sheet
    assert "## At the bench" in (tmp_path / "set" / "teacher" / "keys" / "t01.md").read_text(encoding="utf-8")
    assert not (home / "lab_t01.pdf").exists()
    assert session.make(tmp_path / "set", lab, roster, pdf=True).written == 2
    assert (home / "lab_t01.pdf").read_bytes().startswith(b"%PDF-") and (home / "lab_t01.md").read_text(encoding="utf-8") == sheet
    assert session.make(tmp_path / "set", lab, roster, pdf=True).written == 0


def test_a_lab_without_a_bench_has_no_lab_sheet(tmp_path):
    """Nothing to put on it, no file."""
    lab, roster = put_class(tmp_path)
    session.make(tmp_path / "set", lab, roster)
    assert not list((tmp_path / "set").rglob("lab_*"))


def test_a_sentence_is_no_markdown():
    """What would be a list, a link or emphasis stays text."""
    assert on_paper.plain("1. *a* [b](c) | d") == "1\\. \\*a\\* \\[b\\](c) \\| d"


@pytest.mark.parametrize("name", READY)
def test_the_sheets_can_be_printed(name):
    """Each ready lab's sheet as a PDF."""
    assert on_paper.pdf(labsheet.page(learners(name)[0])).startswith(b"%PDF-")
