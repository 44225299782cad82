"""Where the power goes: the losses of a point against the exact circuit, published values and direct integration."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from boostkit.circuit import switched
from boostkit.derivations import duty_with_losses, real_parts
from boostkit.parts import losses
from boostkit.parts.kinds import Capacitor, Heat, Inductor, Parts, Rectifier, Switch
from boostkit.parts.losses import Point

SWITCH = Switch("switch", 30, 10, 0.02, 20e-9, 30e-9, on_slope=0.004, output_capacitance=200e-12, gate_charge=10e-9, heat=Heat(60))
DIODE = Rectifier("diode", 30, 5, 0.02, forward_voltage=0.4, forward_slope=-1e-3, recovery_charge=5e-9, recovery_time=5e-9)
SECOND = Rectifier("second switch", 30, 5, 0.02, kind="switch", on_slope=0.004, dead_time=40e-9, recovery_charge=20e-9,
                   recovery_time=10e-9, gate_charge=8e-9)  # fmt: skip
COIL = Inductor("coil", 47e-6, 0.04, 4, 3, ac_ratio=3.0, core_loss=0.05, core_ripple=0.5)
BANK = Capacitor("bank", "electrolytic", 100e-6, 25, 0.01, 2)
INPUT = Capacitor("input", "ceramic", 22e-6, 16, 0.005, 3)
PARTS = Parts(SWITCH, DIODE, COIL, BANK, INPUT, control_current=1e-3)
LOSSLESS = Parts(Switch("s", 100, 100, 0.0, 0.0, 0.0), Rectifier("r", 100, 100, 0.0), Inductor("l", 47e-6, 0.0, 9, 9),
                 Capacitor("c", "film", 100e-6, 100, 0.0, 9))  # fmt: skip
WARM = {"switch": 80.0, "rectifier": 90.0, "inductor": 70.0}
HERE = {"v_in": 6.0, "v_out": 18.0, "f_sw": 150e3}


def _exact(parts, i_out, temperatures=None, **where):
    return switched.steady_state(losses.converter(parts, **(HERE | where), i_out=i_out, temperatures=temperatures))


@pytest.mark.parametrize("i_out", [0.6, 0.02])
@pytest.mark.parametrize("rectifier", [DIODE, SECOND])
def test_conduction_is_what_the_exact_circuit_dissipates(rectifier, i_out):
    """Item for item, in either conduction mode and for either rectifier, warm."""
    parts = replace(PARTS, rectifier=rectifier)
    state = _exact(parts, i_out, WARM)
    items = losses.at(Point.of(state), parts, WARM).items
    named = {"inductor": "inductor winding", "switch": "switch conduction", "rectifier": "rectifier conduction",
             "capacitor": "capacitor ESR"}  # fmt: skip
    for part, name in named.items():
        assert items[name] == pytest.approx(state.losses[part], rel=1e-9)  # both are exact integrals


def test_the_two_modes_are_both_met():
    """The loads of these tests lie in continuous and in discontinuous conduction."""
    assert [_exact(PARTS, i).mode for i in (0.6, 0.02)] == ["continuous", "discontinuous"]


def test_formulas_agree_with_the_exact_circuit():
    """By formula and by the exact circuit, over random operating points of both modes, losses within one percent."""
    rng = np.random.default_rng(4)
    v_in, i_out = rng.uniform(5.5, 7.2, 24), np.geomspace(0.01, 0.6, 24)
    path = losses.resistances(PARTS, WARM)
    many = Point.by_formula(v_in, 18.0, i_out, 150e3, 47e-6, **path)
    assert 4 < many.discontinuous.sum() < 20
    formula = losses.at(many, PARTS, WARM)
    for k in range(24):
        point = Point.of(_exact(PARTS, i_out[k], WARM, v_in=v_in[k]))
        assert many.duty[k] == pytest.approx(point.duty, rel=0.001)  # first order in ripple and resistance
        assert many.i_inductor_rms[k] == pytest.approx(point.i_inductor_rms, rel=0.002)  # as the duty
        exact = losses.at(point, PARTS, WARM)
        assert formula.total[k] == pytest.approx(exact.total, rel=0.01)  # losses go as squares of currents


def test_a_lossy_capacitor_asks_for_more_current():
    """The output capacitor's series resistance raises the coil current by formula as in the exact circuit."""
    lossy = replace(PARTS, capacitor=replace(BANK, series_resistance=0.2))
    means = [Point.of(_exact(parts, 0.6)).i_inductor_mean for parts in (PARTS, lossy)]
    formula = [Point.by_formula(6.0, 18.0, 0.6, 150e3, 47e-6, **losses.resistances(parts)).i_inductor_mean for parts in (PARTS, lossy)]
    assert formula[1] - formula[0] == pytest.approx(means[1] - means[0], rel=0.1)  # first order; the difference is 2 % of the current


def test_without_loss_the_ideal_gain_and_no_loss_at_all():
    """Parts without loss: the duty is 1 - V_in/V_out, every loss is nothing, the efficiency is one."""
    point = Point.by_formula(6.0, 18.0, 0.6, 150e3, 47e-6)
    assert point.duty == pytest.approx(2 / 3, rel=1e-12)
    found = losses.at(point, LOSSLESS)
    assert found.total == 0 and found.efficiency == 1


def test_the_duty_gives_the_gain_back():
    """The duty for an output, put into the gain with losses (E&M, 3rd ed., eq. 3.30-3.35; A8), gives that output again."""
    path = {"r_inductor": 0.1, "r_switch": 0.05, "r_rectifier": 0.02, "v_rectifier": 0.5}
    i_out = 23.487 / 20
    duty = 1 - duty_with_losses.duty_off_with_losses().formula(v_in=10.0, v_out=23.487, i_out=i_out, **path)
    assert duty == pytest.approx(0.6, abs=1e-4)  # A8: D 0.6 gives M 2.3487
    assert 10 * real_parts.real_gain().formula(v_in=10.0, duty=duty, r_load=20.0, **path) == pytest.approx(23.487, rel=1e-12)


def test_arrays_are_what_single_points_are():
    """An array of points gives, entry by entry, what each point gives alone; the numbers of parts may be arrays too."""
    loads = np.array([0.01, 0.1, 0.6])
    on = np.array([0.01, 0.02, 0.04])
    parts = replace(PARTS, switch=replace(SWITCH, on_resistance=on))
    many = losses.at(Point.by_formula(6.0, 18.0, loads, 150e3, 47e-6, **losses.resistances(parts)), parts)
    for k in range(3):
        alone = replace(PARTS, switch=replace(SWITCH, on_resistance=float(on[k])))
        one = losses.at(Point.by_formula(6.0, 18.0, float(loads[k]), 150e3, 47e-6, **losses.resistances(alone)), alone)
        for name, loss in one.items.items():
            assert np.broadcast_to(many.items[name], 3)[k] == pytest.approx(loss, rel=1e-12, abs=1e-18)


def test_every_loss_heats_one_part_and_nothing_is_lost_twice():
    """The losses by part add up to the losses by name."""
    found = losses.at(Point.of(_exact(PARTS, 0.6)), PARTS)
    assert set(found.items) == set(losses.HEATS)
    assert sum(found.of_part.values()) == pytest.approx(found.total, rel=1e-12)
    in_switch = ("switch conduction", "switch edges", "switch capacitance", "rectifier recovery")  # E&M, 3rd ed., sec. 4.3
    assert found.of_part["switch"] == pytest.approx(sum(found.items[name] for name in in_switch), rel=1e-12)
    assert found.input_power == pytest.approx(18 * 0.6 + found.total, rel=1e-12)


def test_an_edge_costs_half_of_voltage_current_and_time():
    """0.5 V I t for each edge, by the current at that edge. Erickson & Maksimovic, 3rd ed., eq. 4.5-4.6 (E1)."""
    point = Point.of(_exact(PARTS, 0.6))
    edges = losses.at(point, PARTS).items["switch edges"]
    by_hand = 0.5 * point.v_out * (point.i_inductor_min * 20e-9 + point.i_inductor_max * 30e-9) * 150e3
    assert edges == pytest.approx(by_hand, rel=1e-12)


def test_a_falling_capacitance_costs_four_thirds():
    """Stated at the output voltage, C ~ 1/sqrt(v) loses (2/3) C V^2: 4/3 of a constant one. E&M, 3rd ed., eq. 4.41-4.44 (E2)."""
    point = Point.by_formula(6.0, 18.0, 0.6, 150e3, 47e-6)
    constant, falling = (losses.at(point, replace(PARTS, switch=replace(SWITCH, capacitance_voltage=v))).items["switch capacitance"]
                         for v in (0.0, 18.0))  # fmt: skip
    assert constant == pytest.approx(0.5 * 200e-12 * 18**2 * 150e3, rel=1e-12)
    assert falling == pytest.approx(4 / 3 * constant, rel=1e-12)


def test_gates_take_charge_times_voltage():
    """Q V f for each gate; a diode has none. E&M, 3rd ed., sec. 4.6.1 (E3)."""
    point = Point.by_formula(6.0, 18.0, 0.6, 150e3, 47e-6)
    items = losses.at(point, replace(PARTS, rectifier=SECOND)).items
    assert items["switch gate"] == pytest.approx(10e-9 * 5 * 150e3) and items["rectifier gate"] == pytest.approx(8e-9 * 5 * 150e3)
    assert losses.at(point, PARTS).items["rectifier gate"] == 0


@pytest.mark.parametrize(("peak", "rms", "loss"), [(0.1, 1.00167, 1.0033), (1.0, 1.155, 1.3333)])
def test_what_ripple_adds(peak, rms, loss):
    """Peak ripple (half of peak to peak) of 0.1 and 1 of the mean. Erickson & Maksimovic, 3rd ed., table 3.1 (C5)."""
    mean, duty = 0.6 * 3, 2 / 3
    inductance = 6.0 * duty / (2 * peak * mean * 150e3) * (1 + 1e-12)  # a hair more, to stay in continuous conduction at the border
    point = Point.by_formula(6.0, 18.0, 0.6, 150e3, inductance)
    assert point.i_switch_rms / (mean * np.sqrt(duty)) == pytest.approx(rms, abs=0.0005)  # the source prints four digits
    winding = losses.at(point, PARTS).items["inductor winding"]
    assert winding / (0.04 * mean**2) == pytest.approx(loss, abs=0.0001)  # as printed


def _recovering(duty):
    """The circuit of E4 and E5: 24 V, 100 kHz, 15 Ω, winding 0.15 Ω, recovery 1 µC and 50 ns, little ripple."""
    parts = replace(LOSSLESS, inductor=Inductor("l", 5e-3, 0.15, 99, 99), capacitor=Capacitor("c", "film", 1e-3, 99, 0.0, 9),
                    rectifier=Rectifier("r", 99, 99, 0.0, recovery_charge=1e-6, recovery_time=50e-9))  # fmt: skip
    lost, load = 0.0, 1.6
    for _ in range(60):
        state = switched.steady_state(losses.circuit(parts, 24.0, load + lost, 100e3).change(duty=duty))
        found = losses.at(Point.of(state, load), parts)
        lost, load = found.on_the_way / state.output_voltage.mean, state.output_voltage.mean / 15
    return state, found


def test_recovery_at_the_smallest_duty():
    """D -> 0: efficiency slightly below 93 %, I_L 1.6915 A, gain 0.98943. Erickson & Maksimovic, 3rd ed., eq. 4.32-4.37 (E4)."""
    state, found = _recovering(1e-4)
    assert 0.92 < found.efficiency < 0.93
    assert found.efficiency == pytest.approx(0.9260, abs=3e-4)  # recomputed from the formulas; the duty here is not quite nothing
    assert state.inductor_current.mean == pytest.approx(1.6915, rel=5e-4)  # as above
    assert state.output_voltage.mean / 24 == pytest.approx(0.98943, rel=3e-4)  # as above


def test_recovery_at_half_the_period():
    """The same at D = 0.5: I_L 6.408 A, gain 1.9199, efficiency 0.9204, from the formulas of E4 (E5)."""
    state, found = _recovering(0.5)
    assert state.inductor_current.mean == pytest.approx(6.408, rel=2e-3)  # recovery takes the lowest current, not the mean
    assert state.output_voltage.mean / 24 == pytest.approx(1.9199, rel=1e-3)  # as above
    assert found.efficiency == pytest.approx(0.9204, abs=1e-3)  # as above


def test_what_has_run_dry_has_nothing_to_recover():
    """In discontinuous conduction the rectifier's recovery costs nothing; so it does for a second switch without dead time."""
    assert losses.at(Point.of(_exact(PARTS, 0.02)), PARTS).items["rectifier recovery"] == 0
    at_once = replace(PARTS, rectifier=replace(SECOND, dead_time=0.0))
    assert losses.at(Point.of(_exact(at_once, 0.6)), at_once).items["rectifier recovery"] == 0
    assert losses.at(Point.of(_exact(PARTS, 0.6)), PARTS).items["rectifier recovery"] > 0


def test_dead_time_against_the_exact_circuit():
    """The exact circuit with its body diode in dead time loses as much more as the formula says, the channel's share set off."""
    parts = replace(PARTS, rectifier=SECOND)
    plain = losses.converter(parts, **HERE, i_out=0.6)
    state = switched.steady_state(plain)
    waiting = switched.steady_state(plain.change(dead_time=40e-9, v_rectifier_body=0.8))
    point = Point.of(state)
    channel = 0.02 * 40e-9 * 150e3 * (point.i_inductor_max**2 + point.i_inductor_min**2)
    more = waiting.losses["rectifier"] - state.losses["rectifier"]
    assert losses.at(point, parts).items["rectifier dead time"] - channel == pytest.approx(more, rel=0.02)  # the current moves a little


def test_core_loss_by_integration():
    """The core's triangle against the definition of the generalised Steinmetz law, integrated numerically over both slopes, its
    constant from a sine (Li, Abdallah, Sullivan 2001; Venkatachalam et al. 2002, from memory)."""
    alpha, beta, f_sw, swing = 1.4, 2.4, 150e3, 0.3
    coil = replace(COIL, core_alpha=alpha, core_beta=beta)
    point = replace(Point.by_formula(6.0, 18.0, 0.6, f_sw, 47e-6), duty=0.7, conduction_end=0.9, i_inductor_min=0.0, i_inductor_max=swing)
    sine = lambda x: abs(np.pi * 0.5 * 1e5 * np.cos(x)) ** alpha  # noqa: E731 - di/dt of 0.5 A peak to peak at 100 kHz
    constant = 0.05 / (quad(sine, 0, 2 * np.pi, points=[np.pi / 2, 3 * np.pi / 2])[0] / (2 * np.pi) * 0.5 ** (beta - alpha))
    slopes = 0.7 * (swing * f_sw / 0.7) ** alpha + 0.2 * (swing * f_sw / 0.2) ** alpha
    expected = constant * slopes * swing ** (beta - alpha)
    found = losses.at(point, replace(PARTS, inductor=coil)).items["inductor core"]
    assert found == pytest.approx(expected, rel=1e-6)  # the integral's own error


def test_the_winding_carries_its_ripple_worse():
    """Three times the resistance at 100 kHz: twice R on top at 100 kHz, eight times at 200 kHz, for the ripple alone."""
    for f_sw, factor in ((1e5, 2.0), (2e5, 8.0)):
        point = Point.by_formula(6.0, 18.0, 0.6, f_sw, 47e-6)
        found = losses.at(point, PARTS).items["inductor winding, ripple"]
        assert found == pytest.approx(0.04 * factor * point.ripple_current**2 / 12, rel=1e-9)
    assert losses.at(point, PARTS).items["input capacitor ESR"] == pytest.approx(0.005 * point.ripple_current**2 / 12, rel=1e-9)


def test_warm_parts():
    """Copper by IEC 60028 (0.00393 per kelvin at 20 °C, from memory; F4, F5: 2.266/1.724 from 20 to 100 °C), the others by their slopes."""
    cold, hot = (losses.resistances(PARTS, dict.fromkeys(("switch", "rectifier", "inductor"), t)) for t in (20.0, 100.0))
    assert hot["r_inductor"] / cold["r_inductor"] == pytest.approx(2.266 / 1.7241, rel=3e-4)  # four printed digits
    assert losses.resistances(PARTS)["r_inductor"] == pytest.approx(0.04, rel=1e-12)
    assert hot["r_switch"] == pytest.approx(0.02 * (1 + 0.004 * 75)) and hot["v_rectifier"] == pytest.approx(0.4 - 0.075)


def test_the_critical_frequency():
    """Where all that goes by the cycle would cost what all the rest costs: (P_cond + P_fixed)/W_tot. E&M, 3rd ed., eq. 4.53 (E6)."""
    found = losses.at(Point.of(_exact(PARTS, 0.6)), PARTS)
    critical = losses.critical_frequency(found, 150e3)
    assert found.by_the_cycle * critical / 150e3 == pytest.approx(found.total - found.by_the_cycle, rel=1e-12)


def test_what_is_out_of_reach_is_nan_and_the_rest_stands():
    """A load that the resistances cannot let through is nan throughout; its neighbours are as if it were not there."""
    path = {"r_inductor": 1.0}
    many = Point.by_formula(6.0, 18.0, np.array([0.1, 5.0, 0.2]), 150e3, 47e-6, **path)
    found = losses.at(many, PARTS)
    assert np.isnan(found.total).tolist() == [False, True, False] and np.isnan(many.duty[1])
    assert many.duty[2] == Point.by_formula(6.0, 18.0, 0.2, 150e3, 47e-6, **path).duty
    limit = 36 / (4 * 18 * 1.0)  # the most that 6 V bring to 18 V through 1 Ω: V_in²/(4 V_out R)
    edge = Point.by_formula(6.0, 18.0, limit * np.array([0.999, 1.001]), 150e3, 470e-6, **path)
    assert np.isnan(edge.duty).tolist() == [False, True]


def test_a_boost_converter_does_not_lower():
    """An output below the source is refused in words, in any entry of an array."""
    with pytest.raises(ValueError, match=r"v_out = 18 V must lie above the source voltage, 20 V"):
        Point.by_formula(np.array([6.0, 20.0]), 18.0, 0.1, 150e3, 47e-6)
    with pytest.raises(ValueError, match="i_out"):
        Point.by_formula(6.0, 18.0, -0.1, 150e3, 47e-6)


def test_a_saturating_coil_reaches_the_exact_circuit():
    """The curve of an inductor goes on into the circuit, where it raises the ripple; none leaves the circuit as it was."""
    curved = replace(PARTS, inductor=replace(COIL, saturation=((1.5, 0.4),)))
    assert _exact(curved, 0.6).ripple_current > 1.3 * _exact(PARTS, 0.6).ripple_current
