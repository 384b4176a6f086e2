"""Enrolling a phone for one-time codes, and the backup codes beside it."""

from __future__ import annotations

from django.conf import settings
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.accounts.codes import CodeNotAccepted, new_key, step_shown
from lab.accounts.models import BackupCode, User
from lab.accounts.secrets import digest_of_backup_code, new_backup_code
from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import WrongState
from lab.common.services import service

BACKUP_CODES = 10


@service(may="account.own")
def enrol_phone(*, key: str, code: str, acting_user: User) -> list[str]:
    """Enrol the phone that was given ``key`` and return ten fresh backup codes.

    An earlier phone and its backup codes stop working.

    Raises
    ------
    CodeNotAccepted
        If the phone does not show the code that belongs to the key.
    """
    step = step_shown(key, code)
    if step is None:
        raise CodeNotAccepted(
            "This is not the code that belongs to the picture. Check that the phone's "
            "clock is right, and type the six digits it shows now.",
            field="code",
        )
    _replace_phone(acting_user, key, used_step=step)
    audit.record("code.enrolled", acting_user, actor=acting_user)
    return _fresh_backup_codes(acting_user)


@service(may="account.own")
def make_backup_codes(*, acting_user: User) -> list[str]:
    """Replace all backup codes by ten new ones and return them.

    Raises
    ------
    WrongState
        If no phone is enrolled.
    """
    if not TOTPDevice.objects.filter(user=acting_user, confirmed=True).exists():
        raise WrongState("Enrol a phone first; backup codes stand in for it.")
    codes = _fresh_backup_codes(acting_user)
    audit.record(
        "code.backup_made", acting_user, actor=acting_user, after={"left": len(codes)}
    )
    return codes


@service(may="people.change")
def enrol_for_demo(*, person: User, acting_user: Actor) -> None:
    """Give a person of the demo one-time codes without a phone.

    The code page of a demo shows the code, so nobody needs one.
    """
    if not settings.CLOCK_SETTABLE:
        raise WrongState("Only a demo enrols people without their phone.")
    _replace_phone(person, new_key())
    audit.record("code.enrolled", person, actor=acting_user)


def _replace_phone(person: User, key: str, used_step: int = -1) -> None:
    TOTPDevice.objects.filter(user=person).delete()
    TOTPDevice.objects.create(
        user=person, name="phone", key=key, confirmed=True, last_t=used_step
    )


def _fresh_backup_codes(person: User) -> list[str]:
    codes = [new_backup_code() for _ in range(BACKUP_CODES)]
    person.backup_codes.all().delete()
    BackupCode.objects.bulk_create(
        BackupCode(person=person, digest=digest_of_backup_code(code)) for code in codes
    )
    return codes
