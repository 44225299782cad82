"""A letter of the trade: its symbol, its unit, what it means, and the values it can take."""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import sympy as sp

from boostkit import units

_GREEK = {
    "Delta": "Δ", "Phi": "Φ", "alpha": "α", "beta": "β", "delta": "δ", "eta": "η", "lambda": "λ", "mu": "µ",
    "imath": "i", "omega": "ω", "phi": "φ", "pi": "π", "rho": "ρ", "tau": "τ", "zeta": "ζ", "ell": "ℓ", "hat": "",
}
_KNOWN: dict[str, Quantity] = {}


@dataclass(frozen=True)
class Quantity:
    """One letter, everywhere the same.

    name: the Python name, which is also the sympy, TOML and CSV name.
    latex, unit, meaning: how it is printed, its SI unit ("" for a pure number), what it is in a few words.
    usual: (low, high) that occur in practice; a derivation is tried at random points in this range.
    low, high, open_low, open_high, why: the values that are physically possible, and the reason for the limit.
    ideal: the value a part without faults would have (0 Ω, 0 V, an infinite capacitance), else None.
    defined_as: its definition in other letters, where it has one ("1 - duty").
    """

    name: str
    latex: str
    unit: str
    meaning: str
    usual: tuple[float, float]
    low: float = 0.0
    high: float = math.inf
    open_low: bool = False
    open_high: bool = False
    why: str = ""
    ideal: float | None = None
    defined_as: str = ""

    @cached_property
    def symbol(self) -> sp.Symbol:
        """The sympy symbol; positive where the range allows no negative value."""
        return sp.Symbol(self.name, positive=True) if self.low >= 0 else sp.Symbol(self.name, real=True)

    @cached_property
    def plain(self) -> str:
        r"""The letter as plain text: `V_{\mathrm{in}}` becomes `V_in`."""
        text = re.sub(r"\\(?:mathrm|text)\b", "", self.latex)
        text = re.sub(r"\\([A-Za-z]+) ?", lambda found: _GREEK.get(found[1], found[1]), text)
        return re.sub(r"[{}]", "", text)

    @property
    def dimension(self) -> tuple[int, ...]:
        """Exponents of (m, kg, s, A, K)."""
        return units.dimension(self.unit)

    def _sympy_(self) -> sp.Symbol:
        return self.symbol

    def allows(self, value) -> bool:
        """Whether a number, or every number of an array, is physically possible."""
        above = value > self.low if self.open_low else value >= self.low
        below = value < self.high if self.open_high else value <= self.high
        inside = above & below
        return bool(inside) if isinstance(inside, (bool, np.bool_)) else bool(np.all(inside))

    def check(self, value) -> None:
        """Raise a ValueError of one line unless the value, or each value of the array, is possible."""
        numbers = np.asarray(value)
        if numbers.dtype.kind not in "iuf":
            raise ValueError(f"{self.name} = {value!r} must be a number")
        for number in () if self.allows(numbers) else numbers.ravel():
            if not self.allows(float(number)):
                self._refuse(float(number))

    def _refuse(self, number: float) -> None:
        low, high = (None if math.isinf(limit) else limit for limit in (self.low, self.high))
        units.guard(self.name, number, low, high, unit=self.unit, open_low=self.open_low, open_high=self.open_high,
                    why=self.why)


def letter(name: str, latex: str, unit: str, meaning: str, usual: tuple[float, float], **more) -> Quantity:
    """Make a Quantity and enter it in the list of known letters; one name never gets two meanings."""
    made = Quantity(name, latex, unit, meaning, usual, **more)
    if _KNOWN.setdefault(name, made) != made:
        raise ValueError(f"{name} is already the letter for '{_KNOWN[name].meaning}'")
    return made


def known(name: str) -> Quantity:
    """The Quantity with this name, or a ValueError that suggests the nearest one."""
    if name in _KNOWN:
        return _KNOWN[name]
    near = difflib.get_close_matches(name, _KNOWN, 1)
    hint = f"; did you mean {near[0]}?" if near else ""
    raise ValueError(f"{name} is not a known letter{hint}")


def is_known(name: str) -> bool:
    """Whether a letter with this name has been entered."""
    return name in _KNOWN


def every() -> tuple[Quantity, ...]:
    """All letters entered so far, in order of entry."""
    return tuple(_KNOWN.values())


def symbols(*quantities: Quantity) -> tuple[sp.Symbol, ...]:
    """The sympy symbols of several quantities, in the same order."""
    return tuple(quantity.symbol for quantity in quantities)
