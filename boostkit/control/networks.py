"""The compensator as an amplifier with resistors and capacitors of preferred values, and what those then really do.

    divider = Divider.for_output(18.0, v_ref=1.25)
    network = op_amp(compensator, divider)
    network.parts                      # {"r_zero": 11800.0, "c_zero": 2.2e-08, "c_pole": 2.7e-10, ...}
    network.compensator()              # exactly what these parts do
    network.corners()                  # the same with every part at an end of its tolerance

Around an operational amplifier r_zero and c_zero, with c_pole beside them, join output and inverting input. At the output of a
transconductance amplifier the same three go to ground. In both, r_lead and c_lead lie across r_top of the divider. The amplifier itself
is ideal: its own bandwidth has to be far above the crossover, and its resistors a load that it can drive.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import product
from types import MappingProxyType

from ..derivations import amplifiers, compensation_parts, sized_network
from ..units import guard, preferred, show
from .compensator import KINDS, Compensator

R_SERIES, C_SERIES = "E96", "E12"
OHMS, FARADS = (1e3, 2.2e6), (10e-12, 1e-6)  # that are used round an amplifier: below it labours, above stray parts count; common practice
THERE_ARE = {"r": (1.0, 100e6), "c": (10e-15, 1e-2)}  # Ω, F: beyond these there is no part at all, only bare legs: common practice
WORDS = {"r_top": "top of the divider", "r_bottom": "bottom of the divider", "r_zero": "zero resistor", "c_zero": "zero capacitor",
         "c_pole": "pole capacitor", "r_lead": "lead resistor", "c_lead": "lead capacitor", "transconductance": "transconductance",
         "gain": "gain of the comparator"}  # fmt: skip
LEAST_LEAD = 0.01  # of r_top: a smaller resistor in series with the lead capacitor is left out, where the divider makes the pole
ROUNDING = 1e-9


@dataclass(frozen=True)
class Divider:
    """The feedback divider: top and bottom resistor (Ω), and the reference (V) that its tap is held at."""

    top: float
    bottom: float
    v_ref: float

    @classmethod
    def for_output(cls, v_out: float, v_ref: float, current: float = 100e-6, series: str = R_SERIES) -> Divider:
        """The pair of preferred values that comes closest to an output voltage.

        Args: v_out V, above v_ref V; current A, about what may run through it (half to twice as much is taken). Errors: ValueError.
        """
        guard("v_ref", v_ref, 0, unit="V", open_low=True)
        guard("v_out", v_out, v_ref, unit="V", open_low=True, why="a divider only makes it smaller")
        guard("current", current, 0, unit="A", open_low=True)
        bottom, pairs = preferred(v_ref / current / 2, series, "up"), []
        while bottom <= 2 * v_ref / current:
            top = float(compensation_parts.divider_top().formula(r_bottom=bottom, v_set=v_out, v_ref=v_ref))
            pairs.append(cls(preferred(top, series), bottom, v_ref))
            bottom = preferred(bottom * 1.001, series, "up")
        return min(pairs, key=lambda pair: abs(pair.v_set - v_out))

    @property
    def share(self) -> float:
        """The tap's voltage over the output voltage."""
        return self.bottom / (self.top + self.bottom)

    @property
    def v_set(self) -> float:
        """The output voltage (V) that it asks for."""
        return float(compensation_parts.divider().formula(v_ref=self.v_ref, r_top=self.top, r_bottom=self.bottom))

    def spread(self, resistors: float = 0.01, reference: float = 0.01) -> float:
        """The share by which the output may be set too high at worst (a little less the other way), for tolerances as shares."""
        return float(compensation_parts.divider_spread().formula(
            tolerance_ref=reference, tolerance_parts=resistors, v_ref=self.v_ref, v_set=self.v_set))  # fmt: skip


@dataclass(frozen=True)
class Network:
    """An amplifier and its parts.

    topology: "op-amp" or "transconductance". parts: name to value (Ω, F), of r_zero, c_zero, c_pole, r_lead, c_lead those that are
    fitted. gm: of the transconductance amplifier, S. bias V: the control voltage with empty capacitors and no error.
    """

    topology: str
    divider: Divider
    parts: Mapping[str, float] = field(default_factory=dict)
    gm: float | None = None

    @property
    def bias(self) -> float:
        return self.divider.v_ref if self.topology == "op-amp" else 0.0

    def compensator(self, **stray: float) -> Compensator:
        """What the parts do, from the output's error to the control voltage, exactly. `stray`: factors on parts, on r_top and
        r_bottom of the divider, or on the amplifier's transconductance, as in compensator(c_zero=1.1)."""
        part = {**self.parts, "r_top": self.divider.top, "r_bottom": self.divider.bottom}
        if self.gm is not None:
            part["transconductance"] = self.gm
        for name, factor in stray.items():
            if name not in part:
                raise ValueError(f"{name} must be one of {', '.join(part)}")
            part[name] = part[name] * guard(name, factor, 0, open_low=True)
        return _compensator(self.topology, part)

    def corners(self, resistors: float = 0.01, capacitors: float = 0.1, gm: float = 0.0) -> dict[str, Compensator]:
        """The compensators with every part at the low or the high end of its tolerance (shares), by name: "r_top+ c_zero-".

        gm: tolerance of a transconductance amplifier, which the makers' data often leave wide."""
        spread = {name: resistors if name[0] == "r" else capacitors for name in ("r_top", "r_bottom", *self.parts)}
        if self.topology == "op-amp":
            del spread["r_bottom"]  # the tap does not move, so it carries no signal
        elif gm:
            spread["transconductance"] = gm
        found = {}
        for signs in product((-1, 1), repeat=len(spread)):
            name = " ".join(f"{part}{'-+'[sign > 0]}" for part, sign in zip(spread, signs, strict=True))
            found[name] = self.compensator(**{part: 1 + sign * spread[part] for part, sign in zip(spread, signs, strict=True)})
        return found

    @property
    def unfit(self) -> str:
        """The first part that is not used round an amplifier (OHMS, FARADS), in words; nothing where all are."""
        for name, value in self.parts.items():
            unit, (low, high) = ("Ω", OHMS) if name[0] == "r" else ("F", FARADS)
            if not low <= value <= high:
                return f"the {WORDS[name]} would be {show(value, unit)}, and {show(low, unit)} to {show(high, unit)} are practical"
        return ""

    @property
    def lines(self) -> tuple[str, ...]:
        """The parts in words."""
        divider = f"divider {show(self.divider.top, 'Ω')} over {show(self.divider.bottom, 'Ω')}"
        fitted = (f"{name} {show(value, 'Ω' if name[0] == 'r' else 'F')}" for name, value in self.parts.items())
        return divider, *fitted


def op_amp(compensator: Compensator, divider: Divider, r_series: str = R_SERIES, c_series: str = C_SERIES) -> Network:
    """The network around an operational amplifier. Only the top resistor of the divider counts for the signal.

    Args: compensator, wanted, in volts of control per volt of output error; series of IEC 60063 to take the parts from.
    Errors: ValueError where no such network exists, or with parts that nobody makes.
    """
    whole = sized_network.op_amp_capacitance().formula(r_top=divider.top, f_integrator=compensator.f_integrator)

    def lead(corners: dict[str, float]) -> tuple[float, float]:
        c_lead = preferred(sized_network.op_amp_lead_capacitor().formula(r_top=divider.top, **corners), c_series)
        return c_lead, sized_network.op_amp_lead_resistor().formula(f_lead_pole=corners["f_lead_pole"], c_lead=c_lead)

    return _network("op-amp", compensator, divider, float(whole), lead, (r_series, c_series))


def transconductance(compensator: Compensator, divider: Divider, gm: float, r_series: str = R_SERIES,
                     c_series: str = C_SERIES) -> Network:  # fmt: skip
    """The network at the output of a transconductance amplifier of gm (S). Args and errors: as in `op_amp`.

    The second zero and its pole are made in the divider, which can set them apart by v_set / v_ref at most.
    """
    guard("gm", gm, 0, unit="S", open_low=True)
    tied = {"r_top": divider.top, "r_bottom": divider.bottom}
    whole = sized_network.transconductor_capacitance().formula(transconductance=gm, f_integrator=compensator.f_integrator, **tied)

    def lead(corners: dict[str, float]) -> tuple[float, float]:
        apart = corners["f_lead_pole"] / corners["f_lead_zero"]
        if apart > (1 + ROUNDING) / divider.share:
            raise ValueError(f"a pole {apart:.3g} times above its zero cannot be had from this divider: at most {1 / divider.share:.3g} "
                             "times; take an op-amp, or one zero")  # fmt: skip
        r_lead = sized_network.transconductor_lead_resistor().formula(**tied, **corners)
        return preferred(sized_network.transconductor_lead_capacitor().formula(**tied, **corners), c_series), r_lead

    return _network("transconductance", compensator, divider, float(whole), lead, (r_series, c_series), gm)


def _network(topology, wanted, divider, whole, lead, series, gm=None) -> Network:
    """The highest zero goes to the lead with the lowest pole, the other zero to the resistor and the two capacitors."""
    zeros, poles = sorted(wanted.zeros), sorted(wanted.poles)
    led = {}
    if len(zeros) == 2:
        corners = {"f_lead_zero": zeros.pop(), "f_lead_pole": poles.pop(0)}
        _check_apart(corners["f_lead_zero"], corners["f_lead_pole"])
        led["c_lead"], resistor = lead(corners)
        if topology == "op-amp" or resistor > LEAST_LEAD * divider.top:
            led = {"r_lead": preferred(resistor, series[0]), **led}
    parts = {**_feedback(whole, zeros, poles, *series), **led}
    for name, value in parts.items():
        guard(f"the {WORDS[name]}", value, *THERE_ARE[name[0]], unit="Ω" if name[0] == "r" else "F", why="nobody makes others")
    return Network(topology, divider, MappingProxyType(parts), gm)


def _feedback(whole: float, zeros, poles, r_series: str, c_series: str) -> dict[str, float]:
    if not zeros:
        if poles:
            raise ValueError("an integrator's network has no pole of its own: leave it out, or give it a zero")
        return {"c_zero": preferred(whole, c_series)}
    large, beside = whole, {}
    if poles:
        _check_apart(zeros[0], poles[0])
        corners = {"c_sum": whole, "f_first_zero": zeros[0], "f_first_pole": poles[0]}
        large = sized_network.zero_capacitor().formula(**corners)
        beside["c_pole"] = preferred(sized_network.pole_capacitor().formula(**corners), c_series)
    resistor = sized_network.zero_resistor().formula(f_first_zero=zeros[0], c_zero=large)
    return {"r_zero": preferred(resistor, r_series), "c_zero": preferred(large, c_series), **beside}


def _check_apart(zero: float, pole: float) -> None:
    if pole <= zero:
        raise ValueError(f"pole = {show(pole, 'Hz')} must lie above its zero, {show(zero, 'Hz')}")


def _compensator(topology: str, part: Mapping[str, float]) -> Compensator:
    """What the parts do, by the formulas of `derivations.compensation_parts` and `amplifiers`."""
    zeros, poles = [], []
    row = {name: part[name] for name in ("r_zero", "c_zero", "c_pole") if name in part}
    if "r_zero" in row:
        zeros.append(compensation_parts.network_zero().formula(r_zero=row["r_zero"], c_zero=row["c_zero"]))
    if "c_pole" in row:
        poles.append(compensation_parts.network_pole().formula(**row))
    tied = {"r_top": part["r_top"]} if topology == "op-amp" else {"r_top": part["r_top"], "r_bottom": part["r_bottom"]}
    if "c_lead" in part:
        lead = {"r_lead": part.get("r_lead", 0.0), "c_lead": part["c_lead"]}
        zeros.append(amplifiers.op_amp_lead_zero().formula(r_top=part["r_top"], **lead))
        poles.append(amplifiers.op_amp_lead_pole().formula(**lead) if topology == "op-amp" else
                     amplifiers.transconductor_lead_pole().formula(**tied, **lead))  # fmt: skip
    whole = part["c_zero"] + part.get("c_pole", 0.0)
    tied |= {"c_zero": whole / 2, "c_pole": whole / 2}  # only their sum counts, and c_pole may be missing
    integrator = (amplifiers.op_amp_integrator().formula(**tied) if topology == "op-amp" else
                  amplifiers.transconductor_integrator().formula(transconductance=part["transconductance"], **tied))  # fmt: skip
    return Compensator(KINDS[len(zeros)], float(integrator), tuple(map(float, zeros)), tuple(map(float, poles)))
