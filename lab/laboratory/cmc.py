"""The smallest uncertainty that a method claims for a characteristic."""

from __future__ import annotations

from decimal import Decimal

from lab.laboratory.models import CharacteristicKind, MethodRevision


def smallest_u(
    revision: MethodRevision, kind: str, size_mm: Decimal, *, sized: bool = True
) -> Decimal | None:
    """Return the CMC for one kind and size, in mm (for angles in °); None out of scope.

    A form or position has no size of its own (``sized`` is False): for these the CMC
    is the one of the smallest feature in scope, which no feature undercuts.
    """
    capability = revision.capabilities.filter(kind=kind).first()
    if capability is None:
        return None
    if kind == CharacteristicKind.ANGLE:
        return capability.cmc_deg
    if not sized:
        return capability.cmc_mm(capability.smallest.value)
    return capability.cmc_mm(size_mm) if capability.covers(size_mm) else None
