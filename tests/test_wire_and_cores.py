"""Wire by number, cores by IEC 60205, and core materials."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from boostkit.parts import core_materials, cores, wire


@pytest.mark.parametrize("number, millimetres", [(10, 2.588), (14, 1.628), (18, 1.0237), (24, 0.5106), (36, 0.1270)])
def test_bare_wire_has_the_diameter_of_the_standard(number, millimetres):
    """ASTM B258, table read; the sizes that it rounds to mils are left out."""
    assert wire.gauge(number).diameter * 1e3 == pytest.approx(millimetres, abs=0.0005)  # the table's last digit


@pytest.mark.parametrize("number, ohms", [(10, 3.28), (18, 20.94), (20, 33.29), (24, 84.20), (30, 338.5), (40, 3440)])
def test_a_kilometre_resists_as_the_table_says(number, ohms):
    """The same table, ohms per kilometre at 20 °C."""
    assert wire.gauge(number).resistance(1000.0) == pytest.approx(ohms, rel=0.001)  # it prints three to four digits


def test_warm_copper_resists_more():
    """At 100 °C 2.3e-6 ohm cm: Erickson & Maksimovic, 3rd ed., p. 426 (two digits)."""
    assert wire.resistivity(100.0) == pytest.approx(2.3e-8, abs=0.05e-8)
    assert wire.gauge(20).resistance(2.0, 100.0) / wire.gauge(20).resistance(2.0) == pytest.approx(1 + 0.00393 * 80)


@pytest.mark.parametrize("bare, coated", [(0.1, 0.125), (0.2, 0.239), (0.5, 0.566), (1.0, 1.094)])
def test_the_enamel_is_that_of_grade_2(bare, coated):
    """IEC 60317-0-1, largest diameters of grade 2, from memory."""
    assert wire.insulated_diameter(bare * 1e-3) * 1e3 == pytest.approx(coated, rel=0.02)  # a curve through a table of steps


@pytest.mark.parametrize("strands, across", [(1, 1.0), (2, 2.0), (7, 3.0), (19, 5.0)])
def test_a_bundle_is_as_thick_as_strands_laid_around_each_other(strands, across):
    """One around none, six around one, twelve around seven: geometry."""
    assert wire.gauge(30, strands).outer / wire.gauge(30).insulated == pytest.approx(across, rel=0.03)  # the rule is for any number


@pytest.mark.parametrize("number", wire.GAUGES)
def test_the_nearest_wire_to_a_wire_is_itself(number):
    """Also a little off, and a half step down is the next one."""
    one = wire.gauge(number)
    assert wire.near(one.diameter * 1.02) == one
    assert wire.gauge(number, 12).area == pytest.approx(12 * one.area)


@pytest.mark.parametrize("ask", [lambda: wire.gauge(3), lambda: wire.gauge(20.5), lambda: wire.gauge(20, 0), lambda: wire.near(0.0)])
def test_a_wire_that_does_not_exist_is_refused(ask):
    """In one line, by name."""
    with pytest.raises(ValueError, match=r"^(gauge|strands|diameter) = .* must"):
        ask()


@pytest.mark.parametrize("name, area, length", [("ring 25/15/10", 48.9, 60.18), ("ring 20/10/7", 33.63, 43.55),
                                                ("ring 22.1/13.7/6.35", 26.17, 54.15)])  # fmt: skip
def test_rings_have_their_published_effective_size(name, area, length):
    """Published entries for rings of these dimensions (formula of IEC 60205, from memory)."""
    core = cores.shape(name)
    assert core.area * 1e6 == pytest.approx(area, abs=0.05)  # rounding of the first
    assert core.length * 1e3 == pytest.approx(length, abs=0.006)


def test_the_ring_formula_is_the_integral_over_its_radii():
    """Flux crowds towards the hole: C1 and C2 by integrating it, core constants as IEC 60205 defines them."""
    outer, inner, height = 25e-3, 15e-3, 10e-3
    flux = quad(lambda r: height / (2 * math.pi * r), inner / 2, outer / 2)[0]
    squares = quad(lambda r: height / (2 * math.pi * r) ** 2, inner / 2, outer / 2)[0]
    c1, c2 = 1 / flux, squares / flux**3
    core = cores.ring("ring", outer, inner, height)
    assert (core.area, core.length) == pytest.approx((c1 / c2, c1**2 / c2), rel=1e-9)


EFFECTIVE = {  # mm², mm, mm³: IEC 62317-8 (E) and IEC 62317-2 (pot), as makers of all countries print them, from memory
    "E 13/7/4": (12.4, 29.7, 368), "E 16/8/5": (20.1, 37.6, 750), "E 20/10/6": (32, 46.3, 1490), "E 25/13/7": (52, 57.5, 2990),
    "E 30/15/7": (60, 67, 4000), "E 32/16/9": (83, 74, 6140), "E 42/21/15": (178, 97, 17300), "E 55/28/21": (354, 124, 43900),
    "P 9/5": (10.1, 12.4, 125), "P 11/7": (16.2, 15.5, 251), "P 14/8": (25.1, 19.8, 495), "P 18/11": (43.3, 25.8, 1120),
    "P 22/13": (63.4, 31.5, 2000), "P 26/16": (93.9, 37.6, 3530), "P 30/19": (137, 45.2, 6190), "P 36/22": (202, 53.2, 10700),
}  # fmt: skip


@pytest.mark.parametrize("name", EFFECTIVE)
def test_halves_have_the_effective_size_of_their_standard(name):
    """From dimensions alone, by IEC 60205."""
    core, (area, length, volume) = cores.shape(name), EFFECTIVE[name]
    within = 0.04 if core.kind == "E" else 0.06  # dimensions from memory; a pot's openings for the wire are left out
    assert (core.area * 1e6, core.length * 1e3) == pytest.approx((area, length), rel=within)
    assert core.volume * 1e9 == pytest.approx(volume, rel=0.05)
    assert core.area_least <= core.area * 1.001


@pytest.mark.parametrize("name, area", [("P 14/8", 19.9), ("P 18/11", 36.1), ("P 22/13", 51.3), ("E 30/15/7", 49.0),
                                        ("E 20/10/6", 31.9)])  # fmt: skip
def test_the_narrowest_section_is_that_of_the_standard(name, area):
    """Where the core saturates first; the same standards, from memory."""
    assert cores.shape(name).area_least * 1e6 == pytest.approx(area, rel=0.03)  # dimensions from memory


def test_the_back_of_a_pot_is_the_integral_over_its_radii():
    """A disc crossed from post to wall: length over area, and over area squared, by numerical integration."""
    inner, outer, thickness = 3.7e-3, 7.6e-3, 1.6e-3
    c1 = quad(lambda r: 1 / (2 * math.pi * r * thickness), inner, outer)[0]
    c2 = quad(lambda r: 1 / (2 * math.pi * r * thickness) ** 2, inner, outer)[0]
    assert cores.disc_constants(inner, outer, thickness) == pytest.approx((c1, c2), rel=1e-9)


def test_a_thin_back_is_the_narrowest_section():
    """Where the flux spreads from the post into the back, it crosses a cylinder as high as the back is thick."""
    thin = cores.pot("thin", 18e-3, 4.2e-3, 3.7e-3, 15.15e-3, 7.45e-3, 3.1e-3)
    assert thin.area_least == pytest.approx(math.pi * 7.45e-3 * 0.5e-3)


def test_copper_constant_of_a_textbook_core():
    """EE30: 1.09 cm², 0.476 cm², 6.6 cm give 0.0857 cm⁵. Erickson & Maksimovic, 3rd ed., p. 478."""
    core = replace(cores.shape("E 30/15/7"), area=1.09e-4, breadth=4.76e-3, build=1e-2, mean_turn=6.6e-2)
    assert core.copper_constant * 1e10 == pytest.approx(0.0857, rel=0.001)


@pytest.mark.parametrize("name", [name for name in EFFECTIVE if name.startswith("E") and name != "E 13/7/4"])
def test_heat_leaves_as_a_rule_of_the_trade_says(name):
    """53 K/W for an effective volume of 1 cm³, going as its power -0.54: common practice, no source."""
    core = cores.shape(name)
    assert core.thermal_resistance == pytest.approx(53 * (core.volume * 1e6) ** -0.54, rel=0.3)  # a rule for all shapes at once


def test_a_core_twice_as_large_in_all_directions():
    """Lengths double, areas are four times as large, and it gives off four times the heat."""
    sizes = (20e-3, 10e-3, 6e-3, 7e-3, 14e-3, 6e-3)
    one, two = cores.e_pair("one", *sizes), cores.e_pair("two", *(2 * size for size in sizes))
    assert (two.length / one.length, two.area / one.area) == pytest.approx((2, 4))
    assert two.breadth - 2 * one.breadth == pytest.approx(2 * cores.WALL)  # the wall of the bobbin stays as it is


def test_impossible_dimensions_are_refused():
    """By name of core and of dimension."""
    with pytest.raises(ValueError, match="mine: outer diameter = 5 mm must .*inner diameter"):
        cores.ring("mine", 5e-3, 6e-3, 3e-3)
    with pytest.raises(ValueError, match="must be one of .*E 20/10/6"):
        cores.shape("E 20")


def test_every_material_of_the_kit_is_invented():
    """And says so in its own table."""
    assert all(one.invented for one in core_materials.materials().values())


@pytest.mark.parametrize("name", core_materials.materials())
def test_a_material_starts_at_its_permeability_and_ends_in_saturation(name):
    """Small flux: B = mu_0 mu_r H. Far out the slope is that of air, and the material adds just its saturation."""
    one = core_materials.material(name)
    small = 1e-6
    assert small / one.field(small) == pytest.approx(core_materials.MU_0 * one.permeability, rel=0.001)  # the knee of a powder is soft
    flux = np.linspace(0, 1.5 * one.saturation[1], 200)
    field = one.field(flux)
    assert np.all(np.diff(field) > 0)
    assert np.all(flux - core_materials.MU_0 * field <= one.saturation[1])
    assert one.field(-0.1) == -one.field(0.1)


def test_saturation_falls_on_a_straight_line():
    """Its two values, and half way between."""
    one = core_materials.material("power_ferrite")
    assert one.saturation_at(25) == 0.45 and one.saturation_at(100) == 0.35
    assert one.saturation_at(62.5) == pytest.approx(0.40)


OWN = """[mine]
origin = "measured on a sample of my own"
gap = "cut"
permeability = 2300
saturation = ["0.5 T", "390 mT"]
steinmetz = { k = 1.1, alpha = 1.4, beta = 2.6 }
frequency = ["20 kHz", "300 kHz"]
flux = [0.02, 0.2]
"""


def test_a_material_of_ones_own(tmp_path):
    """A TOML file, with units; the knee may be left out."""
    path = tmp_path / "mine.toml"
    path.write_text(OWN, encoding="utf-8")
    one = core_materials.material_from_file(path)
    assert (one.name, one.saturation, one.knee, one.frequency) == ("mine", (0.5, 0.39), 6.0, (20e3, 300e3))
    assert not one.invented


@pytest.mark.parametrize("old, new, said", [
    ('"cut"', '"sawn"', "mine.gap"), ("permeability", "permeabilty", "mine.permeability is missing"),
    ('["0.5 T", "390 mT"]', "[0.3, 0.4]", "mine.saturation"), ("alpha = 1.4", "alpha = 14", "mine.steinmetz.alpha"),
    ('"300 kHz"', '"300 kg"', "mine.frequency"), ("flux = [0.02, 0.2]", "flux = 0.2", "mine.flux"),
])  # fmt: skip
def test_a_fault_in_ones_own_material_is_named(tmp_path, old, new, said):
    """With file and key."""
    path = tmp_path / "mine.toml"
    path.write_text(OWN.replace(old, new), encoding="utf-8")
    with pytest.raises(ValueError, match=rf"^mine.toml: .*{said}"):
        core_materials.material_from_file(path)
