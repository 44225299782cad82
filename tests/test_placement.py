"""Where poles and zeros go: limits by hand, margins by python-control at every corner, and nothing better left lying about."""

from math import atan, degrees, inf, pi, sqrt

import control
import numpy as np
import pytest

from boostkit.circuit import Converter, averaged
from boostkit.circuit.linear import Linear
from boostkit.control.compensator import Compensator
from boostkit.control.corners import at_corners, of_loop, spread, worst
from boostkit.control.networks import Divider, op_amp
from boostkit.control.placement import furthest, place, reach, right_half_plane
from boostkit.derivations import compensation

F_SW = 150e3


def _stage(v_in: float, i_out: float) -> Converter:
    """A stage from v_in to about 18 V."""
    return Converter.of(v_in=v_in, duty=1 - 0.95 * v_in / 18, f_sw=F_SW, inductance=47e-6, capacitance=150e-6, r_load=18 / i_out,
                        r_inductor=0.05, r_switch=0.03, v_rectifier=0.4, r_rectifier=0.02, r_capacitor=0.02)  # fmt: skip


STAGES = {(v, i): _stage(v, i) for v in (5.5, 7.2) for i in (0.02, 0.35, 0.6)}
VOLTAGE = {corner: averaged.model(stage).control_to_output for corner, stage in STAGES.items()}


def _family(rng) -> dict[str, Linear]:
    """Four corners of a boost stage by its formulas: gain, resonance and right-half-plane zero move together."""
    f0, zero, esr = 10 ** rng.uniform(2.5, 3.2), 10 ** rng.uniform(4, 5), 10 ** rng.uniform(4.3, 5.5)
    corners = {}
    for name, share, load in (("low full", 1.0, 1.0), ("high full", 1.3, 1.0), ("low half", 1.0, 0.5), ("high half", 1.3, 0.5)):
        quality = min(6.0, rng.uniform(1.5, 4) / load)
        corners[name] = Linear.corner_form(40 / share, (-zero * share**2 / load, esr), (), ((f0 * share, quality),))
    return corners


def _truth(compensator: Compensator, plant: Linear) -> tuple[float, float, float, bool]:
    """Last crossover, least phase margin, gain margin and stability by python-control, all crossings counted."""
    loop = compensator.linear().then(plant)
    theirs = control.ss(loop.a, loop.b[:, None], loop.c[None], loop.d)
    gains, phases, _, passing, crossing, _ = control.stability_margins(theirs, returnall=True)
    real = (np.abs(np.abs(np.angle(theirs(1j * passing))) - pi) < 1e-3) & (passing > 1) & (passing < 1e9)
    rising = gains[real][gains[real] > 1]
    stable = bool(np.all(control.feedback(theirs).poles().real < 0))
    return float(crossing.max()) / 2 / pi, float(phases.min()), float(rising.min(initial=inf)), stable


def test_an_integrator_on_plain_gains():
    """Corners that are plain gains of 2 and 5: the integrator crosses at f_i times the gain, with 90 degrees left at both."""
    plants = {"weak": Linear.constant(2.0), "strong": Linear.constant(5.0)}
    placed = place(plants, "integrator", 1e3, 60, F_SW)
    assert placed.compensator.f_integrator == pytest.approx(200.0)
    assert placed.met and placed.crossover == pytest.approx(1e3) and placed.margins["weak"].crossover == pytest.approx(400.0)
    assert placed.margins["strong"].phase_margin == pytest.approx(90.0) and placed.margins["weak"].gain_margin == inf


def test_what_limits_the_crossover():
    """The zero's quarter at the worst corner, a tenth of the clock, 30 degrees of delay: each by hand, the least of them wins."""
    plants = {"a": Linear.corner_form(10.0, (-12e3,), (1e3, 2e3)), "b": Linear.corner_form(10.0, (-8e3, 5e3), (1e3, 2e3))}
    limits = reach(plants, F_SW)
    assert (limits.crossover, limits.by) == (pytest.approx(2e3), "right-half-plane zero")
    assert limits.limits[0].corner == "b" and limits.limits[1].crossover == pytest.approx(15e3)
    turned = -np.angle(complex(plants["a"](3e3) / Linear.corner_form(10.0, (12e3,), (1e3, 2e3))(3e3))) / 2
    assert degrees(turned) == pytest.approx(degrees(atan(0.25)))  # a quarter of the zero takes 14 degrees
    slow = reach(plants, F_SW, zeros={"a": None, "b": None}, delay=10e-6)
    assert slow.by == "delay" and slow.crossover == pytest.approx(30 / 360 / 10e-6) and len(slow.lines) == 2
    turned = -degrees(compensation.delay_phase().formula(f=slow.crossover, delay=10e-6))
    assert turned == pytest.approx(30)
    assert reach({"a": lambda f: 1 + 0 * f}, F_SW).by == "switching frequency"


def test_the_right_half_plane_zero_is_read_from_the_plant():
    """As the averaged model gives it, and about D'^2 R/L of the ideal stage (parts with losses move it by a tenth)."""
    stage = STAGES[5.5, 0.6]
    found = right_half_plane(VOLTAGE[5.5, 0.6])
    assert found == pytest.approx(averaged.model(stage).rhp_zero)
    assert found == pytest.approx((1 - stage.switch.duty) ** 2 * 30 / 47e-6 / 2 / pi, rel=0.15)
    assert right_half_plane(Linear.corner_form(1.0, (5e3,), (1e3,))) is None


@pytest.mark.parametrize("seed", range(16))
def test_placement_keeps_its_word_at_every_corner(seed):
    """Crossover, margins and stability of each corner by python-control; where the placement says it fails, it does fail."""
    rng = np.random.default_rng(seed)
    plants = _family(rng)
    crossover = rng.uniform(0.4, 1.3) * reach(plants, F_SW).crossover
    placed = place(plants, "two zeros", crossover, 50, F_SW)
    truth = [_truth(placed.compensator, plant) for plant in plants.values()]
    good = all(stable and phase >= 50 and gain >= 2 for _, phase, gain, stable in truth)
    assert placed.met == good
    assert max(f for f, *_ in truth) == pytest.approx(placed.crossover, rel=1e-5)
    if placed.met:
        assert placed.crossover == pytest.approx(crossover, rel=0.03)  # the search allows two per cent
        assert min(phase for _, phase, *_ in truth) == pytest.approx(placed.margins[placed.worst].phase_margin, abs=1e-3)
    else:
        assert "not to be had" in placed.why[-1]


def test_both_verdicts_occur():
    """Among easy and hard wishes some are met and some are not, so that the test above is one."""
    plants = _family(np.random.default_rng(1))
    most = reach(plants, F_SW).crossover
    assert place(plants, "two zeros", 0.5 * most, 50, F_SW).met and not place(plants, "two zeros", most, 100, F_SW).met
    assert not place(plants, "integrator", most, 50, F_SW).met


@pytest.mark.parametrize("seed", range(3))
def test_nothing_better_lies_about(seed):
    """No compensator of the kind, zeros and poles thrown at random, meets the same wishes with more gain at low frequency."""
    rng = np.random.default_rng(seed)
    plants = _family(rng)
    crossover = 0.8 * reach(plants, F_SW).crossover
    placed = place(plants, "two zeros", crossover, 50, F_SW)
    assert placed.met
    peak = max(abs(complex(plant(crossover))) for plant in plants.values())
    best = placed.compensator
    for k in range(200):
        far = k < 100  # anywhere, and then nearby
        zeros = crossover * 10 ** rng.uniform(-1.5, 0.3, 2) if far else np.array(best.zeros) * rng.uniform(0.7, 1.5, 2)
        pole = float(np.clip(best.poles[0] * rng.uniform(0.7, 1.5), 2 * max(zeros), F_SW / 2))
        pole = rng.uniform(2 * max(zeros), F_SW / 2) if far else pole
        raw = Compensator("two zeros", 1.0, tuple(zeros.tolist()), (pole, pole))
        other = raw.scaled(1 / (peak * abs(complex(raw(crossover)))))
        if other.f_integrator > 1.05 * placed.compensator.f_integrator:  # the search ends within 5 % of the best place
            found = [of_loop(other, plant, 0.1, F_SW / 2) for plant in plants.values()]
            assert not all(m.stable and m.phase_margin >= 50 and m.gain_margin >= 2 and m.crossover < 1.02 * crossover for m in found)


def test_voltage_mode_on_averaged_stages():
    """Two zeros cross over at the reach, at corners in continuous and discontinuous conduction, and still do with bought parts."""
    limits = reach(VOLTAGE, F_SW)
    placed = furthest(VOLTAGE, "two zeros", 50, F_SW, limits.crossover)
    assert placed.met and placed.crossover > 0.5 * limits.crossover
    network = op_amp(placed.compensator, Divider.for_output(18.0, 1.25))
    found = at_corners(VOLTAGE, network.compensator(), 0.01, F_SW / 2)
    corner, least = worst(found)
    assert least.stable and least.phase_margin > 40  # E12 capacitors miss by up to a tenth
    truth = _truth(network.compensator(), VOLTAGE[corner])
    assert (truth[1], truth[3]) == (pytest.approx(least.phase_margin, abs=1e-3), True)
    spread = at_corners({corner: VOLTAGE[corner]}, network.corners(), 0.01, F_SW / 2)
    assert len(spread) == 2**6 and worst(spread)[1].phase_margin < least.phase_margin


def test_the_furthest_is_the_furthest():
    """At what it finds all is met, a tenth higher it is not; where nothing is met, it says so."""
    plants = _family(np.random.default_rng(3))
    found = furthest(plants, "two zeros", 60, F_SW, 20e3)
    assert found.met and not place(plants, "two zeros", 1.1 * found.crossover, 60, F_SW).met
    assert not furthest({"wrong way": Linear.constant(-1.0)}, "integrator", 60, F_SW, 1e3).met


def test_ripple_is_kept_out():
    """The compensator's gain at the switching frequency stays within what is allowed, at the price of gain at low frequency."""
    plants = _family(np.random.default_rng(1))
    crossover = 0.4 * reach(plants, F_SW).crossover
    free = place(plants, "two zeros", crossover, 50, F_SW)
    loud = abs(complex(free.compensator(F_SW)))
    quiet = place(plants, "two zeros", crossover, 50, F_SW, most_ripple_gain=0.6 * loud)
    assert quiet.met and abs(complex(quiet.compensator(F_SW))) <= 0.6 * loud * 1.001
    assert quiet.compensator.f_integrator < free.compensator.f_integrator


def test_the_lead_of_a_textbook():
    """Erickson & Maksimovic, 3rd ed., sec. 9.5.3 (as quoted): 52 degrees at 5 kHz: zero 1.7, pole 14.5 kHz; gain 3.7 and
    a loop gain of 8.6 (18.7 dB) at rest."""
    zero, pole = (each().formula(f_crossover=5e3, lead_angle=52 * pi / 180) for each in (compensation.lead_zero, compensation.lead_pole))
    assert (zero, pole) == (pytest.approx(1.7e3, abs=50), pytest.approx(14.5e3, abs=50))  # as printed
    f0, quality = 1 / (2 * pi * sqrt(50e-6 * 500e-6)), 3 * sqrt(10)
    plant = Linear.corner_form(28 / 3 / 4, q_pairs=((f0, quality),))
    lead = Linear.corner_form(1.0, (zero,), (pole,))
    gain = (5e3 / 1e3) ** 2 / (28 / 12) / compensation.lead_gain().formula(f_lead_zero=zero, f_lead_pole=pole)  # as there: f0 1 kHz
    assert gain == pytest.approx(3.7, abs=0.05) and gain * 28 / 12 == pytest.approx(8.6, abs=0.05)
    exact = 1 / abs(complex(plant(5e3) * lead(5e3)))
    assert exact == pytest.approx(gain, rel=0.06)  # its asymptote leaves out (f0/f)^2, 4 % at the crossover
    found = of_loop(lead.scaled(exact), plant, 1.0, 1e6)
    own = np.angle(complex(plant(5e3)), deg=True) + 180  # what the plant alone leaves
    assert (found.crossover, found.phase_margin) == (pytest.approx(5e3), pytest.approx(52 + own, abs=1e-6))


def test_what_makes_no_sense_is_refused():
    """No corner, an unknown kind, a crossover beyond half the clock, a phase margin beyond reason."""
    plants = {"a": Linear.constant(1.0)}
    for change, words in (({"plants": {}}, "at least one corner"), ({"kind": "lead"}, "kind"), ({"crossover": 80e3}, "crossover"),
                          ({"phase_margin": 0.0}, "phase_margin"), ({"gain_margin": 0.5}, "gain_margin")):  # fmt: skip
        with pytest.raises(ValueError, match=words):
            place(**{"plants": plants, "kind": "integrator", "crossover": 1e3, "phase_margin": 60, "f_sw": F_SW, **change})
    with pytest.raises(ValueError, match="at least one corner"):
        reach({}, F_SW)


@pytest.mark.parametrize("kind, gain", [("one zero", 1.0), ("two zeros", 1.0), ("two zeros", 4.0)])
def test_the_least_margins_of_all_tolerances_are_those_found_one_by_one(kind, gain):
    """Every combination of parts at every corner, each followed and its crossings solved alone; an unstable one is seen."""
    placed = place(VOLTAGE, kind, 1.2e3, 50, F_SW)
    network = op_amp(placed.compensator.scaled(gain), Divider.for_output(18.0, 1.25))
    found = spread(VOLTAGE, network.corners(), 0.01, F_SW / 2)
    each = at_corners(VOLTAGE, network.corners(), 0.01, F_SW / 2)
    assert len(each) == len(VOLTAGE) * 2 ** (1 + len(network.parts))
    assert found.phase_margin == pytest.approx(min(m.phase_margin for m in each.values()), abs=0.01)  # degrees; two may lie that close
    assert found.stable == all(m.stable for m in each.values())
    if found.stable:
        assert found.gain_margin == pytest.approx(min(m.gain_margin for m in each.values()), rel=1e-3)  # likewise


def test_a_loop_that_never_passes_one_has_no_spread():
    """A gain of a thousandth throughout: said in words."""
    with pytest.raises(ValueError, match="no loop gain passes one"):
        spread({"only": Linear.corner_form(1e-3, (), (1e3,))}, {"": lambda f: 1.0 + 0.0 * f}, 1.0, 1e5)


def test_a_corner_that_crosses_far_below_counts_as_not_met():
    """Light load with hardly any gain and a very slow pole, beside a strong corner: no error; margins from below its pole."""
    plants = {"strong": Linear.corner_form(20.0, (), (1e3,)), "light": Linear.corner_form(2e-4, (), (1e-3,))}
    placed = place(plants, "one zero", 1e3, 60, F_SW)
    assert set(placed.margins) == set(plants) and placed.margins["light"].crossover < 1e-2
    blind = {"strong": plants["strong"], "light": lambda f: plants["light"](f)}  # one that does not know its pole
    found = place(blind, "one zero", 1e3, 60, F_SW)
    assert not found.met and set(found.margins) == {"strong"} and found.worst == "light"
    assert any(words.startswith("no margins at light: ") for words in found.why)


def test_a_faint_corner_is_followed_down_to_where_its_gain_passes_one():
    """Plain gains of 20 and 1e-7 with an integrator of 50 Hz: the faint one crosses over at 5 µHz, far below any fixed lower end."""
    placed = place({"strong": Linear.constant(20.0), "faint": Linear.constant(1e-7)}, "integrator", 1e3, 60, F_SW)
    assert placed.met and placed.margins["faint"].crossover == pytest.approx(5e-6)
    assert placed.margins["faint"].phase_margin == pytest.approx(90.0)


@pytest.mark.parametrize("kind", ["one zero", "two zeros"])
def test_no_integrator_comes_under_another_name(kind):
    """A sharp resonance leaves only a slow loop: its pole never comes to lie below the crossover, where it undoes the zero."""
    found = furthest({"a": Linear.corner_form(20.0, q_pairs=((1e3, 50.0),))}, kind, 60, F_SW, 5e3)
    assert min(found.compensator.poles) >= 0.999 * found.crossover
