"""The ram a second time, from Newton's law for the water in the drive pipe and the conservation of its volume.

It shares nothing with `boostkit.circuit` or `boostkit.water` but the ram's numbers. Time runs in scipy's DOP853 from event
to event; the settled ram is found by scipy's root finder. States: velocity in the pipe (m/s), gauge pressure of the gas
(Pa), then volumes supplied, delivered and wasted (m³) and the work of the supply and on the delivery line (J).
"""

import numpy as np
from scipy.integrate import quad, solve_ivp
from scipy.optimize import root

G = 9.80665  # m/s², standard
AIR = 101325.0  # Pa, standard


class RamReference:
    """One ram. `square`: the pipe's friction by the square of the velocity; `gas_law`: the vessel after p V^n."""

    def __init__(self, ram, square=False, gas_law=False):
        self.ram, self.square, self.gas_law = ram, square, gas_law
        pipe = ram.pipe
        self.area = np.pi * pipe.diameter**2 / 4
        self.mass = pipe.density * pipe.length * self.area
        self.push = pipe.density * G * ram.fall
        self.line = pipe.density * G * ram.delivery.lift / ram.delivery.flow
        self.lift = pipe.density * G * ram.delivery.lift
        self.factor = pipe.friction * pipe.length / pipe.diameter * pipe.density / 2
        heat = quad(lambda q: q * self._square(q / self.area), 0, ram.stroke_flow)[0]
        self.even = heat / quad(lambda q: q * q, 0, ram.stroke_flow)[0]  # the resistance with as much heat
        self.scale = np.array([ram.stroke_flow / self.area, self.lift, 1e-3, 1e-3, 1e-3, 1.0, 1.0])

    def _square(self, v):
        return self.factor * v * abs(v)

    def _compliance(self, gas):
        vessel = self.ram.vessel
        at_lift = self.lift + AIR
        if not self.gas_law:
            return vessel.gas_volume / (vessel.exponent * at_lift)
        absolute = gas + AIR
        return vessel.gas_volume * (at_lift / absolute) ** (1 / vessel.exponent) / (vessel.exponent * absolute)

    def pressures(self, open_valve, x):
        """Waste flow, check flow, pressure at the delivery line's foot and at the valves."""
        q, neck, split = x[0] * self.area, self.ram.vessel.neck_resistance, 1 + self.ram.vessel.neck_resistance / self.line
        behind = x[1] / split + self.ram.check_valve.opening_pressure  # holds the check valve shut
        inner = self.ram.check_valve.resistance + neck / split  # foot = gas + neck (check - foot/line)
        out = self.ram.waste_valve.resistance
        if not open_valve:
            return 0.0, q, (x[1] + neck * q) / split, behind + inner * q
        if out * q <= behind:
            return q, 0.0, x[1] / split, out * q
        check = (out * q - behind) / (out + inner)  # an empty vessel: water goes both ways
        return q - check, check, (x[1] + neck * check) / split, out * (q - check)

    def _rate(self, mode):
        def rate(_, x):
            waste, check, foot, valve = self.pressures(mode == "open", x)
            drag = self._square(x[0]) if self.square else self.even * x[0] * self.area
            force = self.area * (self.push - drag - valve)
            out = foot / self.line
            return [0.0 if mode == "rest" else force / self.mass, (check - out) / self._compliance(x[1]), x[0] * self.area,
                    check, waste, self.push * x[0] * self.area, foot * out]

        return rate

    def run(self, mode, x, span, event=None):
        """From a state for `span` s or until the event; returns the solution object."""
        if event:
            event.terminal = True
        return solve_ivp(self._rate(mode), (0, span), x, "DOP853", rtol=1e-12, atol=1e-13 * self.scale, events=event,
                         dense_output=True)  # fmt: skip

    def stroke(self, v, gas):
        """One stroke from where the waste valve opens: list of (start, mode, solution)."""
        waste, parts, now = self.ram.waste_valve, [], 0.0
        x = np.array([v, gas, 0, 0, 0, 0, 0.0])
        period = 1 / waste.frequency if waste.frequency else np.inf

        def limit(_, x):
            return x[0] * self.area - waste.shuts_at

        def still(t, x):
            return x[0] if t > 0 else 1.0

        still.direction = -1
        plan = (("open", waste.share * period if waste.share else min(period, 1e3), None if waste.share else limit),
                ("shut", period, still), ("rest", period, None))  # fmt: skip
        for mode, span, event in plan:
            span = min(span, period - now) if np.isfinite(period) else 1e3
            if span <= 0 or (mode == "rest" and not np.isfinite(period)):
                break
            if mode == "shut" and x[0] <= 0:
                continue
            parts.append((now, mode, self.run(mode, x, span, event)))
            x, now = parts[-1][2].y[:, -1].copy(), now + parts[-1][2].t[-1]
            if mode == "shut" and parts[-1][2].status == 1:
                x[0] = 0.0
        return parts, x, now

    def settled(self, v, gas):
        """The stroke that brings velocity and gas pressure back, from a guess: its parts, end state and length."""
        moving = v > 0

        def miss(z):
            start = (z[0] * self.scale[0] if moving else 0.0, z[-1] * self.scale[1])
            end = self.stroke(*start)[1]
            return (end[:2] - start)[0 if moving else 1:] / self.scale[:2][0 if moving else 1:]

        guess = [v / self.scale[0], gas / self.scale[1]] if moving else [gas / self.scale[1]]
        found = root(miss, guess, tol=1e-12)
        z = found.x
        return self.stroke(z[0] * self.scale[0] if moving else 0.0, z[-1] * self.scale[1])
