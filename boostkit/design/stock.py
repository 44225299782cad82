"""What complete designs may be made of."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ..parts import core_materials, cores, kinds, tables
from ..parts.kinds import Rectifier, Switch
from ..units import show
from .choice import HEADROOM
from .spec import Spec


@dataclass(frozen=True)
class Stock:
    """What designs may be made of: switches and rectifiers to choose from, cores and materials to wind on, types of capacitor,
    and what the controller takes from the source, A. Whatever is left empty is what ships, which is invented."""

    switches: tuple[Switch, ...] = ()
    rectifiers: tuple[Rectifier, ...] = ()
    cores: tuple = ()
    materials: tuple = ()
    capacitors: tuple = kinds.TYPES
    control_current: float = 0.0

    def devices(self, spec: Spec) -> list[tuple[Switch, Rectifier]]:
        """Every switch with every rectifier of the kind asked for that bears the output voltage with headroom."""
        shipped = tables.illustrative()
        switches = [s for s in self.switches or shipped.switches if s.voltage_limit >= HEADROOM * spec.v_out]
        rectifiers = [r for r in self.rectifiers or shipped.rectifiers
                      if r.voltage_limit >= HEADROOM * spec.v_out and r.kind == spec.rectifier]
        for what, found in (("switch", switches), (f'rectifier of kind "{spec.rectifier}"', rectifiers)):
            if not found:
                raise ValueError(f"{spec.where}: load.voltage = {show(spec.v_out, 'V')} asks for a {what} of at least "
                                 f"{show(HEADROOM * spec.v_out, 'V')}, and the table has none")
        return [(s, r) for s in switches for r in rectifiers]

    @cached_property
    def wound_on(self) -> tuple[list, list]:
        """Cores, smallest first, and materials, as objects."""
        shapes = [cores.shape(one) if isinstance(one, str) else one for one in self.cores or cores.shapes()]
        stuff = [core_materials.material(one) if isinstance(one, str) else one for one in self.materials or core_materials.materials()]
        return sorted(shapes, key=lambda core: core.box), stuff
