"""The noun of a regulator: any linear network from the output's error to a control voltage, and the comparator behind it.

The error is counted at the output, e = v_set - v_out: the feedback divider and the reference are part of the network and of
`v_set`. An analogue `Controller` drives the comparator at every instant; a `Sampled` one reckons once a period.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from .linear import Linear


@dataclass(frozen=True)
class Controller:
    """An analogue regulator. y = bias + network(e), held within [low, high] V by an ideal clamp at the amplifier's output.

    `drive` "voltage": the switch opens where a ramp from 0 to `ramp` V in one period reaches y. "current": where
    `sense` (Ω) times (inductor current + `slope` (A/s) times the time since the clock) reaches y. Each clock closes the switch, unless y
    lies at or below the comparator's other input already (the pulse is skipped). A closed switch stays closed for `least_on_time` s and
    opens after `most_duty` of the period at the latest, and at `i_limit` A cycle by cycle (None: no limit; it acts after
    `least_on_time`). `soft_start` s: v_set climbs from 0 in a straight line, in whole periods, rounded up;
    `bias`, which comes of the same reference, climbs with it. Whether a pulse is skipped is decided by the output just before the switch
    closes.
    """

    network: Linear
    v_set: float
    drive: str = "voltage"
    ramp: float = 1.0
    sense: float = 0.0
    slope: float = 0.0
    bias: float = 0.0
    low: float = 0.0
    high: float = float("inf")
    i_limit: float | None = None
    least_on_time: float = 0.0
    most_duty: float = 0.95
    soft_start: float = 0.0


@dataclass(frozen=True)
class Sampled:
    """A digital regulator. Each period it samples e at the clock, rounds it to `adc_step` V, and reckons z+ = a z + b e and
    duty = c z + d e, rounded to `duty_step` and held within [0, most_duty] without wind-up (the states go on as if no
    more had been asked for); the duty takes effect `delay` whole periods later (0: the same period, 1: the next).
    `i_limit`, `least_on_time`, `soft_start` as in `Controller`; a duty below `least_on_time` is a skipped pulse.
    """

    a: tuple[tuple[float, ...], ...]
    b: tuple[float, ...]
    c: tuple[float, ...]
    d: float
    v_set: float
    adc_step: float = 0.0
    duty_step: float = 0.0
    delay: int = 1
    i_limit: float | None = None
    least_on_time: float = 0.0
    most_duty: float = 0.95
    soft_start: float = 0.0
    start: tuple[float, ...] = field(default=())
