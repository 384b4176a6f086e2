"""Keys of loggers: made, shown once, withdrawn; and how often one may be used."""

from __future__ import annotations

import secrets

from django.db import IntegrityError, transaction

from lab.common import audit, clock
from lab.common.actors import Actor
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.environment.keys import PREFIX, digest_of
from lab.environment.models import LoggerToken
from lab.environment.sensors import SENSORS
from lab.equipment.models import Device


@service(may="loggers.connect")
def issue_token(
    *, sensor: Device, name: str, acting_user: Actor
) -> tuple[LoggerToken, str]:
    """Make a key for a logger and return it with its secret, which is kept nowhere.

    Raises
    ------
    NotAcceptable
        If the device is no sensor, or has a key of that name already.
    """
    if sensor.kind not in SENSORS:
        raise NotAcceptable(
            f"{sensor.tag} is no logger and no thermometer.", field="sensor"
        )
    secret = PREFIX + secrets.token_urlsafe(32)
    named = refuse_placeholder(name, "name")[:80]
    try:
        with transaction.atomic():
            made = LoggerToken.objects.create(
                sensor=sensor,
                name=named,
                digest=digest_of(secret),
                created_by_id=acting_user.pk,
            )
    except IntegrityError:
        raise NotAcceptable(
            f"{sensor.tag} has a key of that name. Withdraw it first, or choose "
            "another name.",
            field="name",
        ) from None
    audit.record("logger_token.issued", made, actor=acting_user)
    return made, secret


@service(may="loggers.connect")
def revoke_token(*, token: LoggerToken, acting_user: Actor) -> None:
    """Let a key open nothing any more.

    Raises
    ------
    WrongState
        If it was withdrawn already.
    """
    current = LoggerToken.objects.filter(pk=token.pk, revoked_at=None)
    if current.update(revoked_at=clock.now()) != 1:
        raise WrongState("This key was withdrawn already.")
    audit.record("logger_token.revoked", token, actor=acting_user)
