"""One-time codes: read from a phone, typed once, checked here.

Time-based codes to RFC 6238 by django-otp: six digits, 30 s, one step either way,
none taken twice, and after n wrong ones in a row a wait of 2**(n-1) seconds.
"""

from __future__ import annotations

from base64 import b32encode
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote, urlencode

import segno
from django.conf import settings
from django.db import transaction
from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice, default_key

from lab.accounts.models import User
from lab.accounts.secrets import digest_of_backup_code
from lab.common import audit, clock
from lab.common.errors import NotAllowed

DIGITS = 6


class CodeNotAccepted(NotAllowed):
    """The one-time code is wrong, used already, or tried too often."""


@dataclass(frozen=True, slots=True)
class DemoHint:
    """What the code page of a demo shows in place of a phone."""

    code: str
    is_next: bool


def device_of(person: User) -> TOTPDevice | None:
    """Return the person's enrolled phone, if there is one."""
    devices: list[TOTPDevice] = list(
        TOTPDevice.objects.filter(user=person, confirmed=True)
    )
    return devices[0] if devices else None


def code_page_for(person: User) -> str:
    """Return the page on which a person shows the code, or gets one to show."""
    return "accounts:code" if device_of(person) else "accounts:enrol"


def new_key() -> str:
    """Return a fresh secret for a phone, in hexadecimal (160 bits, RFC 4226)."""
    return str(default_key())


def key_address(person: User, key: str) -> str:
    """Return the otpauth address that authenticator apps read from a QR code."""
    issuer = settings.OTP_TOTP_ISSUER
    parameters = {"secret": key_text(key), "issuer": issuer, "digits": DIGITS}
    label = quote(f"{issuer}:{person.email}")
    return f"otpauth://totp/{label}?{urlencode(parameters)}"


def key_text(key: str) -> str:
    """Return the secret as apps take it when it is typed by hand."""
    return b32encode(bytes.fromhex(key)).decode()


def key_picture(person: User, key: str) -> str:
    """Return the QR code as a data: address of a PNG picture."""
    picture = segno.make(key_address(person, key), error="m")
    return str(picture.png_data_uri(scale=5, border=4))


def step_shown(key: str, code: str) -> int | None:
    """Return in which 30 s step a phone given ``key`` shows ``code``, if about now."""
    said, shown = _digits(code), TOTP(bytes.fromhex(key))
    if said is None or not shown.verify(said, tolerance=1):
        return None
    return int(shown.t())


def check_code(person: User, code: str) -> TOTPDevice:
    """Use up a one-time or backup code and return the phone it stands for.

    It has a transaction of its own: a wrong try must count even though whatever
    wanted the code is then undone. So it refuses to run inside a service.

    Raises
    ------
    CodeNotAccepted
        If the code is wrong or used, or the last wrong try was too short a while
        ago.
    """
    with transaction.atomic(durable=True):
        device = (
            TOTPDevice.objects.select_for_update()
            .filter(user=person, confirmed=True)
            .first()
        )
        refusal = _refusal(person, device, code)
    if refusal or device is None:
        raise CodeNotAccepted(refusal, field="code")
    return device


def demo_hint(person: User) -> DemoHint | None:
    """Return the code to type next, in a demo only.

    No code is taken twice, so within the same 30 s the next one is shown, which
    is accepted early.
    """
    device = device_of(person) if settings.DEMO and person.is_authenticated else None
    if device is None:
        return None
    shown = TOTP(device.bin_key)
    present = shown.t()
    step = max(present, device.last_t + 1)
    shown.time = step * shown.step
    return DemoHint(f"{shown.token():0{DIGITS}}", is_next=step > present)


def demo_hint_for_key(key: str) -> DemoHint | None:
    """Return the code of a phone that is being enrolled, in a demo only."""
    if not settings.DEMO:
        return None
    return DemoHint(f"{TOTP(bytes.fromhex(key)).token():0{DIGITS}}", is_next=False)


def _refusal(person: User, device: TOTPDevice | None, code: str) -> str:
    """Try the code under the device's lock; return why not, or an empty string."""
    if device is None:
        return "You have no one-time code yet. Sign out and in again to enrol."
    allowed, why = device.verify_is_allowed()
    if not allowed:
        return _wait_until((why or {}).get("locked_until"))
    said = _digits(code)
    if said is not None and device.verify_token(said):
        return ""
    if said is None and _use_backup_code(person, code):
        device.throttle_reset()
        return ""
    if said is None:
        device.throttle_increment()
    return (
        "This code is not right, or it was used already. "
        "Wait for the next one on your phone and type that."
    )


def _digits(code: str) -> int | None:
    signs = "".join(code.split())
    is_code = len(signs) == DIGITS and signs.isascii() and signs.isdigit()
    return int(signs) if is_code else None


def _use_backup_code(person: User, code: str) -> bool:
    unused = person.backup_codes.filter(
        digest=digest_of_backup_code(code), used_at__isnull=True
    )
    if unused.update(used_at=clock.now()) != 1:
        return False
    left = person.backup_codes.filter(used_at__isnull=True).count()
    audit.record("code.backup_used", person, actor=person, after={"left": left})
    return True


def _wait_until(instant: datetime | None) -> str:
    when = f" after {instant:%H:%M:%S} UTC" if instant else " a little later"
    return f"Too many wrong codes. Try again{when}."
