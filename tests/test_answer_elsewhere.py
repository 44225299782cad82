"""Lines that are true where the wanted line is, and elsewhere too; and what the tree of a line shows before sympy sees it."""

import re
import time

import pytest
from test_contracts import all_derivations

from boostkit.algebra import Equation, judge, next_line
from boostkit.algebra.sameness import never_zero
from boostkit.algebra.written import Written

ALL = {derivation.name: derivation for derivation in all_derivations()}
CURRENT = "i_L - V_in/R_loop*(1 - exp(-R_loop t/L))"


def verdict(name, n, typed):
    return next_line(ALL[name], n, typed)


# more solutions than the wanted line

@pytest.mark.parametrize(("name", "n", "typed", "says"), [
    ("ideal_gain", 14, "(V_out - V_in/D')*(D - 1/2) = 0", "also where 2 · D − 1 = 0"),
    ("ideal_gain", 14, "V_out (2 D - 1) = V_in (2D-1)/D'", "also where 2 · D − 1 = 0"),
    ("ideal_gain", 14, "(V_out - V_in/D')*(V_in - V_out) = 0", "also where V_in − V_out = 0"),
    ("ideal_gain", 14, "(V_out - V_in/D')*(V_out - 2 V_in) = 0", "also where 2 · V_in − V_out = 0"),
    ("charge_balance", 11, "(I_L - I_out/D')*(D - 1/2)^2 = 0", "also where 2 · D − 1 = 0"),
    ("charge_balance", 11, "(I_L - I_out/D')*I_L = 0", "also where I_L = 0"),
    ("ideal_gain", 9, "v_L,off (V_in-V_out) = (V_in-V_out)^2", "also where V_in − V_out = 0"),
    ("charge_balance", 11, "I_L^2 = I_out^2/D'^2", "I_L of the opposite sign"),
    ("ideal_gain", 9, "v_L,off^2 = (V_in-V_out)^2", "v_L,off of the opposite sign"),
    ("inductor_ripple", 2, "v_L,on^2 = L^2 m_1^2", "v_L,on of the opposite sign"),
])  # fmt: skip
def test_a_line_with_more_solutions_is_not_right(name, n, typed, says):
    """A factor that vanishes somewhere, or a square of a letter with a sign: said so, with the place."""
    found = verdict(name, n, typed)
    assert not found.right and found.kind == "true elsewhere" and says in found.says, found


@pytest.mark.parametrize("factor", ["exp(-R_loop t/L) - 1/2", "R_loop t/L - 1", "(R_loop t/L - 1)^2", "1/2 - D", "i_L R_loop/V_in - 2"])
def test_a_factor_beside_a_function_is_not_overlooked(factor):
    """Where exp keeps the line from being a polynomial, its factors are looked at all the same."""
    assert not verdict("charging", 6, f"({CURRENT})*({factor}) = 0").right


@pytest.mark.parametrize("factor", ["K - 1/5", "M - 2", "sqrt(K) - 1/2", "D - 1/2"])
def test_a_factor_beside_a_root_is_not_overlooked(factor):
    """√K hides a factor with K in it from sympy."""
    assert verdict("duty_for_gain", 4, f"(D - sqrt(K M (M-1)))*({factor}) = 0").kind in ("true elsewhere", "another line")
    assert verdict("duty_for_gain", 4, "(D - sqrt(K M (M-1)))*(1 + K) = 0").kind == "not solved"


@pytest.mark.parametrize(("name", "n", "typed"), [
    ("ideal_gain", 14, "(V_out - V_in/D')^2 = 0"), ("ideal_gain", 14, "(V_out - V_in/D')^3 = 0"),
    ("ideal_gain", 14, "V_out^3 = V_in^3/D'^3"),
    ("ideal_gain", 14, "V_out^2 = V_in^2/D'^2"), ("ideal_gain", 14, "(V_out - V_in/D')*(V_out + V_in) = 0"),
    ("ideal_gain", 14, "(V_out - V_in/D')*(2 - D) = 0"), ("ideal_gain", 3, "v_S,on V_in = 0"), ("ideal_gain", 3, "v_S,on^2 = 0"),
    ("charge_balance", 11, "I_L^3 = I_out^3/D'^3"), ("charging", 6, f"({CURRENT})^3 = 0"), ("charging", 6, f"({CURRENT})*(1 + D) = 0"),
    ("charging", 6, "exp(-R_loop t/L) = 1 - i_L R_loop/V_in"), ("capacitor_discharge", 6, "v_C exp(t/(R_bleed C)) = V_0"),
])  # fmt: skip
def test_powers_and_factors_that_never_vanish_change_nothing(name, n, typed):
    """A power has the zeros of its base; sums of positive letters, and 2 - D below D = 1, have none."""
    assert verdict(name, n, typed).right, verdict(name, n, typed)


@pytest.mark.parametrize(("text", "never"), [
    ("v_in + v_out", True), ("v_in*v_out", True), ("1 - duty", True), ("2 - duty", True), ("v_in - v_out", False), ("1 - 2*duty", False),
    ("i_inductor_mean", False), ("i_inductor_mean**2", False), ("i_inductor_mean**2 + i_out**2", True), ("3", True),
    ("i_inductor_mean**2 + i_inductor_mean*i_out + i_out**2", True), ("i_inductor_mean**2 + 3*i_inductor_mean*i_out + i_out**2", False),
])  # fmt: skip
def test_never_zero_is_proved_by_signs(text, never):
    """Letters above zero, D below one, and letters of either sign."""
    assert never_zero(Written(text).sympy) is never


# read from the tree

@pytest.mark.parametrize("variable", ["D", "L", "I_out", "m_1", "T_s"])
def test_an_integral_runs_over_the_letter_of_the_line(variable):
    """A constant integrates alike over any letter; only t is the time that passes."""
    found = verdict("inductor_ripple", 5, f"integral(m_1, {variable}, 0, D T_s)")
    assert not found.right and "over t" in found.says
    assert not verdict("clamp_across_switch", 2, "integral(I - (V_clamp-V_in) D/L, D, 0, t_decay)").right


def test_the_limits_of_an_integral_are_of_its_letter_and_do_not_hold_it():
    """Seconds for t, and no t in them."""
    assert "must be in s, as t is" in verdict("inductor_ripple", 5, "integral(m_1, t, 0, D)").says
    assert "cannot occur" in verdict("inductor_ripple", 5, "integral(m_1, t, 0, t)").says
    assert verdict("inductor_ripple", 5, "integral(m_1, t, 0, D/f_s)").right


@pytest.mark.parametrize("typed", ["V_in/D' + (V_in+D) - (V_in+D)", "V_out = V_in/D' + (L-C)*0", "(V_out D' - V_in)(V_out-3) = 0",
                                   "V_out + L = V_in/D' + L", "V_out*(D + R)/(D + R) = V_in/D'"])  # fmt: skip
def test_unlike_things_may_not_cancel(typed):
    """Volts and a pure number do not add, even where the sum drops out; and no other mistake is made up for it."""
    found = verdict("ideal_gain", 14, typed)
    assert found.kind == "dimension" and re.fullmatch(r"Unlike things are added: .* and .*\)\.", found.says), found


def test_a_difference_of_logarithms_is_as_good_as_one():
    """ln V_0 - ln V_safe is sloppy and true."""
    assert verdict("safe_time", 2, "R_bleed C (ln(V_0) - ln(V_safe))").right


@pytest.mark.parametrize(("name", "n", "typed", "unit"), [("return_time", 2, "2L/a", "H·s/m"),
                                                          ("inductor_ripple", 8, "V_in D/L*f_s", "A/s²"),
                                                          ("output_ripple", 3, "ΔQ/C", "m^5·kg·s^-5·A^-2")])  # fmt: skip
def test_a_rare_unit_is_said_too(name, n, typed, unit):
    """Products of two over a third, and base units where nothing else fits."""
    found = verdict(name, n, typed)
    assert found.kind == "dimension" and f"the right side in {unit}" in found.says, found


def test_units_are_said_as_the_kit_writes_them():
    """A quotient, not powers of base units."""
    assert verdict("inductor_ripple", 6, "m_1/T_s").says.startswith("The left side is in A, the right side in A/s²")


@pytest.mark.parametrize(("name", "n", "typed"), [("ideal_gain", 14, "V_in∕D´"), ("inductor_ripple", 8, "\u2206i_L = V_in D⁄(L f_s)"),
                                                  ("ideal_gain", 14, "V_out ⁄V_in = 1 ∕ D´")])  # fmt: skip
def test_more_look_alikes(name, n, typed):
    """The increment sign, two slashes and the acute accent, as phones and word processors type them."""
    assert verdict(name, n, typed).right


@pytest.mark.parametrize(("typed", "says"), [("0,5 V_in/D'", "have a point"), ("(1,5) V_in", "have a point"),
                                             ("∫ m_1 dt", "typed integral(")])  # fmt: skip
def test_what_is_meant_is_said(typed, says):
    """A decimal comma and an integral sign are refused with the way to type them."""
    assert says in verdict("ideal_gain", 14, typed).says


# what is said of a wrong line

def test_a_forgotten_letter_comes_first_in_a_special_case():
    """The fall without the source voltage holds where that is zero; t = 0 would be true and no help."""
    assert verdict("clamp_current", 6, "I - V_clamp t/L").says == "That holds only where V_in = 0."


@pytest.mark.parametrize(("name", "typed"), [("capacitor_discharge", "V_0 exp(t/(R_bleed C))"),
                                             ("charging", "V_in/R_loop*(1 - exp(R_loop t/L))")])  # fmt: skip
def test_a_sign_in_an_exponent(name, typed):
    """Growing instead of decaying."""
    found = verdict(name, 6, typed)
    assert found.kind == "sign" and found.says == "The sign of the exponent is wrong."


def test_a_line_that_is_nearly_true_is_shown_with_digits_enough():
    """The two sides that are called different are printed different; and a line without a value is not called true."""
    sides = re.search(r"left side is (\S+ V) and the right side (\S+ V)\.", verdict("ideal_gain", 14, "V_out = V_in/D'*1.000001").says)
    assert sides and sides[1] != sides[2]
    assert verdict("ideal_gain", 3, "V_in/v_S,on = 0").kind == "letters"


@pytest.mark.parametrize("factor", ["sqrt(D)", "sqrt(1 + sqrt(1 + sqrt(1 + sqrt(D))))"])
def test_an_example_has_possible_values(factor):
    """No resistance below zero stands in the numbers that show a line to be wrong."""
    says = verdict("real_gain", 20, f"V_out/V_in = {factor}/D'*(1-D' V_F/V_in)/(1+(R_L+D R_on+D' R_D)/(D'^2 R))").says
    assert "which fit it" in says and not re.search(r"R(_\w+)? = [-−]", says), says


HEAVY = [("switch_rms", 2, "sqrt(integral((I_L - (Δi_L+I_L)^8/2 + (Δi_L+I_L)^8*t/(D*T_s))^2, t, 0, D*T_s)/T_s)"),
         ("switch_rms", 2, "sqrt(integral((I_L - (Δi_L+I_L)^8/I_L^7 + Δi_L*t/(D*T_s))^2, t, 0, D*T_s)/T_s)"),
         ("rectifier_rms", 2, "sqrt(integral(((I_L+D')^5 + Δi_L/2 - Δi_L*t/(D'*T_s))^2, t, 0, D'*T_s)/T_s)"),
         ("rectifier_rms", 2, "sqrt(integral(((I_L+Δi_L)^3/I_L^2 - Δi_L*t/(D'*T_s))^2, t, 0, D'*T_s)/T_s)"),
         ("charge_balance", 8, "sqrt((-I_out*D*T_s + (I_L - I_out)*D'*T_s)^2+1) = sqrt(0^2+1)"),
         ("charge_balance", 8, "sqrt((-I_out*D*T_s + (I_L - I_out)*D'*T_s)^2 + I_L^2 T_s^2) = sqrt(0^2 + I_L^2 T_s^2)"),
         ("charge_balance", 11, "(I_L+I_out)^8/(I_L+2 I_out)^7 = I_out/D'"), ("charging", 6, f"({CURRENT})^7 = 0"),
         ("charging", 6, f"({CURRENT})*(exp(-R_loop t/L) - 1/2) = 0")]  # fmt: skip


@pytest.mark.parametrize(("name", "n", "typed"), HEAVY, ids=[typed[:50] for *_, typed in HEAVY])
def test_no_judgement_takes_a_second(name, n, typed):
    """Counted in processor time, so that a busy machine does not matter."""
    verdict(name, n, "1")                       # what the first verdict of a derivation loads is not the line's doing
    start = time.process_time()
    assert not verdict(name, n, typed).right or "^7 = 0" in typed
    assert time.process_time() - start < 1


def test_a_square_of_a_letter_with_a_sign_in_a_bare_equation():
    """Without a derivation around it as well."""
    assert judge("i_L^2 = I_out^2", Equation("i_inductor = i_out")).kind == "true elsewhere"
