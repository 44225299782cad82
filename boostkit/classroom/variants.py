"""Each learner's own numbers: drawn from the roster's key and the class's seed, and refused until they are fair.

A draw depends on the workbook, the seed, the key and the number of the draw alone (SHA-256), so that a learner's numbers can be
made again at any time. Fair means: the circuit reaches its output; it stays below the touch limit unless the lab says otherwise;
the mode of conduction is the lab's and stays so with a load 15 % nearer to the border; every formula that is asked for is valid; and
no mistake that a task names would pass for the right answer.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import lru_cache

from ..design.procedure import EXTRA_LOW
from ..units import guard, quoted, show
from .lab import Lab, three_digits
from .numbers import Variant, numbers_at, settled
from .roster import Roster, checked_key
from .tasks import Answer, expected, holds

NEAREST = 0.15  # of the load at the border of the two modes
CLEAR = 1.5  # times the load at the border: well beyond 1.15, the losses counted
DRAWS = 500
APART = 2.0  # tolerances by which a named mistake must miss the right answer
DIGITS = re.compile(r"[0-9.]+(?:e-?[0-9]+)?(?: [fpnµmkMG]?(?=[VAΩHFW]))?")  # by which alone two reasons may differ
Progress = Callable[[int, int, str], None]


def variant(lab: Lab, key: str, seed: int, draw: int | None = None) -> Variant:
    """A learner's numbers: the first draw that is fair, or the draw of this number.

    The same for the same lab, key and seed, whoever else is in the class. Raises ValueError naming the lab and why draws were refused.
    """
    checked_key(key, lab.where)
    seed = _whole(seed)
    if draw is not None:
        draw = _whole(draw, "draw")
        return _named(_fair(lab, _drawn(lab, key, seed, draw)), key, seed, draw)
    return next(_draws(lab, key, seed))


def variants(lab: Lab, roster: Roster | Iterable[str], seed: int, made: Mapping[str, int] | None = None,
             progress: Progress | None = None) -> dict[str, Variant]:  # fmt: skip
    """The numbers of a whole class by key, in the roster's order: no two alike where the steps allow it.

    Where two learners would draw the same, the one whose key comes later by its hash takes the next draw; the order of the roster
    plays no part. `made`: key to `draw` of learners who have their numbers already: they keep them, whoever joins the class later.
    progress(done, total, words) is called for each learner. Raises ValueError as `variant` does.
    """
    seed = _whole(seed)
    keys = [checked_key(key, lab.where) for key in (roster.keys if isinstance(roster, Roster) else roster)]
    found: dict[str, Variant] = {}
    taken: set[tuple[float, ...]] = set()
    settled_first = [key for key in keys if key in (made or {})]
    for done, key in enumerate([*settled_first, *sorted(set(keys) - set(settled_first), key=lambda k: _hash(lab, seed, k, "order"))]):
        one = variant(lab, key, seed, made[key]) if key in settled_first else _fresh(lab, key, seed, taken)
        found[key] = one
        taken.add(tuple(one.numbers.values()))
        if progress:
            progress(done + 1, len(keys), key)
    return {key: found[key] for key in keys}


def refusal(one: Variant) -> str:
    """Why these numbers are not fair, in words; "" where they are."""
    lab, state = one.lab, one.state
    if one.highest > EXTRA_LOW and not lab.above_touch_limit:
        return (f"{show(one.highest, 'V')} is above the touch limit of {show(EXTRA_LOW, 'V')} DC (IEC 61140); a lab for trained people "
                "says above_touch_limit = true")  # fmt: skip
    if long := [name for name, value in one.letters.items() if not three_digits(value)]:
        return f"{long[0]} = {one.letters[long[0]]:.7g} has more than three digits"
    if state.mode != lab.mode:
        return f"the circuit works in {state.mode} conduction, the lab is about {lab.mode} conduction"
    if _nearer(one) != lab.mode:
        return f"the load is less than {show(NEAREST, '%')} from the border of {lab.mode} conduction"
    for task in lab.tasks:
        if not holds(task, one):
            return f"the formula that task {task.id} asks for does not hold there"
    return next((why for each in expected(one).values() if (why := _unclear(each))), "")


def _nearer(one: Variant) -> str:
    """The mode of conduction with the load moved towards the border; where the border is far off, the mode as it is."""
    if one.state.mode == one.lab.mode and _far(one):
        return one.state.mode
    converter = one.state.converter
    factor = 1 + NEAREST if one.lab.mode == "continuous" else 1 - NEAREST
    return settled(converter.change(r_load=factor * converter.load.resistance), one.letters["v_out"]).mode


def _far(one: Variant) -> bool:
    """Whether the load is clear of the border by so much that nobody needs to try: the load over that of the border goes as the mean
    coil current over half its ripple, or in discontinuous conduction as the square of the share in which current flows."""
    state = one.state
    if state.mode == "continuous":
        return state.inductor_current.mean > CLEAR * state.ripple_current / 2
    return state.conduction_end**2 < 1 / CLEAR


def _unclear(each: Answer) -> str:
    if not math.isfinite(each.value) or each.value <= 0:
        return f"task {each.id} has no answer above zero"
    if each.trapped is not None and abs(each.trapped / each.value - 1) < APART * each.tolerance:
        return f"the mistake that task {each.id} names would pass for the right answer"
    return ""


def _whole(value: int, name: str = "seed") -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{name} = {quoted(value)} must be a whole number")
    return int(guard(name, value, 0, 2**53))


def _hash(lab: Lab, seed: int, key: str, *more) -> int:
    text = "\0".join(map(str, (lab.workbook, seed, key, *more)))
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big")


def _drawn(lab: Lab, key: str, seed: int, draw: int) -> tuple[float, ...]:
    return tuple(each.values[_hash(lab, seed, key, draw, each.key) % len(each.values)] for each in lab.vary)


@lru_cache(maxsize=1024)
def _judged(lab: Lab, numbers: tuple[float, ...]) -> Variant | str:
    """What these numbers make, or why they are refused; the same numbers come up for more than one learner."""
    try:
        one = numbers_at(lab, {each.key: value for each, value in zip(lab.vary, numbers, strict=True)})
        return refusal(one) or one
    except ValueError as trouble:
        return str(trouble)


def _fair(lab: Lab, numbers: tuple[float, ...]) -> Variant:
    found = _judged(lab, numbers)
    if isinstance(found, str):
        raise ValueError(f"{lab.where}: {found}")
    return found


def _named(one: Variant, key: str, seed: int, draw: int) -> Variant:
    return replace(one, key=key, seed=seed, draw=draw)


def _draws(lab: Lab, key: str, seed: int):
    """The fair draws of a learner, in order. Raises ValueError where there is none at all."""
    reasons: Counter[str] = Counter()
    first: dict[str, str] = {}
    any_fair = False
    for draw in range(DRAWS if lab.vary else 1):
        found = _judged(lab, _drawn(lab, key, seed, draw))
        if isinstance(found, str):
            kind = DIGITS.sub("", found)
            reasons[kind] += 1
            first.setdefault(kind, found)
        else:
            any_fair = True
            yield _named(found, key, seed, draw)
    if not any_fair:
        kind, times = reasons.most_common(1)[0]
        raise ValueError(f"{lab.where}: no numbers within the steps of [vary] are fair; of {sum(reasons.values())} draws, {times} were "
                         f"refused because {first[kind]}")  # fmt: skip


def _fresh(lab: Lab, key: str, seed: int, taken: set[tuple[float, ...]]) -> Variant:
    """The first fair draw that nobody has, or the first of all where all are taken."""
    first = None
    for one in _draws(lab, key, seed):
        first = first or one
        if tuple(one.numbers.values()) not in taken:
            return one
    return first
