"""Whether a key that a logger shows is good, and whether it was used too often."""

from __future__ import annotations

import hashlib
from typing import Final

from django.db.models import Case, F, Q, Value, When

from lab.common import clock
from lab.common.errors import DomainError
from lab.environment.models import LoggerToken

#: What a key begins with, so that one that leaks is known for what it is.
PREFIX: Final = "unbroken-"
#: Batches that a key may send in a minute (common practice, no source).
BATCHES_A_MINUTE: Final = 120


class SentTooOften(DomainError):
    """A key has sent as many batches as it may in this minute."""

    status = 429


def digest_of(secret: str) -> str:
    """Return what is kept of a secret. It is 256 random bits: it needs no salt."""
    return hashlib.sha256(secret.encode()).hexdigest()


def token_shown(secret: str) -> LoggerToken | None:
    """Return the key that a secret belongs to, unless it was withdrawn."""
    rows = LoggerToken.objects.filter(digest=digest_of(secret), revoked_at=None)
    return rows.select_related("sensor").first()


def count_use(token: LoggerToken) -> None:
    """Count one batch; the database itself keeps two at once apart.

    Raises
    ------
    SentTooOften
        If the key has no batch left in this minute.
    """
    now = clock.now()
    minute = int(now.timestamp()) // 60
    same_minute = Q(minute=minute)
    may_send = ~same_minute | Q(used__lt=BATCHES_A_MINUTE)
    counted = LoggerToken.objects.filter(may_send, pk=token.pk, revoked_at=None).update(
        used=Case(When(same_minute, then=F("used") + 1), default=Value(1)),
        minute=minute,
        last_used_at=now,
    )
    if counted != 1:
        raise SentTooOften(
            f"This key sent {BATCHES_A_MINUTE} batches in this minute. Send larger "
            "ones, up to 10,000 readings, or wait for the next minute."
        )
