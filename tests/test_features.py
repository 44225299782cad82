"""What is read from a capture, held against captures whose truth is known, by textbook shapes and by random converters."""

from collections import defaultdict
from dataclasses import replace
from math import sqrt
from pathlib import Path

import numpy as np
import pytest
from captures import captured, random_converter, truths

from boostkit.bench import capture, example, features
from boostkit.bench.capture import Capture
from boostkit.bench.edges import find_edges
from boostkit.bench.instrument import Channel, Instrument
from boostkit.bench.meters import read_readings
from boostkit.bench.prediction import at_times
from boostkit.bench.uncertain import standard
from boostkit.circuit import Converter, switched
from boostkit.derivations.ringing import ringing_frequency

DATA = Path(example.__file__).parent.parent / "data"
T, D = 1e-5, 0.6
CLOCK = np.arange(5000) * 2.03e-8 + 1.1e-6


def shape(duty=D, rest=None, clock=CLOCK):
    """A triangle of current from 1 A to 2 A (or from rest at 0 A to 1 A, at rest from `rest` on) and the voltage across its switch."""
    phase = (clock / T) % 1
    fall = (rest or 1.0) - duty
    current = np.where(phase < duty, phase / duty, np.clip(1 - (phase - duty) / fall, 0, None)) + (0.0 if rest else 1.0)
    voltage = np.where(phase < duty, 0.0, 18.0 if rest is None else np.where(phase < rest, 18.0, 6.0))
    return {"v_switch": voltage, "i_inductor": current}


def taken(channels, clock=CLOCK, **more):
    """A capture of these channels."""
    units = {name: "V" if name[0] == "v" else "A" for name in channels}
    return Capture(clock, channels, units, "scope.csv", float(np.median(np.diff(clock))), **more)


def near(reading, truth):
    """Whether a reading lies within twice its standard uncertainty of the truth."""
    return abs(reading.value.n - truth) <= 2 * reading.value.s


@pytest.mark.parametrize("names, count", [(("v_switch", "v_out", "i_inductor"), 60), (("v_out", "i_inductor"), 40)])
def test_readings_stray_as_they_say(names, count):
    """Of random converters, with gain, probe and offset in error, noise and steps: each reading lies within twice its
    uncertainty of the truth about as often as it should, and the conduction mode is never wrong."""
    hits, modes = defaultdict(list), set()
    for seed in range(count):
        taken_of, state = captured(random_converter(np.random.default_rng(1000 + seed)), names, seed)
        found = features.measure(taken_of)
        modes.add((state.mode, found.mode))
        for name, truth in truths(state, names).items():
            if name in found:
                hits[name].append(near(found[name], truth))
    assert ("continuous", "discontinuous") not in modes and ("discontinuous", "continuous") not in modes
    assert {("continuous", "continuous"), ("discontinuous", "discontinuous")} <= modes
    for name, hit in hits.items():           # 95 % of 40 are 38; fewer than 34 come by chance once in 100
        assert np.mean(hit) >= 0.85, name
    assert np.mean(np.concatenate(list(hits.values()))) >= 0.93      # of some 350: three standard deviations below 95 % are 91.5 %


def test_a_triangle_has_its_textbook_values():
    """Mean 1.5 A, peak to peak 1 A, rms sqrt(1.5² + 1/12) A (Erickson & Maksimovic, 3rd ed., app. A.1, from memory)."""
    found = features.measure(taken(shape()))
    assert near(found["f_sw"], 1 / T) and found["f_sw"].value.s < 20 and found["duty"].value.n == pytest.approx(D, abs=1e-3)
    values = [found[f"i_inductor.{what}"].value.n for what in ("mean", "rms", "ripple")]
    assert values == pytest.approx([1.5, sqrt(1.5**2 + 1 / 12), 1.0], rel=2e-3)      # an edge lies within a sample, 0.2 % of a period
    assert found["v_switch.mean"].value.n == pytest.approx(18 * (1 - D), rel=5e-3)
    assert found.mode == "continuous" and found.edges.periods == 8 and "conduction_end" not in found


@pytest.mark.parametrize("names", [("v_switch",), ("i_inductor",), ("v_gate", "i_inductor")])
def test_a_rest_is_discontinuous_conduction(names):
    """A current that rests from 80 % of the period on, told from the voltage, from the current, and from gate and current."""
    channels = shape(rest=0.8)
    channels["v_gate"] = np.where(channels["v_switch"] == 0, 10.0, 0.0)
    found = features.measure(taken({name: channels[name] for name in names}))
    assert found.mode == "discontinuous" and found["conduction_end"].value.n == pytest.approx(0.8, abs=3e-3)     # one sample is 0.002
    assert found["duty"].value.n == pytest.approx(D, abs=3e-3) and near(found["conduction_end"], 0.8)


def test_too_near_to_the_border_to_tell():
    """A current that just touches zero: from the current alone the mode cannot be told, and a note says why."""
    current = shape()["i_inductor"] - 1.0
    found = features.measure(taken({"i_inductor": current}, instrument=Instrument(channels={"i_inductor": Channel(offset_error=0.01)})))
    assert found.mode == "cannot tell" and any("lowest value may be zero" in note for note in found.notes)
    assert features.measure(taken({"i_inductor": current + 0.1})).mode == "continuous"


def test_without_voltage_or_current_the_mode_is_open():
    """The gate alone shows frequency and duty, not what the current does."""
    found = features.measure(taken({"v_gate": np.where(shape()["v_switch"] == 0, 10.0, 0.0)}))
    assert found.mode == "cannot tell" and found["duty"].value.n == pytest.approx(D, abs=1e-3) and set(found.readings) == {"f_sw", "duty"}


def test_noise_is_no_ripple():
    """A steady voltage with 10 mV of noise spans 70 mV; what is left of it as ripple is a small part, within its uncertainty."""
    noise = np.random.default_rng(3).normal(0, 0.01, len(CLOCK))
    channels = shape() | {"v_out": 18 + noise}
    found = features.measure(taken(channels))["v_out.ripple"]
    assert np.ptp(channels["v_out"]) > 0.06 and found.value.n < 0.003


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.05, 0.2])
def test_more_noise_makes_ripple_no_larger(noise):
    """The same ripple of 1 A under ever more noise: it reads the same, with a larger uncertainty, and spikes do not count."""
    rng, channels = np.random.default_rng(8), shape()
    seen = channels["i_inductor"] + rng.normal(0, noise, len(CLOCK))
    seen[rng.integers(0, len(seen), 20)] += 5.0
    found = features.measure(taken(channels | {"i_inductor": seen}))["i_inductor.ripple"].value
    assert abs(found.n - 1.0) < 2 * found.s + 1e-3 and found.s < 0.003 + noise / 5
    assert found.s > 0.02 * noise


def test_rms_is_free_of_noise():
    """Noise adds to the square of a reading; taken off again, the rms of the triangle stays."""
    channels = shape()
    channels["i_inductor"] = channels["i_inductor"] + np.random.default_rng(4).normal(0, 0.5, len(CLOCK))
    raw, found = sqrt(np.mean(channels["i_inductor"] ** 2)), features.measure(taken(channels))["i_inductor.rms"].value
    assert raw > sqrt(1.5**2 + 1 / 12) + 0.05 and abs(found.n - sqrt(1.5**2 + 1 / 12)) < 2 * found.s + 2e-3


@pytest.mark.parametrize("start", np.linspace(0, 0.95, 7))
def test_where_the_capture_starts_does_not_matter(start):
    """Means are taken over whole periods, wherever in a period the capture starts and ends."""
    clock = CLOCK[:2700] + start * T
    found = features.measure(taken(shape(clock=clock), clock))
    assert found["i_inductor.mean"].value.n == pytest.approx(1.5, abs=3e-3) and found["duty"].value.n == pytest.approx(D, abs=2e-3)


def test_lost_samples_change_little():
    """With 5 % of the samples gone, here and there and in one hole, every reading stays within its uncertainty."""
    whole, _ = captured(Converter.from_file(DATA / "stage.toml"), seed=4)
    keep = np.random.default_rng(6).random(len(whole.time)) > 0.05
    keep[2000:2100] = False
    part = replace(whole, time=whole.time[keep], channels={n: v[keep] for n, v in whole.channels.items()})
    before, after = features.measure(whole), features.measure(part)
    for name in before.readings:
        assert abs(after[name].value.n - before[name].value.n) < 2 * before[name].value.s, name


def test_the_ringing_of_coil_and_stray_capacitance():
    """A switch node that rings at the frequency of its formula is read at that; damping as in a real one does not hide it."""
    inductance, c_stray, rng = 50e-9, 400e-12, np.random.default_rng(9)
    frequency = float(ringing_frequency().formula(inductance=inductance, c_stray=c_stray))     # 35.6 MHz
    clock = np.arange(20000) * 4e-9
    since = ((clock / T) % 1 - D) * T
    ring = np.where(since > 0, 3 * np.exp(-np.maximum(since, 0) / 2e-7) * np.sin(2 * np.pi * frequency * since), 0)
    channels = {"v_switch": shape(clock=clock)["v_switch"] + ring + rng.normal(0, 0.05, len(clock))}
    found = features.measure(taken(channels, clock))
    assert near(found["f_ring"], frequency) and found["f_ring"].value.s < 1e-3 * frequency
    assert found["duty"].value.n == pytest.approx(D, abs=1e-3) and near(found["f_sw"], 1 / T)
    slow = features.measure(taken(channels, clock), Instrument(bandwidth=20e6))
    assert any("beyond the bandwidth of 20 MHz" in note for note in slow.notes)


def test_where_nothing_rings_none_is_read():
    """Noise alone is no ringing; nor is a switch node that stays open for a few samples."""
    channels = shape()
    channels["v_switch"] = channels["v_switch"] + np.random.default_rng(2).normal(0, 0.3, len(CLOCK))
    found = features.measure(taken(channels))
    assert "f_ring" not in found and any(note.startswith("f_ring: no ringing stands out") for note in found.notes)
    clock = CLOCK[::20]
    assert any("for too few samples" in note for note in features.measure(taken(shape(clock=clock), clock)).notes)


def test_a_budget_says_what_to_buy():
    """The probe's error rules a mean, noise and steps rule a small ripple; a better probe helps the first only."""
    whole, _ = captured(Converter.from_file(DATA / "stage.toml"), seed=1, noise=0.02)
    found = features.measure(whole)
    better = replace(whole.instrument, channels={n: replace(c, probe_error=0.001) for n, c in whole.instrument.channels.items()})
    after = features.measure(whole, better)
    assert found["v_out.mean"].budget[0].what == "probe of v_out"
    assert after["v_out.mean"].value.s < 0.3 * found["v_out.mean"].value.s
    assert {share.what for share in found["v_out.ripple"].budget} >= {"noise", "resolution of v_out", "gain of v_out", "probe of v_out"}
    assert str(found["v_out.mean"]).startswith("v_out.mean = 1") and "V" in str(found["v_out.mean"])


def test_one_probe_errs_the_same_in_all_its_readings():
    """Rms over mean of one channel is known far better than either: their gain and probe are the same."""
    found = features.measure(captured(Converter.from_file(DATA / "stage.toml"), seed=1)[0])
    mean, rms = found["i_inductor.mean"].value, found["i_inductor.rms"].value
    assert standard(rms / mean) < 0.1 * mean.s / mean.n


def test_what_is_unknown_is_left_out_and_said():
    """No mean through an input that blocks direct voltage; no ripple where samples left the range; no errors without limits."""
    channels = shape()
    ac = features.measure(taken(channels, instrument=Instrument(channels={"i_inductor": Channel(coupling="AC")})))
    assert "i_inductor.mean" not in ac and ac["i_inductor.ripple"].value.n == pytest.approx(1.0, rel=5e-3)
    assert any("blocks direct voltage" in note for note in ac.notes)
    over = features.measure(taken(channels, overflowed=("i_inductor",)))
    assert "i_inductor.ripple" not in over and any("samples beyond the range are missing" in note for note in over.notes)
    assert any("count as exact" in note for note in over.notes)
    clipped = features.measure(taken(channels, instrument=Instrument(bits=8, channels={"i_inductor": Channel(range=1.0, offset=1.5)})))
    assert any("touches the end" in note for note in clipped.notes)
    coarse = features.measure(taken(channels, instrument=Instrument(bits=4, channels={"i_inductor": Channel(range=8.0)})))
    assert any("steps of the converter" in note for note in coarse.notes)
    with pytest.raises(ValueError, match="v_load was not measured; there are f_sw"):
        coarse["v_load"]


REFUSED = {
    "v_out = nothing that switches": ({"v_out": np.full(5000, 18.0)}, "v_out do not show when the switch closes"),
    "a constant": ({"v_switch": np.full(5000, 6.0)}, "v_switch shows 0 openings"),
    "noise": ({"v_switch": np.random.default_rng(1).normal(0, 1, 5000)}, "v_switch shows 0 whole periods"),
    "a constant current": ({"i_inductor": np.full(5000, 1.0)}, "i_inductor shows"),
    "two periods": ({"v_switch": shape()["v_switch"][:900]}, "v_switch shows"),
    "a period that wanders": ({"v_switch": np.where((CLOCK / T + 0.2 * np.sin(CLOCK / T)) % 1 > D, 18.0, 0.0)}, "stray from"),
    "pulses of uneven length": ({"v_switch": np.where(np.sin((CLOCK / T) ** 1.5 * 4) > 0, 18.0, 0.0)}, "stray from a regular grid"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_what_does_not_switch_is_refused(case):
    """Without switching instants on a regular grid nothing is measured, and one line says what is missing."""
    channels, said = REFUSED[case]
    clock = CLOCK[: len(next(iter(channels.values())))]
    with pytest.raises(ValueError, match="scope.csv: ") as caught:
        features.measure(taken(channels, clock))
    assert said in str(caught.value) and "\n" not in str(caught.value)


def test_the_prediction_at_any_time_is_the_waveform():
    """The exact waveform at given times is that of `waveforms`, in either mode, and repeats from period to period."""
    for r_load in (30.0, 400.0):
        state = switched.steady_state(Converter.from_file(DATA / "stage.toml").change(r_load=r_load))
        wave = state.waveforms(500)
        inside = np.append(np.diff(wave.time) > 0, False)            # at a switching instant two samples share one time
        for shift in (0.0, 7 * state.period, -3 * state.period):
            found = at_times(state, ("v_out", "i_inductor", "v_switch"), wave.time[inside] + shift + 1e-12)
            for name, values in found.items():
                assert values == pytest.approx(getattr(wave, name)[inside], abs=1e-4)      # 1 ps at up to 10 V/µs


def test_the_shipped_example_is_read_right():
    """Every reading of the tide gauge's capture holds what it was made from, within twice its uncertainty, and so does its
    efficiency by four meters."""
    found, state = features.measure(capture.read(DATA / "tide_gauge_capture.csv")), example.built()
    truth = truths(state, ("v_switch", "v_out", "i_inductor")) | {"f_ring": example.RING_FREQUENCY}
    assert found.mode == state.mode == "continuous" and found.notes[0].startswith("conduction mode") and len(found.notes) == 1
    assert set(found.readings) == set(truth) - {"conduction_end"}
    for name, reading in found.readings.items():
        assert near(reading, truth[name]), name
    meters = read_readings(DATA / "tide_gauge_readings.toml")
    efficiency = meters["v_out"] * meters["i_out"] / (meters["v_in"] * meters["i_in"])
    assert abs(efficiency.n - state.efficiency) < 2 * efficiency.s < 0.03


def test_edges_are_those_of_the_drive():
    """Openings and closings lie where the drive has them, to a sample."""
    edges = find_edges(taken(shape()))
    closes, opens = np.arange(1, 11) * T, (np.arange(1, 11) + D) * T
    assert edges.closes == pytest.approx(closes[: len(edges.closes)], abs=2.1e-8)
    assert edges.opens == pytest.approx(opens[: len(edges.opens)], abs=2.1e-8) and edges.channel == "v_switch"


def test_thousands_of_periods_are_counted_right():
    """With 37 samples a period the median from edge to edge is up to half a sample off, and over 4,000 periods that is fifty."""
    clock = np.arange(150_000) * (T / 37.37) + 1e-6
    edges = find_edges(taken(shape(clock=clock), clock))
    assert edges.period == pytest.approx(T, rel=1e-7) and edges.periods == 4012
