"""What an instrument model is, and the refusal of mixtures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, Protocol

from lab.metrology.budgets.terms import Characteristic, Term, TermKind
from lab.metrology.errors import MetrologyError

__all__ = [
    "HISTORY_KINDS",
    "MPE_KINDS",
    "SYSTEM_KINDS",
    "FrameInsideStatedVolume",
    "InstrumentModel",
    "MixedInstrumentModels",
    "TermAlreadyHeld",
    "declare_instrument",
    "require_addable",
]

SYSTEM_KINDS = frozenset(
    {
        TermKind.PROBING_NOISE,
        TermKind.TRACKER_NOISE,
        TermKind.REPEAT,
        TermKind.SYSTEM_SCALE,
        TermKind.SCALE_TEMPERATURE,
        TermKind.SCALE_EXPANSION,
        TermKind.DRIFT,
        TermKind.FIELD_ERROR,
    }
)
HISTORY_KINDS = frozenset(
    {TermKind.ARTEFACT_CALIBRATION, TermKind.LONG_TERM, TermKind.BIAS}
)
MPE_KINDS = frozenset({TermKind.INSTRUMENT})


class MixedInstrumentModels(MetrologyError):
    """A budget that would hold terms of two instrument models."""


class TermAlreadyHeld(MetrologyError):
    """A term that the instrument model already contains."""


class FrameInsideStatedVolume(MetrologyError):
    """A frame term where the stated MPE already covers the volume."""


class InstrumentModel(Protocol):
    """What a ready budget needs of an instrument model."""

    title: ClassVar[str]

    @property
    def statement(self) -> str:
        """What the model rests on, in words for the budget's print."""
        ...

    def terms(self, characteristic: Characteristic, size_mm: float) -> tuple[Term, ...]:
        """Give the model's own terms for a characteristic of this size."""
        ...

    def holds(self, size_mm: float) -> frozenset[TermKind]:
        """Give the kinds of term that the model contains at this size."""
        ...

    def foreign(self) -> frozenset[TermKind]:
        """Give the kinds of term that belong to another model."""
        ...


def declare_instrument(models: Sequence[InstrumentModel]) -> InstrumentModel:
    """Give the one instrument model of a budget, or refuse.

    Raises
    ------
    MixedInstrumentModels
        If there is none, or more than one.
    """
    if len(models) != 1:
        titles = ", ".join(each.title for each in models) or "none"
        raise MixedInstrumentModels(
            f"A budget declares exactly one instrument model; got {titles}. Two would "
            "count the same error twice."
        )
    return models[0]


def require_addable(instrument: InstrumentModel, term: Term, size_mm: float) -> None:
    """Refuse a term that the instrument model holds, or that is of another model.

    Raises
    ------
    MixedInstrumentModels, TermAlreadyHeld, FrameInsideStatedVolume
        In these cases.
    """
    if term.kind in instrument.foreign():
        raise MixedInstrumentModels(
            f"{term.name} ({term.kind.value}) belongs to another instrument model than "
            f"{instrument.title}; a budget declares exactly one."
        )
    held = instrument.holds(size_mm)
    if term.kind not in held:
        return
    if term.kind is TermKind.FRAME and TermKind.INSTRUMENT in held:
        raise FrameInsideStatedVolume(
            f"{term.name}: {size_mm:g} mm lies inside the volume for which the MPE is "
            "stated, so the MPE already holds the frame."
        )
    raise TermAlreadyHeld(
        f"{term.name} ({term.kind.value}) is already held by {instrument.title}; "
        "adding it would count it twice."
    )
