"""Cores: their effective size by the formulas of IEC 60205, room for the winding, and what they give off as heat.

Three families: a pair of E halves, a pair of pot halves, and a ring. Dimensions come from `data/core_shapes.csv`.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import cache
from importlib import resources

from boostkit import units

WALL = 0.9e-3  # m, wall of the bobbin between core and winding: common practice, no source
FILM = 12.0  # W/(m²·K) from a small warm box to still air, convection and radiation: common practice, no source
COLUMNS = ("width", "half height", "depth", "window half height", "window width", "centre", "hole")


@dataclass(frozen=True)
class Core:
    """A core ready to be wound. Metres, m², m³.

    area, length: effective, of the magnetic path (IEC 60205). area_least: the narrowest section, in which the core saturates
    first. breadth: of one layer of the winding; build: height that all layers may take (both inside the bobbin; for a ring,
    breadth is the inner circumference and build its inner radius). mean_turn: length of an average turn. box: volume of the
    smallest box around core and winding. surface: that gives off heat. gappable: whether a gap can be ground into it.
    """

    name: str
    kind: str
    area: float
    length: float
    area_least: float
    breadth: float
    build: float
    mean_turn: float
    box: float
    surface: float
    gappable: bool = True

    @property
    def volume(self) -> float:
        """Effective volume of the core, m³."""
        return self.area * self.length

    @property
    def window(self) -> float:
        """Area for the winding, m²."""
        return self.breadth * self.build * (1.0 if self.gappable else 0.5)

    @property
    def copper_constant(self) -> float:
        """K_g = area² window/mean_turn in m⁵: by how much a core can do with how little loss in its copper.

        Source: Erickson & Maksimovic, 3rd ed., sec. 11.3.
        """
        return self.area**2 * self.window / self.mean_turn

    @property
    def thermal_resistance(self) -> float:
        """K/W from the surface to still air, with `FILM`."""
        return 1 / (FILM * self.surface)


def effective(sections) -> tuple[float, float]:
    """Effective area (m²) and length (m) of sections in series, each given as (its length/area, its length/area²).

    Source: IEC 60205: C1 and C2 are their sums, A_e = C1/C2, l_e = C1²/C2.
    """
    c1, c2 = (sum(part) for part in zip(*sections, strict=True))
    return c1 / c2, c1**2 / c2


def disc_constants(inner, outer, thickness) -> tuple[float, float]:
    """Length over area (1/m) and length over area squared (1/m³) of a disc that the flux crosses from radius `inner` to `outer`, m.

    Source: IEC 60205, pot cores; the integrals of 1/(2π r h) and of its square.
    """
    return math.log(outer / inner) / (2 * math.pi * thickness), (1 / inner - 1 / outer) / (2 * math.pi * thickness) ** 2


def ring(name, outer, inner, height) -> Core:
    """A ring of rectangular section; diameters and height in m.

    Source: IEC 60205, ring cores: C1 = 2π/(h ln(r)), C2 = 4π(1/d_i - 1/d_o)/(h² ln³(r)), r = d_o/d_i.
    """
    _above(name, "outer diameter", outer, "inner diameter", inner)
    ratio = math.log(outer / inner)
    area, length = effective([(2 * math.pi / (height * ratio), 4 * math.pi * (1 / inner - 1 / outer) / (height**2 * ratio**3))])
    swell = inner / 4  # both sides of the winding together, where it fills half the hole: common practice, no source
    around = outer + swell
    tall = height + swell
    return Core(
        name, "ring", area, length, (outer - inner) / 2 * height,
        breadth=math.pi * inner, build=inner / 2, mean_turn=2 * height + outer - inner + math.pi * swell / 2,
        box=around**2 * tall, surface=math.pi * around * (around / 2 + tall), gappable=False,
    )  # fmt: skip


def e_pair(name, width, half_height, depth, window_half_height, window_width, centre) -> Core:
    """Two E halves of rectangular section: `depth` through all legs, `centre` the width of the middle leg; m.

    Source: IEC 60205, pairs of E cores: leg, back, middle leg, and the two corners, each as the mean of what it joins.
    """
    _above(name, "width", width, "window width", window_width)
    _above(name, "half height", half_height, "window half height", window_half_height)
    _above(name, "window width", window_width, "centre", centre)
    leg, back, window = (width - window_width) / 2, half_height - window_half_height, 2 * window_half_height
    a_leg, a_back, a_centre = 2 * leg * depth, 2 * back * depth, centre * depth
    pieces = [
        (window, a_leg), (window_width - centre, a_back), (window, a_centre),
        (math.pi / 4 * (leg + back), (a_leg + a_back) / 2), (math.pi / 4 * (centre / 2 + back), (a_back + a_centre) / 2),
    ]  # fmt: skip
    area, length = effective([(long / wide, long / wide**2) for long, wide in pieces])
    build = (window_width - centre) / 2 - WALL
    wound = depth + 2 * (build + WALL)
    sides = (width, 2 * half_height, wound)
    return Core(
        name, "E", area, length, min(a_leg, a_back, a_centre), breadth=window - 2 * WALL, build=build,
        mean_turn=2 * (centre + depth) + 8 * WALL + math.pi * build,
        box=math.prod(sides), surface=2 * (sides[0] * sides[1] + sides[1] * sides[2] + sides[2] * sides[0]),
    )  # fmt: skip


def pot(name, width, half_height, window_half_height, window_width, centre, hole) -> Core:
    """Two pot halves: diameters `width`, `window_width`, `centre`, `hole`; the openings for the wire are left out; m.

    Source: IEC 60205, pot cores: wall, two ring-shaped backs, centre post, and the corners as the mean of what they join.
    """
    _above(name, "width", width, "window width", window_width)
    _above(name, "half height", half_height, "window half height", window_half_height)
    _above(name, "window width", window_width, "centre", centre)
    _above(name, "centre", centre, "hole", hole)
    r1, r2, r3, r4 = (size / 2 for size in (width, window_width, centre, hole))
    back, window = half_height - window_half_height, 2 * window_half_height
    a_wall, a_post = math.pi * (r1**2 - r2**2), math.pi * (r3**2 - r4**2)
    in_wall, in_post = math.sqrt((r1**2 + r2**2) / 2) - r2, r3 - math.sqrt((r3**2 + r4**2) / 2)  # to where half the flux lies
    a_outer, a_inner = (a_wall + 2 * math.pi * r2 * back) / 2, (a_post + 2 * math.pi * r3 * back) / 2
    pieces = [
        (window, a_wall), (window, a_post),
        (math.pi / 4 * (2 * in_wall + back), a_outer), (math.pi / 4 * (2 * in_post + back), a_inner),
    ]  # fmt: skip
    disc = disc_constants(r3, r2, back)
    area, length = effective([disc, disc, *((long / wide, long / wide**2) for long, wide in pieces)])
    tall, build = 2 * half_height, r2 - r3 - WALL
    return Core(
        name, "pot", area, length, min(a_wall, a_post, 2 * math.pi * r3 * back), breadth=window - 2 * WALL, build=build,
        mean_turn=math.pi * (r2 + r3 + WALL), box=width**2 * tall, surface=math.pi * width * (width / 2 + tall),
    )  # fmt: skip


@cache
def shapes() -> dict[str, Core]:
    """Every core of `data/core_shapes.csv` by name, smallest box first."""
    text = resources.files("boostkit").joinpath("data/core_shapes.csv").read_text(encoding="utf-8")
    made = [_from_row(row) for row in csv.DictReader(text.splitlines())]
    return {core.name: core for core in sorted(made, key=lambda core: core.box)}


def shape(name: str) -> Core:
    """The core with this name. Errors: ValueError with the names there are."""
    if name not in shapes():
        raise ValueError(f"core = {units.quoted(name)} must be one of {', '.join(shapes())}")
    return shapes()[name]


def _from_row(row) -> Core:
    sizes = [float(row[f"{column} [mm]"]) * 1e-3 if row[f"{column} [mm]"] else None for column in COLUMNS]
    width, half_height, depth, window_half_height, window_width, centre, hole = sizes
    if row["kind"] == "ring":
        return ring(row["name"], width, window_width, depth)
    if row["kind"] == "pot":
        return pot(row["name"], width, half_height, window_half_height, window_width, centre, hole)
    return e_pair(row["name"], width, half_height, depth, window_half_height, window_width, centre)


def _above(name, large, value, small, limit):
    units.guard(f"{name}: {large}", value, limit, unit="m", open_low=True, why=f"it must exceed its {small}")
