"""Measured beside predicted: verdicts, the table, the overlay, and the rule shared with marking."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from captures import captured, random_converter
from classes import LAB

import boostkit
from boostkit.bench.capture import Capture, read
from boostkit.bench.compare import TOLERANCE, overlay, table, verdict
from boostkit.bench.deciding import decided
from boostkit.bench.example import built
from boostkit.bench.features import Measured, Reading, measure
from boostkit.bench.instrument import Channel, Instrument
from boostkit.bench.prediction import at_times
from boostkit.bench.uncertain import factor, uncertain
from boostkit.circuit import Converter, switched
from boostkit.classroom.lab_file import read_lab
from boostkit.classroom.marking import MOST_UNCERTAIN, RIGHT, WITHIN, mark
from boostkit.classroom.sheets import Sheet
from boostkit.classroom.tasks import expected
from boostkit.classroom.variants import variant
from boostkit.units import show

DATA = Path(boostkit.__file__).parent / "data"
TIDE_GAUGE = Converter.of(v_in=6.0, inductance=47e-6, f_sw=150e3, duty=0.68, capacitance=100e-6, r_load=51.0, r_inductor=0.04,
                          r_switch=0.02, v_rectifier=0.4, r_capacitor=0.02)  # fmt: skip


@pytest.fixture(scope="module")
def shipped():
    """The capture of the tide gauge that ships, and what is measured in it."""
    capture = read(DATA / "tide_gauge_capture.csv")
    return capture, measure(capture)


# ---------------------------------------------------------------- the verdict

@pytest.mark.parametrize(("difference", "wide", "most", "kind"), [
    (0.0, 0.0, 1.0, "agrees"), (0.0399, 0.04, 0.1, "agrees"), (-0.0399, 0.04, 0.1, "agrees"), (0.0401, 0.04, 0.1, "differs"),
    (-0.0401, 0.04, 0.1, "differs"), (0.05, 0.0999, 0.1, "agrees"), (0.05, 0.1001, 0.1, "cannot tell"), (0.2, 0.15, 0.1, "differs"),
    (0.04, 0.04, 0.1, "agrees"), (0.1, 0.1, 0.1, "agrees"), (1e-12, 0.0, 0.1, "agrees"), (1e-6, 0.0, 0.1, "differs"),
])  # fmt: skip
def test_the_rule_at_its_limits(difference, wide, most, kind):
    """Inside both limits, beyond one, beyond the other, beyond both, and exactly on them; rounding makes no difference."""
    assert decided(difference, wide, most) == kind


@pytest.mark.parametrize(("measured", "error", "tolerance", "words"), [
    (1.032, 0.0055, None, "differs by 3.2 % (more than the uncertainty of 1.1 %)"),
    (0.968, 0.0055, None, "differs by 3.2 % (more than the uncertainty of 1.1 %)"),
    (1.032, 0.017, None, "agrees"), (1.032, 0.017, 0.02, "cannot tell"), (1.032, 0.017, "2 %", "cannot tell"),
    (1.032, 0.017, "4 %", "agrees"),
    (1.032, 0.06, None, "cannot tell"), (1.3, 0.1, None, "differs by 30 % (more than the uncertainty of 20 %)"),
    (1.02004, 0.01, None, "differs by 2.004 % (more than the uncertainty of 2 %)"),
    (1.0, 0.0, None, "agrees"), (1.25, 0.0, None, "differs by 25 % (no uncertainty is stated)"),
])  # fmt: skip
def test_verdicts_in_words(measured, error, tolerance, words):
    """The difference and the uncertainty at k = 2 as shares of what was predicted, told apart even where they are nearly alike."""
    assert verdict(uncertain(measured, error, "probe"), 1.0, tolerance).words == words
    assert verdict(uncertain(-1e-3 * measured, 1e-3 * error, "probe"), -1e-3, tolerance).words == words  # neither size nor sign matters


def test_why_names_the_two_numbers_that_decide():
    """Each verdict says what was held against what."""
    assert verdict(uncertain(1.032, 0.06, "probe"), 1.0).why == "the uncertainty of 12 % is more than the 10 % that would decide"
    assert verdict(uncertain(1.032, 0.02, "probe"), 1.0).why == "the difference of 3.2 % is within the uncertainty of 4 %"
    assert verdict(uncertain(1.032, 0.01, "probe"), 1.0).why == "the difference of 3.2 % is more than the uncertainty of 2 %"


def test_the_default_tolerance_is_a_tenth():
    """Just inside of a tenth agrees, just outside cannot tell; and `most` says so in the unit of the value."""
    assert TOLERANCE == 0.1 and verdict(18.0, 18.0).most == pytest.approx(1.8)
    assert verdict(uncertain(18.0, 0.899, "meter"), 18.0).kind == "agrees"
    assert verdict(uncertain(18.0, 0.901, "meter"), 18.0).kind == "cannot tell"


def test_against_the_number_of_proficiency_tests():
    """`differs` is |E_n| > 1 with E_n = (x - X)/sqrt(U_x² + U_X²), ISO/IEC 17043:2010, B.3.1.3 (from memory)."""
    rng = np.random.default_rng(17043)
    seen = set()
    for _ in range(300):
        x, u_x, u_ref = 5 + rng.normal(0, 0.1), rng.uniform(0.001, 0.05), rng.uniform(0, 0.05)
        number = (x - 5) / math.hypot(2 * u_x, 2 * u_ref)
        found = verdict(uncertain(x, u_x, "bench"), uncertain(5.0, u_ref, "parts"), 1.0)
        assert (found.kind == "differs") == (abs(number) > 1)
        assert found.difference.n / found.expanded == pytest.approx(number, rel=1e-9)  # rounding only
        seen.add(found.kind)
    assert seen == {"differs", "agrees"}


def test_where_both_are_right_one_in_twenty_differs():
    """Of normal errors 4.55 % lie beyond k = 2 (the normal distribution); of 4000 draws three standard deviations are 1.0 %."""
    draws = np.random.default_rng(95).normal(1.0, 0.01, 4000)
    share = np.mean([verdict(uncertain(float(x), 0.01, "noise"), 1.0).kind == "differs" for x in draws])
    assert share == pytest.approx(0.0455, abs=0.010)


def test_an_error_that_both_share_does_not_count():
    """Two readings with one probe: its gain is in both, so a difference beyond the noise is one."""
    probe = factor(0.05, "probe")
    assert verdict(1.01 * probe, 1.0 * probe).kind == "differs"
    assert verdict(1.01 * probe, 1.0 * factor(0.05, "other probe")).kind == "agrees"


@pytest.mark.parametrize(("arguments", "more", "words"), [
    ((1.0, 0.0), {}, "come with a scale"), ((1.0, math.nan), {}, "predicted value"), ((math.inf, 1.0), {}, "measured value"),
    ((1.0, 1.0, 0.0), {}, "tolerance = 0"), ((1.0, 1.0, -0.1), {}, "tolerance"), ((1.0, 1.0, "5 V"), {}, "tolerance"),
    ((1.0, 1.0), {"scale": 0.0}, "scale = 0"), ((1.0, 1.0), {"scale": math.nan}, "scale"),
])  # fmt: skip
def test_what_cannot_be_compared_is_refused(arguments, more, words):
    """One line with name and rule."""
    with pytest.raises(ValueError, match=words) as trouble:
        verdict(*arguments, **more)
    assert "\n" not in str(trouble.value)


def test_a_prediction_of_zero_takes_its_scale_from_elsewhere():
    """A mean of nothing, measured as 3(1) mA of a current of 1 A."""
    assert verdict(uncertain(3e-3, 1e-3, "offset"), 0.0, scale=1.0).words == "differs by 0.3 % (more than the uncertainty of 0.2 %)"
    assert verdict(uncertain(1e-3, 1e-3, "offset"), 0.0, scale=1.0).kind == "agrees"


# ---------------------------------------------------------------- the table

def test_the_shipped_capture_agrees_with_what_was_built(shipped):
    """The circuit that made the capture: every row agrees. Chance would allow one in twenty to differ; the capture is fixed."""
    rows = table(shipped[1], built())
    assert {row.name: row.verdict.words for row in rows if row.verdict.kind != "agrees"} == {}
    assert [row.name for row in rows] == ["mode", "f_sw", "duty", *(f"{channel}.{what}" for channel in ("v_switch", "v_out", "i_inductor")
                                                                    for what in ("mean", "rms", "ripple"))]  # fmt: skip


def test_the_table_finds_what_was_changed(shipped):
    """A coil of 47 µH for 44.2 µH changes the ripple of its current by V_in D/(L f), and at 1.5 times the load the mean: no more."""
    coil = {row.name: row.verdict for row in table(shipped[1], switched.steady_state(built().converter.change(inductance=47e-6)))}
    assert {name for name, found in coil.items() if found.kind == "differs"} == {"i_inductor.ripple"}
    assert coil["i_inductor.ripple"].difference.n == pytest.approx(0.614 - 0.614 * 44.2 / 47, abs=0.012)  # 1.6 % of gain, 5 mA of noise
    load = {row.name: row.verdict for row in table(shipped[1], switched.steady_state(built().converter.change(r_load=34.0)))}
    assert {"i_inductor.mean", "i_inductor.rms", "v_out.ripple"} <= {name for name, found in load.items() if found.kind == "differs"}


def test_what_the_table_predicts_is_the_exact_summary(shipped):
    """Mean, rms and ripple against the trapezoids of a densely sampled waveform; switching frequency and duty by name."""
    state = switched.steady_state(TIDE_GAUGE)
    found = {row.name: row.predicted for row in table(shipped[1], state)}
    wave = state.waveforms(200_000)
    for name in ("v_switch", "v_out", "i_inductor"):
        value = getattr(wave, name)
        assert found[f"{name}.mean"] == pytest.approx(np.trapezoid(value, wave.time) / state.period, rel=1e-8)  # of the trapezoids
        assert found[f"{name}.rms"] == pytest.approx(math.sqrt(np.trapezoid(value**2, wave.time) / state.period), rel=1e-8)
        assert found[f"{name}.ripple"] == pytest.approx(np.ptp(value), rel=1e-8)  # the corners are among the samples
    assert (found["f_sw"], found["duty"], found["mode"]) == (pytest.approx(150e3), 0.68, "continuous")


def test_the_end_of_conduction_is_predicted():
    """In discontinuous conduction a row more, with the share of the period at which the rectifier stops."""
    capture, state = captured(TIDE_GAUGE.change(r_load=900.0), seed=3)
    row = {row.name: row for row in table(measure(capture), state)}["conduction_end"]
    assert (row.predicted, row.verdict.kind, state.mode) == (state.conduction_end, "agrees", "discontinuous")
    late = table(measure(capture), switched.steady_state(TIDE_GAUGE.change(r_load=600.0)))
    assert {row.name: row.verdict.kind for row in late}["conduction_end"] == "differs"  # a lower output ends it later


def test_readings_of_right_predictions_agree():
    """40 random converters, either mode, against their own exact state: fewer than 4 % of all verdicts differ.

    Errors that lie evenly within limits leave k = 2 (1.15 limits) never when one rules, so fewer than the 4.55 % of normal errors
    are due. With uncertainties a third as large, more than four times as many differ: the check can fail.
    """
    rng, kinds, narrow, modes = np.random.default_rng(40), [], [], set()
    for seed in range(40):
        capture, state = captured(random_converter(rng), seed=seed, samples=3000)
        modes.add(state.mode)
        for row in table(measure(capture), state, 1.0):
            kinds.append(row.verdict.kind)
            if row.name != "mode":
                narrow.append(abs(row.verdict.difference.n) > row.verdict.expanded / 3)
    assert modes == {"continuous", "discontinuous"} and len(kinds) > 400
    assert np.mean([kind == "differs" for kind in kinds]) < 0.04
    assert np.mean(narrow) > 4 * 0.04


@pytest.mark.parametrize(("said", "kind", "words"), [
    ("continuous", "agrees", "agrees"), ("discontinuous", "differs", "differs: discontinuous, not continuous"),
    ("cannot tell", "cannot tell", "cannot tell"),
])  # fmt: skip
def test_the_mode_has_a_verdict_too(shipped, said, kind, words):
    """Mode against mode, and a capture that does not show it."""
    row = table(replace(shipped[1], mode=said), built())[0]
    assert (row.name, row.verdict.kind, row.verdict.words) == ("mode", kind, words)
    assert str(row) == f"mode: measured {said}, predicted continuous: {words}"


def test_quantities_without_a_mean_and_without_a_circuit(shipped):
    """The capacitor's mean current is zero: its rms is the scale. What this circuit does not have is left out."""
    readings = {name: Reading(name, uncertain(value, 0.002, "probe"), "A", "by hand") for name, value in (
        ("i_capacitor.mean", 0.003), ("i_input_capacitor.rms", 0.1), ("f_ring", 1e7), ("v_gate.mean", 3.0))}  # fmt: skip
    rows = table(Measured("by hand", "continuous", readings, shipped[1].edges, ()), built())
    assert [row.name for row in rows] == ["mode", "i_capacitor.mean"]
    assert rows[1].verdict.kind == "agrees"
    assert rows[1].verdict.most == pytest.approx(TOLERANCE * built().capacitor_current.rms)


def test_a_row_reads_as_a_line(shipped):
    """Measured value with its uncertainty, prediction and verdict."""
    row = {row.name: row for row in table(shipped[1], built())}["i_inductor.ripple"]
    assert str(row) == f"i_inductor.ripple: measured 614(5) mA, predicted {show(built().ripple_current, 'A', 4)}: agrees"


# ---------------------------------------------------------------- the overlay

def clean(converter, delay, periods=8.3, samples=8000, names=("v_switch", "v_out", "i_inductor"), instrument=None):
    """A capture without errors of a steady state whose switch closes `delay` after the first sample."""
    state = switched.steady_state(converter)
    time = np.linspace(0, periods * state.period, samples)
    channels = at_times(state, names, time - delay)
    units = {name: "V" if name[0] == "v" else "A" for name in names}
    return Capture(time, channels, units, "scope.csv", float(time[1]), instrument=instrument or Instrument()), state


@pytest.mark.parametrize("load", [51.0, 900.0], ids=["continuous", "discontinuous"])
@pytest.mark.parametrize("share", [0.05, 0.31, 0.68, 0.93])
def test_a_perfect_capture_leaves_no_residual(load, share):
    """The shift is found wherever the capture begins, to one sample; what is left is less than a sample's worth of slope."""
    converter = TIDE_GAUGE.change(r_load=load)
    delay = share * converter.t_sw
    capture, state = clean(converter, delay)
    found = overlay(capture, state)
    assert found.shift == pytest.approx(delay, abs=capture.interval)
    assert found.period == pytest.approx(state.period, rel=1e-4)  # a tenth of a sample in eight periods
    assert found.time[0] == pytest.approx(-found.shift) and not found.notes
    for name in ("v_out", "i_inductor"):
        slope = np.abs(np.diff(found.predicted[name])).max()
        assert np.abs(found.residuals[name][found.clear]).max() < 1.0 * slope + 1e-12
    assert 0.9 < found.clear.mean() < 1


def test_an_overlay_that_is_out_of_step_shows():
    """A tenth of a period beside, the residual of the current is a large part of its ripple: the check above is one."""
    capture, state = clean(TIDE_GAUGE, 1e-6)
    moved = replace(capture, channels=capture.channels | {"i_inductor": np.roll(capture.channel("i_inductor"), 96)})
    assert overlay(moved, state).rms("i_inductor") > 0.1 * state.ripple_current > 100 * overlay(capture, state).rms("i_inductor")


def test_the_residual_of_the_shipped_capture_is_its_noise(shipped):
    """Noise of 6 mA and steps of 10 mA, with a gain of 1.008 on 0.3 A and -4 mA + 0.8 mA at the mean: 7.6 mA; coil of 47 µH: more."""
    found = overlay(*shipped[:1], built(), shipped[1])
    due = math.sqrt(0.006**2 + 0.010**2 / 12 + (0.008 * built().ripple_current / math.sqrt(12)) ** 2 + 0.0032**2)
    assert found.rms("i_inductor") == pytest.approx(due, rel=0.1)  # of 16 000 samples 1 %; alignment moves the corners a little
    other = overlay(shipped[0], switched.steady_state(built().converter.change(inductance=47e-6)), shipped[1])
    assert other.rms("i_inductor") > 1.5 * due
    assert found.shift == shipped[1].edges.start and set(found.measured) == {"v_switch", "v_out", "i_inductor"}


def test_what_is_near_a_switching_instant_is_not_clear():
    """Closing (from both sides), opening and end of conduction hide 1.5 samples on either side; spikes there stay out of the rms."""
    capture, state = clean(TIDE_GAUGE.change(r_load=900.0), 1e-6)
    found = overlay(capture, state)
    corners, sample = np.array([0.0, state.duty, state.conduction_end, 1.0]), capture.interval / found.period
    apart = np.abs(found.phase[:, None] - corners).min(axis=1)
    assert not found.clear[apart < 1.3 * sample].any() and found.clear[apart > 1.7 * sample].all()  # 0.2: where the corners were found
    for k, corner in enumerate(corners):
        assert (np.abs(found.phase - corner) < 1.3 * sample).any(), k
    spikes = capture.channel("v_out") + np.where(found.clear, 0.0, 50.0)
    assert overlay(replace(capture, channels=capture.channels | {"v_out": spikes}), state).rms("v_out") == found.rms("v_out") < 1e-3


def test_a_residual_is_measured_less_predicted():
    """What reads half an ampere high leaves plus half an ampere."""
    capture, state = clean(TIDE_GAUGE, 1e-6)
    high = replace(capture, channels=capture.channels | {"i_inductor": capture.channel("i_inductor") + 0.5})
    assert np.median(overlay(high, state).residuals["i_inductor"]) == pytest.approx(0.5, abs=1e-3)  # of less than a sample of slope


def test_instants_that_were_found_already_are_taken(shipped):
    """With `measured` given, its edges rule."""
    later = replace(shipped[1], edges=replace(shipped[1].edges, start=shipped[1].edges.start + 1e-7))
    assert overlay(shipped[0], built(), later).shift == pytest.approx(overlay(shipped[0], built()).shift + 1e-7, abs=1e-12)


def test_a_prediction_for_another_frequency_is_stretched_and_noted():
    """The prediction keeps its levels and takes the measured period: still in step in the last period."""
    capture, _ = clean(TIDE_GAUGE.change(f_sw=147e3), 1e-6, periods=30.3)
    found = overlay(capture, switched.steady_state(TIDE_GAUGE))
    assert found.notes == ("predicted for 150 kHz, stretched to the measured 147 kHz",)
    late = found.clear & (found.time > 29 * found.period)
    assert np.abs(found.residuals["v_switch"][late]).max() < 0.01  # in step; the levels differ by microvolts at another ripple
    assert np.ptp(found.predicted["i_inductor"]) == pytest.approx(switched.steady_state(TIDE_GAUGE).ripple_current, rel=0.01)  # sampled


def test_folded_lays_all_periods_over_one_another():
    """Sorted by phase, each measured value keeps its predicted one."""
    found = overlay(*clean(TIDE_GAUGE, 1e-6))
    phase, measured, predicted = found.folded("i_inductor")
    assert (np.diff(phase) >= 0).all() and phase[0] >= 0 and phase[-1] < 1
    assert len(phase) == len(found.time) and np.median(np.abs(measured - predicted)) < 1e-3
    rise = (phase > 0.02) & (phase < 0.66)
    assert np.polyfit(phase[rise], measured[rise], 1)[0] * found.period**-1 == pytest.approx(6.0 / 47e-6, rel=0.02)  # v/L less the drops


def test_an_input_that_blocks_direct_voltage():
    """Coupled by a capacitor, the output's ripple still lies over the prediction."""
    blocked = Instrument(channels={"v_out": Channel(coupling="AC")})
    capture, state = clean(TIDE_GAUGE, 1e-6, instrument=blocked)
    capture = replace(capture, channels=capture.channels | {"v_out": capture.channel("v_out") - state.output_voltage.mean})
    found = overlay(capture, state)
    assert found.rms("v_out") < 0.01 * state.ripple_voltage and "blocks direct voltage" in found.notes[0]


def test_channels_that_are_no_quantity_of_the_circuit():
    """The gate serves to find the instants and is left out; a capture of nothing else is refused in one line."""
    capture, state = clean(TIDE_GAUGE, 1e-6)
    gate = np.where(capture.channel("v_switch") < 1, 5.0, 0.0)
    units = capture.units | {"v_gate": "V"}
    both = replace(capture, channels={"v_gate": gate, "v_out": capture.channel("v_out")}, units=units)
    assert list(overlay(both, state).measured) == ["v_out"]
    with pytest.raises(ValueError, match=r"scope\.csv: v_gate must hold a quantity of the circuit: i_inductor"):
        overlay(replace(capture, channels={"v_gate": gate}, units=units), state)


# ---------------------------------------------------------------- marking

def test_marking_and_the_bench_go_by_one_rule(tmp_path):
    """A measured answer is right within its uncertainty exactly where the bench says `agrees` at three tolerances."""
    (tmp_path / "lab.toml").write_text(LAB, encoding="utf-8")
    one = variant(read_lab(tmp_path / "lab.toml"), "t01", 7)
    key, seen = expected(one), set()
    target = key["ripple_measured"]
    for off in (-0.2, -0.08, -0.04, 0.031, 0.05, 0.0899, 0.12):
        for wide in (0.0, 0.02, 0.0405, 0.07, 0.0899, 0.0901, 0.15):
            value, error = target.value * (1 + off), wide * target.value
            text = f"{value!r} {target.unit} ± {error!r} {target.unit}"
            found = next(m for m in mark(Sheet("t01", {"ripple_measured": text}), one, key).marks if m.task.id == "ripple_measured")
            at_bench = verdict(uncertain(value, error / 2, "learner"), target.value, MOST_UNCERTAIN * target.tolerance)
            assert found.verdict != RIGHT and (found.verdict == WITHIN) == (at_bench.kind == "agrees"), (off, wide)
            assert ("is not accepted" in found.feedback) == (at_bench.kind == "cannot tell"), found.feedback
            seen.add(at_bench.kind)
    assert seen == {"agrees", "differs", "cannot tell"}
