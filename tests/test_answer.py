"""Judging typed lines: the line of a step in any spelling or form is right, a changed one never is, and mistakes get names."""

import random
import re

import pytest
import sympy as sp
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from test_contracts import all_derivations

from boostkit.algebra import Equation, Step, hint, judge, known, next_line
from boostkit.algebra.answer import KINDS
from boostkit.algebra.reasons import Solving
from boostkit.algebra.typed import CHARACTERS
from boostkit.derivations import coil_size, kick, letters, real_parts, switching

GAIN, RIPPLE, BORDER = switching.ideal_gain(), switching.inductor_ripple(), switching.conduction_border()
CALCULUS = ("integral", "mean", "derivative")
SLOW = settings(max_examples=120, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


def steps():
    """Every step of every derivation, with its number."""
    return [(derivation, n) for derivation in all_derivations() for n in range(1, len(derivation.steps) + 1)]


STEPS = steps()
LIMITS = ("too heavy", "Only a pure number is raised", "A power must be a number")     # refused, never called wrong
PLAIN = [(d, n) for d, n in STEPS if d.steps[n - 1].equation.sign == "="
         and not any(word in d.steps[n - 1].equation.text for word in CALCULUS)]


# how letters may be spelt

@pytest.mark.parametrize("typed", [
    "v_out = v_in/duty_off", "V_out = V_in/D'", "Vout=Vin/D'", "V_out=V_in/D’", "V_in/D'", "V_{out} = V_{in}/D'", "V_out == V_in / (1 - D)",
    "V_out = V_in ÷ (1 − D)", "V_in = V_out D'", "V_in = V_out·(1-D)", "V_out/V_in = 1/D'", "V_out D' - V_in = 0", "M = 1/D'",
    "V_out = V_in (1-D)^-1", "V_out² = V_in²/D'^2", "2V_out = 2 V_in/D'", "½ V_out = V_in/(2 D')", "V_out = √(V_in²)/D'",
])  # fmt: skip
def test_one_line_in_many_spellings(typed):
    """Python names, printed names, Unicode and rearranged forms are all the same line."""
    assert next_line(GAIN, 14, typed).right, next_line(GAIN, 14, typed)


@pytest.mark.parametrize(("typed", "derivation", "n"), [
    ("Delta i_L = V_in D/(L f_s)", RIPPLE, 8), ("Δi_L = V_in D T_s/L", RIPPLE, 8), ("DeltaiL = Vin*D/(L*fs)", RIPPLE, 8),
    ("Δi_L = integral(m_1, t, 0, D T_s)", RIPPLE, 5), ("K_crit = D D'²", BORDER, 13), ("Kcrit = D (1-D)^2", BORDER, 13),
    ("v_L = L di_L/dt", kick.charging(), 3), ("v_L = L di/dt", kick.charging(), 3), ("m_1 = v_L,on/L", switching.volt_second_balance(), 2),
])  # fmt: skip
def test_greek_letters_commas_and_slopes(typed, derivation, n):
    """Delta in three spellings, a comma within a letter, and the slope of a current."""
    assert next_line(derivation, n, typed).right


@pytest.mark.parametrize("name", ["v_in", "duty_off", "ripple_current", "i_inductor_max", "duty_rectifier", "k_critical"])
def test_a_letter_is_read_by_each_of_its_names(name):
    """Its Python name, its printed name, and that one without underscore or comma are the same letter."""
    plain = known(name).plain
    for spelling in (name, plain, re.sub("[_,]", "", plain)):
        assert judge(f"{spelling} = 1", Equation(f"{name} = 1")).right, spelling


@pytest.mark.parametrize("typed", ["V_in/L f_s", "1/2 L", "V_in/D' (1-D)", "D 2", "D^2L", "V_in(t)", "a/(b", "V_in D +", "3 4"])
def test_what_has_two_readings_is_refused(typed):
    """A product after a division, a number behind a letter and the like are refused with a hint, not guessed."""
    assert next_line(GAIN, 14, typed).kind in ("unreadable", "unknown letter")


def test_products_are_shown_as_they_were_read():
    """The verdict prints the reading, so an implied product cannot hide."""
    assert next_line(GAIN, 13, "V_out = V_in(D+D')/D'").read == "V_out = V_in · (D + D')/D'"


# mistakes with names

MISTAKES = [
    (GAIN, 14, "V_in/D", "D for D'", "D stands where D' belongs"),
    (GAIN, 14, "V_in/(1-D')", "D for D'", "D' stands where D belongs"),
    (GAIN, 12, "V_in D' + (V_in - V_out) D = 0", "D for D'", "changed places"),
    (GAIN, 14, "-V_in/D'", "sign", "right side"),
    (GAIN, 12, "V_in D + (V_in + V_out) D' = 0", "sign", "V_out"),
    (GAIN, 9, "v_L,off = V_out - V_in", "sign", "right side"),
    (RIPPLE, 8, "V_in D/(2 L f_s)", "factor of two", "half"),
    (GAIN, 14, "2 V_in/D'", "factor of two", "twice"),
    (GAIN, 14, "V_in D'", "upside down", "above the fraction bar"),
    (GAIN, 15, "V_out/V_in = D'", "upside down", "belongs below it"),
    (RIPPLE, 8, "L f_s/(V_in D)", "dimension", "take its reciprocal"),
    (RIPPLE, 8, "V_in/(L f_s)", "missing letter", "D is missing as a factor"),
    (RIPPLE, 8, "V_in D/f_s", "dimension", "L is missing below the fraction bar"),
    (RIPPLE, 8, "V_in D² /(L f_s)", "extra letter", "D stands once too often"),
    (RIPPLE, 8, "V_out D/(L f_s)", "another letter", "V_out stands where V_in belongs"),
    (GAIN, 14, "I_out/D'", "dimension", "left side is in V, the right side in A"),
    (GAIN, 14, "V_in + I_out", "dimension", "Unlike things are added"),
    (GAIN, 8, "V_in = V_out", "special case", "v_L,off = 0"),
    (real_parts.real_gain(), 20, "V_out/V_in = (1/D')*(1-D' V_F/V_in)/(1+(R_L+D R_on)/(D'^2 R))", "special case", "R_D = 0"),
    (GAIN, 14, "0 = 0", "says nothing", "always true"),
    (GAIN, 14, "V_out = V_out", "says nothing", "always true"),
    (GAIN, 14, "D' = 1 - D", "says nothing", "restates a definition"),
    (GAIN, 14, "V_out = V_in (D+D')/D'", "line before", "take the next step"),
    (GAIN, 15, "V_out = V_in/D'", "line before", "take the next step"),
    (RIPPLE, 6, "integral(m_1, t, 0, D T_s)", "line before", "take the next step"),
    (GAIN, 12, "v_L,on D + v_L,off D_2 = 0", "another line", "line 1"),
    (GAIN, 13, "V_in D + V_in D' = V_out D'", "not solved", "V_out must stand alone"),
    (GAIN, 14, "(V_out - V_in/D')*(D - 1/2) = 0", "true elsewhere", "also where 2 · D − 1 = 0"),
    (GAIN, 14, "V_out D' > V_in", "relation", "must be ="),
    (GAIN, 14, "V_ot = V_in/D'", "unknown letter", "did you mean V_out?"),
    (GAIN, 14, "V_out = 3 V_in", "letters", "Missing in this line: D"),
    (RIPPLE, 8, "V_in sqrt(D)/(L f_s)", "wrong", "the left side is"),
]  # fmt: skip


@pytest.mark.parametrize(("derivation", "n", "typed", "kind", "says"), MISTAKES, ids=[f"{m[3]}: {m[2]}" for m in MISTAKES])
def test_a_mistake_has_its_name(derivation, n, typed, kind, says):
    """Each named mistake is called by its name, in a sentence that says where it is."""
    verdict = next_line(derivation, n, typed)
    assert not verdict.right and verdict.kind == kind and says in verdict.says, verdict


def test_every_kind_of_verdict_is_listed_and_met():
    """The list of kinds is complete, and all but two of them are met above."""
    met = {kind for *_, kind, _ in MISTAKES} | {"right", "unreadable"}
    assert set(KINDS) - met == {"not carried out"}


def test_a_power_with_letters_stands_over_a_pure_number():
    """Hertz to the power alpha has no unit: a quotient taken apart is refused with what to write, and right in one bracket."""
    derivation = coil_size.volume_where_core_heats()
    assert "as in (a/b)^n" in next_line(derivation, 1, "q = f_s^α b^β/f_0^α").says
    assert next_line(derivation, 1, "q = (f_s/f_0)^α b^β").right


def test_an_integral_left_standing_is_no_answer():
    """Where the step carries an integral out, another form of the integral is true and not the line."""
    assert next_line(RIPPLE, 6, "Δi_L = D integral(m_1, t, 0, T_s)").kind == "not carried out"


def test_an_inequality_is_judged_with_its_direction():
    """Turned round with its sign it is the same; with the other sign, or as an equation, it is not."""
    wanted = Equation("k_load >= duty*duty_off**2")
    assert judge("K ≥ D D'²", wanted).right and judge("D (1-D)² <= K", wanted).right
    assert judge("K <= D D'^2", wanted).kind == "relation" and judge("K = D D'^2", wanted).kind == "relation"
    assert judge("-K <= -D D'^2", wanted).right and judge("-K >= -D D'^2", wanted).kind == "relation"
    assert not judge("K >= D D'", wanted).right


def test_solving_asks_for_the_letter_alone_and_an_equation_does_not():
    """The same equation is right where no letter was to be solved for."""
    step = Step("", "v_out = v_in/duty_off", Solving("v_out"))
    assert judge("V_out D' = V_in", step).kind == "not solved"
    assert judge("V_out D' = V_in", step.equation).right
    assert judge("V_in/D' = V_out", step).right


def test_squares_and_roots_of_positive_letters_are_the_same_line():
    """With positive letters a squared line says the same; with a letter that may be negative it says less."""
    assert judge("V_out^2 = V_in^2/D'^2", Equation("v_out = v_in/duty_off")).right
    assert not judge("i_L^2 = I_out^2", Equation("i_inductor = i_out")).right


# every step of every derivation

@pytest.mark.parametrize("derivation", all_derivations(), ids=lambda d: d.name)
def test_the_line_of_each_step_is_right(derivation):
    """In Python names always, and as it is printed wherever it is no integral or derivative."""
    for n, step in enumerate(derivation.steps, 1):
        printed = [] if any(word in step.equation.text for word in CALCULUS) else [step.equation.plain]
        for typed in (step.equation.text, *printed):
            assert next_line(derivation, n, typed).right, (n, typed, next_line(derivation, n, typed))


def rewritten(equation: Equation, chance: random.Random) -> str:
    """Another form of a line, made with rules that keep what it says."""
    lhs, rhs = equation.lhs, equation.rhs
    positive = sorted((s for s in equation.letters if s.is_positive), key=str) or [sp.Integer(3)]
    for rule in chance.sample(range(5), 2):
        factor = chance.choice(positive)
        if rule == 0:
            lhs, rhs = rhs, lhs
        elif rule == 1:
            lhs, rhs = lhs * factor, rhs * factor
        elif rule == 2:
            lhs, rhs = lhs + 2 * rhs, 3 * rhs
        elif rule == 3:
            lhs, rhs = sp.expand(lhs), sp.expand(rhs)
        else:
            off, on = letters.duty_off.symbol, letters.duty.symbol
            lhs, rhs = (side.subs(off, 1 - on) for side in (lhs, rhs))
    return f"{lhs} = {rhs}"


@SLOW
@given(st.sampled_from(PLAIN), st.integers(0, 10**6))
def test_a_rewritten_line_is_right(place, seed):
    """Sides changed, multiplied, expanded, D' written out: still right, or true but not in the form that was asked for."""
    derivation, n = place
    equation = derivation.steps[n - 1].equation
    typed = rewritten(equation, random.Random(seed))
    assume(len(typed) <= CHARACTERS)                         # no line that long is read
    sides = [sp.sympify(side, {s.name: s for s in equation.letters | {letters.duty.symbol}}) for side in typed.split(" = ")]
    assume(sp.simplify(sides[0] - sides[1]) != 0)            # D' = 1 - D itself, written out
    verdict = next_line(derivation, n, typed)
    refused = any(words in verdict.says for words in LIMITS)
    assert verdict.right or verdict.kind in ("not solved", "line before") or refused, (typed, verdict)


def mutated(equation: Equation, chance: random.Random) -> tuple[sp.Expr, sp.Expr]:
    """Both sides after one slip: a sign, a factor, a letter."""
    sides = [equation.lhs, equation.rhs]
    which = chance.randrange(2)
    side = sides[which]
    sums, names = sorted(side.atoms(sp.Add), key=str), sorted(equation.letters, key=str)
    slip = chance.choice(["sign", "two", "letter", "factor", "term"])
    if slip == "term" and sums:
        total = chance.choice(sums)
        term = chance.choice(total.args)
        side = side.xreplace({total: total - term + chance.choice([-1, 2, 0]) * term})
    elif slip == "letter" and side.free_symbols and len(names) > 1:
        side = side.xreplace({chance.choice(sorted(side.free_symbols, key=str)): chance.choice(names)})
    else:
        side = side * {"sign": -1, "two": 2}.get(slip, chance.choice(names))
    sides[which] = side
    return tuple(sides)


def fulfilled_exactly(equation: Equation, chance: random.Random) -> dict | None:
    """Exact fractions that make a line true, with D' = 1 - D and T_s = 1/f_s; None where no side is a single letter.

    On purpose not the way in which the judge draws its points.
    """
    pair = next(((a, b) for a, b in ((equation.lhs, equation.rhs), (equation.rhs, equation.lhs))
                 if a.is_Symbol and a not in b.free_symbols), None)
    bound = {letters.duty_off.symbol: 1 - letters.duty.symbol, letters.t_sw.symbol: 1 / letters.f_sw.symbol}
    if pair is None or pair[0] in {*bound, letters.duty.symbol, letters.f_sw.symbol}:
        return None
    free = equation.letters | {letters.duty.symbol, letters.f_sw.symbol}
    point = {s: sp.Rational(chance.randint(11, 89), 97 if known(s.name).unit == "" else 7) for s in sorted(free, key=str)}
    point |= {s: rule.subs(point) for s, rule in bound.items()}
    return point | {pair[0]: pair[1].subs(point)}


@SLOW
@given(st.sampled_from(PLAIN), st.integers(0, 10**6))
def test_a_line_with_a_slip_is_never_right(place, seed):
    """At exact points that fulfil the line the changed one is false: then no verdict may call it right."""
    derivation, n = place
    chance = random.Random(seed)
    equation = derivation.steps[n - 1].equation
    point = fulfilled_exactly(equation, chance)
    assume(point is not None)
    left, right = mutated(equation, chance)
    gap = sp.N((left - right).subs(point), 30)
    assume(gap.is_finite and abs(gap) > 1e-20)               # else the slip did no harm
    assert not next_line(derivation, n, f"{left} = {right}").right, f"{left} = {right}"


# hints and printing

def test_hints_go_from_reason_to_letters_to_line():
    """The first hint names the reason and keeps the line; the last one is the line."""
    one, two, three = (hint(GAIN, 14, grade).says for grade in (1, 2, 3))
    assert "substituting (lines 13, 10)" in one and "V_in" not in one
    assert "D', share of the period" in two and "=" not in two
    assert three.endswith("V_out = V_in/D'")


def test_steps_that_do_not_exist_are_refused():
    """Name, value and rule, for steps and for grades."""
    for call in (lambda: next_line(GAIN, 16, "1"), lambda: next_line(GAIN, 0, "1"), lambda: hint(GAIN, True)):
        with pytest.raises(ValueError, match="must be a step of ideal_gain: 1 to 15"):
            call()
    with pytest.raises(ValueError, match="grade = 4 must be"):
        hint(GAIN, 1, 4)


def test_verdicts_print_alike_each_time_and_safely():
    """What a workbook stores is the same in every process, and nothing in it is markup."""
    verdict = next_line(GAIN, 14, "__x__ + 1")
    assert "**x**" not in verdict._repr_markdown_() and r"\_\_x\_\_" in verdict._repr_markdown_()
    assert repr(next_line(GAIN, 14, "V_in/D")) == "not yet: D stands where D' belongs.\n    read as: V_out = V_in/D"
    assert hint(GAIN, 14)._repr_markdown_().startswith("The two shares")
