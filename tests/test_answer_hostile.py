"""Hostile lines: whatever is typed gets a plain refusal of one line, quickly, and is never run or handed on."""

import builtins
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from boostkit.algebra import next_line
from boostkit.algebra.typed import CHARACTERS, DEPTH
from boostkit.derivations import kick, switching

GAIN, CHARGING = switching.ideal_gain(), kick.charging()
QUICK = 1.0         # s; measured under 0.05 s on an idle machine, and no such line may cost more than a moment on a busy one

REFUSED = {
    "code": ["__import__('os').system('x')", "lambda: 1", "V_in if D else 1", "V_in.__class__", '"x".format', 'f"{x}"', "[1]*10",
             "V_in; V_in", "V_in\nV_out", "V_in # x", "exec(V_in)", "V_in := 1", "not V_in", "V_in, V_out", "(V_in, V_out)", "sqrt(*D)",
             "sqrt(**D)", "sqrt(x=D)", "V_in and V_out", "print(V_in)", "{1}", "`V_in`", "$V_in$", "V_in\\", "@V_in",
             "_", "__", "__V_in__"],
    "towers": ["9**9**9", "9^9^9^9", "V_in^9", "V_in^D", "V_in^2^2", "(((((V_in^8)^8)^8)^8)^8)", "V_in^(1/0)", "V_in^-99", "0^0",
               "exp(exp(exp(9)))", "((9^8)^8)^8", "9999999*9999999*9999999", "V_in^0.00001^9"],
    "long": ["1" * 1_000_000, "V_in+" * 1_000_000, "(" * 1_000_000, "(" * 40 + "V_in" + ")" * 40, "V_in " * 59, "D' " * 70,
             "-" * 200 + "V_in",
             "(V_in+V_out+D+L+R+C+K)^8", "(V_in+V_out)^8*(D+L)^8*(R+C)^8", "1234567890 V_in", "1.0000000001 V_in", "a" * 250],
    "no value": ["1/0", "V_in/0", "V_in/(D-D)", "V_in/(2-2)", "0^-1", "sqrt(-1)", "(0-1)^(1/2)", "sqrt(D-D-1)", "nan", "inf", "oo", "zoo",
                 "1e400", "1/(sqrt(2)-sqrt(2))", "V_in/sqrt(0)"],
    "Unicode": ["V_in\u200b/D'", "\u202eV_in", "\ufeffV_in/D'", "Ｖ_in/D'", "𝑉_in/D'", "V_i\u0301n", "V\u2099", "٣ V_in", "V_in\x00",
                "V_in\ud800", "Ⅴ", "⁹", "V_in\u2028"],
    "no line": ["", "   ", "=", "V_out =", "= V_in", "V_out = V_in = 1", "==", "<>", "V_in ** ", "* V_in", "V_in//D", "()", "sqrt()",
                "sqrt", "√", "²", "½½", ".", "1.5.5", "0x10", "1_000", "(V_in", "V_in)", "V_in)(", None, 5, b"V_in", ["V_in"],
                "<script>x</script>"],
}  # fmt: skip


def timed(derivation, n, typed):
    """The verdict, its time in seconds."""
    start = time.perf_counter()
    verdict = next_line(derivation, n, typed)
    return verdict, time.perf_counter() - start


@pytest.fixture(scope="module", autouse=True)
def warm():
    """The first verdict loads what the others need."""
    next_line(GAIN, 14, "V_in/D")


@pytest.mark.parametrize(("group", "place"), [(group, place) for group, lines in REFUSED.items() for place in range(len(lines))])
def test_it_is_refused_in_one_plain_line_and_quickly(group, place):
    """No result, no traceback, no echo of a long text: one sentence."""
    typed = REFUSED[group][place]
    verdict, took = timed(GAIN, 14, typed)
    assert not verdict.right and verdict.kind in ("unreadable", "unknown letter")
    assert verdict.says and "\n" not in verdict.says and len(verdict.says) < 200 and verdict.says.isprintable()
    assert verdict.read == "" and took < QUICK


HEAVY = ["1/(V_in+V_out)+1/(D+D_2)+1/(L+V_in)+1/(R+V_in)+1/(C+V_in)", "V_out = V_in/D' + (V_in+V_out)^8-(V_in+V_out)^8",
         "V_out = V_in/D'*(V_in+V_out+1)^3/(V_in+V_out+1)^3", "(" * (DEPTH - 1) + "V_in" + ")" * (DEPTH - 1), "-" * 110 + "V_in",
         "V_in+" * 59 + "V_in", "V_out = V_in/D'*sqrt(V_in^2+D^2)/sqrt(V_in^2+D^2)", "sqrt(sqrt(sqrt(sqrt(sqrt(V_in)))))",
         "V_out = (V_in+V_out)^6/(V_in+D)^6", "V_out^8 = (V_in/D')^8", "V_out = V_in/D'*(1+D)^7*(1-D)/(1-D)/(1+D)^7"]  # fmt: skip


@pytest.mark.parametrize("typed", HEAVY)
def test_what_is_let_through_is_judged_in_a_moment(typed):
    """Lines at the limits cost no more than the others; ten times the usual third of a second would be a fault."""
    verdict, took = timed(GAIN, 14, typed)
    assert verdict.kind and took < 3


@pytest.mark.parametrize("typed", ["exp(exp(exp(9)))", "exp(exp(-t))", "exp(99999)", "exp(9^8)", "exp(exp(9)-exp(9))", "exp(50*exp(1))",
                                   "exp()", "exp(t, t)", "exp", "sin(t)", "exp(-R_loop t/L)^9"])  # fmt: skip
def test_functions_are_no_way_around(typed):
    """Where a line has exp itself, towers of it, large arguments and other functions are still refused."""
    verdict, took = timed(CHARGING, 6, f"i_L = V_in/R_loop*(1 - {typed})")
    assert verdict.kind in ("unreadable", "unknown letter") and took < QUICK


@pytest.mark.parametrize("typed", ["integral(1/t, t, 0, D T_s)", "integral(sqrt(t), t, 0, 1)", "integral(m_1, 2, 0, 1)",
                                   "integral(m_1, t, 0)", "integral(integral(m_1, t, 0, t), t, 0, 1)"])  # fmt: skip
def test_integrals_are_kept_simple(typed):
    """Sympy may search long for an integral: only sums of powers, over a letter, and none within another."""
    verdict, took = timed(switching.inductor_ripple(), 5, typed)
    assert not verdict.right and verdict.kind == "unreadable" and took < QUICK


def test_a_line_is_read_only_up_to_the_limit():
    """One character above the limit is refused, at the limit it is not."""
    line = "V_out = V_in/D'"
    assert next_line(GAIN, 14, line.ljust(CHARACTERS)).right
    assert next_line(GAIN, 14, line.ljust(CHARACTERS + 1)).kind == "unreadable"


def test_nothing_typed_is_evaluated(monkeypatch):
    """Neither Python's eval nor sympy's reader of text sees a typed line."""
    import sympy.parsing.sympy_parser

    from boostkit.algebra import sameness, trial

    sameness.target.cache_clear()
    trial.same_solutions.cache_clear()

    def never(*_args, **_more):
        raise AssertionError("typed text was evaluated")

    monkeypatch.setattr(builtins, "eval", never)
    monkeypatch.setattr(sympy.parsing.sympy_parser, "parse_expr", never)
    assert next_line(GAIN, 14, "V_out = V_in/(1 - D)").right
    assert next_line(GAIN, 14, "V_out = V_in*D'").kind == "upside down"


SCRAPS = st.sampled_from(["V_in", "V_out", "D'", "D", "L", "(", ")", "+", "-", "*", "/", "^", "2", "3", "=", " ", "sqrt(", "²", ",", "'",
                          "0", "i_L", ".", "9", "_", "Δ", "<", "½", "√", "t", "pi", "exp("])  # fmt: skip


@settings(max_examples=300, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.one_of(st.text(max_size=60), st.lists(SCRAPS, max_size=25).map("".join), st.lists(SCRAPS, max_size=15).map(" ".join)))
def test_any_text_gets_a_verdict(typed):
    """Random characters and random scraps of algebra: always a verdict with a sentence, never an error."""
    verdict, took = timed(GAIN, 14, typed)
    assert verdict.says and "\n" not in verdict.says and took < 3
    assert verdict._repr_markdown_() and repr(verdict)
