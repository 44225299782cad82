"""A winding of flat layers and a fast current in it: what its own field costs each layer, and what the others' field does.

The field lies along the layers; it grows from nothing at one side of the winding to its full value at the other. A layer's
current splits into two parts: one even about its middle, driven by its own field, and one odd, driven by the field of the
layers below it. What the two lose adds up, since the mean of their product is nothing (after P. L. Dowell, 1966).
"""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    averaging,
    definition,
    earlier,
    letter,
    limit,
    simplifying,
    substituting,
)

HIGHEST = 300.0          # exp(300) is still a number, its square too
penetration = letter("penetration", "p", "", "thickness of a layer over skin depth", (0.1, 6.0), open_low=True, high=HIGHEST,
                     why="far beyond this the layer is simply thick: thick_layers")
sinh_p = letter("sinh_p", r"\mathrm{sh}_p", "", "hyperbolic sine of the thickness over skin depth", (0.1, 200.0),
                defined_as="(exp(penetration) - exp(-penetration))/2")
cosh_p = letter("cosh_p", r"\mathrm{ch}_p", "", "hyperbolic cosine of the thickness over skin depth", (1.0, 200.0), low=1.0,
                defined_as="(exp(penetration) + exp(-penetration))/2")
fading = letter("fading", r"e_p", "", "share of a field that is left at the other face of a layer", (0.002, 0.9), high=1.0,
                defined_as="exp(-penetration)")
place = letter("place", r"\xi", "", "place in the layer, from its middle, over skin depth", (0.1, 1.0), low=float("-inf"))
place_square = letter("place_square", r"\xi_{\mathrm{ms}}", "", "mean over the layer of the square of the place", (0.001, 3.0))
layers = letter("layers", r"n_\ell", "", "layers of the winding", (1.0, 10.0), low=1.0)
odd_squares = letter("odd_squares", r"k_{\mathrm{odd}}", "", "mean over the layers of the squares of 1, 3, 5, ...", (1.0, 130.0), low=1.0)
skin_factor = letter("skin_factor", r"F_{\mathrm{own}}", "", "loss by a layer's own current, over that of direct current", (1.0, 3.0))
neighbour_factor = letter("neighbour_factor", r"F_{\mathrm{near}}", "",
                          "loss by an outer field as strong at both faces as the layer's own, over that of its direct current", (0.0, 3.0))
resistance_factor = letter("resistance_factor", r"F_R", "", "resistance of the winding over that for direct current", (1.0, 100.0))
factor_by_thickness = letter("factor_by_thickness", r"F_{\mathrm{skin}}", "",
                             "resistance over that of a winding as thick as the skin depth", (0.5, 100.0))
FLAT = "each layer acts as a flat sheet as wide as the window, the field lies along it (one-dimensional, Dowell)"
SINE = "the current is a sine of this frequency"
_SHEET = "2*(exp(2*place) + exp(-2*place))"


@cache
def own_field() -> Derivation:
    """What its own current costs a layer beyond direct current: p/2 (sinh p + sin p)/(cosh p - cos p)."""
    return Derivation(
        "own_field", "A layer with its own field: skin effect",
        (
            Step("The field of its own current is equal and opposite at the two faces of a layer, and the current crowds "
                 "towards them. The loss is the mean over the layer of the square of current density.",
                 "skin_factor = mean(penetration**2/2*((exp(2*place) + exp(-2*place))/2 + cos(2*place))/(cosh_p - cos(penetration)),"
                 " place, -penetration/2, penetration/2)",
                 assumption(f"{FLAT}; {SINE}")),
            Step("Work out the mean.",
                 "skin_factor = penetration/2*((exp(penetration) - exp(-penetration))/2 + sin(penetration))"
                 "/(cosh_p - cos(penetration))", averaging()),
            Step("The first bracket holds a hyperbolic sine.", "sinh_p = (exp(penetration) - exp(-penetration))/2", definition()),
            Step("Write it so.", "skin_factor = penetration/2*(sinh_p + sin(penetration))/(cosh_p - cos(penetration))",
                 substituting(), uses=(2, 3)),
        ),
        meaning="loss of a layer by its own current, over that of the same direct current",
        unit="",
        bound=Bound("", "exact for a flat sheet"),
        source="P. L. Dowell, Proc. IEE 113 (1966) 1387, in the form with both fields apart (from memory)",
        example={"penetration": 1.0},
    )


@cache
def neighbour_field() -> Derivation:
    """What the field of other layers costs: p/2 (sinh p - sin p)/(cosh p + cos p), times the square of that field."""
    return Derivation(
        "neighbour_field", "A layer in the field of others: proximity effect",
        (
            Step("A field that is the same at both faces drives a current up one face and down the other, though no current "
                 "flows on the whole. The loss is again the mean of the square of current density.",
                 "neighbour_factor = mean(penetration**2/2*((exp(2*place) + exp(-2*place))/2 - cos(2*place))/(cosh_p + cos(penetration)),"
                 " place, -penetration/2, penetration/2)",
                 assumption(f"{FLAT}; {SINE}")),
            Step("Work out the mean.",
                 "neighbour_factor = penetration/2*((exp(penetration) - exp(-penetration))/2 - sin(penetration))"
                 "/(cosh_p + cos(penetration))", averaging()),
            Step("The first bracket holds a hyperbolic sine.", "sinh_p = (exp(penetration) - exp(-penetration))/2", definition()),
            Step("Write it so.", "neighbour_factor = penetration/2*(sinh_p - sin(penetration))/(cosh_p + cos(penetration))",
                 substituting(), uses=(2, 3)),
        ),
        meaning="loss of a layer in a field as strong at both faces as its own current makes there, over that of its direct current",
        unit="",
        bound=Bound("", "exact for a flat sheet"),
        source="P. L. Dowell, Proc. IEE 113 (1966) 1387, in the form with both fields apart (from memory)",
        example={"penetration": 1.0},
    )


@cache
def layer_factor() -> Derivation:
    """Dowell: the resistance of a winding of several layers over that for direct current."""
    return Derivation(
        "layer_factor", "The resistance of layers for a fast current",
        (
            Step("Take the loss by a layer's own current.",
                 "skin_factor = penetration/2*(sinh_p + sin(penetration))/(cosh_p - cos(penetration))", earlier(own_field())),
            Step("Take the loss by the field of others.",
                 "neighbour_factor = penetration/2*(sinh_p - sin(penetration))/(cosh_p + cos(penetration))",
                 earlier(neighbour_field())),
            Step("From layer to layer the outer field grows as 1, 3, 5, ... times the layer's own, and the loss as the squares: "
                 "1, 9, 25, ... Their mean over all layers is this.", "odd_squares = (4*layers**2 - 1)/3", definition()),
            Step("The two losses add: the one current is even about the middle of the layer, the other odd.",
                 "resistance_factor = skin_factor + odd_squares*neighbour_factor", definition()),
            Step("Put all in.",
                 "resistance_factor = penetration/2*(sinh_p + sin(penetration))/(cosh_p - cos(penetration))"
                 " + (4*layers**2 - 1)/3*(penetration/2*(sinh_p - sin(penetration))/(cosh_p + cos(penetration)))",
                 substituting(), uses=(4, 1, 2, 3)),
            Step("Take out what they share.",
                 "resistance_factor = penetration/2*((sinh_p + sin(penetration))/(cosh_p - cos(penetration))"
                 " + (4*layers**2 - 1)/3*(sinh_p - sin(penetration))/(cosh_p + cos(penetration)))", simplifying()),
        ),
        meaning="resistance of a winding of several layers for a sine current, over that for direct current",
        unit="",
        bound=Bound("", "exact for flat sheets; for round wire errs by up to some 10 %, near a gap more"),
        source="P. L. Dowell, Proc. IEE 113 (1966) 1387; same values from Erickson & Maksimovic, 3rd ed., eq. 10.84-10.88",
        example={"penetration": 1.0, "layers": 3.0},
    )


@cache
def thick_layers() -> Derivation:
    """Layers far thicker than the skin depth: F_R = p (2 n^2 + 1)/3."""
    return Derivation(
        "thick_layers", "Layers much thicker than the skin depth",
        (
            Step("Take the resistance of layers.",
                 "resistance_factor = penetration/2*((sinh_p + sin(penetration))/(cosh_p - cos(penetration))"
                 " + (4*layers**2 - 1)/3*(sinh_p - sin(penetration))/(cosh_p + cos(penetration)))", earlier(layer_factor())),
            Step("Compare with a winding as thick as the skin depth.", "factor_by_thickness = resistance_factor/penetration", definition()),
            Step("Write out the hyperbolic sine.", "sinh_p = (exp(penetration) - exp(-penetration))/2", definition()),
            Step("And the cosine.", "cosh_p = (exp(penetration) + exp(-penetration))/2", definition()),
            Step("A field fades from one face to the other to this share.", "fading = exp(-penetration)", definition()),
            Step("Put in, with the growing exponential taken out above and below.",
                 "factor_by_thickness = ((1 - fading**2 + 2*fading*sin(penetration))/(1 + fading**2 - 2*fading*cos(penetration))"
                 " + (4*layers**2 - 1)/3*(1 - fading**2 - 2*fading*sin(penetration))/(1 + fading**2 + 2*fading*cos(penetration)))/2",
                 substituting(), uses=(2, 1, 3, 4, 5)),
            Step("In thick layers nothing is left at the other face, and sine and cosine stay within one: more copper no longer helps.",
                 "factor_by_thickness = (1 + (4*layers**2 - 1)/3)/2", limit("fading", "0")),
            Step("Put the thickness back.", "resistance_factor/penetration = (1 + (4*layers**2 - 1)/3)/2", substituting(), uses=(7, 2)),
            Step("The factor grows with the square of the layers.", "resistance_factor = penetration*(2*layers**2 + 1)/3", simplifying()),
        ),
        meaning="resistance of a winding of thick layers for a sine current, over that for direct current",
        unit="",
        valid=(Condition("penetration >= 3", "layers at least three skin depths thick"),),
        bound=Bound("", "from three skin depths on within 10 % of the full expression, from five on within 1 %"),
        source="derived here; same in Erickson & Maksimovic, 3rd ed., eq. 10.69",
        example={"penetration": 5.0, "layers": 2.0},
    )


@cache
def thin_layers() -> Derivation:
    """Layers thinner than the skin depth: F_R = 1 + (5 n^2 - 1) p^4/45."""
    return Derivation(
        "thin_layers", "Layers thinner than the skin depth",
        (
            Step("In a thin layer the current hardly crowds, and its field rises evenly from face to face. The current that this "
                 "field drives goes with the square of the place, less the mean of that: it carries nothing on the whole.",
                 "place_square = mean(place**2, place, -penetration/2, penetration/2)", definition()),
            Step("Work out the mean.", "place_square = penetration**2/12", averaging()),
            Step("That current is small and a quarter of a period late, so the squares add.",
                 "skin_factor = 1 + mean((place**2 - penetration**2/12)**2, place, -penetration/2, penetration/2)",
                 assumption(f"{FLAT}; {SINE}; layers thin enough for the first order")),
            Step("Work out the mean.", "skin_factor = 1 + penetration**4/180", averaging()),
            Step("A field the same at both faces drives a current that grows evenly from the middle outwards.",
                 "neighbour_factor = mean((penetration*place)**2, place, -penetration/2, penetration/2)",
                 assumption(f"{FLAT}; {SINE}; layers thin enough for the first order")),
            Step("Work out the mean.", "neighbour_factor = penetration**4/12", averaging()),
            Step("From layer to layer the outer field grows as 1, 3, 5, ...; the mean of the squares is this.",
                 "odd_squares = (4*layers**2 - 1)/3", definition()),
            Step("The two losses add.", "resistance_factor = skin_factor + odd_squares*neighbour_factor", definition()),
            Step("Put all in.", "resistance_factor = 1 + penetration**4/180 + (4*layers**2 - 1)/3*(penetration**4/12)",
                 substituting(), uses=(8, 4, 6, 7)),
            Step("Half the thickness, a sixteenth of the extra loss.", "resistance_factor = 1 + (5*layers**2 - 1)*penetration**4/45",
                 simplifying()),
        ),
        meaning="resistance of a winding of thin layers for a sine current, over that for direct current",
        unit="",
        valid=(Condition("penetration <= 1", "layers no thicker than the skin depth"),),
        bound=Bound("", "errs high: by 0.3 % of the extra loss at half a skin depth, by 4 % of it at a whole one"),
        source="derived here; same in W. G. Hurley, E. Gath, J. G. Breslin, IEEE Trans. PE 15 (2000) 369 (from memory)",
        example={"penetration": 0.5, "layers": 3.0},
    )
