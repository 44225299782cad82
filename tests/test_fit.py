"""Letters fitted to captures whose truth is known: how often the stated uncertainty holds it, and what the data cannot tell."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from captures import captured, random_converter

from boostkit.bench import capture, example
from boostkit.bench.capture import Capture
from boostkit.bench.fit import WHAT, fit
from boostkit.bench.instrument import Instrument
from boostkit.bench.meters import read_readings
from boostkit.bench.prediction import at_times
from boostkit.bench.together import together
from boostkit.bench.uncertain import budget, correlated, uncertain
from boostkit.circuit import Converter, switched

DATA = Path(example.__file__).parent.parent / "data"
LABEL = example.BUILT.change(inductance=47e-6, r_inductor=0.05, r_capacitor=0.03, r_switch=0.02)  # as its labels might say


def labelled(true, rng, what=WHAT):
    """The converter as its labels say: each letter off by up to 40 %."""
    return true.change(**{name: true.letters()[name] * rng.uniform(0.7, 1.4) for name in what})


def fitted(seed, names=("v_switch", "v_out", "i_inductor")):
    """A random converter's letters, and what a fit makes of its capture."""
    rng = np.random.default_rng(1000 + seed)
    true = random_converter(rng)
    return true.letters(), fit(captured(true, names, seed)[0], labelled(true, rng))


def clean(converter, names=("v_switch", "v_out", "i_inductor")):
    """A capture without noise, steps and errors."""
    state = switched.steady_state(converter)
    clock = np.arange(6000) * 10.3 * state.period / 6000
    channels = at_times(state, names, clock + 0.37 * state.period)
    return Capture(clock, channels, {n: "V" if n[0] == "v" else "A" for n in names}, "scope.csv", clock[1])


@pytest.fixture(scope="module")
def gauge():
    """The shipped capture of the tide gauge."""
    return capture.read(DATA / "tide_gauge_capture.csv")


def test_the_truth_lies_where_the_fit_says():
    """Of 200 random converters, with noise, steps, and errors of gain, probe and offset: the interval of 95 % (1.96 standard
    uncertainties) of each letter holds the truth 90 to 98 times in 100, and that of one 58 to 78 times (a normal error: 68)."""
    strays, residuals = {name: [] for name in WHAT}, []
    for seed in range(200):
        truth, found = fitted(seed)
        residuals.append(found.residual)
        for name in WHAT:
            strays[name].append((found[name].n - truth[name]) / found[name].s)
    for name, stray in strays.items():
        covered = [np.mean(np.abs(stray) <= k) for k in (1, 1.96)]
        assert 0.90 <= covered[1] <= 0.98 and 0.58 <= covered[0] <= 0.78, (name, covered)
        assert abs(np.mean(stray)) < 0.25, name      # unbiased: the mean of 200 scatters by 0.07
    assert 0.97 < np.median(residuals) < 1.02 and max(residuals) < 1.2        # nothing left over but noise


def test_the_shipped_bench_belongs_to_the_shipped_capture(gauge):
    """The labels, source and load that ship beside the capture: fitted as README shows it, no note doubts them and the truth is near."""
    labels, truth = Converter.from_file(DATA / "tide_gauge_bench.toml"), example.BUILT.letters()
    found = fit(gauge, labels, [*WHAT, "capacitance"])
    assert not [note for note in found.notes if "stray far" not in note]          # the ringing is in the capture, and said
    for name in (*WHAT, "capacitance"):
        assert abs(found[name].n - truth[name]) < 3 * found[name].s
    assert any("known is wrong" in note for note in fit(gauge, labels.change(r_load=30.0), [*WHAT, "capacitance"]).notes)


def test_without_noise_and_errors_the_truth_comes_back():
    """In either conduction mode. Edges told to a sample in 600 blur the corners; the winding, least seen in light load, shows it most."""
    for r_load, near in ((51.0, 3e-3), (400.0, 2e-2)):
        true = example.BUILT.change(r_load=r_load)
        found = fit(clean(true), labelled(true, np.random.default_rng(5)))
        assert [found[name].n for name in WHAT] == pytest.approx([true.letters()[name] for name in WHAT], rel=near)
        assert found.converter.letters() == pytest.approx(true.letters(), rel=near) and found.told == WHAT and not found.together
        assert found.nuisance["duty"].n == pytest.approx(true.switch.duty, rel=1e-4)


def test_the_drive_is_told_from_the_capture(gauge):
    """A label with another duty and frequency, or a switch that a current opens, is fitted alike, driven by the measured clock."""
    found = fit(gauge, LABEL)
    for label in (LABEL.change(duty=0.4, f_sw=100e3), LABEL.change(peak_current=1.6)):
        other = fit(gauge, label)
        assert [other[name].n for name in WHAT] == pytest.approx([found[name].n for name in WHAT], rel=1e-3)
        assert other.converter.switch.duty == pytest.approx(example.BUILT.switch.duty, rel=1e-3)


def test_the_tide_gauge_has_what_was_built(gauge):
    """Each letter of the shipped capture within three standard uncertainties of what it was made from, ringing notwithstanding."""
    found = fit(gauge, LABEL)
    for name in WHAT:
        assert abs(found[name].n - example.BUILT.letters()[name]) < 3 * found[name].s, name
    assert found["inductance"].s < 0.01 * found["inductance"].n and found["r_capacitor"].s < 0.01 * found["r_capacitor"].n
    assert found.lines[0].startswith("L = 43.7(") and found.lines[0].endswith(" µH") and found.lines[1].startswith("R_L = ")
    assert found.residual < 1.3 and any("as ringing does" in note for note in found.notes)
    assert {share.what for share in budget(found["inductance"])} >= {"noise", "gain of i_inductor", "probe of i_inductor"}


def test_what_cannot_be_told_apart_is_told_together(gauge):
    """Without the voltage across the switch, winding and switch differ only in when they carry the current: a sum of theirs is told
    far better than either, and is right. The mean current sees the switch by the duty, the rising slope sees all of it."""
    channels = {name: gauge.channels[name] for name in ("v_out", "i_inductor")}
    found = fit(replace(gauge, channels=channels), LABEL)
    (group,) = [g for g in found.together if {n for _, n in g.what} == {"r_inductor", "r_switch"}]
    (one, first), (weight, second) = group.what
    truth = example.BUILT.letters()
    assert one == 1 and (first, second) == ("r_inductor", "r_switch") and example.BUILT.switch.duty < weight < 1
    assert abs(group.value.n - truth[first] - weight * truth[second]) < 2 * group.value.s
    assert 10 * group.value.s < 3 * min(found[first].s, found[second].s)
    assert not {first, second} & set(found.told) and {"inductance", "r_capacitor"} <= set(found.told)
    assert group.words.startswith("r_inductor + 0.") and group.words.endswith(" r_switch")
    assert any(line.startswith("R_L + 0.") and "R_on = " in line for line in found.lines)


def test_told_together_is_right_as_often_as_it_says():
    """Combinations of random converters hold their truth within their expanded uncertainty."""
    hits = []
    for seed in range(24):
        truth, found = fitted(seed, ("v_out", "i_inductor"))
        hits += [abs(g.value.n - sum(c * truth[n] for c, n in g.what)) <= 2 * g.value.s for g in found.together]
    assert len(hits) >= 8 and np.mean(hits) >= 0.8       # of some ten: two misses come by chance once in ten


def test_a_sum_of_three_is_found_and_told_letters_are_left_alone():
    """Two numbers of which only sums are known, as a made-up covariance: a + b and c + b to 1, each alone to 100."""
    covariance = 1e4 * np.outer([1, -1, 1], [1, -1, 1]) + np.diag([1.0, 0.0, 1.0])
    values = dict(zip("abc", correlated([20, 30, 40], covariance), strict=True))
    groups = together(values, covariance, "Ω")
    assert [group.words for group in groups] == ["a + b", "c + b"]
    assert [group.value.n for group in groups] == pytest.approx([50, 70]) and [g.value.s for g in groups] == pytest.approx([1, 1])
    sure = dict(zip("abc", correlated([2000, 3000, 4000], covariance), strict=True))
    assert together(sure, covariance, "Ω") == ()


def test_an_estimate_may_fall_below_zero_but_the_converter_does_not():
    """Of switches without resistance about half the estimates are negative: cut off at zero they would be too large on average."""
    values = []
    for seed in range(12):
        true = example.BUILT.change(r_switch=0.0)
        found = fit(captured(true, seed=seed, noise=0.03)[0], LABEL)
        values.append(found["r_switch"].n / found["r_switch"].s)
        assert found.converter.switch.on_resistance == max(found["r_switch"].n, 0.0)
        if found["r_switch"].n < 2 * found["r_switch"].s:
            assert "r_switch" not in found.told and any("r_switch: at most" in note for note in found.notes)
    assert 2 <= sum(value < 0 for value in values) <= 10 and abs(np.mean(values)) < 1         # the mean of 12 scatters by 0.29


def test_what_a_meter_says_goes_into_the_result(gauge):
    """A supply read by a meter makes the winding's resistance less certain than one known exactly, and stands in the budget."""
    meter = read_readings(DATA / "tide_gauge_readings.toml")["v_in"]
    exact, found = fit(gauge, LABEL), fit(gauge, LABEL, known={"v_in": meter})
    assert found["r_inductor"].s > exact["r_inductor"].s and "v_in" in found.nuisance
    shares = {share.what: share.share for share in budget(found["r_inductor"])}
    own = {share.what for share in budget(meter)}
    assert own & set(shares) and abs(found["r_inductor"].n - 0.062) < 2 * found["r_inductor"].s


def test_a_worse_instrument_gives_less(gauge):
    """The same samples from an instrument with twice the limits of error: no value is better known, the inductance is much worse."""
    loose = replace(gauge.instrument, channels={
        name: replace(c, gain_error=2 * c.gain_error, probe_error=2 * c.probe_error, offset_error=2 * c.offset_error)
        for name, c in gauge.instrument.channels.items()})  # fmt: skip
    good, bad = fit(gauge, LABEL), fit(gauge, LABEL, instrument=loose)
    assert all(bad[name].s > good[name].s for name in WHAT) and bad["inductance"].s > 1.5 * good["inductance"].s
    assert any("count as exact" in note for note in fit(gauge, LABEL, instrument=Instrument()).notes)


@pytest.mark.parametrize("change", [{"v_in": 5.0}, {"capacitance": 40e-6}, {"v_rectifier": 0.9, "r_load": 40.0}])
def test_a_capture_of_another_converter_is_noticed(gauge, change):
    """Fitted to the wrong circuit: the notes say so, and no small uncertainty is claimed."""
    right, wrong = fit(gauge, LABEL), fit(gauge, LABEL.change(**change))
    assert any("do not agree" in note or "do not belong together" in note for note in wrong.notes)
    assert not any("do not agree" in note or "do not belong together" in note for note in right.notes)


def test_left_over_beyond_the_noise_widens_the_result():
    """A hum that no circuit explains: what is left over is named and every uncertainty grows with it."""
    whole, _ = captured(example.BUILT, seed=3)
    phase = whole.time * example.BUILT.switch.frequency
    hum = whole.channels["i_inductor"] + 0.08 * np.sin(2 * np.pi * 5 * phase)
    before, after = fit(whole, LABEL), fit(replace(whole, channels=whole.channels | {"i_inductor": hum}), LABEL)
    assert after.residual > 2 and before.residual < 1.1 and any("i_inductor: what is left over" in note for note in after.notes)
    assert after["inductance"].s > 1.5 * before["inductance"].s


def test_more_samples_tell_more():
    """Four times as long a capture halves what noise puts into the resistance of the switch."""
    def noise(periods, samples):
        shares = budget(fit(captured(example.BUILT, seed=2, noise=0.03, periods=periods, samples=samples)[0], LABEL)["r_switch"])
        return next(share.standard for share in shares if share.what == "noise")

    assert noise(10.3, 6000) / noise(41.2, 24000) == pytest.approx(2, rel=0.1)       # the whole periods are 10 and 41


REFUSED = {
    "no letter": (("r_winding",), {}, "r_winding cannot be fitted; these can: inductance"),
    "not in this circuit": (("c_input",), {}, "c_input cannot be fitted: this circuit has none"),
    "the drive": (("duty",), {}, "duty cannot be fitted as a letter: it is told from the edges"),
    "nothing": ((), {}, "what = nothing must name at least one letter"),
    "twice": (("inductance", "inductance"), {}, "what = inductance, inductance must name"),
    "known already": (("v_in",), {"v_in": uncertain(6.0, 0.1, "meter")}, "what = v_in must name"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_letter_that_is_no_unknown_is_refused(gauge, case):
    """Letters that are none, not in the circuit, or not to be fitted, in one line."""
    what, known, said = REFUSED[case]
    with pytest.raises(ValueError) as caught:
        fit(gauge, LABEL, what, known=known)
    assert str(caught.value).startswith(said) and "\n" not in str(caught.value)


def test_what_nothing_shows_is_refused(gauge):
    """A circuit whose capture holds no channel that it predicts, none that switches, or none that a letter changes."""
    def only(**channels):
        return replace(gauge, channels=channels)

    small = LABEL.change(c_input=1e-10, r_source=0.01, r_input_capacitor=0.05)     # a capacitor that hardly carries current
    for seen, circuit, what, said in [
        (gauge, small, ("inductance", "r_input_capacitor"), "r_input_capacitor cannot be fitted: v_switch, v_out, i_inductor of"),
        (only(v_gate=-gauge.channels["v_switch"]), LABEL, WHAT, "none of v_gate can be fitted"),
        (only(v_out=gauge.channels["v_out"]), LABEL, WHAT, "v_out do not show when the switch closes"),
    ]:
        with pytest.raises(ValueError) as caught:
            fit(seen, circuit, what)
        assert said in str(caught.value) and "\n" not in str(caught.value)
    with pytest.raises(ValueError, match="v_in was not fitted; there are inductance"):
        fit(gauge, LABEL, "inductance")["v_in"]


def test_a_channel_that_was_cut_off_is_left_out():
    """A current probe at its end: the fit says so and takes the other channels, instead of a smaller ripple."""
    taken, _ = captured(example.BUILT, seed=4)
    current = taken.channels["i_inductor"]
    cut = replace(taken, channels=taken.channels | {"i_inductor": np.minimum(current, np.percentile(current, 80))})
    found = fit(cut, LABEL, ("inductance", "r_capacitor"))
    assert any(note == "i_inductor is left out: its samples are cut off" for note in found.notes)
    for name, truth in (("inductance", 44.2e-6), ("r_capacitor", 0.021)):
        assert example.BUILT.letters()[name] == pytest.approx(truth) and abs(found[name].n - truth) < 3 * found[name].s
