"""The core that a coil takes: window area and core area against current density, and against the heat of the winding."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    law,
    letter,
    solving,
    substituting,
)
from boostkit.derivations.magnetics import turns_for_flux, winding_resistance

i_inductor_rms = letter("i_inductor_rms", r"I_{L,\mathrm{rms}}", "A", "coil current, rms", (0.1, 10.0))
current_density = letter("current_density", "J", "A/m²", "current density in the wire, rms", (2e6, 8e6), open_low=True)
fill = letter("fill", "K_u", "", "share of the window that is copper", (0.2, 0.6), high=1.0, open_low=True)
area_window = letter("area_window", "W_A", "m²", "area of the window that the winding fills", (1e-5, 5e-4), open_low=True)
area_product_needed = letter("area_product_needed", "A_p", "m⁴", "window area times core area", (1e-10, 1e-6))
size_copper = letter("size_copper", "K_g", "m⁵", "core area squared times window area, over length of a turn", (1e-13, 1e-8))

WINDOW_FULL = "the wire fills the share of the window that copper can have"


@cache
def area_product() -> Derivation:
    """The core that it takes, by current density: W_A A_e = L I_pk I_rms/(B_max J K_u)."""
    return Derivation(
        "area_product", "The core that it takes: window times core area",
        (
            Step("Take the turns that keep the flux density down.",
                 "turns = inductance*i_inductor_max/(flux_density_max*area_core)", earlier(turns_for_flux())),
            Step("A wire that carries the current at a chosen density has this cross-section.",
                 "area_wire = i_inductor_rms/current_density", definition()),
            Step("All turns together fill the copper's share of the window.", "turns*area_wire = fill*area_window",
                 assumption(WINDOW_FULL)),
            Step("Put in turns and wire.",
                 "inductance*i_inductor_max/(flux_density_max*area_core)*(i_inductor_rms/current_density) = fill*area_window",
                 substituting(), uses=(3, 1, 2)),
            Step("Solve for the window.",
                 "area_window = inductance*i_inductor_max*i_inductor_rms/(flux_density_max*area_core*current_density*fill)",
                 solving("area_window")),
            Step("Core area and window area come as a product.", "area_product_needed = area_window*area_core", definition()),
            Step("Put the window in: twice the energy in the field asks for twice the product.",
                 "area_product_needed = inductance*i_inductor_max*i_inductor_rms/(flux_density_max*current_density*fill)",
                 substituting(), uses=(6, 5)),
        ),
        meaning="least product of window area and core area with which flux density and current density stay within limits",
        unit="m⁴",
        bound=Bound("", "as good as the share of copper and the current density that are put in; it says nothing of heat"),
        source="derived here; the area-product method of the trade",
        example={"inductance": 47e-6, "i_inductor_max": 2.5, "i_inductor_rms": 1.9, "flux_density_max": 0.225,
                 "current_density": 4e6, "fill": 0.4},
    )


@cache
def copper_loss_size() -> Derivation:
    """The core that it takes, by allowed heat: A_e^2 W_A/l_t = rho L^2 I_pk^2 I_rms^2/(B_max^2 P_cu K_u)."""
    return Derivation(
        "copper_loss_size", "The core that it takes: by the heat of the winding",
        (
            Step("Take the turns that keep the flux density down.",
                 "turns = inductance*i_inductor_max/(flux_density_max*area_core)", earlier(turns_for_flux())),
            Step("Take the resistance of the winding.", "r_winding = resistivity*turns*length_turn/area_wire",
                 earlier(winding_resistance())),
            Step("All turns together fill the copper's share of the window.", "area_wire = fill*area_window/turns",
                 assumption(WINDOW_FULL)),
            Step("The current heats the winding.", "p_copper = r_winding*i_inductor_rms**2",
                 law("electric power", power="p_copper", voltage="r_winding*i_inductor_rms", current="i_inductor_rms")),
            Step("Put in resistance and wire.",
                 "p_copper = resistivity*turns**2*length_turn/(fill*area_window)*i_inductor_rms**2", substituting(), uses=(4, 2, 3)),
            Step("Put in the turns.",
                 "p_copper = resistivity*(inductance*i_inductor_max/(flux_density_max*area_core))**2"
                 "*length_turn/(fill*area_window)*i_inductor_rms**2", substituting(), uses=(5, 1)),
            Step("Gather what belongs to the core.", "size_copper = area_core**2*area_window/length_turn", definition()),
            Step("Solve for the window.",
                 "area_window = resistivity*(inductance*i_inductor_max/(flux_density_max*area_core))**2"
                 "*length_turn/(fill*p_copper)*i_inductor_rms**2", solving("area_window"), uses=(6,)),
            Step("Put it in: what is left on the right is all demand, what is on the left all core.",
                 "size_copper = resistivity*inductance**2*i_inductor_max**2*i_inductor_rms**2/(flux_density_max**2*p_copper*fill)",
                 substituting(), uses=(7, 8)),
        ),
        meaning="least A_e^2 W_A/l_t of a core with which flux density and heat of the winding stay within limits",
        unit="m⁵",
        bound=Bound("", "counts direct-current resistance only; ripple in the winding and core loss come on top"),
        source="derived here; same in Erickson & Maksimovic, 3rd ed., sec. 11.2 and 11.4.2",
        example={"resistivity": 2.27e-8, "inductance": 47e-6, "i_inductor_max": 2.5, "i_inductor_rms": 1.9,
                 "flux_density_max": 0.225, "p_copper": 0.3, "fill": 0.4},
    )
