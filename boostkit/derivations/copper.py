"""Copper: how it resists when warm, how deep a fast current goes into it, how thick it should be, and the sizes of wire."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    extremum,
    letter,
    simplifying,
    substituting,
)
from boostkit.derivations.layers import layer_factor, thin_layers

temperature = letter("temperature", r"\vartheta", "°C", "temperature of the copper", (-10.0, 120.0), low=-273.15)
temperature_20 = letter("temperature_20", r"\vartheta_{20}", "°C", "temperature at which the resistivity is known", (19.0, 21.0),
                        defined_as="20")
resistivity_20 = letter("resistivity_20", r"\rho_{20}", "Ω·m", "resistivity of annealed copper at 20 °C", (1.7e-8, 1.8e-8),
                        open_low=True, defined_as="1/58000000")
growth_20 = letter("growth_20", r"\alpha_{20}", "1/K", "share by which the resistance of copper grows per kelvin, from 20 °C on",
                   (0.0038, 0.004), defined_as="0.00393")
omega_sw = letter("omega_sw", r"\omega_s", "1/s", "angular frequency of the current", (1e5, 3e6), open_low=True, defined_as="2*pi*f_sw")
gauge = letter("gauge", "n", "", "number of the wire; 0 for 0, -1 for 00, -3 for 0000", (10.0, 40.0), low=-3.0)
gauge_step = letter("gauge_step", "q", "", "diameter of a wire over that of the next number", (1.1, 1.15), low=1.0)
diameter_36 = letter("diameter_36", "d_{36}", "m", "diameter of wire number 36: 5 thousandths of an inch", (1.2e-4, 1.3e-4), open_low=True,
                     defined_as="0.000127")
letter("skin_depth", r"\delta", "m", "skin depth: where a fast current has fallen to 1/e, about a third", (5e-5, 5e-4),
       open_low=True)
letter("wire_diameter", "d", "m", "diameter of the copper of a wire, or of one strand", (5e-5, 1.5e-3), open_low=True)
layer_thickness = letter("layer_thickness", "h", "m", "thickness of the copper in one layer", (2e-5, 1e-3), open_low=True)
layer_fill = letter("layer_fill", r"\eta", "", "share of the width of a layer that copper takes, round wires counted as squares",
                    (0.5, 0.95), high=1.0, open_low=True)
turn_layers = letter("turn_layers", r"n_t", "", "layers of turns, each turn a stranded wire", (1.0, 6.0), low=1.0)
strands = letter("strands", r"n_s", "", "strands of the wire, each insulated", (1.0, 200.0), low=1.0)


@cache
def resistivity_at() -> Derivation:
    """Copper resists more when it is warm: rho = rho_20 (1 + alpha_20 (temperature - 20 °C))."""
    return Derivation(
        "resistivity_at", "Warm copper",
        (
            Step("The resistivity of copper rises on a straight line.",
                 "resistivity = resistivity_20*(1 + growth_20*(temperature - temperature_20))",
                 assumption("annealed copper on the straight line of the standard")),
        ),
        meaning="resistivity of annealed copper",
        unit="Ω·m",
        valid=(Condition("temperature >= -2*temperature_20", "above -40 °C"),
               Condition("temperature <= 10*temperature_20", "below 200 °C")),
        bound=Bound("", "wire that was drawn hard resists up to 3 % more"),
        source="IEC 60028:1925: 1/58 ohm mm2/m at 20 °C, 0.00393 per kelvin (from memory)",
        example={"temperature": 100.0},
    )


@cache
def skin_depth() -> Derivation:
    """How deep a fast current goes into copper: delta = sqrt(rho/(pi f mu0))."""
    return Derivation(
        "skin_depth", "The skin depth",
        (
            Step("A field that swings at the face of the copper drives currents that hold it off: it dies away over this depth.",
                 "skin_depth = sqrt(2*resistivity/(omega_sw*mu_0))",
                 assumption("the field enters flat copper by diffusion, the copper thick against the depth")),
            Step("Angular frequency is 2 pi times frequency.", "omega_sw = 2*pi*f_sw", definition()),
            Step("Put it in.", "skin_depth = sqrt(2*resistivity/(2*pi*f_sw*mu_0))", substituting(), uses=(1, 2)),
            Step("The twos drop out: four times the frequency, half the depth.", "skin_depth = sqrt(resistivity/(pi*f_sw*mu_0))",
                 simplifying()),
        ),
        meaning="skin depth in copper or in any other metal that is not magnetic",
        unit="m",
        bound=Bound("", "exact for flat metal"),
        source="same in Erickson & Maksimovic, 3rd ed., eq. 10.62 (with numbers put in)",
        example={"resistivity": 1.724e-8, "f_sw": 100e3},
    )


@cache
def wire_diameter() -> Derivation:
    """The sizes of wire: 39 equal steps from 0.46 inch (0000) to 0.005 inch (36), a ratio of 92 in all."""
    return Derivation(
        "wire_diameter", "Numbered wire sizes",
        (
            Step("From number 36 to number -3 (0000) the diameter grows 92 times, in 39 equal steps.", "gauge_step = 92**(1/39)",
                 definition()),
            Step("Number 36 has this diameter; each number less is one step thicker.",
                 "wire_diameter = diameter_36*gauge_step**(36 - gauge)", assumption("the sizes of the standard")),
            Step("Put in the step: three numbers less, 1.4 times the diameter and double the cross-section.",
                 "wire_diameter = diameter_36*92**((36 - gauge)/39)", substituting(), uses=(2, 1)),
        ),
        meaning="diameter of bare round wire by its number; 0.127 mm is that of number 36",
        unit="m",
        bound=Bound("", "exact by definition; printed tables round the fine sizes to mils"),
        source="ASTM B258 (formula and table read)",
        example={"gauge": 24.0},
    )


@cache
def best_thickness() -> Derivation:
    """The thickness of least resistance for a sine current, several layers: p = (15/(5 n^2 - 1))^(1/4), where F_R is 4/3."""
    return Derivation(
        "best_thickness", "The best thickness of a layer",
        (
            Step("Take thin layers.", "resistance_factor = 1 + (5*layers**2 - 1)*penetration**4/45", earlier(thin_layers())),
            Step("Compare with a winding as thick as the skin depth: thicker copper has less resistance for direct current.",
                 "factor_by_thickness = resistance_factor/penetration", definition()),
            Step("Put it in.", "factor_by_thickness = (1 + (5*layers**2 - 1)*penetration**4/45)/penetration", substituting(), uses=(2, 1)),
            Step("Thin copper resists by being thin, thick copper by its eddy currents; in between lies the least.",
                 "penetration = (15/(5*layers**2 - 1))**(1/4)", extremum("penetration", "minimum")),
        ),
        meaning="thickness over skin depth at which a winding of several layers has least resistance for a sine current",
        unit="",
        valid=(Condition("layers >= 2", "two layers or more; of a single layer the best is pi/2"),),
        bound=Bound("", "errs low by less than 1 % from three layers on, by 2 % with two"),
        source="derived here; as W. G. Hurley, E. Gath, J. G. Breslin, IEEE Trans. PE 15 (2000) 369 (from memory)",
        example={"layers": 3.0},
    )


@cache
def best_factor() -> Derivation:
    """At the best thickness the resistance is 4/3 of that for direct current, whatever the number of layers."""
    return Derivation(
        "best_factor", "The resistance at the best thickness",
        (
            Step("Take thin layers.", "resistance_factor = 1 + (5*layers**2 - 1)*penetration**4/45", earlier(thin_layers())),
            Step("Take the best thickness.", "penetration = (15/(5*layers**2 - 1))**(1/4)", earlier(best_thickness())),
            Step("Put it in.", "resistance_factor = 1 + (5*layers**2 - 1)*(15/(5*layers**2 - 1))/45", substituting(), uses=(1, 2)),
            Step("The layers drop out.", "resistance_factor = 4/3", simplifying()),
        ),
        meaning="resistance for a sine current over that for direct current, at the best thickness of several layers",
        unit="",
        bound=Bound("", "errs low by less than 1 % from three layers on"),
        source="derived here",
    )


@cache
def best_single_layer() -> Derivation:
    """The best thickness of a single layer: pi/2 skin depths."""
    return Derivation(
        "best_single_layer", "The best thickness of a single layer",
        (
            Step("Take the resistance of layers.",
                 "resistance_factor = penetration/2*((sinh_p + sin(penetration))/(cosh_p - cos(penetration))"
                 " + (4*layers**2 - 1)/3*(sinh_p - sin(penetration))/(cosh_p + cos(penetration)))", earlier(layer_factor())),
            Step("Take a single one.", "layers = 1", assumption("a single layer")),
            Step("Compare with a winding as thick as the skin depth.", "factor_by_thickness = resistance_factor/penetration", definition()),
            Step("Write out the hyperbolic sine.", "sinh_p = (exp(penetration) - exp(-penetration))/2", definition()),
            Step("And the cosine.", "cosh_p = (exp(penetration) + exp(-penetration))/2", definition()),
            Step("Put in; the two terms join.",
                 "factor_by_thickness = (1 - exp(-4*penetration) + 2*exp(-2*penetration)*sin(2*penetration))"
                 "/(1 + exp(-4*penetration) - 2*exp(-2*penetration)*cos(2*penetration))", substituting(), uses=(3, 1, 2, 4, 5)),
            Step("Beyond this thickness the current deep inside flows backwards.",
                 "penetration = pi/2", extremum("penetration", "minimum")),
        ),
        meaning="thickness over skin depth at which a single layer has least resistance for a sine current",
        unit="",
        bound=Bound("", "exact for a flat sheet; the gain over a thick sheet is 8 %"),
        source="derived here; same in Erickson & Maksimovic, 3rd ed., sec. 10.4.6",
    )


@cache
def round_penetration() -> Derivation:
    """A layer of round wires as a sheet: p = (sqrt(pi)/2) (d/delta) sqrt(eta)."""
    return Derivation(
        "round_penetration", "A layer of round wires as a sheet",
        (
            Step("A square wire of the same cross-section has this side.", "layer_thickness = sqrt(pi)/2*wire_diameter",
                 assumption("round wires act as squares of the same cross-section")),
            Step("Gaps between the wires thin the copper: stretched over the whole width it resists more, and the skin depth is "
                 "longer by one over the root of the filled share.",
                 "penetration = layer_thickness/(skin_depth/sqrt(layer_fill))",
                 assumption("wires with gaps act as a full sheet of thinner metal")),
            Step("Put in the side.", "penetration = sqrt(pi)/2*wire_diameter/(skin_depth/sqrt(layer_fill))", substituting(), uses=(2, 1)),
            Step("Tidy up.", "penetration = sqrt(pi)/2*wire_diameter/skin_depth*sqrt(layer_fill)", simplifying()),
        ),
        meaning="thickness over skin depth of the sheet that a layer of round wires amounts to",
        unit="",
        bound=Bound("", "errs by up to some 10 % in the resistance that follows"),
        source="P. L. Dowell, Proc. IEE 113 (1966) 1387 (from memory)",
        example={"wire_diameter": 0.5e-3, "skin_depth": 0.2e-3, "layer_fill": 0.8},
    )


@cache
def stranded_factor() -> Derivation:
    """Stranded wire: each strand sees the field of all others, as if there were n_t sqrt(n_s) layers of strands."""
    return Derivation(
        "stranded_factor", "Stranded wire",
        (
            Step("Take the resistance of layers; now a layer is one of strands.",
                 "resistance_factor = penetration/2*((sinh_p + sin(penetration))/(cosh_p - cos(penetration))"
                 " + (4*layers**2 - 1)/3*(sinh_p - sin(penetration))/(cosh_p + cos(penetration)))", earlier(layer_factor())),
            Step("The strands of a turn fill a square: on its side lie as many as the root of their number.",
                 "layers = turn_layers*sqrt(strands)",
                 assumption("strands fill a square, and are twisted so that each takes every place in turn")),
            Step("Put it in.",
                 "resistance_factor = penetration/2*((sinh_p + sin(penetration))/(cosh_p - cos(penetration))"
                 " + (4*(turn_layers*sqrt(strands))**2 - 1)/3*(sinh_p - sin(penetration))/(cosh_p + cos(penetration)))",
                 substituting(), uses=(1, 2)),
            Step("Many thin strands help only if they are thin enough.",
                 "resistance_factor = penetration/2*((sinh_p + sin(penetration))/(cosh_p - cos(penetration))"
                 " + (4*turn_layers**2*strands - 1)/3*(sinh_p - sin(penetration))/(cosh_p + cos(penetration)))", simplifying()),
        ),
        meaning="resistance of a winding of stranded wire for a sine current, over that for direct current; p is that of a strand",
        unit="",
        bound=Bound("", "thin strands in many layers: 5 % above the result for round strands in an even field"),
        source="derived here from Dowell's layers; common practice",
        example={"penetration": 0.4, "turn_layers": 2.0, "strands": 20.0},
    )
