"""Every write about parts and what their drawings ask."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.customers.models import Customer
from lab.metrology.units import Quantity
from lab.parts.entries import CharacteristicEntry
from lab.parts.models import Characteristic, Part, PartRevision


@service(may="parts.change")
def add_part(*, customer: Customer, number: str, name: str, acting_user: User) -> Part:
    """Add a part by its drawing number.

    Raises
    ------
    NotAcceptable
        If the customer has a part with this number, or a text is a placeholder.
    """
    number = refuse_placeholder(number, "number")
    name = refuse_placeholder(name, "name")
    if customer.parts.filter(number__iexact=number).exists():
        raise NotAcceptable(
            f"{customer.name} has a part {number} already. Record a new revision of "
            "it instead.",
            field="number",
        )
    part = Part.objects.create(customer=customer, number=number, name=name)
    audit.record(
        "part.added", part, actor=acting_user, after={"number": number, "name": name}
    )
    return part


@service(may="parts.change")
def record_revision(
    *,
    part: Part,
    revision: str,
    material: str,
    expansion: Quantity,
    expansion_u: Quantity,
    characteristics: Sequence[CharacteristicEntry],
    mass: Quantity | None = None,
    surface_finish: str = "",
    supersedes: PartRevision | None = None,
    changes: str = "",
    acting_user: User,
) -> PartRevision:
    """Record what one issue of the drawing says. It is frozen from then on.

    With ``supersedes`` it corrects the recording of the same drawing revision; jobs
    that pinned the old one have their contract reviewed anew before they go on.

    Raises
    ------
    NotAcceptable
        If the revision is recorded already, a text is a placeholder, there is no
        characteristic, or one of them makes no sense.
    WrongState
        If somebody has corrected the same recording meanwhile.
    """
    _check_quantities(expansion_u, mass)
    columns = _checked(characteristics)
    label = refuse_placeholder(revision, "revision")
    if supersedes is None:
        _require_new(part, label)
    elif supersedes.part_id != part.pk or supersedes.revision != label:
        raise NotAcceptable(
            f"A correction keeps the revision's name, {supersedes.revision}.",
            field="revision",
        )
    try:
        with transaction.atomic():
            made = PartRevision.objects.create(
                part=part,
                revision=label,
                supersedes=supersedes,
                material=refuse_placeholder(material, "material"),
                **PartRevision.expansion.columns(expansion),
                **PartRevision.expansion_u.columns(expansion_u),
                **PartRevision.mass.columns(mass),
                surface_finish=surface_finish.strip(),
                changes=changes.strip(),
                recorded_by=acting_user,
            )
    except IntegrityError:
        raise WrongState("Somebody has recorded this revision meanwhile.") from None
    Characteristic.objects.bulk_create(
        Characteristic(revision=made, position=position, **values)
        for position, values in enumerate(columns, start=1)
    )
    audit.record(
        "part_revision.recorded",
        made,
        actor=acting_user,
        reason=changes.strip(),
        after={"supersedes": supersedes and supersedes.pk, "characteristics": columns},
    )
    return made


def _check_quantities(expansion_u: Quantity, mass: Quantity | None) -> None:
    if expansion_u.value < 0:
        raise NotAcceptable("An uncertainty can't be below zero.", field="expansion_u")
    if mass is not None and mass.value <= 0:
        raise NotAcceptable("A mass is above zero.", field="mass")


def _checked(entries: Sequence[CharacteristicEntry]) -> list[dict[str, object]]:
    if not entries:
        raise NotAcceptable(
            "A part revision needs at least one characteristic to be measured.",
            field="characteristics",
        )
    twice = [n for n, c in Counter(e.number.strip() for e in entries).items() if c > 1]
    if twice:
        raise NotAcceptable(
            f"Characteristic {twice[0]} stands there twice.", field="characteristics"
        )
    return [entry.checked() for entry in entries]


def _require_new(part: Part, label: str) -> None:
    if part.revisions.filter(revision=label, supersedes=None).exists():
        raise NotAcceptable(
            f"Revision {label} is recorded already. Correct that recording, or give "
            "the drawing's next revision.",
            field="revision",
        )
