"""The fuse at the source: large enough for the load, slow enough for the inrush, fast enough for the lead and the parts.

Safety: the fuse protects the lead, so it sits at the source, and it must be able to break what the source can give (its breaking
capacity, for direct current at this voltage). Never bridge a fuse; replace it by one of the same rating.
"""

from functools import cache

from boostkit.algebra import Bound, Derivation, Step, assumption, letter, solving
from boostkit.derivations import inrush_heat as _inrush_heat  # noqa: F401  (the letter of the inrush's square, added up)
from boostkit.derivations import output_short as _short  # noqa: F401  (the letter of the prospective current)

i_fuse = letter("i_fuse", r"I_{\mathrm{fuse}}", "A", "rated current of a fuse", (0.5, 20.0))
i_source_full = letter("i_source_full", r"I_{\mathrm{src,full}}", "A", "source current at full load and lowest source voltage", (0.3, 15.0))
share_rated = letter("share_rated", r"s_{\mathrm{rated}}", "", "share of its rated current that a fuse may carry for good", (0.5, 1.0),
                     open_low=True)
share_pulse = letter("share_pulse", r"s_{\mathrm{pulse}}", "", "share of its melting value that a repeated pulse may reach", (0.2, 0.5),
                     open_low=True)
joule_fuse = letter("joule_fuse", r"J_{\mathrm{fuse}}", "A²·s", "melting value of a fuse: the square of its current, added up",
                    (0.01, 100.0))
t_melt = letter("t_melt", r"t_{\mathrm{melt}}", "s", "time in which a fuse melts", (1e-5, 1.0))

_SHORT = Bound("", "errs low: while the current still rises, the fuse waits; and it arcs before it breaks")


@cache
def fuse_rating() -> Derivation:
    """What the fuse must be rated for: I/s. It carries only a share of its rating for good, less where it is hot."""
    return Derivation(
        "fuse_rating", "Large enough for the load",
        (
            Step("At full load and the lowest source voltage the fuse carries this share of its rating.",
                 "share_rated = i_source_full/i_fuse",
                 assumption("the largest lasting current is that of full load at the lowest source voltage")),
            Step("Solve for the rating.", "i_fuse = i_source_full/share_rated", solving("i_fuse")),
        ),
        meaning="least rated current of the fuse at the source",
        unit="A",
        bound=Bound("", "as good as the share: 0.75 at room temperature is common practice, less in a hot place"),
        source="derived here; the share is common practice, no source",
        example={"i_source_full": 2.2, "share_rated": 0.75},
    )


@cache
def fuse_melting() -> Derivation:
    """What its melting value must be at least: J_inrush/s, so that switching on many times does not wear it out."""
    return Derivation(
        "fuse_melting", "Slow enough for the inrush",
        (
            Step("Each switch-on heats the fuse by a share of what melts it.", "share_pulse = joule_inrush/joule_fuse",
                 assumption("the inrush is so short that the fuse gives off no heat meanwhile")),
            Step("Solve for the melting value.", "joule_fuse = joule_inrush/share_pulse", solving("joule_fuse")),
        ),
        meaning="least melting value of the fuse at the source",
        unit="A²·s",
        bound=Bound("", "as good as the share: a fifth for a hundred thousand switch-ons is common practice"),
        source="derived here; the share is common practice, no source",
        example={"joule_inrush": 0.0085, "share_pulse": 0.2},
    )


@cache
def melting_time() -> Derivation:
    """How fast it melts at a large steady current: J_fuse/I_pro^2."""
    return Derivation(
        "melting_time", "Fast enough for the parts",
        (
            Step("A large current flows on and melts the fuse.", "joule_fuse = i_prospective**2*t_melt",
                 assumption("the current is at its prospective value all the while, and the fuse gives off no heat")),
            Step("Solve for the time: twice the current, a quarter of it.", "t_melt = joule_fuse/i_prospective**2", solving("t_melt")),
        ),
        meaning="time in which a fuse melts at a large current",
        unit="s",
        bound=_SHORT,
        source="derived here",
        example={"joule_fuse": 10.0, "i_prospective": 93.0},
    )
