"""The lossless and the lossy circuit against textbook values, and the duty that gives an output.

EM3 is R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer 2020; Rashid4 is M. H. Rashid,
Power Electronics, 4th ed., Pearson 2014; Hart is D. W. Hart, Power Electronics, McGraw-Hill 2011. Codes: R read in the
book's text, RT read in a copied-out text of it, M from memory.
"""

import math

import numpy as np
import pytest
from stages import INPUT, LOSSLESS, SECOND, stage

from boostkit.circuit import Converter, switched


def textbook(v_in, duty, r_load, f_sw, inductance, capacitance=1.0, **letters):
    """A stage with nothing but the named parts; a capacitor of 1 F holds the output still."""
    return switched.steady_state(Converter.of(v_in=v_in, duty=duty, r_load=r_load, f_sw=f_sw, inductance=inductance,
                                              capacitance=capacitance, **letters))  # fmt: skip


@pytest.mark.parametrize(("duty", "gain"), [(0.5, 2), (0.6, 2.5), (0.75, 4)])
def test_ideal_gain(duty, gain):
    """A1, EM3 eq. 2.35 (RT): the lossless gain in continuous conduction is 1/D'."""
    s = textbook(10, duty, 20, 1e5, 1e-3)
    assert s.output_voltage.mean / 10 == pytest.approx(gain, rel=1e-9)   # ripple of a 1 F capacitor: below 1e-5


@pytest.mark.parametrize(("duty", "ratio"), [(0.5, 0.02), (0.7, 0.1), (0.9, 0.05)])
def test_gain_with_winding_resistance(duty, ratio):
    """A2 and A6, EM3 eq. 3.14 and 3.23 (R): M = (1/D')/(1 + R_L/(D'² R)), efficiency D' M, in the limit of small ripple."""
    s = textbook(10, duty, 20, 1e5, 0.1, r_inductor=ratio * 20)
    share = 1 + ratio / (1 - duty) ** 2
    assert s.output_voltage.mean / 10 == pytest.approx(1 / (1 - duty) / share, rel=1e-5)  # ripple below 1e-3, its square counts
    assert s.efficiency == pytest.approx(1 / share, rel=1e-5)


@pytest.mark.parametrize(("ratio", "gain"), [(0.01, 5.0), (0.05, 2.2361), (0.1, 1.5811)])
def test_highest_gain_with_winding_resistance(ratio, gain):
    """A5, from EM3 eq. 3.14 (R): the gain peaks at 0.5 sqrt(R/R_L), so that is the highest output `duty_for` can name."""
    c = Converter.of(v_in=10, duty=0.5, r_load=20, f_sw=1e5, inductance=0.1, capacitance=1.0, r_inductor=ratio * 20)
    below = switched.duty_for(c, 10 * (gain - 0.001))
    assert below < 1 - math.sqrt(ratio)                                   # the branch below the peak at D' = sqrt(R_L/R)
    with pytest.raises(ValueError, match="out of reach"):
        switched.duty_for(c, 10 * (gain + 0.001))                         # the tolerance of the printed values


def test_gain_with_all_resistances_and_forward_voltage():
    """A8, EM3 eq. 3.30-3.35 (3.30 R, rest RT; inputs made up): gain 2.34871 and efficiency 0.939485."""
    s = textbook(10, 0.6, 20, 1e5, 0.1, r_inductor=0.1, r_switch=0.05, r_rectifier=0.02, v_rectifier=0.5)
    assert s.output_voltage.mean / 10 == pytest.approx(2.34871, abs=1e-5)        # five decimals given
    assert s.efficiency == pytest.approx(0.939485, abs=2e-6)


def test_rashid_example():
    """A11, C1-C4, Rashid4 Ex. 5.6 (RT): 5 V to 15 V at 0.5 A; tolerance half the last digit printed, plus the ripple's own
    square that the book neglects."""
    s = textbook(5, 2 / 3, 30, 25e3, 150e-6, 220e-6)
    assert s.output_voltage.mean == pytest.approx(15, rel=5e-4)          # an eighth of the ripple of 0.4 %
    assert s.source_current.mean == pytest.approx(1.5, rel=1e-3)
    assert s.ripple_current == pytest.approx(0.8889, rel=1e-4)
    assert s.inductor_current.max == pytest.approx(1.9444, rel=1e-3)
    assert s.ripple_voltage == pytest.approx(60.606e-3, rel=5e-3)
    assert s.switch_voltage.max == pytest.approx(15 + 0.0303, rel=1e-3)
    assert s.capacitor_current.rms == pytest.approx(0.7225, rel=1e-3)            # C4, EM3 app. A method (M)
    flat = textbook(5, 2 / 3, 30, 25e3, 150e-3)
    assert flat.capacitor_current.rms == pytest.approx(0.7071, rel=1e-4)         # C3, no coil ripple (M)


def test_rashid_example_border():
    """A12, EM3 eq. 5.32 (R): the border of A11 lies at D D'² R/(2f) = 44.44 µH, not at the 133 µH printed in Rashid4."""
    border = 2 / 3 / 9 * 30 / (2 * 25e3)
    assert border == pytest.approx(44.44e-6, abs=0.005e-6)               # half the last digit
    assert textbook(5, 2 / 3, 30, 25e3, border * 1.0001).mode == "continuous"
    assert textbook(5, 2 / 3, 30, 25e3, border * 0.9999).mode == "discontinuous"


def test_hart_example():
    """A13, C1, C4, Hart Ex. 6-4 (M): 12 V to 30 V, 120 µH and 48 µF; peak 2.7 A, valley 0.3 A, ripple 1 %."""
    s = textbook(12, 0.6, 50, 25e3, 120e-6, 48e-6)
    assert s.output_voltage.mean == pytest.approx(30, rel=2e-3)          # a fifth of the ripple of 1 %, which Hart neglects
    assert s.inductor_current.mean == pytest.approx(1.5, rel=3e-3)
    assert s.inductor_current.max == pytest.approx(2.7, rel=2e-3)
    assert s.inductor_current.min == pytest.approx(0.3, abs=8e-3)        # half a percent of the mean
    assert s.ripple_current / 2 == pytest.approx(1.2, rel=1e-6)
    assert s.ripple_voltage == pytest.approx(0.3, rel=0.025)             # the coil ends on 0.3 A, less than the load takes
    assert s.capacitor_current.rms == pytest.approx(0.8556, rel=2e-3)


@pytest.mark.parametrize("duty", [0.1, 1 / 3, 0.5, 0.8])
def test_border_of_continuous_conduction(duty):
    """B1, B5 and B6, EM3 eq. 5.32-5.33, sec. 5.3 (R) and table 5.1 (RT): the border lies at K = D D'², the gain is the same
    on both sides of it, and no load heavier than 27 L/(2 T_s) ever reaches it."""
    r, f = 20.0, 1e5
    inductance = duty * (1 - duty) ** 2 * r / (2 * f)
    above, below = (textbook(10, duty, r, f, inductance * (1 + side)) for side in (1e-6, -1e-6))
    assert (above.mode, below.mode) == ("continuous", "discontinuous")
    for s in (above, below):
        assert s.output_voltage.mean / 10 == pytest.approx(1 / (1 - duty), rel=1e-5)      # 1e-6 off the border
    lightest = 27 * inductance * f / 2
    assert textbook(10, duty, lightest * 0.999, f, inductance).mode == "continuous" and lightest <= r * (1 + 1e-12)


@pytest.mark.parametrize(("k", "duty", "gain", "conduction", "line"), [
    (0.05, 0.25, 1.7247, 0.3449, 1.618), (0.05, 0.5, 2.7913, 0.2791, 2.736),
    (0.1, 0.5, 2.1583, 0.4317, 2.081), (0.01, 0.5, 5.5249, 0.1105, 5.500),
])  # fmt: skip
def test_discontinuous_gain(k, duty, gain, conduction, line):
    """B2-B4, EM3 eq. 5.52, table 5.2 and eq. 5.54 (R): gain, the rectifier's share of the period, and the straight line
    1/2 + D/sqrt(K), which errs low by 0.4 to 6.3 % here."""
    s = textbook(10, duty, 20, 1e5, k * 20 / 2e5)
    assert s.mode == "discontinuous"
    assert s.output_voltage.mean / 10 == pytest.approx(gain, abs=6e-5)                     # four decimals printed
    assert s.conduction_end - duty == pytest.approx(conduction, abs=6e-5)
    assert 0.004 < 1 - line / (s.output_voltage.mean / 10) < 0.063
    assert s.mode != textbook(10, duty, 20, 1e5, duty * (1 - duty) ** 2 * 20 / 2e5 * 1.01).mode


def test_discontinuous_operating_point():
    """B7, EM3 eq. 15.61-15.64 (R): 24 V to 36 V at 3 A from 5 µH and 100 kHz needs D = 0.25; peak 12 A, D2 0.5."""
    c = Converter.of(v_in=24, duty=0.5, r_load=12, f_sw=100e3, inductance=5e-6, capacitance=1.0)
    assert switched.duty_for(c, 36) == pytest.approx(0.25, rel=1e-6)                       # exact in the limit of no ripple
    s = switched.steady_state(c.change(duty=0.25))
    assert s.output_voltage.mean == pytest.approx(36, rel=1e-6)
    assert s.inductor_current.max == pytest.approx(12, rel=1e-6)
    assert s.conduction_end - 0.25 == pytest.approx(0.5, rel=1e-5)
    assert pytest.approx(24**2 * 0.25**2 / (2 * 5e-6 * 100e3)) == 36 / 12 * (36 - 24)     # the book's P = I(V-V_g) = 36 W


@pytest.mark.parametrize(("ripple", "factor"), [(0.1, 1.00167), (1.0, 1.1547)])
def test_switch_rms_with_ripple(ripple, factor):
    """C5, EM3 table 3.1 (RT): with a peak ripple of 0.1 and 1 times the mean current the switch's rms value is 1.00167 and
    1.155 times I sqrt(D)."""
    duty, r, f = 0.5, 20.0, 1e5
    border = duty * (1 - duty) ** 2 * r / (2 * f)                                          # peak ripple = mean current there
    s = textbook(10, duty, r, f, border / ripple)
    assert s.switch_current.rms / (s.inductor_current.mean * math.sqrt(duty)) == pytest.approx(factor, abs=6e-5)


def test_ripple_current_of_both_modes():
    """C1, EM3 eq. 2.43 (RT): the lossless peak-to-peak ripple is V_in D/(L f_s), in discontinuous conduction too."""
    for inductance in (1e-3, 2e-6):
        s = textbook(10, 0.4, 20, 1e5, inductance)
        assert s.ripple_current == pytest.approx(10 * 0.4 / (inductance * 1e5), rel=1e-9)


@pytest.mark.parametrize("duty", [0.3, 0.6])
def test_peak_current_drive_multiplies_a_disturbance(duty):
    """D17, EM3 eq. 18.40-18.47 (RT): without a ramp a disturbance is multiplied by -D/D' each period, -1.5 from 20 to 50 V."""
    clocked = textbook(20, duty, 50, 1e5, 1e-3)
    s = switched.steady_state(clocked.converter.change(peak_current=clocked.inductor_current.max))
    assert s.duty == pytest.approx(duty, rel=1e-6)
    assert min(s.multipliers, key=lambda m: m.real).real == pytest.approx(-duty / (1 - duty), rel=1e-6)


# ------------------------------------------------------------------------------------------------- the duty for an output

@pytest.mark.parametrize(("letters", "v_out"), [
    ({}, 18.0), ({}, 66.6), ({"r_load": 600}, 18.0), ({"r_load": None, "i_out": 0.6}, 18.0),
    (SECOND, 6.5), ({**SECOND, "dead_time": 1e-7}, 18.0), (INPUT, 18.0), (LOSSLESS, 600.0),
    ({"capacitance": 2e-7, "r_load": 10, "inductance": 2e-6}, 5.8), ({"duty": None, "peak_current": 1.0}, 18.0),
])  # fmt: skip
def test_duty_for_gives_the_output_asked_for(letters, v_out):
    """The duty found gives the output to 1e-9, also next to the gain's peak and where the output dips before it rises."""
    c = stage(**letters)
    assert switched.steady_state(c.change(duty=switched.duty_for(c, v_out))).output_voltage.mean == pytest.approx(v_out, rel=1e-9)


def test_duty_for_names_lowest_and_highest():
    """Out of reach, below or above, the error names both ends of what can be reached, and those ends are right."""
    found = [switched.steady_state(stage(duty=d)).output_voltage.mean for d in (0.0, *np.linspace(0.9553, 0.9555, 21))]
    for v_out in (5.0, 100.0):
        with pytest.raises(ValueError) as caught:
            switched.duty_for(stage(), v_out)
        assert f"v_out = {v_out:g} V is out of reach" in str(caught.value)
        assert f"from {found[0]:.4g} V (duty 0) to {max(found[1:]):.4g} V (duty 0.955" in str(caught.value)
    assert switched.duty_for(stage(), found[0]) == 0.0
    for v_out in (math.nan, -3.0, 0.0):
        with pytest.raises(ValueError, match="^v_out = "):
            switched.duty_for(stage(), v_out)


def switch_on(damping):
    """Highest output over the source when 1 V is put on an empty L-C: a stage that never switches and hardly feeds anything.
    The winding has the resistance that damps it; the rectifier is a second switch, so that the current may ring both ways."""
    inductance, capacitance = 47e-6, 100e-6
    resistance = 2 * damping * math.sqrt(inductance / capacitance)
    stage = Converter.of(v_in=1.0, duty=0.0, f_sw=1e3, inductance=inductance, r_inductor=resistance, capacitance=capacitance,
                         r_load=1e9, rectifier="switch")
    return switched.from_rest(stage, 2).output_voltage.max


@pytest.mark.parametrize(("damping", "peak"), [(0.1, 1.729), (0.2, 1.527), (0.5, 1.163), (0.7071, 1.043)])
def test_switch_on_of_a_damped_resonance(damping, peak):
    """Textbook step response, 1 + exp(-pi z/sqrt(1 - z^2)) (from memory); its figures are printed to three decimals."""
    found = switch_on(damping)
    assert found == pytest.approx(1 + math.exp(-math.pi * damping / math.sqrt(1 - damping**2)), rel=1e-6)   # the load's share
    assert found == pytest.approx(peak, abs=5e-4)


def test_switch_on_without_loss_doubles_the_source():
    """Without loss an empty L-C swings to twice the source (textbook, from memory), with a diode as with a second switch."""
    assert switch_on(0.0) == pytest.approx(2.0, rel=1e-6)
    diode = Converter.of(v_in=1.0, duty=0.0, f_sw=1e3, inductance=47e-6, capacitance=100e-6, r_load=1e9)
    assert switched.from_rest(diode, 2).output_voltage.max == pytest.approx(2.0, rel=1e-6)
