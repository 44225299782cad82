"""Winding an inductor: turns, flux density, gap and inductance, and the resistance of the wire.

All lengths in metres, areas in square metres: a core of 109 mm² is 109e-6. The field is taken as filling core and gap
evenly; `fringing` says how far it bulges out of the gap.
"""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    law,
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.switching import inductor_ripple

permeability = letter("permeability", r"\mu_r", "", "permeability of the core material over that of empty space", (20.0, 5000.0),
                      low=1.0)
flux_density_max = letter("flux_density_max", r"B_{\mathrm{max}}", "T", "flux density that the core is allowed", (0.05, 0.4),
                          open_low=True)
flux_density_peak = letter("flux_density_peak", r"B_{\mathrm{pk}}", "T", "flux density in the core at the highest current", (0.05, 0.4))
field_core = letter("field_core", r"H_{\mathrm{core}}", "A/m", "magnetic field in the core", (1.0, 1000.0))
field_gap = letter("field_gap", r"H_{\mathrm{gap}}", "A/m", "magnetic field in the gap", (1e4, 4e5))
length_core = letter("length_core", r"\ell_e", "m", "length of the path of the flux in the core", (0.02, 0.2))
gap = letter("gap", r"\ell_g", "m", "length of the gap, all gaps in the path together", (5e-5, 3e-3))
window_height = letter("window_height", "w", "m", "length of the winding along the flux in it: the height of the window", (0.005, 0.03))
fringing_factor = letter("fringing_factor", "F", "", "by what the field that bulges out of the gap raises the inductance", (1.05, 1.8),
                         low=1.0)
area_wire = letter("area_wire", "A_w", "m²", "cross-section of the copper of one turn", (1e-8, 5e-6), open_low=True)
length_turn = letter("length_turn", r"\ell_t", "m", "mean length of a turn", (0.02, 0.15))
r_winding = letter("r_winding", r"R_w", "Ω", "resistance of the winding for direct current", (0.001, 1.0))
energy_gap = letter("energy_gap", r"E_{\mathrm{gap}}", "J", "energy stored in the gap", (1e-5, 1e-2))

GAP_FILLED = "the flux crosses the gap straight, on the cross-section of the core"


@cache
def turns_for_flux() -> Derivation:
    """The fewest turns with which the core stays below a flux density: N = L I_pk/(B_max A_e)."""
    return Derivation(
        "turns_for_flux", "The turns that keep the flux density down",
        (
            Step("At the highest current the flux through all turns is inductance times current.",
                 "inductance*i_inductor_max = turns*flux_density_peak*area_core",
                 law("flux linkage of a core", inductance="inductance", current="i_inductor_max", turns="turns",
                     flux_density="flux_density_peak", area="area_core")),
            Step("Allow the core no more than its limit.", "flux_density_peak = flux_density_max",
                 assumption("the core is used up to the flux density that it is allowed")),
            Step("Put it in.", "inductance*i_inductor_max = turns*flux_density_max*area_core", substituting(), uses=(1, 2)),
            Step("Solve for the turns. More turns are safe; the gap must grow with them.",
                 "turns = inductance*i_inductor_max/(flux_density_max*area_core)", solving("turns")),
        ),
        meaning="fewest turns at which the flux density stays within its limit; round up",
        unit="",
        bound=Bound("", "exact for a core that does not saturate"),
        source="derived here; same in Erickson & Maksimovic, 3rd ed., sec. 11.2 (numbers of sec. 11.4.2 in the tests)",
        example={"inductance": 47e-6, "i_inductor_max": 2.5, "flux_density_max": 0.225, "area_core": 40e-6},
    )


@cache
def peak_flux() -> Derivation:
    """The flux density at the highest current: B = L I_pk/(N A_e)."""
    return Derivation(
        "peak_flux", "The flux density at the highest current",
        (
            Step("At the highest current the flux through all turns is inductance times current.",
                 "inductance*i_inductor_max = turns*flux_density_peak*area_core",
                 law("flux linkage of a core", inductance="inductance", current="i_inductor_max", turns="turns",
                     flux_density="flux_density_peak", area="area_core")),
            Step("Solve for the flux density.", "flux_density_peak = inductance*i_inductor_max/(turns*area_core)",
                 solving("flux_density_peak")),
        ),
        meaning="flux density in the core at the highest current",
        unit="T",
        bound=Bound("", "exact while the core does not saturate; where the core narrows, the flux density there is higher"),
        source="derived here",
        example={"inductance": 47e-6, "i_inductor_max": 2.5, "turns": 14.0, "area_core": 40e-6},
    )


@cache
def flux_swing_by_ripple() -> Derivation:
    """The swing of the flux density, peak to peak: L times ripple over N A_e."""
    return Derivation(
        "flux_swing_by_ripple", "The swing of the flux density",
        (
            Step("The ripple of the current swings the flux with it.", "inductance*ripple_current = turns*flux_swing*area_core",
                 law("flux linkage of a core", inductance="inductance", current="ripple_current", turns="turns",
                     flux_density="flux_swing", area="area_core")),
            Step("Solve for the swing.", "flux_swing = inductance*ripple_current/(turns*area_core)", solving("flux_swing")),
        ),
        meaning="swing of the flux density, peak to peak",
        unit="T",
        bound=Bound("", "exact while the core does not saturate"),
        source="derived here",
        example={"inductance": 47e-6, "ripple_current": 0.58, "turns": 14.0, "area_core": 40e-6},
    )


@cache
def flux_swing_by_source() -> Derivation:
    """The same swing from source, duty and clock: V_in D/(f_s N A_e). The inductance plays no part."""
    return Derivation(
        "flux_swing_by_source", "The swing of the flux density from the volt-seconds",
        (
            Step("Take the swing that the ripple makes.", "flux_swing = inductance*ripple_current/(turns*area_core)",
                 earlier(flux_swing_by_ripple())),
            Step("Take the ripple.", "ripple_current = v_in*duty/(inductance*f_sw)", earlier(inductor_ripple())),
            Step("Put it in.", "flux_swing = inductance*(v_in*duty/(inductance*f_sw))/(turns*area_core)", substituting(), uses=(1, 2)),
            Step("The inductance drops out: the volt-seconds of one turn on its area set the swing.",
                 "flux_swing = v_in*duty/(turns*area_core*f_sw)", simplifying()),
        ),
        meaning="swing of the flux density, peak to peak, whatever the gap",
        unit="T",
        bound=Bound("", "errs high, as the ripple does, by what winding and switch take while charging"),
        source="derived here",
        example={"v_in": 6.0, "duty": 0.68, "turns": 14.0, "area_core": 40e-6, "f_sw": 150e3},
    )


@cache
def gapped_inductance() -> Derivation:
    """The inductance of a core with a gap: L = mu0 N^2 A_e/(l_g + l_e/mu_r)."""
    return Derivation(
        "gapped_inductance", "The inductance of a core with a gap",
        (
            Step("Once around the core and across the gap, the field adds up to the ampere-turns.",
                 "turns*i_inductor = field_core*length_core + field_gap*gap",
                 law("Ampère's law", turns="turns", current="i_inductor", core_field="field_core", core_length="length_core",
                     gap_field="field_gap", gap_length="gap")),
            Step("In the core the permeability is high, so that a given flux density needs little field.",
                 "flux_density_peak = permeability*mu_0*field_core",
                 law("permeability", flux_density="flux_density_peak", permeability="permeability*mu_0", field="field_core")),
            Step("Solve for it.", "field_core = flux_density_peak/(permeability*mu_0)", solving("field_core")),
            Step("In the gap the permeability is that of empty space, and the flux density the same as in the core: the "
                 "flux crosses on the same cross-section.", "flux_density_peak = mu_0*field_gap", assumption(GAP_FILLED)),
            Step("Solve for it.", "field_gap = flux_density_peak/mu_0", solving("field_gap")),
            Step("Put both in.",
                 "turns*i_inductor = flux_density_peak/(permeability*mu_0)*length_core + flux_density_peak/mu_0*gap",
                 substituting(), uses=(1, 3, 5)),
            Step("The flux through all turns is inductance times current.",
                 "inductance*i_inductor = turns*flux_density_peak*area_core",
                 law("flux linkage of a core", inductance="inductance", current="i_inductor", turns="turns",
                     flux_density="flux_density_peak", area="area_core")),
            Step("Solve for the flux density.", "flux_density_peak = inductance*i_inductor/(turns*area_core)",
                 solving("flux_density_peak")),
            Step("Put it in; the current stands in every term.",
                 "turns*i_inductor = inductance*i_inductor/(turns*area_core)/(permeability*mu_0)*length_core"
                 " + inductance*i_inductor/(turns*area_core)/mu_0*gap", substituting(), uses=(6, 8)),
            Step("Solve for the inductance: it grows with the square of the turns.",
                 "inductance = mu_0*turns**2*area_core/(gap + length_core/permeability)", solving("inductance")),
        ),
        meaning="inductance of a winding on a core with a gap, the field taken as straight in the gap",
        unit="H",
        bound=Bound("", "errs low, since the field bulges out of the gap: multiply by the fringing factor"),
        source="derived here; same in Erickson & Maksimovic, 3rd ed., ch. 10 (magnetic circuits)",
        example={"turns": 14.0, "area_core": 40e-6, "gap": 0.2e-3, "length_core": 0.05, "permeability": 2000.0},
    )


@cache
def gap_length() -> Derivation:
    """The gap that gives an inductance: l_g = mu0 N^2 A_e/L - l_e/mu_r."""
    return Derivation(
        "gap_length", "The gap for an inductance",
        (
            Step("Take the inductance of a core with a gap.",
                 "inductance = mu_0*turns**2*area_core/(gap + length_core/permeability)", earlier(gapped_inductance())),
            Step("Solve for the gap. What the core itself adds counts as a little gap that is there already.",
                 "gap = mu_0*turns**2*area_core/inductance - length_core/permeability", solving("gap")),
        ),
        meaning="length of the gap that gives this inductance, the field taken as straight in the gap; below zero: too few turns",
        unit="m",
        bound=Bound("", "errs short, since the field bulges out of the gap"),
        source="derived here; same, without the core's own part, in Erickson & Maksimovic, 3rd ed., sec. 11.2",
        example={"turns": 14.0, "area_core": 40e-6, "inductance": 47e-6, "length_core": 0.05, "permeability": 2000.0},
    )


@cache
def fringing() -> Derivation:
    """By what the field that bulges out of the gap raises the inductance: 1 + (l_g/sqrt(A_e)) ln(2 w/l_g)."""
    return Derivation(
        "fringing", "The field that bulges out of the gap",
        (
            Step("Around the gap the field takes up more room than the core: the longer the gap against the width of the core, the "
                 "more. How far it reaches depends on the height of the window.",
                 "fringing_factor = 1 + gap/sqrt(area_core)*log(2*window_height/gap)",
                 assumption("the field bulges as in the handbook formula for one gap within the winding")),
        ),
        meaning="inductance with the bulging field, over that with a field that crosses the gap straight",
        unit="",
        valid=(Condition("gap <= 2*window_height/exp(1)", "the gap is well shorter than the window: beyond this the factor falls again"),),
        bound=Bound("", "an estimate for a gap in the leg that carries the winding; a real gap is ground until the inductance is right"),
        source="handbook formula, usually traced to C. W. T. McLyman, Transformer and Inductor Design Handbook (from memory)",
        example={"gap": 0.2e-3, "area_core": 40e-6, "window_height": 0.012},
    )


@cache
def energy_in_gap() -> Derivation:
    """Nearly all energy of a gapped inductor sits in the gap: B^2 A_e l_g/(2 mu0)."""
    return Derivation(
        "energy_in_gap", "Where the energy of the inductor sits",
        (
            Step("The coil stores this.", "energy_gap = inductance*i_inductor_max**2/2",
                 law("energy stored in a magnetic field", energy="energy_gap", inductance="inductance", current="i_inductor_max")),
            Step("Take the inductance.", "inductance = mu_0*turns**2*area_core/(gap + length_core/permeability)",
                 earlier(gapped_inductance())),
            Step("Take a core that needs no field at all: nothing is stored in it.", "length_core = 0",
                 assumption("the core needs no ampere-turns of its own (very high permeability)")),
            Step("Then the gap alone counts.", "inductance = mu_0*turns**2*area_core/(gap + 0/permeability)", substituting(),
                 uses=(2, 3)),
            Step("At the highest current the flux density is this.",
                 "flux_density_peak = inductance*i_inductor_max/(turns*area_core)", earlier(peak_flux())),
            Step("Solve for the current.", "i_inductor_max = turns*flux_density_peak*area_core/inductance",
                 solving("i_inductor_max")),
            Step("Put the current in.", "energy_gap = inductance*(turns*flux_density_peak*area_core/inductance)**2/2",
                 substituting(), uses=(1, 6)),
            Step("Put the inductance in.",
                 "energy_gap = (turns*flux_density_peak*area_core)**2/(2*mu_0*turns**2*area_core/gap)", substituting(), uses=(7, 4)),
            Step("The turns drop out: volume of the gap times the square of the flux density.",
                 "energy_gap = flux_density_peak**2*area_core*gap/(2*mu_0)", simplifying()),
        ),
        meaning="energy stored in the gap at the highest current",
        unit="J",
        bound=Bound("", "falls short of all that the coil stores by what sits in the core: l_e/mu_r against l_g"),
        source="derived here",
        example={"flux_density_peak": 0.225, "area_core": 40e-6, "gap": 0.2e-3},
    )


@cache
def winding_resistance() -> Derivation:
    """The resistance of a winding: rho N l_t/A_w."""
    return Derivation(
        "winding_resistance", "The resistance of the winding",
        (
            Step("A wire resists by its resistivity times length over cross-section; the length is turns times length of a turn.",
                 "r_winding = resistivity*turns*length_turn/area_wire", definition()),
        ),
        meaning="resistance of a winding for direct current",
        unit="Ω",
        bound=Bound("", "as good as the mean length of a turn; leads and joints come on top"),
        source="definition of resistivity (IEC 60050-121)",
        example={"resistivity": 2.27e-8, "turns": 14.0, "length_turn": 0.035, "area_wire": 0.5e-6},
    )
