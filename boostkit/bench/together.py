"""What the data cannot tell apart: letters whose estimates err together, and the combination that is told well."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .uncertain import COVERAGE, Uncertain, show_with

ALIKE = 0.95  # multiple correlation beyond which a letter cannot be told from others
ROUND = 0.02  # by which a coefficient may miss 1 and still be printed so
SMALL = 0.1  # of an error: what a letter set aside puts less into goes on without it


@dataclass(frozen=True)
class Together:
    """A combination that the data tell where its letters cannot be told apart: `what` (coefficient, letter), `value` in `unit`."""

    what: tuple[tuple[float, str], ...]
    value: Uncertain
    unit: str

    @property
    def words(self) -> str:
        """`"r_inductor + 0.68 r_switch"`."""
        return self.written(str)

    def written(self, call) -> str:
        """The combination in words, each letter as `call(name)`."""
        text = ""
        for k, (coefficient, name) in enumerate(self.what):
            sign = (" + " if coefficient > 0 else " - ") if k else ("" if coefficient > 0 else "-")
            factor = "" if abs(abs(coefficient) - 1) < ROUND else f"{abs(coefficient):.2g} "
            text += f"{sign}{factor}{call(name)}"
        return text

    def __str__(self) -> str:
        return f"{self.words} = {show_with(self.value, self.unit)}"


def told(value: Uncertain) -> bool:
    """Whether the data tell a value: it stands above its expanded uncertainty."""
    return value.n > COVERAGE * value.s


def together(values: dict[str, Uncertain], covariance: np.ndarray, unit: str) -> tuple[Together, ...]:
    """Combinations that the data tell where they do not tell the letters, for `values` of one unit with their covariance.

    A letter that does not stand out of its uncertainty, and that the others foretell (multiple correlation beyond `ALIKE`), is
    set aside. What the data tell of each of the others is then that letter plus a share of what was set aside.
    """
    names = list(values)
    aside = _aside(np.array([value.n for value in values.values()]), covariance)
    kept = [k for k in range(len(names)) if k not in aside]
    if not aside:
        return ()
    weights = -np.linalg.solve(covariance[np.ix_(aside, aside)], covariance[np.ix_(aside, kept)])
    found = []
    for column, k in enumerate(kept):
        part = weights[:, column] * np.sqrt(np.diag(covariance))[aside]
        what = [(float(w), names[j]) for w, j, size in zip(weights[:, column], aside, np.abs(part), strict=True)
                if size > SMALL * np.sqrt(covariance[k, k])]  # fmt: skip
        if what:
            what = [(1.0, names[k]), *sorted(what, reverse=True)]
            found.append(Together(tuple(what), sum(c * values[name] for c, name in what), unit))
    return tuple(found)


def _aside(value: np.ndarray, covariance: np.ndarray) -> list[int]:
    """Which letters are set aside, one by one, each given those before."""
    aside: list[int] = []
    while len(aside) + 1 < len(value):
        left = [k for k in range(len(value)) if k not in aside]
        given = _given(covariance, left, aside)
        unsure = np.diag(given)
        foretold = 1 - 1 / np.maximum(unsure * np.diag(np.linalg.inv(given)), 1.0)
        able = [j for j in range(len(left)) if foretold[j] > ALIKE**2 and abs(value[left[j]]) <= COVERAGE * np.sqrt(unsure[j])]
        if not able:
            break
        most = max(foretold[j] for j in able)
        able = [j for j in able if 1 - foretold[j] < 2 * (1 - most) + 1e-9]           # as well as any; of these
        against = [np.sum(given[j] > 0.5 * np.sqrt(unsure * unsure[j])) for j in range(len(left))]
        aside.append(left[max(able, key=lambda j: (-against[j], j))])        # rather for sums than differences, rather the last
    return aside


def _given(covariance: np.ndarray, left: list[int], aside: list[int]) -> np.ndarray:
    """The covariance of those left if those set aside were known."""
    inner = covariance[np.ix_(left, left)]
    if not aside:
        return inner
    across = covariance[np.ix_(left, aside)]
    return inner - across @ np.linalg.solve(covariance[np.ix_(aside, aside)], across.T)
