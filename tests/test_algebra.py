"""The algebra room: writing, dimensions, and the checks of every kind of step."""

import dataclasses

import pytest
import sympy as sp

from boostkit.algebra import (
    LAWS,
    Derivation,
    Equation,
    Quantity,
    Step,
    Written,
    assumption,
    averaging,
    check_equation,
    definition,
    differentiating,
    dimension_of,
    extremum,
    integrating,
    known,
    law,
    letter,
    limit,
    linearising,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations import letters

CLOSED_LIST = {
    "inductor law", "capacitor law", "Ohm's law", "Kirchhoff voltage law", "Kirchhoff current law",
    "steady state, current returns", "steady state, charge returns", "energy conservation", "electric power",
    "energy stored in a magnetic field", "energy stored in an electric field", "work on a charge",
    "flux linkage of a core", "Ampère's law", "permeability",
    "Newton's second law", "motion at constant speed", "mass of a body", "pressure on an area", "hydrostatic pressure",
    "water is conserved", "compression of a liquid", "tension in a pipe wall", "Hooke's law", "gas in a vessel",
    "Newton's law of viscosity", "Darcy-Weisbach friction", "hydraulic power",
}


def steps(*given):
    """A derivation from (equation, reason) or (equation, reason, uses)."""
    made = tuple(Step(f"step {n}", g[0], g[1], g[2] if len(g) > 2 else None) for n, g in enumerate(given, 1))
    return Derivation("trial", "a trial", made)


def refuses(text, *given):
    """The derivation is refused and the message names the last step."""
    with pytest.raises(ValueError, match=rf"trial, step {len(given)} .*{text}"):
        steps(*given).verify()


# --- writing ---


@pytest.mark.parametrize(("text", "plain", "latex"), [
    ("v_in*duty + (v_in - v_out)*duty_off", "V_in · D + (V_in − V_out) · D'",
     r"V_{\mathrm{in}}\,D + \left(V_{\mathrm{in}} - V_{\mathrm{out}}\right)\,D'"),
    ("v_out/(duty_off**2*r_load)", "V_out/(D'² · R)", r"\frac{V_{\mathrm{out}}}{{D'}^{2}\,R}"),
    ("v_in - (v_out - v_rectifier)", "V_in − (V_out − V_F)",
     r"V_{\mathrm{in}} - \left(V_{\mathrm{out}} - V_F\right)"),
    ("duty/(k_load/gain)", "D/(K/M)", r"\frac{D}{\frac{K}{M}}"),
    ("-(duty + gain)**2", "−(D + M)²", r"-{\left(D + M\right)}^{2}"),
    ("sqrt(2*k_load)", "√(2 · K)", r"\sqrt{2\,K}"),
    ("integral(i_out*t, t, 0, t_sw)", "∫[t = 0 … T_s] I_out · t",
     r"\int_{0}^{T_s} I_{\mathrm{out}}\,t\,\mathrm{d}t"),
])
def test_printed_as_written(text, plain, latex):
    """Terms stay in the order in which they were written, with brackets only where they are needed."""
    assert Written(text).plain == plain
    assert Written(text).latex == latex


def test_written_reads_into_sympy():
    """The same text gives the sympy form."""
    v_in, duty = letters.v_in.symbol, letters.duty.symbol
    assert Written("v_in*(1 - duty)/2").sympy == v_in * (1 - duty) / 2
    assert Equation("v_out = 2*v_in").sympy == sp.Eq(letters.v_out.symbol, 2 * v_in)


@pytest.mark.parametrize("text", ["__import__('os')", "v_in.real", "'a'", "v_in if duty else 1", "lambda: 1",
                                  "v_in[0]"])
def test_only_arithmetic_is_read(text):
    """Anything but arithmetic in known letters is refused."""
    with pytest.raises(ValueError):
        _ = Written(text).sympy


def test_unknown_letter_suggests_the_nearest():
    """A misspelt letter is named, with the nearest known one."""
    with pytest.raises(ValueError, match="dutty is not a known letter; did you mean duty"):
        _ = Written("1 - dutty").sympy


def test_one_letter_one_meaning():
    """A letter can be entered again with the same meaning only."""
    again = dataclasses.asdict(letters.v_in)
    assert letter(**again) == letters.v_in
    with pytest.raises(ValueError, match="v_in is already the letter for 'source voltage'"):
        letter(**{**again, "meaning": "input voltage"})
    assert known("v_in").meaning == "source voltage"


# --- dimensions ---


@pytest.mark.parametrize(("text", "unit"), [
    ("v_in*duty/(inductance*f_sw)", "A"), ("sqrt(inductance*capacitance)", "s"), ("integral(i_out, t, 0, t_sw)", "C"),
    ("inductance*i_out**2/2", "J"), ("max(v_in, v_out)/r_load", "A"), ("derivative(v_out*t, t)", "V"),
])
def test_dimension(text, unit):
    """The dimension of an expression is that of its SI unit (SI Brochure, 9th ed., table 4, from memory)."""
    assert dimension_of(Written(text).sympy) == Quantity("x", "x", unit, "", (0, 1)).dimension


@pytest.mark.parametrize("text", ["v_in + i_out = v_out", "v_out = i_out", "v_out = v_in*exp(t)", "v_in = v_out**duty"])
def test_unlike_things_are_not_added(text):
    """Volts are not amperes, and no function or power takes a unit."""
    with pytest.raises(ValueError):
        check_equation(Equation(text))


# --- laws and steps ---


def test_list_of_laws_is_closed():
    """The list of laws is this one; a step on any other is refused."""
    assert set(LAWS) == CLOSED_LIST
    with pytest.raises(ValueError, match="not in the list of laws"):
        law("law of large numbers", voltage="v_in")


COIL = {"voltage": "v_inductor_on", "inductance": "inductance", "slope": "slope_rise"}


@pytest.mark.parametrize("wrong", ["v_inductor_on = 2*inductance*slope_rise", "v_inductor_on = -inductance*slope_rise",
                                   "v_inductor_off = inductance*slope_rise"])
def test_law_step_must_be_the_law(wrong):
    """An equation that only resembles the law is refused: factor, sign, another voltage."""
    steps(("v_inductor_on = inductance*slope_rise", law("inductor law", **COIL))).verify()
    refuses("not the inductor law", (wrong, law("inductor law", **COIL)))


def test_roles_of_a_law_have_units():
    """A role takes only what has its unit, and every role is filled."""
    refuses("must be in A/s", ("v_in = inductance*slope_rise", law("inductor law", **{**COIL, "slope": "i_out"})))
    refuses("has the roles", ("v_in = inductance*slope_rise", law("inductor law", voltage="v_in")))


def test_kirchhoff_counts_each_letter_once():
    """A doubled voltage is no loop, even if the roles say the same."""
    refuses("counted once", ("v_in = 2*v_out", law("Kirchhoff voltage law", rises="v_in", drops="2*v_out")))


def test_definitions():
    """A definition is new, has one letter on its left, and agrees with the list of letters."""
    steps(("duty_off = 1 - duty", definition())).verify()
    refuses("defined in the list", ("duty_off = 1 + duty", definition()))
    refuses("single letter", ("2*gain = v_out/v_in", definition()))
    refuses("has a meaning already", ("v_in = v_out", assumption("x")), ("v_in = 2*v_out", definition()))


def test_substituting():
    """The result equals what it came from; sign, factor and D for D' are refused."""
    start = [("v_out = v_in + v_rectifier_on", assumption("x")), ("v_in = duty*v_winding", assumption("x"))]
    steps(*start, ("v_out = duty*v_winding + v_rectifier_on", substituting(), (1, 2))).verify()
    for wrong in ("duty*v_winding - v_rectifier_on", "2*duty*v_winding + v_rectifier_on",
                  "duty_off*v_winding + v_rectifier_on"):
        refuses("does not give this", *start, (f"v_out = {wrong}", substituting(), (1, 2)))


def test_uses_must_lie_before():
    """A step cannot use itself, later ones, or too few."""
    refuses("earlier steps", ("v_out = v_in", assumption("x")), ("v_out = v_in", substituting(), (1, 2)))
    refuses("earlier steps", ("v_out = v_in", assumption("x")), ("v_out = v_in", substituting()))


def test_simplifying_keeps_the_solutions():
    """Factors that cannot be zero may go; anything that changes where the equation is true may not."""
    start = ("v_in*duty*t_sw = v_out*duty*t_sw", assumption("x"))
    steps(start, ("v_in - v_out = 0", simplifying())).verify()
    refuses("same values", start, ("v_in + v_out = 0", simplifying()))
    refuses("same values", start, ("v_in = 2*v_out", simplifying()))
    refuses("same values", start, ("v_in*(v_in - 5*v_out) = v_out*(v_in - 5*v_out)", simplifying()))
    refuses("same values", start, ("0*v_in = 0", simplifying()))


QUADRATIC = ("gain*(gain - 1) = duty**2/k_load", assumption("x"))      # EM3 eq. 5.50, read as a formula


def test_solving_names_its_branch():
    """A solution satisfies its equation and is the branch claimed."""
    upper, lower = (f"gain = (1 {sign} sqrt(1 + 4*duty**2/k_load))/2" for sign in "+-")
    steps(QUADRATIC, (upper, solving("gain", "gain > 1"))).verify()
    refuses("branch", QUADRATIC, (lower, solving("gain", "gain > 1")))
    refuses("put back", QUADRATIC, (upper.replace("4*", "2*"), solving("gain", "gain > 1")))
    refuses("other solutions", QUADRATIC, (upper, solving("gain", "gain > -1000")))
    refuses("stand alone", QUADRATIC, ("gain = 1 + duty**2/(k_load*gain)", solving("gain", "gain > 1")))


def test_integrals_and_means():
    """An integral is carried out between its own limits; a mean is the integral over the length."""
    rise = ("ripple_charge_trial = integral(i_out*t/t_sw, t, 0, duty*t_sw)", definition())
    letter("ripple_charge_trial", "q", "C", "charge, for a trial", (1e-7, 1e-5))
    steps(rise, ("ripple_charge_trial = i_out*duty**2*t_sw/2", integrating())).verify()
    for wrong in ("i_out*t_sw/2", "i_out*duty**2*t_sw", "-i_out*duty**2*t_sw/2"):
        refuses("integrating", rise, (f"ripple_charge_trial = {wrong}", integrating()))
    mean = ("i_switch_mean = mean(i_out*t/t_sw, t, 0, t_sw)", definition())
    steps(mean, ("i_switch_mean = i_out/2", averaging())).verify()
    refuses("averaging", mean, ("i_switch_mean = i_out", averaging()))
    refuses("nothing to carry out", ("v_in = v_out", assumption("x")), ("v_in = v_out", integrating()))


def test_differentiating():
    """A derivative that stands in an equation is carried out."""
    slope = ("slope_rise = derivative(i_out*t**2/t_sw**2, t)", definition())
    steps(slope, ("slope_rise = 2*i_out*t/t_sw**2", differentiating())).verify()
    refuses("differentiating", slope, ("slope_rise = i_out*t/t_sw**2", differentiating()))


def test_extremum():
    """K_crit = D (1 - D)^2 is largest at D = 1/3 (EM3 eq. 5.33, read): a maximum, no minimum, and nowhere else."""
    curve = ("k_critical = duty*(1 - duty)**2", assumption("x"))
    steps(curve, ("duty = 1/3", extremum("duty", "maximum"))).verify()
    refuses("no minimum", curve, ("duty = 1/3", extremum("duty", "minimum")))
    refuses("slope is not zero", curve, ("duty = 1/2", extremum("duty", "maximum")))
    refuses("can have no such value", ("gain = duty + 1/(100*duty)", assumption("x")), ("duty = -1/10", extremum("duty", "minimum")))


def test_linearising():
    """The tangent of 1/(1 - D) at D = 0 is 1 + D."""
    curve = ("gain = 1/(1 - duty)", assumption("x"))
    steps(curve, ("gain = 1 + duty", linearising("duty", "0"))).verify()
    refuses("tangent", curve, ("gain = 1 + duty/2", linearising("duty", "0")))


def test_limits():
    """An infinite load resistance takes the loss out of the gain; a limit that is not one is refused."""
    curve = ("gain = r_load/((1 - duty)*(r_load + r_inductor))", assumption("x"))
    steps(curve, ("gain = 1/(1 - duty)", limit("r_load", "infinity"))).verify()
    refuses("not the limit", curve, ("gain = 1/duty", limit("r_load", "infinity")))
    refuses("not the limit", curve, ("gain = 1/(1 - duty)", limit("r_load", "0")))


def test_dimensions_are_checked_in_every_step():
    """Even an assumption may not set volts equal to amperes."""
    refuses("differ in dimension", ("v_in = i_out", assumption("x")))
