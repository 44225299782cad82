"""Turns, gap and core size: against a textbook design, against each other, and against the exact circuit."""

import numpy as np
import pytest
from scipy import constants

from boostkit.algebra import known
from boostkit.circuit import Converter, switched
from boostkit.derivations import core_size, magnetics
from boostkit.units import read

# Erickson & Maksimovic, 3rd ed., sec. 11.4.2 (as quoted, the page not seen): a coil of 1.07 mH, 1.5 A peak, two windings whose
# currents together count as 1.77 A rms, on a core of 1.09 cm2, window 0.476 cm2, 6.6 cm a turn.
DESIGN = {"inductance": 1.0667e-3, "i_inductor_max": 1.5, "flux_density_max": 0.25}
CORE = 1.09e-4


def test_permeability_of_empty_space():
    """The constant is CODATA's."""
    assert read(known("mu_0").defined_as, "H/m") == pytest.approx(constants.mu_0, rel=2e-9)  # written with nine digits


def test_textbook_size_by_copper_loss():
    """The textbook design asks for a core of 0.049 cm5 (eq. 11.69-11.90)."""
    size = core_size.copper_loss_size().formula(resistivity=1.724e-8, i_inductor_rms=1.7705, p_copper=1.5, fill=0.3, **DESIGN)
    assert size * 1e10 == pytest.approx(0.04919, rel=5e-4)  # cm5; inputs rounded to four digits


def test_textbook_turns():
    """Its first winding has 59 turns (58.7 before rounding)."""
    assert magnetics.turns_for_flux().formula(area_core=CORE, **DESIGN) == pytest.approx(58.7, abs=0.05)  # printed rounded


def test_textbook_gap():
    """Its gap is 0.44 mm, the core itself left out."""
    turns = magnetics.turns_for_flux().formula(area_core=CORE, **DESIGN)
    gap = magnetics.gap_length().formula(turns=turns, area_core=CORE, inductance=DESIGN["inductance"], length_core=0.0, permeability=2000.0)
    assert gap == pytest.approx(0.44e-3, abs=0.005e-3)  # printed with two digits
    assert gap == pytest.approx(0.4427e-3, rel=3e-4)  # recomputed from inputs of four digits


def test_textbook_alternating_flux():
    """Its flux density swings by 0.041 T to either side; our swing is from peak to peak."""
    swing = magnetics.flux_swing_by_source().formula(v_in=200.0, duty=0.4, turns=59.0, area_core=CORE, f_sw=150e3)
    assert swing / 2 == pytest.approx(0.0415, abs=0.0005)  # printed with two digits


def test_turns_give_back_the_flux():
    """With the turns that the limit asks for, the flux density is at its limit; with twice as many it is half."""
    turns = magnetics.turns_for_flux().formula(area_core=CORE, **DESIGN)
    peak = magnetics.peak_flux().formula
    at = {"inductance": DESIGN["inductance"], "i_inductor_max": 1.5, "area_core": CORE}
    assert peak(turns=turns, **at) == pytest.approx(0.25, rel=1e-12)
    assert peak(turns=2 * turns, **at) == pytest.approx(0.125, rel=1e-12)


def test_gap_gives_back_the_inductance():
    """A core with the gap that an inductance asks for has this inductance, for any core; arrays broadcast."""
    inductance = np.array([10e-6, 47e-6, 220e-6])
    core = {"turns": 30.0, "area_core": 40e-6, "length_core": 0.05, "permeability": 2000.0}
    gap = magnetics.gap_length().formula(inductance=inductance, **core)
    assert magnetics.gapped_inductance().formula(gap=gap, **core) == pytest.approx(inductance, rel=1e-12)


def test_toroid_without_gap():
    """Without a gap the inductance is that of a closed ring, mu0 mu_r N^2 A/l (handbook formula)."""
    found = magnetics.gapped_inductance().formula(turns=20.0, area_core=26e-6, gap=0.0, length_core=0.054, permeability=125.0)
    assert found == pytest.approx(constants.mu_0 * 125 * 400 * 26e-6 / 0.054, rel=1e-8)


def test_the_energy_sits_in_the_gap():
    """What the gap holds is all that the coil holds, less the share of the core, l_e/mu_r against l_g."""
    core = {"turns": 14.0, "area_core": 40e-6, "gap": 0.2e-3, "length_core": 0.05}
    for permeability, share in ((2000.0, 0.2 / 0.225), (1e9, 1.0)):
        inductance = magnetics.gapped_inductance().formula(permeability=permeability, **core)
        peak = magnetics.peak_flux().formula(inductance=inductance, i_inductor_max=2.5, turns=14.0, area_core=40e-6)
        energy = magnetics.energy_in_gap().formula(flux_density_peak=peak, area_core=40e-6, gap=0.2e-3)
        assert energy == pytest.approx(share * inductance * 2.5**2 / 2, rel=1e-6)  # 1e9 is not infinite


def test_flux_swing_in_the_exact_circuit():
    """Without loss, turn by turn, the exact waveform swings the flux by the volt-seconds of the source, in both modes."""
    for load in (0.35, 0.02):
        c = Converter.of(v_in=6.0, duty=0.65, f_sw=150e3, inductance=47e-6, capacitance=100e-6, i_out=load)
        current = switched.steady_state(c).inductor_current
        by_ripple = magnetics.flux_swing_by_ripple().formula(inductance=47e-6, ripple_current=current.max - current.min,
                                                             turns=14.0, area_core=40e-6)
        by_source = magnetics.flux_swing_by_source().formula(v_in=6.0, duty=0.65, turns=14.0, area_core=40e-6, f_sw=150e3)
        assert by_ripple == pytest.approx(by_source, rel=1e-9)


def test_a_core_of_just_the_size_just_holds():
    """Wind a core that has just the size asked for: flux density and heat of the winding come out at their limits."""
    demand = {"inductance": 47e-6, "i_inductor_max": 2.5, "i_inductor_rms": 1.9, "flux_density_max": 0.225, "fill": 0.4}
    size = core_size.copper_loss_size().formula(resistivity=2.27e-8, p_copper=0.3, **demand)
    area_core, length_turn = 30e-6, 0.04
    window = size * length_turn / area_core**2
    turns = magnetics.turns_for_flux().formula(inductance=47e-6, i_inductor_max=2.5, flux_density_max=0.225, area_core=area_core)
    wire = 0.4 * window / turns
    heat = 1.9**2 * magnetics.winding_resistance().formula(resistivity=2.27e-8, turns=turns, length_turn=length_turn, area_wire=wire)
    assert heat == pytest.approx(0.3, rel=1e-12)
    density = 1.9 / wire
    product = core_size.area_product().formula(current_density=density, **demand)
    assert product == pytest.approx(window * area_core, rel=1e-12)      # the other form, at the density that came out


def test_area_product_is_energy():
    """Twice the energy in the field asks for twice the area product, however inductance and current share it."""
    size = core_size.area_product().formula
    one = size(inductance=47e-6, i_inductor_max=2.5, i_inductor_rms=2.0, flux_density_max=0.2, current_density=4e6, fill=0.4)
    other = size(inductance=4 * 47e-6, i_inductor_max=1.25, i_inductor_rms=1.0, flux_density_max=0.2, current_density=4e6, fill=0.4)
    assert one == pytest.approx(other, rel=1e-12)
    assert one == pytest.approx(47e-6 * 2.5 * 2.0 / (0.2 * 4e6 * 0.4), rel=1e-12)


def test_fringing_is_small_for_a_small_gap():
    """The factor tends to one with the gap, grows with it, and turns where its condition ends, at 2w/e."""
    factor = magnetics.fringing().formula
    at = {"area_core": 40e-6, "window_height": 0.012}
    gaps = np.array([1e-9, 1e-5, 1e-4, 1e-3, 0.024 / np.e])
    values = factor(gap=gaps, **at)
    assert values[0] == pytest.approx(1, abs=1e-5)      # 1e-9 m of gap and 17 times that
    assert np.all(np.diff(values) > 0)
    assert factor(gap=0.024 / np.e, **at) > max(factor(gap=g * 0.024 / np.e, **at) for g in (0.99, 1.01))
    assert list(magnetics.fringing().formula.holds(gap=np.array([8.8e-3, 8.9e-3]), **at)) == [True, False]


def test_fringing_as_the_handbook_prints_it():
    """1 + (l_g/sqrt(A)) ln(2 w/l_g), from memory: a leg 10 mm wide, a gap of 1 mm, a window of 10 mm: 1 + 0.1 ln 20 = 1.29957."""
    assert magnetics.fringing().formula(gap=1e-3, area_core=1e-4, window_height=0.01) == pytest.approx(1.29957, abs=5e-6)  # rounding
