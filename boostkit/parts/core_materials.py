"""Core materials: permeability, how they saturate, and the coefficients of their loss.

The materials that come with the kit are invented (`data/core_materials.toml`); a reader's own is a TOML file with the same keys.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np

from boostkit import units
from boostkit.derivations import letters
from boostkit.files import Section, read_toml

MU_0 = float(letters.mu_0.defined_as)  # H/m
GAPS = ("cut", "distributed")


@dataclass(frozen=True)
class Material:
    """A core material.

    gap: `cut` (into the centre leg) or `distributed` (between grains). permeability: relative, at small flux. saturation: T at
    25 °C and 100 °C. knee: how suddenly it saturates. k, alpha, beta: k f^alpha B^beta is the loss in W/m³ for a sine of
    amplitude B (T) at f (Hz). frequency, flux: the ranges of f and B in which they were fitted. origin: where all this comes from.
    """

    name: str
    gap: str
    permeability: float
    saturation: tuple[float, float]
    knee: float
    k: float
    alpha: float
    beta: float
    frequency: tuple[float, float]
    flux: tuple[float, float]
    origin: str

    @property
    def invented(self) -> bool:
        return self.origin.startswith("invented")

    def saturation_at(self, temperature):
        """Saturation flux density in T at `temperature` in °C, on the straight line through its two values, never below a tenth
        of the hot one; arrays broadcast."""
        cold, hot = self.saturation
        return np.maximum(cold + (hot - cold) * (np.asarray(temperature, float) - 25) / 75, hot / 10)

    def field(self, flux, temperature=100.0):
        """Field strength in A/m that drives the flux density `flux` in T; arrays broadcast.

        B = J + mu_0 H with H = (J/(mu_0 (permeability - 1)))/(1 - (J/J_s)^knee): a straight line at small flux, a knee, and the
        slope of air at the end. A curve of our own; no source.
        """
        return field_of(self.polarisation(flux, temperature), self, temperature)

    def polarisation(self, flux, temperature=100.0):
        """The part J of `flux` (T) that the material adds to that of air, by bisection; arrays broadcast."""
        wanted = np.abs(np.asarray(flux, float))
        low, high = np.zeros_like(wanted), np.minimum(wanted, self.saturation_at(temperature))
        for _ in range(60):
            middle = (low + high) / 2
            with np.errstate(divide="ignore"):
                over = middle + MU_0 * field_of(middle, self, temperature) > wanted
            low, high = np.where(over, low, middle), np.where(over, middle, high)
        return np.sign(flux) * low


def field_of(polarisation, material: Material, temperature=100.0):
    """Field strength in A/m at a polarisation J in T below saturation; arrays broadcast. See `Material.field`."""
    share = np.abs(polarisation) / material.saturation_at(temperature)
    return polarisation / (MU_0 * (material.permeability - 1)) / (1 - share**material.knee)


@cache
def materials() -> dict[str, Material]:
    """Every material that comes with the kit, by name. All are invented."""
    with resources.as_file(resources.files("boostkit").joinpath("data/core_materials.toml")) as path:
        return materials_from_file(path)


def material(name: str) -> Material:
    """The kit's material with this name. Errors: ValueError with the names there are."""
    if name not in materials():
        raise ValueError(f"material = {units.quoted(name)} must be one of {', '.join(materials())}, or read from a file of your own")
    return materials()[name]


def materials_from_file(path: str | Path) -> dict[str, Material]:
    """The materials of a TOML file, one table each, by name. Errors: ValueError with file and key.

    Keys: gap, permeability, saturation = [T at 25 °C, T at 100 °C], knee (6 where left out), steinmetz = { k, alpha, beta },
    frequency = [lowest, highest] in Hz, flux = [lowest, highest] amplitude in T, origin.
    """
    section = read_toml(path)
    made = {name: _from_section(name, section.section(name)) for name in section.data}
    section.finish()
    if not made:
        raise ValueError(f"{section.where}: must hold at least one material, as a table")
    return made


def material_from_file(path: str | Path) -> Material:
    """The only material of a TOML file (see `materials_from_file`). Errors: ValueError with file and key."""
    made = materials_from_file(path)
    if len(made) != 1:
        raise ValueError(f"{Path(path).name}: must hold one material; it holds {', '.join(made)}")
    return next(iter(made.values()))


def _from_section(name: str, table: Section) -> Material:
    loss = table.section("steinmetz")
    return Material(
        name, table.choice("gap", GAPS),
        permeability=table.quantity("permeability", "", low=1.5, high=2e5),
        saturation=_pair(table, "saturation", "T", falling=True),
        knee=table.quantity("knee", "", 6.0, low=0.5, high=50),
        k=loss.quantity("k", "", low=0, open_low=True),
        alpha=loss.quantity("alpha", "", low=1, high=3),
        beta=loss.quantity("beta", "", low=1, high=4, why="see the law of core loss"),
        frequency=_pair(table, "frequency", "Hz"), flux=_pair(table, "flux", "T"), origin=table.text("origin"),
    )  # fmt: skip


def _pair(table: Section, key: str, unit: str, falling=False) -> tuple[float, float]:
    given = table.value(key)
    if not isinstance(given, list) or len(given) != 2:
        table.fail(key, units.quoted(given), "must be a list of two values")
    where = f"{table.where}: {table.key}.{key}"
    first, second = (units.guard(where, units.read(each, unit, where), 0, unit=unit, open_low=True) for each in given)
    if (second > first) if falling else (second <= first):
        rule = "must not rise from 25 °C to 100 °C" if falling else "must go from lowest to highest"
        table.fail(key, units.quoted(given), rule)
    return first, second
