"""Where the power goes: gain and efficiency with losses, each loss of real parts, and the heat of one of them.

    gain_rows(converter)                  exact gain above, exact efficiency below, along the duty up to the very end
    gain(converter)                       panel: the same while resistances, forward voltage, source and load are moved
    where_it_goes(here, i_out, loads, along)    the losses of one point as bars; below, all along the load, one upon another
    losses_of(parts, v_in, ...)           panel: the same while source, load, frequency and temperature are moved
    heat_of(parts, what, operating)       what one part makes of heat and what is carried off, along its temperature
    heat_picture(heat), heating(...)      the picture of it, and a panel with thermal resistance and ambient
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..circuit import Converter
from ..circuit.switched import steady_state, steady_states
from ..derivations import switching
from ..parts import losses
from ..parts.kinds import Parts
from ..parts.losses import BY_THE_CYCLE, CONDUCTION, HEATS, Losses
from ..parts.point import Point
from ..parts.settling import Case
from ..parts.warming import Operating
from ..units import show
from .curves import curves, rows
from .live import Panel, Slider
from .panels import WORDS, sliders_for
from .style import BARE, BLUE, DOTS, MOSS, PAPER, PLUM, QUIET, RUST, Figure, count_in, fit, frame, name_axis, ring, styled

# --- gain and efficiency along the duty ---

UP_TO_THE_END = 1 - np.geomspace(1, 2e-3, 45)  # duties, closer and closer where everything happens


@styled
def gain_rows(converter: Converter, *, onto: Figure | None = None) -> Figure:
    """Exact gain of a converter with a resistor for a load, beside 1/(1 - D), and its exact efficiency below, along the duty from
    0 to nearly 1. Marked are the highest gain and the converter's own duty."""
    across, own = steady_states(converter, duty=UP_TO_THE_END), steady_state(converter)
    v_in = converter.source.voltage
    exact, share = across.output_voltage.mean / v_in, across.efficiency
    at, highest, there = _peak(UP_TO_THE_END, exact, share)
    duty, now, ideal = UP_TO_THE_END, own.output_voltage.mean / v_in, switching.ideal_gain().formula(duty=UP_TO_THE_END)
    ideal = np.where(ideal <= 2 * highest, ideal, np.nan)
    upper = ({"with losses": exact, "1/(1 − D)": ideal}, ("gain", ""),
             {"marks": {"peak": (at, highest), "now": (own.duty, now)}, "bottom": 0.0, "top": 1.25 * max(highest, now)})
    lower = ({"": share}, ("efficiency", "%"), {"marks": {"peak of the gain": (at, there), "now ": (own.duty, own.efficiency)},
                                                "bottom": 0.0, "top": 1.05})  # fmt: skip
    says = (f"With losses the gain is highest, {show(highest)}, at duty {show(at)}, with an efficiency of {show(there, '%')}; "
            f"now duty {show(own.duty)}, gain {show(now)}, efficiency {show(own.efficiency, '%')}; at duty {show(duty[-1], '', 4)} the "
            f"gain is {show(exact[-1])} and the source gives {show(float(across.input_power[-1]), 'W')}")
    return rows(duty, [upper, lower], along=("duty D", ""), heights=[2.2, 1.4], says=says, onto=onto)


def _peak(duty: np.ndarray, gain: np.ndarray, share: np.ndarray) -> tuple[float, float, float]:
    """Duty, gain and efficiency at the highest gain: the top of a parabola through the highest point and its neighbours, along the
    logarithm of 1 - D, for there the peak has two like sides."""
    k = int(np.argmax(gain))
    if not 0 < k < len(gain) - 1:
        return float(duty[k]), float(gain[k]), float(share[k])
    around, open_share = slice(k - 1, k + 2), 1 - duty[k]
    along = np.log((1 - duty[around]) / open_share)
    bend, slope, level = np.polyfit(along, gain[around], 2)
    step = -slope / (2 * bend)
    there = np.polyval(np.polyfit(along, share[around], 2), step)
    return float(1 - open_share * np.exp(step)), float(level + slope * step / 2), float(there)


def gain(converter: Converter) -> Panel:
    """The same under sliders."""
    letters = ("duty", "r_inductor", "r_switch", "v_rectifier", "r_rectifier", "v_in", "r_load")
    sliders = [replace(slider, high=max(slider.high, 10 * slider.start)) if slider.name in ("r_inductor", "r_switch") else slider
               for slider in sliders_for(converter, *letters)]  # fmt: skip
    return Panel(lambda **v: converter.change(**v), lambda now, onto: gain_rows(now, onto=onto), sliders)


# --- the losses at a point and along the load ---

KINDS = {  # what makes a loss: which losses they are, and how their areas look; dark to white, for hatching is slow to draw
    "resistances and forward voltages": (CONDUCTION, BLUE, BLUE),
    "edges and charges": (BY_THE_CYCLE, RUST, RUST),
    "core": (("inductor core",), DOTS, PLUM),
    "control": (("control",), PAPER, MOSS),
}
LINES = 9  # bars; what is left over stands together in one more
REST = "the rest"
KEY = (-0.35, 0.19, 0.56, 0.77)  # where the key of each kind begins, in widths of the axes
WINDOW = (LINES + 0.6, -0.6)  # rows, counted downwards
ABOVE = -1.35  # the row of the key, above the bars
LOADS = 15  # points along the load under a slider


def kinds_of(found: Losses) -> dict:
    """The losses by what makes them, W: resistances and forward voltages, edges and charges, core, control."""
    return {kind: sum(found.items[name] for name in names) for kind, (names, *_) in KINDS.items()}


def largest(found: Losses, count: int = LINES) -> tuple[str, ...]:
    """The names of the largest losses of a point, largest first; none that is nothing."""
    names = sorted(HEATS, key=lambda name: -float(found.items[name]))
    return tuple(name for name in names if found.items[name] > 0)[:count]


@styled
def where_it_goes(
    here: Losses, i_out: float, loads, along: Losses, *, names: Sequence[str] = (), says: str = "", onto: Figure | None = None,
) -> Figure:
    """The losses of one point as bars; below, all losses as a share of the input power along the load current, kind upon kind.

    `here`: the point's; `i_out` its load current, A. `loads`: shape (n,), A; `along`: the losses there, arrays of that shape.
    `names`: which losses get a bar, by default the largest. The rest stand together.
    """
    names = names or largest(here)
    figure, (bars, stack) = frame([0.2 * (LINES + 1), 1.9], left=1.85, gap=0.75, shared=False, onto=onto)
    _bars(bars, {name: float(here.items[name]) for name in names}, float(here.total))
    _stack(stack, np.asarray(loads, float), {kind: loss / along.input_power for kind, loss in kinds_of(along).items()},
           i_out, float(here.total / here.input_power))  # fmt: skip
    figure.says = says or _told(here, i_out, names)
    return figure


def _told(here: Losses, i_out: float, names: Sequence[str]) -> str:
    listed = ", ".join(f"{name} {show(float(here.items[name]), 'W')}" for name in names)
    lost, share = show(float(here.total), "W"), show(float(here.efficiency), "%")
    return f"At {show(i_out, 'A')} of load {lost} are lost, efficiency {share}: {listed}"


def _kind(name: str) -> str:
    return next((kind for kind, (names, *_) in KINDS.items() if name in names), REST)


def _looks(kind: str) -> dict:
    _, face, edge = KINDS.get(kind, ((), BARE, QUIET))
    return {"facecolor": face, "edgecolor": edge, "linewidth": 0.9, "zorder": 2}


def _bars(ax, amounts: dict[str, float], total: float) -> None:
    """One bar a loss in the looks of its kind, named left of it, its power right of it; the key above all."""
    amounts = amounts | {REST: max(total - sum(amounts.values()), 0.0)}
    fit(ax, 0, max(amounts.values()), which="x", pad=0.14)
    ax.set_xlim(left=0)
    if ax.get_ylim() != WINDOW:  # the names stay as they are, so a panel writes them once
        ax.set_ylim(*WINDOW)
        ax.set_yticks(range(len(amounts)), list(amounts))
        ax.tick_params(axis="y", length=0)
    name_axis(ax.xaxis, "loss", "W")
    for row, loss in enumerate(amounts.values()):
        ax.text(loss, row, f"  {show(loss, 'W')}", ha="left", va="center", fontsize=8)
    key = dict(zip(KINDS, KEY, strict=True))
    width = ax.get_xlim()[1]
    for kind in (*KINDS, REST):
        boxes = [_box(0, loss, row) for row, (name, loss) in enumerate(amounts.items()) if _kind(name) == kind]
        boxes += [_box(key[kind] * width, (key[kind] + 0.05) * width, ABOVE)] if kind in key else []
        if boxes:
            ax.areas(boxes, clip_on=False, **_looks(kind))
    for kind, place in key.items():
        ax.text(place + 0.06, ABOVE, kind, transform=ax.get_yaxis_transform(), ha="left", va="center", fontsize=8)


def _box(start: float, end: float, row: float) -> list[tuple[float, float]]:
    return [(start, row - 0.33), (start, row + 0.33), (end, row + 0.33), (end, row - 0.33)]


def _stack(ax, loads: np.ndarray, shares: dict[str, np.ndarray], i_out: float, lost: float) -> None:
    """Kind upon kind along the load, and a ring on top at the point."""
    count_in(ax, "x", True)
    fit(ax, loads[0], loads[-1], which="x", pad=0.0)
    tops = np.cumsum(list(shares.values()), axis=0)
    fit(ax, 0, float(np.nanmax(tops)), pad=0.12)
    ax.set_ylim(bottom=0)
    for kind, low, high in zip(shares, [0 * loads, *tops[:-1]], tops, strict=True):
        ax.fill_between(loads, low, high, **_looks(kind))
    ax.plot([i_out] * 2, [0, lost], color=QUIET, linewidth=1.0, zorder=4)
    ring(ax, i_out, lost)
    name_axis(ax.xaxis, "load current", "A")
    name_axis(ax.yaxis, "lost, as a share of the input power", "%")


def losses_of(parts: Parts, v_in: tuple[float, float, float], v_out: float, i_out: tuple[float, float, float], f_sw: float,
              temperature: float) -> Panel:  # fmt: skip
    """Every loss while source, load, frequency and the temperature of all parts are moved, by formula.

    v_in V and i_out A: lowest, at the start, highest (the sliders leave some room where these are one). temperature °C: of
    every part; that parts warm by their own losses is left to `warming.settle`. The parts stay: a coil for another frequency is
    wound in workbook 09.
    """
    loads = np.geomspace(i_out[0] / 2, 1.5 * i_out[2], LOADS)
    names = largest(_one(_at_one_temperature(parts, v_in[1], v_out, np.array([i_out[1]]), f_sw, temperature), 0))
    sliders = [
        Slider("v_in", WORDS["v_in"], "V", min(v_in[0], 0.9 * v_in[1]), min(max(v_in[2], 1.1 * v_in[1]), 0.98 * v_out), v_in[1]),
        Slider("i_out", WORDS["i_out"], "A", min(i_out[0], i_out[1] / 10), i_out[2], i_out[1], logarithmic=True),
        Slider("f_sw", WORDS["f_sw"], "Hz", f_sw / 5, 5 * f_sw, f_sw, logarithmic=True),
        Slider("temperature", "temperature of the parts", "°C", min(-20.0, temperature), max(120.0, temperature), temperature),
    ]

    def compute(v_in, i_out, f_sw, temperature):
        found = _at_one_temperature(parts, v_in, v_out, np.append(loads, i_out), f_sw, temperature)
        here = _one(found, -1)
        if np.isnan(here.total):
            raise ValueError(f"{show(v_out, 'V')} at {show(i_out, 'A')} is out of reach with {show(v_in, 'V')} at the source")
        along = Losses({name: loss[:-1] for name, loss in found.items.items()}, found.output_power[:-1])
        return here, i_out, along, v_in

    def draw(numbers, onto):
        here, i_out, along, v_in = numbers
        return where_it_goes(here, i_out, loads, along, names=names, says=f"{show(v_in, 'V')} in. {_told(here, i_out, names)}", onto=onto)

    return Panel(compute, draw, sliders)


def _at_one_temperature(parts: Parts, v_in: float, v_out: float, loads: np.ndarray, f_sw: float, temperature: float) -> Losses:
    """Losses along the load with every part at one temperature; nan where the output is out of reach."""
    case = Case(parts, v_in, v_out, loads, f_sw, temperature)
    unknowns, out_of_reach = case.cold()
    gone = np.where(out_of_reach, np.nan, 0.0)
    return Losses({name: loss + gone for name, loss in case.at(unknowns)[1].items.items()}, v_out * loads + gone)


def _one(found: Losses, k: int) -> Losses:
    """The losses of one of many points."""
    return Losses({name: float(loss[k]) for name, loss in found.items.items()}, float(found.output_power[k]))


# --- the heat of one part ---

HOTTEST = 4.0  # times the limit of the part: how far its temperature is followed


@dataclass(frozen=True)
class HeatBalance:
    """Heat of one part along its own temperature. temperatures °C, made W: shape (n,). resistance K/W, ambient °C, limit °C.
    settles: the temperature at which as much is carried off as is made, °C, or nan where none is found."""

    what: str
    temperatures: np.ndarray
    made: np.ndarray
    resistance: float
    ambient: float
    limit: float

    @property
    def carried(self) -> np.ndarray:
        """What is carried off at each temperature, W."""
        return (self.temperatures - self.ambient) / self.resistance

    @property
    def settles(self) -> float:
        """The lowest temperature at which both are equal, °C; nan where there is none within reach."""
        left = self.made - self.carried
        k = np.flatnonzero((left[:-1] > 0) & (left[1:] <= 0))
        if not k.size:
            return float("nan")
        cold, warm = left[k[0]], left[k[0] + 1]
        return float(self.temperatures[k[0]] + cold / (cold - warm) * (self.temperatures[k[0] + 1] - self.temperatures[k[0]]))


def heat_of(parts: Parts, what: str, operating: Operating, resistance: float | None = None, ambient: float | None = None) -> HeatBalance:
    """The heat of one part ("switch", "rectifier" or "inductor") at an operating point, were it at other temperatures.

    resistance K/W and ambient °C: others than the part's own and the point's. The other parts stay as far above the ambient as
    they are at the point, so near a runaway that drags others along this is a picture and `warming.settle` the judge.
    """
    heat, point = getattr(parts, what).heat, operating.point
    resistance = heat.resistance if resistance is None else resistance
    ambient = operating.ambient if ambient is None else ambient
    warm = {name: t - operating.ambient + ambient for name, t in operating.temperatures.items()}
    warm[what] = np.linspace(ambient, max(HOTTEST * heat.limit, ambient + heat.limit), 121)
    lost = operating.losses.on_the_way / point.v_out
    there = Point.by_formula(point.v_in, point.v_out, point.i_out, point.f_sw, parts.inductor.inductance, i_lost=lost,
                             diode=parts.rectifier.kind == "diode", **losses.resistances(parts, warm))  # fmt: skip
    made = np.broadcast_to(losses.at(there, parts, warm).of_part[what], warm[what].shape)
    return HeatBalance(what, warm[what], made, float(resistance), float(ambient), heat.limit)


@styled
def heat_picture(heat: HeatBalance, *, onto: Figure | None = None) -> Figure:
    """What the part makes of heat, and what is carried off, along its temperature."""
    settles = heat.settles
    level = float(np.interp(settles, heat.temperatures, heat.made)) if np.isfinite(settles) else np.nan
    marks = {f"settles at {show(settles, '°C')}": (settles, level)} if np.isfinite(settles) else {}
    top = 1.6 * np.nanmax([heat.made[0], level, heat.made[len(heat.made) // 3]])
    spans = [(heat.temperatures[0], heat.limit, "bears"), (heat.limit, heat.temperatures[-1], "beyond its limit")]
    words = (f"settles at {show(settles, '°C')}, and bears {show(heat.limit, '°C')}" if marks else
             f"up to {show(heat.temperatures[-1], '°C')} more is made than carried off, and it bears {show(heat.limit, '°C')}")
    says = f"{heat.what}, {show(heat.resistance, 'K/W')} to an ambient of {show(heat.ambient, '°C')}: {words}"
    return curves(heat.temperatures, {"heat made": heat.made, "carried off": heat.carried}, along=(f"temperature of the {heat.what}", "°C"),
                  of=("power", "W"), marks=marks, spans=[s for s in spans if s[1] > s[0]], bottom=0.0, top=top, height=2.6, says=says,
                  onto=onto)  # fmt: skip


def heating(parts: Parts, what: str, operating: Operating) -> Panel:
    """The same while thermal resistance and ambient are moved."""
    own = getattr(parts, what).heat.resistance
    sliders = [Slider("resistance", "thermal resistance", "K/W", own / 4, 40 * own, own, logarithmic=True),
               Slider("ambient", "ambient", "°C", min(-20.0, operating.ambient), max(120.0, operating.ambient), operating.ambient)]
    return Panel(lambda **v: heat_of(parts, what, operating, **v), lambda heat, onto: heat_picture(heat, onto=onto), sliders)
