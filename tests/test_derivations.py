"""The derivations follow step by step, cannot be tampered with, and agree with published values.

EM3: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer, 2020. Rashid4: M. H. Rashid,
Power Electronics, 4th ed., Pearson, 2014. Hart: D. W. Hart, Power Electronics, McGraw-Hill, 2011. How a value was
obtained stands beside it: read; read in a copied-out text; from memory.
"""

import dataclasses
import re

import numpy as np
import pytest
import sympy as sp

from boostkit.algebra import Step, Written, assumption, extremum, solving
from boostkit.algebra.reasons import Assumption, Definition, Earlier
from boostkit.derivations import energy, field, letters, real_parts, stress, switching

ALL = [
    switching.volt_second_balance, switching.ideal_gain, switching.charge_balance, switching.inductor_ripple,
    switching.output_ripple, switching.conduction_border, stress.peak_current, stress.switch_voltage,
    stress.rectifier_voltage, stress.switch_mean, stress.switch_rms, stress.rectifier_mean, stress.rectifier_rms,
    stress.capacitor_rms, real_parts.real_gain, real_parts.overlap_loss, real_parts.capacitance_loss,
    real_parts.gate_loss, field.energy_swing, field.energy_swing_by_source, field.discontinuous_energy,
    field.core_energy, energy.energy_per_cycle, energy.power_by_cycle, energy.straight_share, energy.field_share,
    energy.field_share_by_duty, energy.field_share_continuous, energy.discontinuous_power,
]
each = pytest.mark.parametrize("derivation", ALL, ids=[d.__name__ for d in ALL])


@each
def test_every_step_follows(derivation):
    """Each derivation verifies, states its assumptions, and its formula has a complete data sheet."""
    made = derivation()
    made.verify()
    assert made.name == derivation.__name__ and made is derivation()
    formula = made.formula
    assert formula.meaning and formula.source
    if formula.inputs:
        assert formula.example and formula.bound, "a formula shows an example and says how wrong it is"
        assert str(formula.worked(**formula.example)) in formula.data_sheet()
    # A piece of physics without a price would be suspect; these rest on laws alone.
    assert made.assumptions or derivation in (switching.volt_second_balance, real_parts.gate_loss,
                                              real_parts.capacitance_loss, field.core_energy)


def tampered(made, number, text):
    """The derivation with the equation of one step (from 1) replaced."""
    steps = list(made.steps)
    steps[number - 1] = dataclasses.replace(steps[number - 1], equation=text)
    return dataclasses.replace(made, steps=tuple(steps))


@each
@pytest.mark.parametrize("change", ["2*({})", "-({})"], ids=["factor", "sign"])
def test_tampering_is_named(derivation, change):
    """A factor or a sign slipped into the right side of a step is found, and the step is named.

    What an assumption or a definition of its own says cannot be wrong in itself, so it is left alone here.
    """
    made = derivation()
    tried = 0
    for number, step in enumerate(made.steps, 1):
        equation = step.equation
        if isinstance(step.because, Assumption | Definition) or equation.rhs == 0:
            continue
        wrong = f"{equation.left.text} = {change.format(equation.right.text.strip())}"
        with pytest.raises(ValueError, match=rf"{made.name}, step {number} \({re.escape(step.say)}\)"):
            tampered(made, number, wrong).verify()
        tried += 1
    assert tried >= (1 if derivation in (stress.switch_rms, stress.rectifier_rms) else 2)


@pytest.mark.parametrize(("derivation", "number", "wrong"), [
    (switching.ideal_gain, 12, "v_in*duty_off + (v_in - v_out)*duty = 0"),               # D for D'
    (switching.ideal_gain, 12, "v_in*duty - (v_in - v_out)*duty_off = 0"),               # sign
    (switching.ideal_gain, 10, "duty_off = 1 + duty"),                                   # a definition in the list
    (switching.ideal_gain, 15, "v_out/v_in = 1/duty"),
    (switching.charge_balance, 11, "i_inductor_mean = i_out/duty"),
    (switching.conduction_border, 13, "k_critical = duty**2*duty_off"),
    (switching.inductor_ripple, 6, "ripple_current = slope_rise*t_sw"),                  # integral to the wrong end
    (stress.switch_rms, 3, "i_switch_rms = sqrt(duty*(i_inductor_mean**2 + ripple_current**2/3))"),
    (stress.capacitor_rms, 4, "i_capacitor_rms = sqrt(duty_off*i_out**2 + "
                              "duty*((i_inductor_mean - i_out)**2 + ripple_current**2/12))"),
    (real_parts.real_gain, 18, "v_out = (v_in - duty_off*v_rectifier - "
                               "(r_inductor + duty_off*r_switch + duty*r_rectifier)*v_out/(duty_off*r_load))/duty_off"),
    (field.energy_swing, 5, "energy_swing = inductance*(i_inductor_max + i_inductor_min)"
                            "*(i_inductor_max - i_inductor_min)"),
    (energy.field_share, 11, "share_field = v_in/v_out"),
    (energy.field_share_by_duty, 4, "share_field = duty_rectifier/(duty + duty_rectifier)"),
])
def test_slips_of_the_pen_are_named(derivation, number, wrong):
    """The slips that a learner makes: D for D', a lost factor, a wrong limit, one share for the other."""
    with pytest.raises(ValueError, match=rf"{derivation.__name__}, step {number} "):
        tampered(derivation(), number, wrong).verify()


def test_wrong_limits_of_an_integral():
    """An integral stated with other limits is found where it is carried out."""
    wrong = "ripple_current = integral(slope_rise, t, 0, duty_off*t_sw)"
    with pytest.raises(ValueError, match="inductor_ripple, step 6 "):
        tampered(switching.inductor_ripple(), 5, wrong).verify()


def test_wrong_branch():
    """The gain that a loss allows has two duties; the one claimed must be the one on its branch."""
    start = Step("gain with winding loss", "gain = duty_off/(duty_off**2 + r_inductor/r_load)", assumption("x"))
    root = "duty_off = (1 {} sqrt(1 - 4*gain**2*r_inductor/r_load))/(2*gain)"
    for sign, good in (("+", True), ("-", False)):
        step = Step("duty below the peak", root.format(sign),
                    solving("duty_off", "duty_off > sqrt(r_inductor/r_load)"))
        trial = dataclasses.replace(switching.ideal_gain(), steps=(start, step), name="trial", meaning="")
        if good:
            trial.verify()
        else:
            with pytest.raises(ValueError, match=r"trial, step 2 .*branch"):
                trial.verify()


def test_ledger_of_the_ideal_gain():
    """The ledger lists what was assumed, once each, and a derivation inherits from those that it builds on."""
    assert switching.ideal_gain().assumptions == [
        "parts without loss", "output ripple small against the output", "inductor current never reaches zero"]
    border = switching.conduction_border()
    inherited = [s.because.derivation.assumptions for s in border.steps if isinstance(s.because, Earlier)]
    assert len(inherited) == 3
    assert set().union(*inherited) < set(border.assumptions)


def test_expression_is_not_typed_again():
    """A formula is the right side of the last step, the same object."""
    gain = switching.ideal_gain()
    assert gain.formula.expression == gain.steps[-1].equation.rhs == 1 / letters.duty_off.symbol


# --- published values ---


def value(derivation, **given):
    """What the formula of a derivation gives."""
    return derivation().formula(**given)


def test_ideal_gain_values():
    """EM3 eq. 2.35, read in a copied-out text: 1/D' at three duties."""
    assert value(switching.ideal_gain, duty=np.array([0.5, 0.6, 0.75])).tolist() == pytest.approx([2, 2.5, 4])
    assert value(switching.ideal_gain, duty=0) == 1       # no switching passes the input through


def test_gain_with_winding_resistance():
    """EM3 eq. 3.14 and 3.18, read: with the winding alone M = (1/D')/(1 + R_L/(D'^2 R))."""
    names = ("r_switch", "r_rectifier", "v_rectifier")
    alone = real_parts.real_gain().formula.expression.subs({getattr(letters, name).symbol: 0 for name in names})
    assert sp.simplify(alone - Written("1/duty_off/(1 + r_inductor/(duty_off**2*r_load))").sympy) == 0


def test_gain_with_all_losses():
    """EM3 eq. 3.30 (read) to 3.35 (read in a copied-out text), with inputs of our own: M 2.3487, efficiency 0.93948."""
    gain = value(real_parts.real_gain, duty=0.6, v_in=10.0, r_load=20.0, r_inductor=0.1, r_switch=0.05,
                 r_rectifier=0.02, v_rectifier=0.5)
    assert gain == pytest.approx(2.3487, abs=1e-4)              # printed to four decimals
    assert 0.4 * gain == pytest.approx(0.93948, abs=1e-5)       # efficiency is D' M


def test_boost_example_of_rashid():
    """Rashid4 example 5.6, read in a copied-out text: 5 V to 15 V, 0.5 A, 25 kHz, 150 µH, 220 µF."""
    duty = 2 / 3                                                # printed as 66.67 %
    assert value(switching.ideal_gain, duty=duty) == pytest.approx(15 / 5)
    ripple = value(switching.inductor_ripple, v_in=5.0, duty=duty, inductance=150e-6, f_sw=25e3)
    assert ripple == pytest.approx(0.89, abs=0.005)             # two decimals printed
    assert value(switching.charge_balance, i_out=0.5, duty=duty) == pytest.approx(1.5)
    peak = value(stress.peak_current, i_out=0.5, duty=duty, v_in=5.0, inductance=150e-6, f_sw=25e3)
    assert peak == pytest.approx(1.94, abs=0.006)               # printed 1.945 from the rounded ripple
    sag = value(switching.output_ripple, i_out=0.5, duty=duty, capacitance=220e-6, f_sw=25e3)
    assert sag == pytest.approx(60.61e-3, abs=0.01e-3)          # printed 60.61 mV


def test_border_of_rashids_example():
    """The same stage: the border of conduction lies at 44.44 µH by EM3 eq. 5.32 (read), not at Rashid's 133 µH."""
    critical = value(switching.conduction_border, duty=2 / 3)
    assert critical * 30 / (2 * 25e3) == pytest.approx(44.44e-6, rel=1e-3)       # L = K R/(2 f)


def test_boost_design_of_hart():
    """Hart example 6-4, from memory: 12 V to 30 V, 50 Ω, 25 kHz; 120 µH and at least 48 µF for 1 %."""
    duty, stage = 0.6, {"v_in": 12.0, "inductance": 120e-6, "f_sw": 25e3}
    assert value(switching.ideal_gain, duty=duty) == pytest.approx(30 / 12)
    assert value(switching.charge_balance, i_out=0.6, duty=duty) == pytest.approx(1.5)
    half = value(switching.inductor_ripple, duty=duty, **stage) / 2
    assert half == pytest.approx(1.2)
    assert value(stress.peak_current, i_out=0.6, duty=duty, **stage) == pytest.approx(2.7)
    assert value(switching.output_ripple, i_out=0.6, duty=duty, capacitance=48e-6, f_sw=25e3) == pytest.approx(0.3)
    smallest = value(switching.conduction_border, duty=duty) * 50 / (2 * 25e3)
    assert smallest == pytest.approx(96e-6)                     # the smallest inductance for continuous conduction


def test_largest_critical_load_number():
    """EM3 eq. 5.33, read: K_crit is at most 4/27, at D = 1/3. Found by a verified step."""
    border = switching.conduction_border()
    duty = Step("Where K_crit is largest", "duty = 1/3", extremum("duty", "maximum"), (1,))
    curve = Step("K_crit in D alone", "k_critical = duty*(1 - duty)**2", assumption("as derived"))
    dataclasses.replace(border, steps=(curve, duty), meaning="").verify()
    assert value(switching.conduction_border, duty=1 / 3) == pytest.approx(4 / 27, rel=1e-14)


def test_modes_meet_at_the_border():
    """EM3 sec. 5.3, read: at K = K_crit the discontinuous gain, here from the power of a cycle, is 1/D'."""
    v_in, duty, f_sw, r_load = 10.0, 0.4, 1e5, 20.0
    inductance = value(switching.conduction_border, duty=duty) * r_load / (2 * f_sw)
    v_out = v_in / (1 - duty)
    power = value(energy.discontinuous_power, v_in=v_in, duty=duty, inductance=inductance, f_sw=f_sw, v_out=v_out)
    assert power == pytest.approx(v_out**2 / r_load, rel=1e-12)


def test_discontinuous_operating_point():
    """EM3 eq. 15.61-15.64, read in a copied-out text: 24 V to 36 V, 3 A, 5 µH, 100 kHz runs at D = 0.25."""
    stage = {"v_in": 24.0, "duty": 0.25, "inductance": 5e-6, "f_sw": 100e3}
    assert value(field.discontinuous_energy, **stage) * 100e3 == pytest.approx(36.0)      # I (V - V_g)
    assert value(energy.discontinuous_power, v_out=36.0, **stage) == pytest.approx(36.0 * 3.0)
    assert value(energy.field_share_by_duty, duty=0.25, duty_rectifier=0.5) == pytest.approx(1 / 3)
    assert value(energy.field_share, v_in=24.0, v_out=36.0) == pytest.approx(1 / 3)


@pytest.mark.parametrize(("i_out", "duty", "ripple", "without", "with_ripple"), [
    (0.5, 2 / 3, 0.8889, 0.7071, 0.7225), (0.6, 0.6, 2.4, 0.7348, 0.8556)])
def test_capacitor_rms(i_out, duty, ripple, without, with_ripple):
    """EM3 appendix A (method, from memory) on the stages of Rashid and Hart: without and with coil ripple."""
    assert value(stress.capacitor_rms, i_out=i_out, duty=duty, ripple_current=0.0) == pytest.approx(without, abs=1e-4)
    found = value(stress.capacitor_rms, i_out=i_out, duty=duty, ripple_current=ripple)
    assert found == pytest.approx(with_ripple, abs=1e-4)        # four decimals


@pytest.mark.parametrize(("peak_share", "ratio"), [(0.1, 1.00167), (1.0, 1.155)])
def test_switch_rms(peak_share, ratio):
    """EM3 table 3.1, read in a copied-out text: rms over I sqrt(D), the ripple there given as peak over mean."""
    rms = value(stress.switch_rms, duty=0.4, i_inductor_mean=2.0, ripple_current=2 * peak_share * 2.0)
    assert rms / (2.0 * 0.4**0.5) == pytest.approx(ratio, abs=0.0005 if peak_share == 1 else 0.00001)  # as printed


def test_ripple_is_peak_to_peak():
    """EM3 eq. 2.43 and 2.47, read in a copied-out text, give the peak: half of ours."""
    ours = value(switching.inductor_ripple, v_in=12.0, duty=0.6, inductance=120e-6, f_sw=25e3)
    assert ours / 2 == pytest.approx(12.0 * 0.6 / 25e3 / (2 * 120e-6))
    sag = value(switching.output_ripple, i_out=15 / 30, duty=2 / 3, capacitance=220e-6, f_sw=25e3)
    assert sag / 2 == pytest.approx(30.3e-3, abs=0.05e-3)       # three digits printed


def test_switching_loss():
    """EM3 eq. 4.5-4.6, 4.41 and sec. 4.6.1, read in a copied-out text: a triangle, half C V squared, Q times V."""
    volts, amps = np.full(1001, 18.0), np.linspace(0.0, 1.2, 1001)
    edge = np.trapezoid(volts * amps, np.linspace(0.0, 20e-9, 1001))
    lost = value(real_parts.overlap_loss, v_out=18.0, i_inductor_mean=1.2, t_rise=20e-9, t_fall=20e-9, f_sw=150e3)
    assert lost == pytest.approx(2 * edge * 150e3)
    assert value(real_parts.capacitance_loss, c_switch=1e-9, v_out=20.0, f_sw=1e5) == pytest.approx(0.02)
    assert value(real_parts.gate_loss, q_gate=10e-9, v_drive=10.0, f_sw=1e5) == pytest.approx(0.01)


# --- what follows without arithmetic ---


def test_obvious_answers():
    """Twice the inductance, half the ripple and the same energy; half the inductance, twice the power when dry."""
    stage = {"v_in": 6.0, "duty": 0.6, "f_sw": 1e5}
    ripple = value(switching.inductor_ripple, inductance=np.array([1e-4, 2e-4]), **stage)
    assert ripple[0] == 2 * ripple[1]
    assert "inductance" not in [q.name for q in field.energy_swing_by_source().formula.inputs]
    power = value(energy.discontinuous_power, inductance=np.array([1e-6, 2e-6]), v_out=18.0, **stage)
    assert power[0] == pytest.approx(2 * power[1])
    core = field.core_energy().formula
    small, large = (core(**{**core.example, "area_core": area}) for area in (40e-6, 80e-6))
    assert large == pytest.approx(2 * small)


def test_shares_add_to_one():
    """What flows straight and what passes through the field make up everything."""
    volts = {"v_in": 6.0, "v_out": 18.0}
    assert value(energy.straight_share, **volts) + value(energy.field_share, **volts) == pytest.approx(1)


def test_stress_lists():
    """Both semiconductors bear a voltage, a peak, a mean and an rms current."""
    for pieces in (stress.switch_stress(), stress.rectifier_stress()):
        assert [piece.unit for piece in pieces] == ["V", "A", "A", "A"]
