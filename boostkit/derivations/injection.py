"""What a measurement of a loop by an injected voltage gets wrong, from the impedances on both sides of the point of injection."""

from functools import cache
from math import inf

from boostkit.algebra import Bound, Derivation, Step, assumption, definition, earlier, law, letter, limit, solving, substituting
from boostkit.derivations import second_order as _second_order  # noqa: F401  (enters the loop gain)

z_back = letter("z_back", "Z_1", "Ω", "impedance looking back into what drives the point of injection", (1.0, 100.0))
z_ahead = letter("z_ahead", "Z_2", "Ω", "impedance looking ahead into what the point of injection drives", (300.0, 1e5), open_low=True)
v_behind = letter("v_behind", r"v_{\mathrm{behind}}", "V", "wave behind the injected voltage, on the driving side", (0.01, 1.0), low=-inf)
v_ahead = letter("v_ahead", r"v_{\mathrm{ahead}}", "V", "wave ahead of the injected voltage, on the driven side", (0.01, 1.0), low=-inf)
v_sent = letter("v_sent", r"v_{\mathrm{open}}", "V", "wave that the driving side would give without load", (0.01, 1.0), low=-inf)
v_dropped = letter("v_dropped", r"v_{Z_1}", "V", "wave across the impedance of the driving side", (0.001, 0.1), low=-inf)
i_ahead = letter("i_ahead", "i_x", "A", "current into the driven side", (1e-6, 1e-2), low=-inf)
gain_round = letter("gain_round", "G", "", "gain round the loop with the driving side unloaded", (0.1, 100.0))
loop_measured = letter("loop_measured", "T_v", "", "loop gain as it is measured: the one wave over the other, with opposite sign",
                       (0.1, 100.0))
measured_over_true = letter("measured_over_true", "e_T", "", "measured loop gain over the true one", (1.0, 1.3))


@cache
def measured_loop() -> Derivation:
    """What an injected voltage measures: T (1 + Z1/Z2) + Z1/Z2."""
    return Derivation(
        "measured_loop", "A loop measured by injection",
        (
            Step("A small voltage is put into the loop. Ahead of it the driven side takes a current.", "v_ahead = z_ahead*i_ahead",
                 law("Ohm's law", voltage="v_ahead", resistance="z_ahead", current="i_ahead")),
            Step("So the current is this.", "i_ahead = v_ahead/z_ahead", solving("i_ahead")),
            Step("The same current flows through the impedance of the driving side.", "v_dropped = z_back*i_ahead",
                 law("Ohm's law", voltage="v_dropped", resistance="z_back", current="i_ahead")),
            Step("It takes its part of what that side would give without load.", "v_sent = v_behind + v_dropped",
                 law("Kirchhoff voltage law", rises="v_sent", drops="v_behind + v_dropped")),
            Step("Behind the injected voltage this is left.", "v_behind = v_sent - v_dropped", solving("v_behind")),
            Step("Round the loop the wave comes back with opposite sign: the loop regulates.", "v_sent = -(gain_round*v_ahead)",
                 assumption("the rest of the loop is linear, and the driving side counts as a source with an impedance")),
            Step("What is measured is the one wave over the other, with opposite sign.", "loop_measured = -(v_behind/v_ahead)",
                 definition()),
            Step("Put all in.", "loop_measured = gain_round + z_back/z_ahead", substituting(), uses=(7, 5, 6, 3, 2)),
            Step("With the injection taken away the driven side loads the driving side: that is the true loop gain.",
                 "loop_gain = gain_round*z_ahead/(z_back + z_ahead)", definition()),
            Step("So the gain without load is this.", "gain_round = loop_gain*(z_back + z_ahead)/z_ahead", solving("gain_round")),
            Step("Put it in.", "loop_measured = loop_gain*(1 + z_back/z_ahead) + z_back/z_ahead", substituting(), uses=(8, 10)),
        ),
        meaning="loop gain as measured by injecting a voltage, for impedances that are resistances",
        unit="",
        bound=Bound("", "exact with complex impedances too; written here for resistances"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 9.6",
        example={"loop_gain": 10.0, "z_back": 50.0, "z_ahead": 500.0},
    )


@cache
def injection_error() -> Derivation:
    """By what factor the measured loop gain is too large where the loop gain is large: 1 + Z1/Z2."""
    return Derivation(
        "injection_error", "The error of a measured loop",
        (
            Step("Take what is measured.", "loop_measured = loop_gain*(1 + z_back/z_ahead) + z_back/z_ahead", earlier(measured_loop())),
            Step("Compare it with the true loop gain.", "measured_over_true = loop_measured/loop_gain", definition()),
            Step("Put it in.", "measured_over_true = (loop_gain*(1 + z_back/z_ahead) + z_back/z_ahead)/loop_gain", substituting(),
                 uses=(2, 1)),
            Step("Where the loop gain is large, this is left. Inject where a low impedance drives a high one.",
                 "measured_over_true = 1 + z_back/z_ahead", limit("loop_gain", "infinity")),
        ),
        meaning="measured loop gain over the true one, where the loop gain is large",
        unit="",
        bound=Bound("", "where the loop gain is small, Z_1/Z_2 comes on top: the measured gain never falls below it"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 9.6",
        example={"z_back": 50.0, "z_ahead": 500.0},
    )
