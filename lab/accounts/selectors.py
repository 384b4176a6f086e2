"""What the pages of this app read."""

from __future__ import annotations

from lab.accounts.codes import device_of
from lab.accounts.models import User
from lab.common import audit
from lab.common.models import AuditEntry

RECENT = 10


def people_like(said: str, *, also_gone: bool = False) -> list[User]:
    """Return the people whose name or address holds every word, by name.

    Compared here and not in the database: SQLite folds the case of ASCII only.
    """
    people = User.objects.all() if also_gone else User.objects.filter(is_active=True)
    words = said.casefold().split()
    return [
        person
        for person in people
        if all(word in f"{person.name} {person.email}".casefold() for word in words)
    ]


def recent_sign_ins(person: User) -> list[AuditEntry]:
    """Return a person's latest sign-ins, newest first."""
    return list(audit.history_of(person).filter(verb="person.signed_in")[:RECENT])


def has_phone(person: User) -> bool:
    return device_of(person) is not None


def backup_codes_left(person: User) -> int:
    return person.backup_codes.filter(used_at__isnull=True).count()
