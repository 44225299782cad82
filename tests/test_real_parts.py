"""Losses, the ceiling of the gain, recovery, and where losses cross: published values, the exact circuit, plain integration.

EM3: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer, 2020. Whether a value was read in
the book's text or in a copied-out text stands beside it.
"""

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq, minimize_scalar
from stages import LOSSLESS, stage
from test_derivations import tampered

from boostkit.algebra.reasons import Assumption, Definition
from boostkit.circuit import switched
from boostkit.derivations import crossing, gain_peak, real_parts, recovery

ALL = [
    real_parts.efficiency_with_losses, real_parts.ripple_factor, real_parts.falling_capacitance_loss, gain_peak.winding_gain,
    gain_peak.peak_duty, gain_peak.peak_gain, gain_peak.efficiency_at_peak, gain_peak.needed_resistance,
    gain_peak.gain_at_full_duty, gain_peak.loss_at_full_duty, recovery.recovery_loss, recovery.coil_current_with_recovery,
    recovery.gain_with_recovery, recovery.efficiency_with_recovery, recovery.dead_time_loss, crossing.critical_frequency,
    crossing.critical_current, crossing.best_load_current,
]
each = pytest.mark.parametrize("derivation", ALL, ids=[made.__name__ for made in ALL])
SLOW = {"v_in": 24.0, "r_load": 15.0, "r_inductor": 0.15, "q_recovery": 1e-6, "t_recovery": 50e-9, "f_sw": 100e3}     # E4 of EM3
# The winding alone, and so much coil and capacitance that ripple is below 1e-4 of the mean.
SMOOTH = LOSSLESS | {"inductance": 10e-3, "capacitance": 0.1, "r_load": 20.0, "v_in": 10.0}


def value(derivation, **given):
    """What the formula of a derivation gives."""
    return derivation().formula(**given)


@each
def test_it_follows_and_says_how_wrong_it_is(derivation):
    """Each derivation verifies under its own name and has a bound in words, and an example where it takes something."""
    made = derivation()
    made.verify()
    assert made.name == derivation.__name__ and made.assumptions
    assert made.formula.bound.words and bool(made.formula.example) == bool(made.formula.inputs)


@each
@pytest.mark.parametrize("change", ["2*({})", "-({})"], ids=["factor", "sign"])
def test_a_slip_is_found(derivation, change):
    """A factor or a sign slipped into any step that can be checked is found."""
    made, tried = derivation(), 0
    for number, step in enumerate(made.steps, 1):
        if isinstance(step.because, Assumption | Definition) or step.equation.rhs == 0:
            continue
        with pytest.raises(ValueError, match=rf"{made.name}, step {number} "):
            tampered(made, number, f"{step.equation.left.text} = {change.format(step.equation.right.text.strip())}").verify()
        tried += 1
    assert tried >= 1


# --- efficiency ---


def test_efficiency_with_the_winding_alone():
    """EM3 eq. 3.23, read; the numbers follow from it: D 0.5 and 0.7 at four ratios of winding to load."""
    ratios = np.array([0.01, 0.02, 0.05, 0.1])
    for duty, printed in ((0.5, [0.9615, 0.9259, 0.8333, 0.7143]), (0.7, [0.9000, 0.8182, 0.6429, 0.4737])):
        found = value(real_parts.efficiency_with_losses, duty=duty, v_in=10.0, v_rectifier=0.0, r_switch=0.0, r_rectifier=0.0,
                      r_inductor=ratios * 20.0, r_load=20.0)  # fmt: skip
        assert found == pytest.approx(printed, abs=5e-5)        # four decimals


def test_efficiency_with_all_losses():
    """EM3 eq. 3.30 (read) to 3.35 (copied-out text), inputs our own: 0.93948; the exact circuit gives the same."""
    parts = {"duty": 0.6, "r_inductor": 0.1, "r_switch": 0.05, "r_rectifier": 0.02, "v_rectifier": 0.5, "r_load": 20.0, "v_in": 10.0}
    found = value(real_parts.efficiency_with_losses, **parts)
    assert found == pytest.approx(0.939485, abs=1e-6)           # six decimals
    assert switched.steady_state(stage(**SMOOTH | parts)).efficiency == pytest.approx(found, rel=1e-5)    # ripple squared


def test_ripple_raises_rms_currents():
    """EM3 table 3.1, copied-out text: peak ripple 0.1 and 1 of the mean, rms up by 1.00167 and 1.155, loss by 1.0033 and 1.3333."""
    factor = value(real_parts.ripple_factor, i_inductor_mean=1.0, ripple_current=np.array([0.2, 2.0]))    # peak to peak is twice
    assert factor == pytest.approx([1.001665, 1.154701], abs=1e-6)
    assert factor**2 == pytest.approx([1.003333, 4 / 3], abs=1e-6)


@pytest.mark.parametrize("current", ["inductor_current", "switch_current", "rectifier_current"])
def test_the_ripple_factor_is_the_same_for_all_three(current):
    """On the exact circuit, coil, switch and rectifier have one factor, each against its rms current without ripple."""
    state = switched.steady_state(stage(**LOSSLESS | {"capacitance": 0.1, "inductance": 20e-6}))
    found = getattr(state, current).rms / (state.inductor_current.mean * np.sqrt(
        {"inductor_current": 1.0, "switch_current": state.duty, "rectifier_current": 1 - state.duty}[current]))
    factor = value(real_parts.ripple_factor, i_inductor_mean=state.inductor_current.mean, ripple_current=state.ripple_current)
    assert factor > 1.01 and found == pytest.approx(factor, rel=1e-6)     # 100 mF leaves straight slopes


# --- the ceiling of the gain ---


def test_the_peak_in_numbers():
    """EM3 sec. 3.2 and fig. 3.9, copied-out text: about 3.5 for R_L/R = 0.02; by its eq. 3.14 (read) three more ratios."""
    ratio = np.array([0.02, 0.01, 0.05, 0.1])
    assert value(gain_peak.peak_gain, r_inductor=ratio, r_load=1.0) == pytest.approx([3.5355, 5.0, 2.2361, 1.5811], abs=1e-4)
    assert value(gain_peak.peak_duty, r_inductor=ratio, r_load=1.0) == pytest.approx([0.8586, 0.9, 0.7764, 0.6838], abs=1e-4)
    assert value(gain_peak.peak_gain, r_inductor=0.02, r_load=1.0) == pytest.approx(3.5, abs=0.05)        # two digits in the text


@pytest.mark.parametrize("ratio", [0.01, 0.05, 0.1])
def test_the_peak_of_the_exact_circuit(ratio):
    """The exact circuit has its largest gain where the formula says, as high, at an efficiency of one half."""
    duties = np.linspace(0.5, 0.97, 95)
    states = switched.steady_states(stage(**SMOOTH | {"r_inductor": ratio * 20.0}), duty=duties)
    gains = states.output_voltage.mean / 10.0
    best = int(np.argmax(gains))
    letters = {"r_inductor": ratio * 20.0, "r_load": 20.0}
    assert duties[best] == pytest.approx(value(gain_peak.peak_duty, **letters), abs=0.005)      # the duties lie 0.005 apart
    # About the peak the gain is flat, so the grid costs less than 1e-3 of it (0.0025/D')**2/2; the efficiency is not flat.
    assert gains[best] == pytest.approx(value(gain_peak.peak_gain, **letters), rel=1e-3)
    assert states.efficiency[best] == pytest.approx(value(gain_peak.efficiency_at_peak), abs=0.03)
    assert np.all(np.diff(gains[:best]) > 0) and np.all(np.diff(gains[best:]) < 0)      # more duty, less output, beyond it


def test_efficiency_at_the_peak_is_one_half():
    """At the duty of the largest gain the exact circuit loses as much as it delivers, to what ripple leaves."""
    duty = value(gain_peak.peak_duty, r_inductor=1.0, r_load=20.0)
    assert switched.steady_state(stage(**SMOOTH | {"r_inductor": 1.0, "duty": duty})).efficiency == pytest.approx(0.5, abs=1e-4)


def test_the_resistance_that_a_gain_allows():
    """EM3 sec. 3.2, copied-out text: a gain of 5 needs R_L below 0.01 R. So it is on the exact circuit, just either side."""
    limit = value(gain_peak.needed_resistance, gain=5.0, r_load=20.0)
    assert limit / 20.0 == pytest.approx(0.01)
    duties = np.linspace(0.85, 0.95, 101)
    for factor, reached in ((0.99, True), (1.01, False)):
        states = switched.steady_states(stage(**SMOOTH | {"r_inductor": factor * limit}), duty=duties)
        assert (states.output_voltage.mean.max() > 50.0) == reached


def test_beyond_the_peak_there_is_heat_only():
    """EM3 sec. 3.2, copied-out text: as D tends to one the output vanishes and the winding takes V_in^2/R_L."""
    state = switched.steady_state(stage(**SMOOTH | {"r_inductor": 1.0, "duty": 0.999}))
    heat = value(gain_peak.loss_at_full_duty, v_in=10.0, r_inductor=1.0)
    assert heat == pytest.approx(100.0)
    assert value(gain_peak.gain_at_full_duty) == 0
    assert state.losses["inductor"] == pytest.approx(heat, rel=1e-3)      # D'^2 R/R_L is 2e-5, D' itself 1e-3
    assert state.output_voltage.mean < 0.021 * 10.0                       # D' R/R_L


# --- capacitance, recovery, dead time ---


def test_a_falling_capacitance_costs_four_thirds():
    """EM3 eq. 4.41-4.44, copied-out text: where C goes as 1/sqrt(v), (2/3) C(V) V^2, 4/3 of a constant one's."""
    constant = value(real_parts.capacitance_loss, c_switch=1e-9, v_out=20.0, f_sw=1e5)
    falling = value(real_parts.falling_capacitance_loss, c_switch=1e-9, v_stated=20.0, v_out=20.0, f_sw=1e5)
    assert falling / constant == pytest.approx(4 / 3)


def test_the_heat_of_a_discharge():
    """Discharged through 10 Ω, step by step, a capacitance of 1 nF at 5 V that falls with the root heats it by that energy."""
    def slopes(_, state):
        capacitance = 1e-9 * np.sqrt(5.0 / max(state[0], 1e-30))
        return [-state[0] / 10.0 / capacitance, state[0] ** 2 / 10.0]

    heat = solve_ivp(slopes, (0.0, 1e-4), [18.0, 0.0], rtol=1e-9, atol=1e-18).y[1, -1]
    assert heat == pytest.approx(value(real_parts.falling_capacitance_loss, c_switch=1e-9, v_stated=5.0, v_out=18.0, f_sw=1.0), rel=1e-5)


@pytest.mark.parametrize(("duty", "current", "gain", "efficiency"), [(0.0, 1.6915, 0.98943, 0.9260), (0.5, 6.408, 1.9199, 0.9204)])
def test_slow_rectifier_of_the_textbook(duty, current, gain, efficiency):
    """EM3 eq. 4.32-4.37 and fig. 4.46, copied-out text, at D tending to 0: slightly below 93 %; at 0.5 the same formulas."""
    v_out = value(recovery.gain_with_recovery, duty=duty, **SLOW)
    carried = {name: SLOW[name] for name in ("q_recovery", "t_recovery", "f_sw")} | {"duty": duty, "i_out": v_out / 15.0}
    assert value(recovery.coil_current_with_recovery, **carried) == pytest.approx(current, abs=5e-4)      # digits of our sheet
    assert v_out / 24.0 == pytest.approx(gain, abs=5e-5)
    found = value(recovery.efficiency_with_recovery, v_in=24.0, v_out=v_out, **carried)
    assert found == pytest.approx(efficiency, abs=5e-5)
    assert duty or 0.925 < found < 0.93


def test_recovery_closes_the_balance():
    """Input is output plus winding plus what recovery costs the switch, at random points: three formulas agree in one sum."""
    rng = np.random.default_rng(5)
    s = {name: np.exp(rng.uniform(np.log(low), np.log(high), 200)) for name, (low, high) in {
        "v_in": (3, 50), "r_load": (5, 500), "r_inductor": (0.001, 0.2), "q_recovery": (1e-10, 1e-7), "t_recovery": (1e-9, 1e-7),
        "f_sw": (2e4, 5e5)}.items()} | {"duty": rng.uniform(0.05, 0.8, 200)}  # fmt: skip
    v_out = value(recovery.gain_with_recovery, **s)
    carried = {name: s[name] for name in ("q_recovery", "t_recovery", "f_sw", "duty")} | {"i_out": v_out / s["r_load"]}
    current = value(recovery.coil_current_with_recovery, **carried)
    lost = value(recovery.recovery_loss, v_out=v_out, i_inductor_min=current,
                 **{name: s[name] for name in ("q_recovery", "t_recovery", "f_sw")})  # fmt: skip
    assert s["v_in"] * current == pytest.approx(v_out**2 / s["r_load"] + s["r_inductor"] * current**2 + lost, rel=1e-9)
    eta = value(recovery.efficiency_with_recovery, v_in=s["v_in"], v_out=v_out, **carried)
    assert 1 - eta == pytest.approx((s["r_inductor"] * current**2 + lost) / (s["v_in"] * current), rel=1e-9)


def test_without_recovery_the_gain_is_that_of_the_winding():
    """No charge and no time: what is left is the gain with the loss of the winding."""
    plain = value(gain_peak.winding_gain, duty=0.6, r_inductor=0.15, r_load=15.0)
    slow = value(recovery.gain_with_recovery, duty=0.6, **SLOW | {"q_recovery": 0.0, "t_recovery": 0.0})
    assert slow / 24.0 == pytest.approx(plain)


def test_recovery_energy_of_a_drawn_waveform():
    """A rectifier current that runs back in a half sine, integrated: the switch takes V_out times coil current plus it."""
    v_out, i_min, t_rr, back = 18.0, 1.2, 40e-9, 2.5
    energy = quad(lambda x: v_out * (i_min + back * np.sin(np.pi * x)) * t_rr, 0, 1)[0]      # x is time over t_rr
    charge = 2 / np.pi * back * t_rr
    found = value(recovery.recovery_loss, v_out=v_out, i_inductor_min=i_min, t_recovery=t_rr, q_recovery=charge, f_sw=1.0)
    assert found == pytest.approx(energy)


@pytest.mark.parametrize("dead_time", [10e-9, 40e-9])
def test_dead_time_of_the_exact_circuit(dead_time):
    """The exact circuit with a second switch that has no resistance loses in it just what its body diode takes."""
    letters = {"rectifier": "switch", "v_rectifier": None, "r_rectifier": None, "v_rectifier_body": 0.8, "inductance": 100e-6}
    state = switched.steady_state(stage(**letters, dead_time=dead_time))
    found = value(recovery.dead_time_loss, v_body=0.8, i_inductor_mean=state.inductor_current.mean, t_dead=dead_time, f_sw=150e3)
    # The current falls by (V_out - V_in)/L t_dead, 1.3e5 A/s, below 0.3 % of the mean in 40 ns.
    assert state.losses["rectifier"] == pytest.approx(found, rel=0.004)


# --- where losses cross ---


def test_at_the_critical_frequency_edges_take_half():
    """EM3 eq. 4.53, copied-out text. With overlap, capacitance and gate of one period, the edges there take what the rest does."""
    edges = [(real_parts.overlap_loss, {"v_out": 18.0, "i_inductor_mean": 1.9, "t_rise": 20e-9, "t_fall": 15e-9}),
             (real_parts.capacitance_loss, {"c_switch": 200e-12, "v_out": 18.0}), (real_parts.gate_loss, {"q_gate": 1e-8, "v_drive": 6.0})]
    period = sum(value(made, f_sw=1.0, **letters) for made, letters in edges)
    frequency = value(crossing.critical_frequency, p_conduction=0.4, p_fixed=0.03, energy_period=period)
    assert sum(value(made, f_sw=frequency, **letters) for made, letters in edges) == pytest.approx(0.43)
    assert 1e5 < frequency < 2e6


def test_critical_current_by_search():
    """The load at which conduction overtakes the edges is the one that a search for equal losses finds."""
    s = {"r_losses": 0.6, "v_rectifier": 0.02, "v_edges": 0.05, "p_edges_idle": 0.02}
    found = brentq(lambda i: 0.6 * i**2 + 0.02 * i - 0.02 - 0.05 * i, 1e-3, 10.0, xtol=1e-14)
    assert value(crossing.critical_current, **s) == pytest.approx(found, rel=1e-9)


def test_best_load_of_the_exact_circuit():
    """With 50 mW taken all the time, the exact circuit's efficiency is best at the load at which the resistances take 50 mW."""
    parts = {"v_in": 6.0, "duty": 0.6, "r_inductor": 0.01, "r_switch": 0.01, "r_rectifier": 0.01, "r_capacitor": None,
             "v_rectifier": 0.1, "inductance": 10e-3, "capacitance": 0.1}  # fmt: skip

    def share_lost(decade):
        state = switched.steady_state(stage(**parts, r_load=10**decade))
        return (state.input_power + 0.05) / state.output_power

    best = switched.steady_state(stage(**parts, r_load=10 ** minimize_scalar(share_lost, bounds=(0.5, 2.5), method="bounded").x))
    resistances = (0.01 + 0.6 * 0.01 + 0.4 * 0.01) / 0.4**2      # seen from the load
    # The output falls by 1 % from no load to here, and with it what a resistance takes from the output power.
    assert best.rectifier_current.mean == pytest.approx(value(crossing.best_load_current, p_fixed=0.05, r_losses=resistances), rel=0.02)
