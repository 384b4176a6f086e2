r"""The three models of the instrument; a budget declares exactly one of them.

(A) :class:`StatedMpe`
    A maximum permissible error: :math:`u = \mathrm{MPE}(L)/\sqrt3`. It holds all that
    the system itself does wrong.
(B) :class:`CheckHistory`
    What the lab's own checks show: calibration of the artefact, long-term scatter,
    bias. Only for sizes and features like the artefact's.
(C) :class:`Components`
    Noise, frame, scale, temperatures, drift and field error, one by one.

Mixing them would count the same error twice, and so is refused.
"""

from __future__ import annotations

from lab.metrology.budgets.instruments.components import BarTemperature, Components
from lab.metrology.budgets.instruments.history import CheckHistory, NotLikeTheArtefact
from lab.metrology.budgets.instruments.model import (
    FrameInsideStatedVolume,
    InstrumentModel,
    MixedInstrumentModels,
    TermAlreadyHeld,
    declare_instrument,
    require_addable,
)
from lab.metrology.budgets.instruments.stated import (
    MpeOfOtherQuantity,
    MpeQuantity,
    StatedMpe,
)

__all__ = [
    "BarTemperature",
    "CheckHistory",
    "Components",
    "FrameInsideStatedVolume",
    "InstrumentModel",
    "MixedInstrumentModels",
    "MpeOfOtherQuantity",
    "MpeQuantity",
    "NotLikeTheArtefact",
    "StatedMpe",
    "TermAlreadyHeld",
    "declare_instrument",
    "require_addable",
]
