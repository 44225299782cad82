"""The other side: what the source sees of the coil's ripple, with and without an input capacitor."""

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
    integrating,
    law,
    letter,
    solving,
    substituting,
)
from boostkit.derivations.bounds import ABOVE_SOURCE, BENT_BY_CAPACITOR, BENT_BY_RESISTANCE, STRAIGHT_SLOPES
from boostkit.derivations.stress import STRAIGHT
from boostkit.derivations.switching import inductor_ripple

ripple_source = letter("ripple_source", r"\Delta i_{\mathrm{src}}", "A", "source current, peak to peak", (0.001, 3.0))
ripple_input = letter("ripple_input", r"\Delta v_{\mathrm{in}}", "V", "voltage at the input, peak to peak", (0.001, 1.0))
i_source_max = letter("i_source_max", r"I_{\mathrm{src,max}}", "A", "source current, highest", (2.0, 12.0))
i_source_min = letter("i_source_min", r"I_{\mathrm{src,min}}", "A", "source current, lowest", (0.1, 2.0))
i_input_capacitor = letter("i_input_capacitor", r"i_{C\mathrm{in}}", "A", "current out of the input capacitor at an instant", (0.01, 2.0),
                           low=-float("inf"))
charge_rise = letter("charge_rise", r"Q_{\mathrm{rise}}", "C", "charge taken while the coil current climbs above its mean", (1e-8, 1e-5))
charge_fall = letter("charge_fall", r"Q_{\mathrm{fall}}", "C", "charge taken while the coil current falls back to its mean", (1e-8, 1e-5))
i_input_capacitor_rms = letter("i_input_capacitor_rms", r"I_{C\mathrm{in,rms}}", "A", "current of the input capacitor, rms",
                               (0.01, 2.0))
dip_charge = letter("dip_charge", r"\Delta v_{Q,\mathrm{in}}", "V", "part of the input ripple that charge makes", (0.001, 0.5))
t_top = letter("t_top", r"t_{\mathrm{top}}", "s", "time from the middle of the climb back to the highest input voltage",
               (1e-7, 1e-5))
t_bottom = letter("t_bottom", r"t_{\mathrm{bottom}}", "s", "time from the middle of the fall back to the lowest input voltage",
                  (1e-7, 1e-5))
rise_top = letter("rise_top", r"\Delta v_{\mathrm{top}}", "V", "height that the series resistance adds to the top", (0.001, 0.5))
rise_bottom = letter("rise_bottom", r"\Delta v_{\mathrm{bottom}}", "V", "depth that the series resistance adds to the bottom",
                     (0.001, 0.5))

STEADY_SOURCE = "source current steady: the input capacitor alone gives what the coil takes beside its mean"
PURE_INPUT = "input capacitor without series resistance"
# The part of the ripple that the source takes from the input capacitor, as the capacitance moves and as two resistances
# divide it; and what bent slopes of the coil current change.
LEAK = "1/(8*r_source*c_input*f_sw)"
DIVIDED = "r_input_capacitor/r_source"
BENT = f"{BENT_BY_RESISTANCE}/6 + {BENT_BY_CAPACITOR}"
TAKEN = f"(1 + {LEAK})*(1 + {DIVIDED}) - 1 + {BENT}"
INPUT_ESR_SHARE = "8*r_input_capacitor*c_input*f_sw/(1 + 8*r_input_capacitor*c_input*f_sw)"
STRAIGHT_TRIANGLE = (ABOVE_SOURCE, STRAIGHT_SLOPES,
                     Condition("2*i_inductor_mean >= ripple_current", "continuous conduction: the mean coil current is at least "
                               "half the ripple"),
                     Condition("4*r_source*c_input*f_sw >= 1",
                               "source and input capacitor have a time constant of a quarter period or more"))


@cache
def bare_source_ripple() -> Derivation:
    """Without an input capacitor the source carries the coil's ripple, whole."""
    return Derivation(
        "bare_source_ripple", "What the source sees without an input capacitor",
        (
            Step("Source and coil are in series: at its highest the one current is the other.", "i_source_max = i_inductor_max",
                 law("Kirchhoff current law", enter="i_source_max", leave="i_inductor_max")),
            Step("So at its lowest.", "i_source_min = i_inductor_min",
                 law("Kirchhoff current law", enter="i_source_min", leave="i_inductor_min")),
            Step("The ripple of the source is the distance between the two.", "ripple_source = i_source_max - i_source_min",
                 definition()),
            Step("So is that of the coil.", "ripple_current = i_inductor_max - i_inductor_min", definition()),
            Step("Solve for the highest coil current.", "i_inductor_max = ripple_current + i_inductor_min",
                 solving("i_inductor_max")),
            Step("The two are the same.", "ripple_source = ripple_current", substituting(), uses=(3, 1, 2, 5)),
            Step("Source, duty and coil set it.", "ripple_current = v_in*duty/(inductance*f_sw)", earlier(inductor_ripple())),
            Step("Put it in.", "ripple_source = v_in*duty/(inductance*f_sw)", substituting(), uses=(6, 7)),
        ),
        meaning="source current, peak to peak, without an input capacitor",
        unit="A",
        valid=inductor_ripple().valid,
        bound=inductor_ripple().bound,
        source="derived here",
        example={"v_in": 6.0, "duty": 0.68, "inductance": 47e-6, "f_sw": 150e3},
    )


@cache
def input_dip() -> Derivation:
    """How far the input capacitance itself dips in continuous conduction: ripple over 8 C_in f_s, whatever the duty."""
    rise, fall = "ripple_current*t/(duty*t_sw)", "ripple_current/2 - ripple_current*t/(duty_off*t_sw)"
    return Derivation(
        "input_dip", "The dip of the input capacitance",
        (
            Step("Let the source give a steady current: what the coil takes above its mean comes from the capacitor.",
                 "i_input_capacitor = i_inductor - i_inductor_mean", assumption(STEADY_SOURCE)),
            Step("The coil current climbs above its mean from the middle of the closed time on.",
                 f"i_inductor = i_inductor_mean + {rise}", assumption(STRAIGHT)),
            Step("So the capacitor gives this.", f"i_input_capacitor = i_inductor_mean + {rise} - i_inductor_mean",
                 substituting(), uses=(1, 2)),
            Step("Until the switch opens that makes this charge.", f"charge_rise = integral({rise}, t, 0, duty*t_sw/2)",
                 definition()),
            Step("A triangle.", "charge_rise = ripple_current*duty*t_sw/8", integrating()),
            Step("Then it falls back to its mean, on a straight line too, by the middle of the open time.",
                 f"charge_fall = integral({fall}, t, 0, duty_off*t_sw/2)", definition()),
            Step("A triangle again.", "charge_fall = ripple_current*duty_off*t_sw/8", integrating()),
            Step("Over this half period the charge lowers the capacitor's voltage along a mean slope.",
                 "(charge_rise + charge_fall)/(t_sw/2) = c_input*(dip_charge/(t_sw/2))",
                 law("capacitor law", current="(charge_rise + charge_fall)/(t_sw/2)", capacitance="c_input",
                     slope="dip_charge/(t_sw/2)")),
            Step("By so much.", "dip_charge = (charge_rise + charge_fall)/c_input", solving("dip_charge")),
            Step("The two shares make up the whole period.", "duty_off = 1 - duty", definition()),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put all in: the duty drops out.", "dip_charge = ripple_current/(8*c_input*f_sw)",
                 substituting(), uses=(9, 5, 7, 10, 11)),
        ),
        meaning="swing of the voltage on the input capacitance itself, peak to peak, in continuous conduction",
        unit="V",
        valid=STRAIGHT_TRIANGLE,
        bound=Bound(TAKEN, "errs high: part of the ripple comes from the source after all"),
        source="derived here",
        example={"ripple_current": 0.58, "c_input": 10e-6, "f_sw": 150e3},
    )


@cache
def input_ripple() -> Derivation:
    """Voltage ripple of a pure input capacitor is its dip: ripple over 8 C_in f_s."""
    return Derivation(
        "input_ripple", "Ripple of the input voltage",
        (
            Step("Take the dip of the input capacitance.", "dip_charge = ripple_current/(8*c_input*f_sw)",
                 earlier(input_dip())),
            Step("In the other half period it comes back: without series resistance this is the ripple.",
                 "ripple_input = dip_charge", assumption(PURE_INPUT)),
            Step("Put it in.", "ripple_input = ripple_current/(8*c_input*f_sw)", substituting(), uses=(2, 1)),
        ),
        meaning="voltage at the input, peak to peak, in continuous conduction; input capacitor without series resistance",
        unit="V",
        valid=STRAIGHT_TRIANGLE,
        bound=Bound(f"{INPUT_ESR_SHARE} + {LEAK} + {BENT}", "errs low, by what the series resistance of the input capacitor adds"),
        source="derived here",
        example={"ripple_current": 0.58, "c_input": 10e-6, "f_sw": 150e3},
    )


@cache
def turning_input_ripple() -> Derivation:
    """The same with a little series resistance: it lifts the top and lowers the bottom, by its square."""
    rise, fall = "ripple_current*t/(duty*t_sw)", "ripple_current*t/(duty_off*t_sw)"
    return Derivation(
        "turning_input_ripple", "Ripple of the input voltage with a little series resistance",
        (
            Step("Take the dip of the input capacitance; its top and bottom lie in the middle of climb and fall.",
                 "dip_charge = ripple_current/(8*c_input*f_sw)", earlier(input_dip())),
            Step("Some time before the middle of the climb the series resistance lifts the input, and the capacitance is "
                 "not yet at its top.",
                 "rise_top = r_input_capacitor*ripple_current*t_top/(duty*t_sw)"
                 f" - integral({rise}, t, 0, t_top)/c_input", definition()),
            Step("Carry it out.",
                 "rise_top = r_input_capacitor*ripple_current*t_top/(duty*t_sw)"
                 " - ripple_current*t_top**2/(2*duty*t_sw*c_input)", integrating()),
            Step("The top comes one time constant of the capacitor early.", "t_top = r_input_capacitor*c_input",
                 extremum("t_top", "maximum")),
            Step("It lies higher by this.", "rise_top = r_input_capacitor**2*c_input*ripple_current/(2*duty*t_sw)",
                 substituting(), uses=(3, 4)),
            Step("The same holds for the bottom, before the middle of the fall.",
                 "rise_bottom = r_input_capacitor*ripple_current*t_bottom/(duty_off*t_sw)"
                 f" - integral({fall}, t, 0, t_bottom)/c_input", definition()),
            Step("Carry it out.",
                 "rise_bottom = r_input_capacitor*ripple_current*t_bottom/(duty_off*t_sw)"
                 " - ripple_current*t_bottom**2/(2*duty_off*t_sw*c_input)", integrating()),
            Step("The bottom, too, comes one time constant early.", "t_bottom = r_input_capacitor*c_input",
                 extremum("t_bottom", "maximum")),
            Step("It lies lower by this.", "rise_bottom = r_input_capacitor**2*c_input*ripple_current/(2*duty_off*t_sw)",
                 substituting(), uses=(7, 8)),
            Step("Let both lie within climb and fall: then the ripple is dip, lift and depth together.",
                 "ripple_input = dip_charge + rise_top + rise_bottom",
                 assumption("series resistance so small that the input turns within the closed and within the open time")),
            Step("The two shares make up the whole period.", "duty_off = 1 - duty", definition()),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put all in.",
                 "ripple_input = ripple_current/(8*c_input*f_sw)"
                 " + r_input_capacitor**2*c_input*ripple_current*f_sw/(2*duty*duty_off)",
                 substituting(), uses=(10, 1, 5, 9, 11, 12)),
        ),
        meaning="voltage at the input, peak to peak, in continuous conduction; input capacitor with a little series resistance",
        unit="V",
        valid=(*STRAIGHT_TRIANGLE,
               Condition("2*r_input_capacitor*c_input*f_sw <= duty", "the input turns within the closed time"),
               Condition("2*r_input_capacitor*c_input*f_sw <= duty_off", "the input turns within the open time")),
        bound=Bound(TAKEN, "errs high: part of the ripple comes from the source after all"),
        source="derived here",
        example={"ripple_current": 0.58, "c_input": 10e-6, "f_sw": 150e3, "r_input_capacitor": 0.02, "duty": 0.68},
    )


@cache
def stepping_input_ripple() -> Derivation:
    """With much series resistance the input follows the coil's ripple: R times ripple."""
    return Derivation(
        "stepping_input_ripple", "Ripple of the input voltage with much series resistance",
        (
            Step("Let the source give a steady current: then the capacitor's current swings as the coil's.",
                 "i_input_capacitor = i_inductor - i_inductor_mean", assumption(STEADY_SOURCE)),
            Step("Where the switch opens and where it closes, half a period's triangles apart, the capacitance stands at the "
                 "same voltage; the series resistance makes the whole difference, and nothing in between exceeds it.",
                 "ripple_input = rise_top",
                 assumption("series resistance so large that the input turns where the switch does")),
            Step("It is the voltage of the whole coil ripple across it.", "rise_top = r_input_capacitor*ripple_current",
                 law("Ohm's law", voltage="rise_top", resistance="r_input_capacitor", current="ripple_current")),
            Step("Put it in. More capacitance no longer helps.", "ripple_input = r_input_capacitor*ripple_current",
                 substituting(), uses=(2, 3)),
        ),
        meaning="voltage at the input, peak to peak, in continuous conduction; input capacitor with much series resistance",
        unit="V",
        valid=(*STRAIGHT_TRIANGLE,
               Condition("2*r_input_capacitor*c_input*f_sw >= duty", "the input turns where the switch opens"),
               Condition("2*r_input_capacitor*c_input*f_sw >= duty_off", "the input turns where the switch closes")),
        bound=Bound(TAKEN, "errs high: part of the ripple comes from the source after all"),
        source="derived here",
        example={"r_input_capacitor": 0.2, "ripple_current": 0.58},
    )


@cache
def source_ripple() -> Derivation:
    """What is left for the source: the input's ripple over its resistance, ripple over 8 R_src C_in f_s."""
    return Derivation(
        "source_ripple", "What the source sees behind an input capacitor",
        (
            Step("Take the ripple of the input voltage.", "ripple_input = ripple_current/(8*c_input*f_sw)",
                 earlier(input_ripple())),
            Step("Behind its resistance the source holds still, so all of that ripple lies across the resistance.",
                 "ripple_input = r_source*ripple_source",
                 law("Ohm's law", voltage="ripple_input", resistance="r_source", current="ripple_source")),
            Step("Solve for the ripple of the source.", "ripple_source = ripple_input/r_source", solving("ripple_source")),
            Step("Put in. It must come out small against the coil's, or the first line was wrong.",
                 "ripple_source = ripple_current/(8*r_source*c_input*f_sw)", substituting(), uses=(3, 1)),
        ),
        meaning="source current, peak to peak, behind an input capacitor without series resistance, in continuous conduction",
        unit="A",
        valid=STRAIGHT_TRIANGLE,
        bound=Bound(f"{INPUT_ESR_SHARE} + {LEAK} + {BENT}",
                    "errs high by what the source takes of the ripple; low by what a series resistance in the capacitor adds"),
        source="derived here",
        example={"ripple_current": 0.58, "r_source": 0.1, "c_input": 10e-6, "f_sw": 150e3},
    )


@cache
def input_capacitor_rms() -> Derivation:
    """The rms current of the input capacitor: ripple over sqrt(12)."""
    rise, fall = "ripple_current*t/(duty*t_sw) - ripple_current/2", "ripple_current/2 - ripple_current*t/(duty_off*t_sw)"
    return Derivation(
        "input_capacitor_rms", "The rms current of the input capacitor",
        (
            Step("Let the source give a steady current: what the coil takes above its mean comes from the capacitor.",
                 "i_input_capacitor = i_inductor - i_inductor_mean", assumption(STEADY_SOURCE)),
            Step("It climbs on a straight line, and falls on one.", f"i_inductor = i_inductor_mean + {rise}",
                 assumption(STRAIGHT)),
            Step("Square, and take the mean over the period.",
                 f"i_input_capacitor_rms = sqrt((integral(({rise})**2, t, 0, duty*t_sw)"
                 f" + integral(({fall})**2, t, 0, duty_off*t_sw))/t_sw)", definition()),
            Step("Carry the two integrals out.",
                 "i_input_capacitor_rms = sqrt((ripple_current**2*duty*t_sw/12 + ripple_current**2*duty_off*t_sw/12)/t_sw)",
                 integrating()),
            Step("The two shares make up the whole period.", "duty_off = 1 - duty", definition()),
            Step("Put it in. Neither duty nor load occurs.", "i_input_capacitor_rms = ripple_current/sqrt(12)",
                 substituting(), uses=(4, 5)),
        ),
        meaning="rms current of the input capacitor in continuous conduction",
        unit="A",
        valid=STRAIGHT_TRIANGLE,
        bound=Bound(TAKEN, "errs high: part of the ripple comes from the source after all"),
        source="derived here by direct integration",
        example={"ripple_current": 0.58},
    )
