"""Winding an inductor: turns, gap, wire, losses and temperature, and the reasons why a core will not do."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from boostkit.circuit import Converter
from boostkit.derivations import core_size
from boostkit.parts import core_materials, cores, inductor_build, inductor_demand, kinds, losses, magnetising, windings, wire
from boostkit.parts.core_materials import MU_0
from boostkit.parts.inductor_demand import Demand, Refused
from boostkit.parts.point import Point

# the tide gauge's, at its hardest
GAUGE = {"inductance": 47e-6, "i_peak": 3.0, "i_rms": 2.0, "ripple": 0.58, "f_sw": 150e3, "duty": 0.68}
WOUND = [("E 16/8/5", "power_ferrite"), ("P 18/11", "power_ferrite"), ("E 25/13/7", "power_ferrite"), ("ring 16/10/6", "powder"),
         ("E 20/10/6", "powder")]  # fmt: skip


@pytest.fixture(params=WOUND, ids=" ".join)
def built(request):
    """The tide gauge's inductor on several cores."""
    core, material = request.param
    return inductor_build.build(**GAUGE, core=core, material=material)


def _current_by_ampere(built, flux):
    """Turns times current is field times length, in the core and across the gap, by Ampère's law."""
    across = flux / (MU_0 * built.fringing) * built.gap
    return (built.material.field(flux, built.temperature) * built.core.length + across) / built.turns


def test_it_has_the_inductance_that_was_asked_for(built):
    """Linkage over current at the mean current, from the magnetising curve: a gap that a formula gave, checked by Ampère's law."""
    mean = math.sqrt(built.demand.mean_square) if built.material.gap == "distributed" else 0.0
    flux = brentq(lambda b: _current_by_ampere(built, b) - mean, -0.01, 0.6)
    step = 1e-4
    slope = built.turns * built.core.area * 2 * step / (_current_by_ampere(built, flux + step) - _current_by_ampere(built, flux - step))
    if built.material.gap == "cut":
        assert slope == pytest.approx(47e-6, rel=1e-3)  # the curve's mu_r - 1 against the formula's mu_r
    else:
        assert 47e-6 * 0.99 < slope < 47e-6 * 1.10  # whole turns, on a core a little cooler than its limit


@pytest.mark.parametrize("current", [0.5, 2.0, 3.0, 5.0, 9.0])
def test_flux_linkage_follows_from_amperes_law(built, current):
    """The dense curve, read at a current, against solving the circuit around the core for the flux density there."""
    flux = brentq(lambda b: _current_by_ampere(built, b) - current, 0, 1.2)
    assert built.magnetised.flux_linkage_at(current) == pytest.approx(built.turns * built.core.area * flux, rel=2e-3)  # 200 pieces
    assert built.magnetised.flux_linkage_at(-current) == -built.magnetised.flux_linkage_at(current)


def test_the_inductance_falls_with_current(built):
    """Never rises; 70 % is left at the saturation current; the energy in the field is the integral of current over linkage."""
    current = np.linspace(0, 20, 400)
    left = built.inductance_at(current)
    assert np.all(np.diff(left) <= 1e-12)
    assert built.inductance_at(built.saturation_current) == pytest.approx(0.7 * 47e-6, rel=1e-6)
    assert built.saturation_current > 3.0
    by_slope = quad(lambda i: float(built.inductance_at(i)), 0, 3.0, limit=200)[0]
    assert built.magnetised.flux_linkage_at(3.0) == pytest.approx(by_slope, rel=2e-3)  # straight pieces between 200 points


def test_the_exact_circuit_takes_the_curve(built):
    """A converter with the curve has the same flux linkage at every bend, and near it in between."""
    coil = Converter.of(v_in=6, duty=0.6, f_sw=150e3, inductance=built.first_inductance, saturation=built.saturation, capacitance=1e-4,
                        r_load=30).inductor  # fmt: skip
    current, linkage = built.curve
    assert [coil.flux_linkage(i) for i in current] == pytest.approx(list(linkage), rel=1e-9)
    between = np.linspace(0.1, 3 * built.saturation_current, 100)
    assert [coil.flux_linkage(i) for i in between] == pytest.approx(list(built.magnetised.flux_linkage_at(between)), rel=0.01)


def test_the_core_stays_out_of_saturation(built):
    """At the peak: three quarters of what it bears hot. Erickson & Maksimovic, 3rd ed., problem 12.1."""
    assert built.flux_peak <= 0.75 * built.material.saturation_at(80.0) * (1 + 1e-12)
    if built.material.gap == "cut":
        assert built.flux_peak == pytest.approx(47e-6 * 3.0 / (built.turns * built.core.area_least))


def test_the_winding_fits(built):
    """Layers of round wire, turn beside turn, within the bobbin or the hole."""
    across = built.wire.outer
    assert built.fill == pytest.approx(built.turns * built.wire.area / built.core.window)
    assert built.fill <= inductor_build.FILL_LIMIT
    assert built.layers * across <= built.core.build
    if built.core.gappable:
        assert built.turns <= built.layers * math.floor(built.core.breadth / across)
    else:
        room = [math.pi * (2 * built.core.build - (2 * k - 1) * across) / across for k in range(1, built.layers + 1)]
        assert sum(room[:-1]) < built.turns <= sum(room)


def test_it_is_as_warm_as_its_losses_make_it(built):
    """Ambient plus thermal resistance times loss, the winding's resistance taken at that very temperature."""
    assert built.temperature == pytest.approx(40.0 + built.core.thermal_resistance * built.loss, rel=1e-9)
    hot = built.wire.resistance(built.wire_length, built.temperature)
    assert built.resistance_dc == pytest.approx(hot, rel=1e-9)
    ripple = 0.58**2 / 12
    assert built.winding_loss == pytest.approx(hot * (2.0**2 - ripple + built.ac_ratio * ripple), rel=1e-9)
    assert built.temperature <= 80.0


def test_no_other_winding_on_this_core_is_cooler(built):
    """Every number of turns and every wire, each reckoned in full."""
    demand = built.demand
    found = windings.ways(built.core, inductor_demand.turns_to_try(demand, built.core, built.material), demand.fill_limit)
    ratio = windings.ac_ratio(found, demand.f_sw, demand.duty, demand.falling, built.temperature, 24)
    copper = found.resistance_dc * (demand.mean_square + ratio * demand.ripple_square)
    warm = inductor_demand.settled(demand, built.core, copper, inductor_demand.core_loss(demand, built.core, built.material, found.turns))
    assert len(found) > 20
    assert built.temperature <= warm.min() * 1.002  # chosen with 8 harmonics, and the skin depth of the ambient


def test_the_part_loses_what_the_winding_and_the_core_lose(built):
    """The same numbers through `parts.losses`, which knows only the part."""
    mean = math.sqrt(built.demand.mean_square)
    low, high = mean - 0.29, mean + 0.29
    point = Point(v_in=6.0, v_out=18.0, i_out=0.6, f_sw=150e3, duty=0.68, conduction_end=1.0, i_inductor_mean=mean, i_inductor_rms=2.0,
                  i_inductor_min=low, i_inductor_max=high, i_switch_mean=0.0, i_switch_rms=0.0, i_rectifier_mean=0.6, i_rectifier_rms=1.0,
                  i_capacitor_rms=1.0, discontinuous=False)  # fmt: skip
    parts = kinds.Parts(kinds.Switch("s", 30, 10, 0.02, 2e-8, 2e-8), kinds.Rectifier("r", 30, 3, 0.02), built.part(),
                        kinds.Capacitor("c", "ceramic", 1e-4, 25, 0.01, 2.0))  # fmt: skip
    items = losses.at(point, parts, {"inductor": built.temperature}).items
    assert items["inductor winding"] + items["inductor winding, ripple"] == pytest.approx(built.winding_loss, rel=1e-9)
    assert items["inductor core"] == pytest.approx(built.core_loss, rel=1e-9)
    assert built.part().heat.resistance == built.core.thermal_resistance


def test_core_loss_by_integrating_its_definition(built):
    """Generalised Steinmetz over a sampled triangle: k_i |dB/dt|^alpha (swing)^(beta - alpha), averaged (from memory)."""
    one, swing, f = built.material, built.flux_ripple, 150e3
    angle = np.linspace(0, 2 * np.pi, 200001)
    cosine = np.trapezoid(np.abs(np.cos(angle)) ** one.alpha, angle)
    k_i = one.k / ((2 * np.pi) ** (one.alpha - 1) * 2 ** (one.beta - one.alpha) * cosine)
    time = np.linspace(0, 1 / f, 10001)
    flux = np.interp(time, [0, 0.68 / f, 1 / f], [0, swing, 0])
    mean = np.mean(np.abs(np.diff(flux) / np.diff(time)) ** one.alpha) * k_i * swing ** (one.beta - one.alpha)
    assert built.core_loss == pytest.approx(built.core.volume * mean, rel=1e-4)  # step across the corner of the triangle
    assert swing == pytest.approx(47e-6 * 0.58 / (built.turns * built.core.area))


@pytest.mark.parametrize("rising, falling", [(0.68, 0.32), (0.4, 0.25)])
def test_ripple_shares_are_those_of_a_sampled_ripple(rising, falling):
    """Discrete Fourier transform, with and without a rest at zero; a symmetrical triangle has 98.6 % in its fundamental (96/pi^4)."""
    assert windings.ripple_shares(0.5, 0.5, 30)[0] == pytest.approx(96 / math.pi**4)
    time = np.arange(40000) / 40000
    ripple = np.interp(time, [0, rising, rising + falling, 1], [0, 1, 0, 0])
    power = np.abs(np.fft.rfft(ripple)[1:9] / 40000) ** 2 * 2 / np.var(ripple)
    assert windings.ripple_square(rising + falling) == pytest.approx(np.var(ripple), rel=1e-4)  # samples
    assert windings.ripple_shares(rising, falling, 20)[:8] == pytest.approx(power, abs=1e-4)  # samples
    assert windings.ripple_shares(rising, falling, 20).sum() == pytest.approx(1)


def test_a_current_that_runs_dry_costs_the_core_more():
    """The same swing in less time: the flux falls in half the time, and the winding carries its ripple in shorter pulses."""
    ripple, same = GAUGE | {"i_peak": 2.0, "i_rms": 1.0, "ripple": 2.0, "duty": 0.4}, {"core": "E 20/10/6"}
    whole, dry = (inductor_build.build(**ripple, **same, duty_rectifier=falling) for falling in (0.6, 0.3))
    assert whole.temperature == inductor_build.build(**ripple, **same).temperature
    rate = (0.4**-0.5 + 0.3**-0.5) / (0.4**-0.5 + 0.6**-0.5)  # alpha = 1.5, by the same generalised rule
    assert dry.core_loss * dry.turns**2.5 / (whole.core_loss * whole.turns**2.5) == pytest.approx(rate)


@pytest.mark.parametrize("duty", [0.5, 0.3])
def test_thin_wire_loses_by_the_square_of_the_slope(duty):
    """For wire thin against the skin depth the excess goes as the rms of di/dt squared: for a triangle 12/(4 pi² D D') times that of
    its fundamental frequency. W. G. Hurley et al., IEEE Trans. PE 15 (2000), from memory."""
    found = windings.Ways(*(np.array([x]) for x in (20.0, _finest(), 3.0, 0.3, 0.1, 0.6)))
    excess = windings.ac_ratio(found, 20e3, duty, 1 - duty, 60.0, 400)[0] - 1
    sine = _one_harmonic(found, 20e3) - 1
    assert excess / sine == pytest.approx(12 / (4 * math.pi**2 * duty * (1 - duty)), rel=0.01)  # 400 harmonics, and the next order


def _finest():
    return min(range(len(windings.wires())), key=lambda k: (windings.wires()[k].strands > 1, windings.wires()[k].diameter))


def _one_harmonic(found, f_sw):
    return float(windings.ac_ratio(found, f_sw, 0.5, 0.5, 60.0, 1)[0])  # all of the ripple given to its fundamental


def test_turns_and_gap_of_a_textbook_inductor():
    """1.07 mH, 1.5 A, 0.25 T on 1.09 cm²: 59 turns, gap 0.44 mm. Erickson & Maksimovic, 3rd ed., sec. 11.4.2."""
    core = replace(cores.shape("E 30/15/7"), area=1.09e-4, area_least=1.09e-4)
    hard = replace(core_materials.material("power_ferrite"), saturation=(0.25 / 0.75,) * 2, permeability=1e5)
    demand = Demand(1.0667e-3, 1.5, 1.25, 0.5, 150e3, 0.4)
    turns = inductor_demand.turns_to_try(demand, core, hard)
    assert turns[0] == 59  # 58.7 before rounding up
    assert magnetising.straight_gap(core, hard, 58.7, demand.inductance) == pytest.approx(0.44e-3, abs=0.005e-3)  # two digits


def test_fringing_asks_for_a_wider_gap():
    """Inductance with the gap as ground: that of a straight field times nothing left over."""
    built = inductor_build.build(**GAUGE, core="E 25/13/7")
    straight = magnetising.straight_gap(built.core, built.material, built.turns, 47e-6)
    assert built.gap == pytest.approx(straight * built.fringing) and built.fringing > 1.05
    reluctance = (built.gap / built.fringing + built.core.length / 2000) / (MU_0 * built.core.area)
    assert built.turns**2 / reluctance == pytest.approx(47e-6, rel=1e-9)


def test_the_smallest_core_for_the_tide_gauge():
    """It exists, is small, and each smaller one is refused with a reason; the larger ones would all do in one material."""
    built, refused = inductor_build.smallest(**GAUGE, materials=["power_ferrite"])
    names = list(cores.shapes())
    assert list(refused) == names[: names.index(built.core.name)]
    assert built.volume < 5e-6 and built.temperature <= 80
    larger = names[names.index(built.core.name) :]
    assert all(inductor_build.build(**GAUGE, core=name) for name in larger if cores.shape(name).gappable)


def test_none_will_do():
    """A hundred amperes in a small coil: no Built, and every core has its reason."""
    built, refused = inductor_build.smallest(1e-3, 100.0, 90.0, 20.0, 50e3, 0.5)
    assert built is None and list(refused) == list(cores.shapes())


@pytest.mark.parametrize("change, core, material, said", [
    ({}, "ring 16/10/6", "power_ferrite", "no leg into which a gap"),
    ({"f_sw": 2e6}, "E 20/10/6", "power_ferrite", "power_ferrite is known from 5 kHz to 500 kHz, not at 2 MHz"),
    ({"i_peak": 12.0}, "P 9/5", "power_ferrite", "the field would bulge"),
    ({"inductance": 3e-3}, "P 9/5", "power_ferrite", "more than 500 are not tried"),
    ({}, "P 14/8", "power_ferrite", "26 turns would lose .* even in a window full of copper"),
    ({"inductance": 1e-3, "i_peak": 0.05, "i_rms": 0.03, "ripple": 0.01, "fill_limit": 1e-3}, "P 14/8", "power_ferrite", "do not fit"),
    ({"inductance": 2e-3, "i_rms": 0.5, "i_peak": 0.6}, "P 9/5", "powder", "window"),
    ({"ripple": 3.0, "f_sw": 400e3}, "E 16/8/5", "power_ferrite", "even its coolest winding would reach 116 °C, above 80 °C"),
    ({"i_peak": 20.0}, "E 16/8/5", "powder", "of the inductance would be left|the powder saturates|beyond"),
])  # fmt: skip
def test_a_core_that_will_not_do_says_why(change, core, material, said):
    """One line, with the number that decided."""
    with pytest.raises(Refused, match=said):
        inductor_build.build(**(GAUGE | change), core=core, material=material)


def test_a_window_full_of_copper_is_the_textbooks_measure_of_a_core():
    """The least loss, put into the rule that finds the core for a loss, gives back this very core. Erickson & Maksimovic, 3rd ed.,
    sec. 11.2, derived in `core_size`."""
    core, turns = cores.shape("E 25/13/7"), 47e-6 * 3.0 / (0.25 * cores.shape("E 25/13/7").area)
    least = windings.least_loss(core, turns, 0.5, 2.0, 80.0)
    needed = core_size.copper_loss_size().formula(
        resistivity=wire.resistivity(80.0), inductance=47e-6, i_inductor_max=3.0, i_inductor_rms=2.0, flux_density_max=0.25,
        p_copper=least, fill=0.5,
    )  # fmt: skip
    assert needed == pytest.approx(core.copper_constant)


def test_copper_that_heats_itself_faster_than_it_cools():
    """Its temperature is infinite and not some number of an endless iteration; just below, it is finite and very hot."""
    demand, core = Demand(**GAUGE), cores.shape("E 16/8/5")
    edge = (1 + 0.00393 * 5) / 0.00393 / core.thermal_resistance  # W at 25 °C at which each kelvin makes a kelvin more
    assert math.isinf(inductor_demand.settled(demand, core, edge * 1.0001, 0.0))
    assert inductor_demand.settled(demand, core, edge * 0.99, 0.0) > 5000


@pytest.mark.parametrize("change, said", [({"ripple": 7.0}, "ripple"), ({"i_rms": 3.5}, "i_rms"), ({"duty": 1.0}, "duty"),
                                          ({"inductance": 0.0}, "inductance"), ({"fill_limit": 1.2}, "fill_limit")])  # fmt: skip
def test_what_cannot_be_asked_is_refused(change, said):
    """By name, value and rule; not as a verdict on a core."""
    with pytest.raises(ValueError, match=f"^{said} = .* must") as refusal:
        inductor_build.build(**(GAUGE | change), core="E 20/10/6")
    assert not isinstance(refusal.value, Refused)


@settings(max_examples=40, deadline=None)
@given(st.floats(2e-6, 5e-4), st.floats(0.3, 8.0), st.floats(0.05, 1.6), st.floats(2e4, 4.5e5), st.floats(0.1, 0.9))
def test_whatever_is_built_keeps_its_limits(inductance, mean, share, f_sw, duty):
    """Random demands: flux, fill and temperature within limits, gap positive for a ferrite."""
    ripple = share * mean
    peak, rms = mean + ripple / 2, math.hypot(mean, ripple / math.sqrt(12))
    demand = {"inductance": inductance, "i_peak": peak, "i_rms": rms, "ripple": ripple, "f_sw": f_sw, "duty": duty}
    built, refused = inductor_build.smallest(**demand)
    assert built or len(refused) == len(cores.shapes())
    if built:
        assert built.flux_peak <= 0.75 * built.material.saturation_at(80) * (1 + 1e-9)
        assert built.fill <= 0.5 and built.temperature <= 80 and built.ac_ratio >= 1 and built.layers >= 1
        assert (built.gap > 0) == (built.material.gap == "cut")
        assert built.saturation_current >= demand["i_peak"]
        assert len(built.why) >= 4 and built.first_inductance > 0 and built.saturation


def test_more_room_for_heat_takes_no_larger_core():
    """A rise of 60 K against 20 K, and the coil that runs cooler is larger."""
    warm, cool = (inductor_build.smallest(**GAUGE, rise_limit=rise)[0] for rise in (60.0, 20.0))
    assert warm.volume <= cool.volume and cool.temperature <= 60.0 < warm.temperature
