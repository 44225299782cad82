"""The closed list of laws that a step may stand on.

Each law is an equation between roles. A step names the law and says which expression plays each role; it is accepted
only if filling the roles gives the equation of the step, each role in its unit. What no such check can know is whether
the circuit is wired that way: the exact waveform judges that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import sympy as sp

from boostkit.algebra.dimensions import dimension_of
from boostkit.algebra.written import Written
from boostkit.units import dimension

Sides = Callable[..., tuple[sp.Expr, sp.Expr | int]]


@dataclass(frozen=True)
class Law:
    """A law of physics.

    name, says: what it is called and what it says. roles: each role with its unit. sides: both sides of its equation,
    from the roles. whole_terms: every role is a sum of single letters, each counted once (Kirchhoff's laws).
    """

    name: str
    says: str
    roles: dict[str, str]
    sides: Sides
    whole_terms: bool = False

    def fill(self, players: dict[str, str]) -> tuple[sp.Expr, sp.Expr]:
        """Both sides with the roles filled; ValueError if a role is empty, foreign, or filled with the wrong kind."""
        if set(players) != set(self.roles):
            raise ValueError(f"the {self.name} has the roles {', '.join(self.roles)}; given: {', '.join(players)}")
        left, right = self.sides(**{role: self._player(role, text) for role, text in players.items()})
        return sp.sympify(left), sp.sympify(right)

    def _player(self, role: str, text: str) -> sp.Expr:
        expression = Written(text).sympy
        if dimension_of(expression) not in (None, dimension(self.roles[role])):
            raise ValueError(f"the {role} in the {self.name} must be in {self.roles[role]}, and {text} is not")
        if self.whole_terms and not _whole_terms(expression):
            raise ValueError(f"the {self.name} adds single letters, each counted once: '{text}' is no such sum")
        return expression


def _whole_terms(expression: sp.Expr) -> bool:
    return all(term.is_Symbol or (-term).is_Symbol for term in sp.Add.make_args(expression) if term != 0)


def _return(first, first_time, second, second_time):
    return first * first_time + second * second_time, 0


_LIST = (
    Law("inductor law", "the voltage across a coil is inductance times the slope of its current",
        {"voltage": "V", "inductance": "H", "slope": "A/s"},
        lambda voltage, inductance, slope: (voltage, inductance * slope)),
    Law("capacitor law", "the current into a capacitor is capacitance times the slope of its voltage",
        {"current": "A", "capacitance": "F", "slope": "V/s"},
        lambda current, capacitance, slope: (current, capacitance * slope)),
    Law("Ohm's law", "the voltage across a resistance is resistance times current",
        {"voltage": "V", "resistance": "Ω", "current": "A"},
        lambda voltage, resistance, current: (voltage, resistance * current)),
    Law("Kirchhoff voltage law", "around a loop the voltages that rise equal the voltages that drop",
        {"rises": "V", "drops": "V"}, lambda rises, drops: (rises, drops), whole_terms=True),
    Law("Kirchhoff current law", "the currents into a node equal the currents out of it",
        {"enter": "A", "leave": "A"}, lambda enter, leave: (enter, leave), whole_terms=True),
    Law("steady state, current returns", "each period the coil current ends where it began: rise and fall cancel",
        {"rise_slope": "A/s", "rise_time": "s", "fall_slope": "A/s", "fall_time": "s"},
        lambda rise_slope, rise_time, fall_slope, fall_time: _return(rise_slope, rise_time, fall_slope, fall_time)),
    Law("steady state, charge returns", "each period a capacitor ends with the charge it began with",
        {"first": "A", "first_time": "s", "second": "A", "second_time": "s"}, _return),
    Law("energy conservation", "what goes in comes out, is stored, or is lost",
        {"comes": "J", "goes": "J"}, lambda comes, goes: (comes, goes), whole_terms=True),
    Law("electric power", "power is voltage times current",
        {"power": "W", "voltage": "V", "current": "A"}, lambda power, voltage, current: (power, voltage * current)),
    Law("energy stored in a magnetic field", "a coil stores half its inductance times the square of its current",
        {"energy": "J", "inductance": "H", "current": "A"},
        lambda energy, inductance, current: (energy, inductance * current**2 / 2)),
    Law("energy stored in an electric field", "a capacitor stores half its capacitance times the square of its voltage",
        {"energy": "J", "capacitance": "F", "voltage": "V"},
        lambda energy, capacitance, voltage: (energy, capacitance * voltage**2 / 2)),
    Law("work on a charge", "moving a charge through a voltage takes charge times voltage",
        {"energy": "J", "charge": "C", "voltage": "V"}, lambda energy, charge, voltage: (energy, charge * voltage)),
    Law("flux linkage of a core", "inductance times current is turns times flux density times core area",
        {"inductance": "H", "current": "A", "turns": "", "flux_density": "T", "area": "m²"},
        lambda inductance, current, turns, flux_density, area: (inductance * current, turns * flux_density * area)),
    Law("Ampère's law", "the current that a closed path encloses, turns times current, is the field times the length, summed along it",
        {"turns": "", "current": "A", "core_field": "A/m", "core_length": "m", "gap_field": "A/m", "gap_length": "m"},
        lambda turns, current, core_field, core_length, gap_field, gap_length: (
            turns * current, core_field * core_length + gap_field * gap_length)),
    Law("permeability", "flux density is permeability times magnetic field",
        {"flux_density": "T", "permeability": "H/m", "field": "A/m"},
        lambda flux_density, permeability, field: (flux_density, permeability * field)),
    Law("Newton's second law", "a force acting for a time changes the momentum: force times time is mass times change of velocity",
        {"force": "N", "time": "s", "mass": "kg", "velocity_change": "m/s"},
        lambda force, time, mass, velocity_change: (force * time, mass * velocity_change)),
    Law("motion at constant speed", "distance is speed times time",
        {"distance": "m", "speed": "m/s", "time": "s"}, lambda distance, speed, time: (distance, speed * time)),
    Law("mass of a body", "mass is density times volume",
        {"mass": "kg", "density": "kg/m³", "volume": "m³"}, lambda mass, density, volume: (mass, density * volume)),
    Law("pressure on an area", "force is the pressure, or the drag on each bit of area, times the area",
        {"force": "N", "pressure": "Pa", "area": "m²"}, lambda force, pressure, area: (force, pressure * area)),
    Law("hydrostatic pressure", "water standing to a height presses with density times gravity times height",
        {"pressure": "Pa", "density": "kg/m³", "gravity": "m/s²", "height": "m"},
        lambda pressure, density, gravity, height: (pressure, density * gravity * height)),
    Law("water is conserved", "the water that enters a space leaves it again or finds room in it",
        {"enters": "m³", "leaves_or_stays": "m³"}, lambda enters, leaves_or_stays: (enters, leaves_or_stays), whole_terms=True),
    Law("compression of a liquid", "a pressure squeezes a volume by a share: pressure is bulk modulus times that share",
        {"pressure": "Pa", "modulus": "Pa", "squeezed": "m³", "volume": "m³"},
        lambda pressure, modulus, squeezed, volume: (pressure, modulus * squeezed / volume)),
    Law("tension in a pipe wall", "two cuts of a thin wall hold the pressure on the width of the pipe",
        {"stress": "Pa", "thickness": "m", "pressure": "Pa", "diameter": "m"},
        lambda stress, thickness, pressure, diameter: (stress * 2 * thickness, pressure * diameter)),
    Law("Hooke's law", "stress is the modulus of the material times its strain, the share by which it stretches",
        {"stress": "Pa", "modulus": "Pa", "strain": ""}, lambda stress, modulus, strain: (stress, modulus * strain)),
    Law("gas in a vessel", "pressure times volume to the power n stays the same (n from 1, slow, to 1.4, fast, for air)",
        {"volume": "m³", "volume_before": "m³", "pressure": "Pa", "pressure_before": "Pa", "power": ""},
        lambda volume, volume_before, pressure, pressure_before, power: (
            volume, volume_before * (pressure_before / pressure) ** (1 / power))),
    Law("Newton's law of viscosity", "layers that slide past each other drag with viscosity times the change of velocity across them",
        {"stress": "Pa", "viscosity": "Pa·s", "gradient": "1/s"},
        lambda stress, viscosity, gradient: (stress, viscosity * gradient)),
    Law("Darcy-Weisbach friction", "friction takes a factor times length over diameter times density times half the velocity squared",
        {"pressure": "Pa", "factor": "", "length": "m", "diameter": "m", "density": "kg/m³", "velocity": "m/s"},
        lambda pressure, factor, length, diameter, density, velocity: (
            pressure, factor * length / diameter * density * velocity**2 / 2)),
    Law("hydraulic power", "power is pressure times flow",
        {"power": "W", "pressure": "Pa", "flow": "m³/s"}, lambda power, pressure, flow: (power, pressure * flow)),
)

LAWS: dict[str, Law] = {law.name: law for law in _LIST}
