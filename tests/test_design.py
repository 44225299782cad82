"""A specification in, a design out: choices against textbooks and preferred values, verdicts against the circuit."""

import json
from importlib.resources import files

import eseries
import pytest

from boostkit.circuit import Converter, switched
from boostkit.design import Spec, design
from boostkit.files import to_json

TIDE_GAUGE = files("boostkit") / "data" / "tide_gauge.toml"
SETTLED = 1e-9  # relative: the steady state is exact, so only rounding may lie between two ways to the same number


def spec(source=5.0, voltage=12.0, current=0.5, limits=None, **choices):
    """A small specification with some things changed."""
    return Spec.from_dict(
        {
            "title": "Small",
            "source": {"voltage": source},
            "load": {"voltage": voltage, "current": current},
            "limits": limits or {},
            "choices": choices,
        },
        "small.toml",
    )


def value(made, group, letter):
    """The number on the worked line of a group that starts with this letter."""
    found = [line.value for line in made.lines if line.group == group and line.text.startswith(f"{letter} = ")]
    assert len(found) == 1, f"{letter} stands on {len(found)} lines of {group}"
    return found[0]


@pytest.fixture(scope="module")
def tide_gauge():
    return design(Spec.from_file(TIDE_GAUGE))


# the specification


def test_the_example_is_read_as_it_is_written():
    """Every demand and choice of the built-in example arrives, in SI units."""
    read = Spec.from_file(TIDE_GAUGE)
    assert (read.v_in.min, read.v_in.usual, read.v_in.max) == (5.5, 6.0, 7.2)
    assert (read.i_out.min, read.i_out.usual, read.i_out.max, read.v_out) == (0.02, 0.35, 0.6, 18.0)
    assert (read.step.low, read.step.high, read.ripple, read.efficiency, read.step_deviation) == (
        0.1,
        0.6,
        0.06,
        0.88,
        0.6,
    )
    assert (read.ambient, read.frequency, read.ripple_fraction, read.rectifier) == ((-10, 45), 150e3, 0.3, "diode")


def test_only_title_voltages_and_current_are_required():
    """What is left out is no demand, and a single number means lowest, usual and highest alike."""
    least = Spec.from_dict(
        {"title": "Least", "source": {"voltage": 5}, "load": {"voltage": "12 V", "current": "500 mA"}}
    )
    assert (least.v_in.min, least.v_in.max, least.i_out.usual) == (5, 5, 0.5)
    assert {least.ripple, least.efficiency, least.step, least.step_deviation, least.ambient} == {None}


def test_one_ambient_temperature_means_both_ends():
    """A single ambient is the lowest and the highest."""
    assert spec(limits={"ambient": "20 °C"}).ambient == (20, 20)


# the choices


@pytest.mark.parametrize("frequency, fraction", [(50e3, 0.2), (150e3, 0.3), (230e3, 0.45), (1e6, 1.0)])
def test_inductance_and_capacitance_are_the_next_preferred_values_above(frequency, fraction):
    """Chosen from the ideal formulas by hand; the next value above as PyPI eseries 1.2 has IEC 60063 (E12, E6)."""
    made = design(spec(limits={"ripple": 0.1}, frequency=frequency, ripple_fraction=fraction))
    duty, part, limit = 1 - 5 / 12, made.converter, 0.1
    least = 5 * duty / (fraction * 0.5 / (1 - duty) * frequency)
    assert part.inductor.inductance == pytest.approx(
        eseries.find_greater_than_or_equal(eseries.E12, least), rel=SETTLED
    )
    peak = 0.5 / (1 - duty) + 5 * duty / (2 * part.inductor.inductance * frequency)
    esr = part.capacitor.series_resistance
    least = 0.5 * duty / ((limit - esr * peak) * frequency)
    assert part.capacitor.capacitance == pytest.approx(
        eseries.find_greater_than_or_equal(eseries.E6, least), rel=SETTLED
    )


def test_what_the_designer_fixes_is_kept():
    """Fixed parts and frequency go into the converter as they are, and into the parts list."""
    made = design(spec(inductance="33 µH", capacitance="150 µF", series_resistance="5 mΩ", frequency="200 kHz"))
    c = made.converter
    assert (c.inductor.inductance, c.capacitor.capacitance) == pytest.approx((33e-6, 150e-6), rel=SETTLED)
    assert (c.capacitor.series_resistance, c.switch.frequency) == pytest.approx((5e-3, 200e3), rel=SETTLED)
    assert {part.what: part.value for part in made.parts}["Inductor"] == c.inductor.inductance


def test_a_textbook_converter_comes_out_as_the_book_has_it():
    """Rashid, Power Electronics, 4th ed., Ex. 5.6: 5 V to 15 V, 0.5 A, 25 kHz, 150 µH, 220 µF."""
    made = design(spec(5, 15, 0.5, frequency=25e3, inductance=150e-6, capacitance=220e-6, series_resistance=0))
    coil, capacitor = "The inductor", "The output capacitor"
    assert value(made, coil, "V_out/V_in") == pytest.approx(1 / (1 - 0.6667), rel=2e-4)  # the book prints k = 66.67 %
    assert value(made, coil, "Δi_L") == pytest.approx(0.89, abs=0.005)  # printed with two digits, peak to peak
    assert value(made, coil, "I_L") == pytest.approx(1.5, rel=SETTLED)
    assert value(made, capacitor, "I_L,max") == pytest.approx(1.945, abs=0.001)  # from the book's rounded ripple
    assert value(made, capacitor, "Δv_out") == pytest.approx(60.61e-3, abs=0.005e-3)  # printed digits


def test_a_textbook_design_comes_out_as_the_book_has_it():
    """Hart, Power Electronics, Ex. 6-4 (from memory): 12 V to 30 V into 50 Ω at 25 kHz, ripple 1 %, 120 µH chosen."""
    # the book's least inductance is the one at the border: there the ripple is twice the mean
    made = design(
        spec(12, 30, 0.6, {"ripple": 0.3}, frequency=25e3, inductance=120e-6, ripple_fraction=2, series_resistance=0)
    )
    coil, capacitor = "The inductor", "The output capacitor"
    mean, ripple = value(made, coil, "I_L"), value(made, coil, "Δi_L")
    assert 1 - 1 / value(made, coil, "V_out/V_in") == pytest.approx(0.6, rel=SETTLED)
    assert value(made, coil, "L") == pytest.approx(96e-6, rel=SETTLED)
    assert (mean, ripple / 2, mean - ripple / 2) == pytest.approx((1.5, 1.2, 0.3), rel=SETTLED)
    assert value(made, capacitor, "I_L,max") == pytest.approx(2.7, rel=SETTLED)
    assert value(made, capacitor, "C") == pytest.approx(48e-6, rel=SETTLED)


def test_a_second_switch_as_rectifier_keeps_conduction_continuous():
    """The choice reaches the converter; with complementary drive no corner is discontinuous, not even at no load."""
    made = design(spec(current={"min": 0, "usual": 0.2, "max": 0.5}, rectifier="switch"))
    assert made.converter.rectifier.kind == "switch"
    assert {corner.mode for corner in made.corners} == {"continuous"}


# the judge


def test_the_duty_of_every_corner_gives_the_output_asked_for(tide_gauge):
    """Nine corners; put back into a fresh converter, each duty gives 18 V to 1e-9."""
    places = {(c.v_in, c.i_out) for c in tide_gauge.corners}
    assert places == {(v, i) for v in (5.5, 6.0, 7.2) for i in (0.02, 0.35, 0.6)} and len(tide_gauge.corners) == 9
    for c in tide_gauge.corners:
        state = switched.steady_state(tide_gauge.converter.change(v_in=c.v_in, i_out=c.i_out, duty=c.duty))
        assert state.output_voltage.mean == pytest.approx(18.0, rel=1e-9)  # the promise of `duty_for`
        assert (state.mode, state.ripple_voltage) == (
            c.mode,
            pytest.approx(c.ripple_voltage, rel=1e-7),
        )  # a difference of
        assert state.inductor_current.max == pytest.approx(c.inductor_peak, rel=SETTLED)  # voltages 1000 times as large


def test_the_verdicts_are_what_the_circuit_does(tide_gauge):
    """Ripple: the worst corner. Efficiency: usual source voltage, full load, first-order losses added by hand."""
    ripple, efficiency = tide_gauge.verdicts
    states = {}
    for c in tide_gauge.corners:
        there = tide_gauge.converter.change(v_in=c.v_in, i_out=c.i_out, duty=c.duty)
        states[c.v_in, c.i_out] = switched.steady_state(there)
    swing = {place: s.output_voltage.max - s.output_voltage.min for place, s in states.items()}
    worst = (ripple.worst_at["v_in"], ripple.worst_at["i_out"])
    assert worst == max(swing, key=swing.get) == (5.5, 0.6)
    assert ripple.value == pytest.approx(swing[worst], rel=1e-7)  # a difference of voltages 1000 times as large
    assert efficiency.worst_at == {"v_in": 6.0, "i_out": 0.6}
    s = states[6.0, 0.6]
    # both edges 20 ns each, 150 pF, 10 nC at 5 V, as in illustrative_parts.toml: 1/2 V I t, 1/2 C V², Q V, each times f
    edges = 150e3 * (0.5 * 18 * s.inductor_current.mean * 40e-9 + 0.5 * 150e-12 * 18**2 + 10e-9 * 5)
    assert efficiency.value == pytest.approx(s.output_power / (s.input_power + edges), rel=SETTLED)
    assert (ripple.limit, efficiency.limit, ripple.met, efficiency.met, tide_gauge.met) == (
        0.06,
        0.88,
        True,
        True,
        True,
    )


@pytest.mark.parametrize("limits", [{}, {"ripple": 0.06}, {"efficiency": 0.5}, {"ripple": 0.06, "efficiency": 0.5}])
def test_a_demand_that_is_absent_gets_no_verdict(limits):
    """One verdict for each demand that is made, and none besides."""
    given = design(spec(limits=limits)).verdicts
    assert [verdict.limit for verdict in given] == list(limits.values())
    assert [
        verdict.demand.split(",")[0].split(" ")[-1 if "ripple" in verdict.demand else 0] for verdict in given
    ] == list(limits)


def test_what_nothing_here_can_judge_is_named(tide_gauge):
    """Step deviation and ambient get no verdict, and the cautions say so; where not demanded, nothing is said."""
    said = [caution for caution in tide_gauge.cautions if "**not judged**" in caution]
    assert len(said) == 2 and "step deviation of at most 600 mV" in said[0] and "-10 °C to 45 °C" in said[1]
    assert not any("not judged" in caution for caution in design(spec()).cautions)


@pytest.mark.parametrize("limits, choices, short", [
    ({"ripple": 0.02}, {"capacitance": "10 µF"}, ["output ripple"]),
    ({"efficiency": 0.99}, {}, ["efficiency"]),
    ({"ripple": 0.02, "efficiency": 0.99}, {"capacitance": "10 µF"}, ["output ripple", "efficiency"]),
])  # fmt: skip
def test_a_demand_that_is_not_met_is_told(limits, choices, short):
    """The verdict says so, and the value lies on the wrong side of the limit."""
    made = design(spec(limits=limits, **choices))
    failed = [verdict for verdict in made.verdicts if not verdict.met]
    assert len(failed) == len(short) and all(v.demand.startswith(word) for v, word in zip(failed, short, strict=True))
    assert all((v.value > v.limit) == v.demand.startswith("output ripple") for v in failed) and not made.met


def test_each_choice_shows_in_the_lines(tide_gauge):
    """Every line that has a formula carries LaTeX; groups follow the order of the work; losses come largest first."""
    groups = list(dict.fromkeys(line.group for line in tide_gauge.lines))
    assert groups == ["The inductor", "The output capacitor", "The drive",
                      "What switch, rectifier and capacitor must bear", "Light load",
                      "Where the power goes"]  # fmt: skip
    assert all(line.latex for line in tide_gauge.lines if line.text)
    watts = [line.value for line in tide_gauge.lines if line.group == "Where the power goes" and line.unit == "W"]
    usual = next(c for c in tide_gauge.corners if (c.v_in, c.i_out) == (6.0, 0.6))
    assert watts == sorted(usual.losses.values(), reverse=True)


def test_illustrative_parts_say_that_they_are_invented(tide_gauge):
    """Part data that nobody named are owned up to, in the parts and in the cautions."""
    parts = {part.what: part.why for part in tide_gauge.parts}
    assert parts["Switch"] == parts["Rectifier"] == "illustrative and invented"
    assert any("illustrative and invented" in caution for caution in tide_gauge.cautions)
    assert (files("boostkit") / "data" / "illustrative_parts.toml").read_text(encoding="utf-8").count("invented") >= 1


@pytest.mark.parametrize("wanted, words", [
    ({"voltage": 4}, ["small.toml: load.voltage = 4 V", "above the highest source voltage, 5 V", "cannot lower"]),
    ({"voltage": 5}, ["small.toml: load.voltage = 5 V", "above the highest source voltage"]),
    ({"voltage": 12, "current": 1, "inductance": 10},
     ["load.voltage = 12 V is out of reach", "source of 5 V", "load of 1 A", "Less resistance", "would help"]),
    # 20 W; through the switch's 20 mΩ alone a source of 0.5 V gives at most V²/4R = 3.1 W
    ({"source": 0.5, "voltage": 20, "current": 1},
     ["load.voltage = 20 V is out of reach", "source of 500 mV", "would help"]),
    ({"limits": {"ripple": 0.01}, "series_resistance": 0.05},
     ["choices.series_resistance = 50 mΩ", "limits.ripple = 10 mV", "at most", "can do"]),
    ({"series_resistance": 0.5}, ["choices.series_resistance = 500 mΩ", "1 % of the output", "120 mV"]),
])  # fmt: skip
def test_the_impossible_is_refused_with_reason_and_remedy(wanted, words):
    """Output below the source, gain out of reach, series resistance too high: one line, why and what helps."""
    with pytest.raises(ValueError) as refused:
        design(spec(**wanted))
    assert all(word in str(refused.value) for word in words), str(refused.value)
    assert "\n" not in str(refused.value)


# the file


def test_a_design_file_holds_what_was_promised(tide_gauge):
    """The keys of `design.json`, as they are documented, and every corner's and verdict's own."""
    data = json.loads(to_json(tide_gauge.to_dict()))
    assert list(data) == ["spec", "converter", "corners", "verdicts", "lines", "parts", "cautions"]
    assert all(set(corner) == {"v_in", "i_out", "duty", "mode", "ripple_voltage", "inductor_peak", "efficiency",
                               "efficiency_conduction", "losses"} for corner in data["corners"])  # fmt: skip
    assert all(set(v) == {"demand", "limit", "value", "unit", "met", "worst_at"} for v in data["verdicts"])
    assert all(corner["efficiency"] < corner["efficiency_conduction"] < 1 for corner in data["corners"])
    assert set(data["converter"]) == {"source", "inductor", "switch", "rectifier", "capacitor", "load"}


def test_the_converter_of_a_design_file_is_the_converter(tide_gauge):
    """Read back it is the same, and it stands at usual source voltage and full load."""
    back = Converter.from_dict(json.loads(to_json(tide_gauge.to_dict()))["converter"])
    assert back == tide_gauge.converter
    assert (back.source.voltage, back.load.current) == (6.0, 0.6)
    assert switched.steady_state(back).output_voltage.mean == pytest.approx(18.0, rel=1e-9)


def test_progress_is_told_in_order():
    """The callback counts up to the last stage."""
    told = []
    design(spec(), lambda done, total, words: told.append((done, total, words)))
    assert [done for done, _, _ in told] == [0, 1, 2, 3] and all(total == 4 and words for _, total, words in told)
