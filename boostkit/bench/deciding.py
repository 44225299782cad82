"""When a measured value agrees with an expected one: one rule, for a comparison on the bench and for marking a learner's answer."""

from __future__ import annotations

AGREES, DIFFERS, CANNOT_TELL = "agrees", "differs", "cannot tell"
ROUNDING = 1e-9  # forgives the rounding of the computer, so that a value exactly at a limit is inside


def decided(difference: float, expanded: float, most: float) -> str:
    """`agrees`, `differs` or `cannot tell`. All three arguments in one unit.

    Args: `difference`, measured less expected, either sign; `expanded`, its expanded uncertainty (k = 2); `most`, the largest
    expanded uncertainty that still decides anything: a value that is uncertain enough agrees with whatever is expected.

    A difference beyond the expanded uncertainty is one, however large that is: `differs`. Within it, the two agree, if it is no
    larger than `most`; otherwise nothing can be told. The interval of k = 2 is that of JCGM 100, 6.2; the limit `most` is a
    rule of this kit. Where both are right, k = 2 lets about one comparison in twenty differ by chance.

    >>> decided(0.03, 0.04, 0.10), decided(0.05, 0.04, 0.10), decided(0.03, 0.20, 0.10)
    ('agrees', 'differs', 'cannot tell')
    """
    if abs(difference) > expanded + ROUNDING * most:
        return DIFFERS
    return AGREES if expanded <= most * (1 + ROUNDING) else CANNOT_TELL
