"""Who did what to what, when and why: entries as they happen, sealed into a chain.

An entry is written in the transaction of the change it tells of. A sealing task
links committed entries in batches: each seal's digest covers the entry's content
and the digest before it, so that an entry changed, removed or slipped in later
shows. (Chaining inside each writer's transaction was measured and is eight times
slower, with deadlocks.) Every certificate prints the newest digest: a witness
outside the database against cutting off the tail.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.db import IntegrityError, models, transaction

from lab.common import clock
from lab.common.actors import Actor
from lab.common.jsontext import canonical_text, sha256_hex
from lab.common.models import AuditEntry, AuditSeal

FIRST_DIGEST = "0" * 64
BATCH = 500
UNSEALED_TOLERATED = timedelta(minutes=1)


@dataclass(slots=True)
class Trail:
    """What the running service has written to the audit so far."""

    entries: list[AuditEntry] = field(default_factory=list)
    nothing_changed: bool = False


_trail: ContextVar[Trail | None] = ContextVar("audit_trail", default=None)


@contextmanager
def follow() -> Iterator[Trail]:
    """Collect what is recorded inside the block; an outer block sees it too."""
    outer, inner = _trail.get(), Trail()
    token = _trail.set(inner)
    try:
        yield inner
    finally:
        _trail.reset(token)
        if outer is not None:
            outer.entries += inner.entries
            outer.nothing_changed |= inner.nothing_changed


def record(
    verb: str,
    subject: models.Model,
    *,
    actor: Actor,
    reason: str = "",
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> AuditEntry:
    """Write one entry in the caller's transaction.

    ``verb`` is ``noun.did`` (``certificate.issued``); ``before`` and ``after`` hold
    the values that changed, old and new (ISO/IEC 17025 7.5.2).
    """
    entry = AuditEntry.objects.create(
        verb=verb,
        actor_id=actor.pk,
        actor_name=actor.get_full_name(),
        subject_type=subject._meta.label_lower,
        subject_id=str(subject.pk),
        subject_name=str(subject)[:200],
        reason=reason,
        values_text=canonical_text({"before": before or {}, "after": after or {}}),
    )
    trail = _trail.get()
    if trail is not None:
        trail.entries.append(entry)
    return entry


def nothing_changed() -> None:
    """Say that a repeated or empty request left everything as it was."""
    trail = _trail.get()
    if trail is not None:
        trail.nothing_changed = True


def history_of(subject: models.Model) -> models.QuerySet[AuditEntry]:
    """Return the entries about one record, newest first."""
    return AuditEntry.objects.filter(
        subject_type=subject._meta.label_lower, subject_id=str(subject.pk)
    ).order_by("-pk")


# --- Sealing ------------------------------------------------------------------------


def seal_batch(limit: int = BATCH) -> int:
    """Seal the oldest unsealed entries; return how many. Two sealers can't both win.

    ``position`` is unique: of two that seal at once, the second finds its position
    taken, changes nothing and returns 0; its next turn goes on from there.
    """
    try:
        with transaction.atomic():
            last = AuditSeal.objects.order_by("-position").first()
            position = last.position if last else 0
            digest = last.digest if last else FIRST_DIGEST
            seals = []
            for entry in unsealed_entries().order_by("pk")[:limit]:
                position += 1
                digest = _digest(digest, position, entry)
                seals.append(AuditSeal(position=position, entry=entry, digest=digest))
            AuditSeal.objects.bulk_create(seals)
    except IntegrityError:
        return 0
    return len(seals)


def seal_all() -> int:
    """Seal until nothing is left; return how many entries were sealed here."""
    sealed = 0
    while True:
        batch = seal_batch()
        sealed += batch
        if batch < BATCH:
            return sealed


def unsealed_entries() -> models.QuerySet[AuditEntry]:
    return AuditEntry.objects.filter(seal__isnull=True)


def head() -> str:
    """Return the newest digest: what a certificate prints as its witness."""
    last = AuditSeal.objects.order_by("-position").values_list("digest", flat=True)
    return last.first() or FIRST_DIGEST


# --- Verifying ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Verification:
    """What recomputing the whole chain showed."""

    sealed: int
    head: str
    unsealed_late: tuple[int, ...]
    faults: tuple[str, ...]

    @property
    def ok(self) -> bool:
        return not self.faults and not self.unsealed_late


def verify(witness: str = "") -> Verification:
    """Recompute the chain from its first seal and name whatever doesn't fit.

    Parameters
    ----------
    witness : str, optional
        A digest printed on a certificate; it must occur in the chain.
    """
    digest, expected_position, seen = FIRST_DIGEST, 1, not witness
    faults: list[str] = []
    while chunk := _seals_from(expected_position):
        entries = AuditEntry.objects.in_bulk([seal.entry_id for seal in chunk])
        for seal in chunk:
            entry = entries.get(seal.entry_id)
            faults += _faults_of(seal, entry, expected_position, digest)
            expected_position = seal.position + 1
            digest = seal.digest  # go on from what is stored: a fault is told once
            seen = seen or seal.digest.startswith(witness.lower())
    if not seen:
        faults.append(
            f"The printed digest {witness} is not in the chain: "
            "entries were cut off, or the chain was rebuilt."
        )
    late = unsealed_entries().filter(recorded_at__lt=clock.now() - UNSEALED_TOLERATED)
    return Verification(
        sealed=expected_position - 1,
        head=digest,
        unsealed_late=tuple(late.order_by("pk").values_list("pk", flat=True)),
        faults=tuple(faults),
    )


def _seals_from(position: int) -> list[AuditSeal]:
    following = AuditSeal.objects.filter(position__gte=position)
    return list(following.order_by("position")[:BATCH])


def _faults_of(
    seal: AuditSeal, entry: AuditEntry | None, expected_position: int, before: str
) -> list[str]:
    if seal.position != expected_position:
        gap = f"{expected_position} to {seal.position - 1}"
        return [f"Seals at position {gap} are missing: entries were removed."]
    if entry is None:
        return [f"Entry {seal.entry_id} at position {seal.position} was removed."]
    if _digest(before, seal.position, entry) != seal.digest:
        name = f"Entry {seal.entry_id} ({entry.verb} {entry.subject_name})"
        return [f"{name} at position {seal.position} was changed after it was sealed."]
    return []


def _digest(before: str, position: int, entry: AuditEntry) -> str:
    return sha256_hex(before + canonical_text([position, entry.sealed_content()]))
