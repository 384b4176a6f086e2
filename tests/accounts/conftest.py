"""What the tests of signing in share: codes as a phone would show them."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.core import mail
from django.test import Client
from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.accounts.links import send_link
from lab.accounts.models import User
from lab.common import clock
from lab.common.work.models import WorkItem


def _shown_by(key: str, step: int = 0) -> str:
    """Return the code that a phone with this key shows, some steps from now."""
    phone = TOTP(bytes.fromhex(key))
    phone.time = time.time() + 30 * step
    return f"{phone.token():06}"


@pytest.fixture
def shown_by() -> Callable[..., str]:
    return _shown_by


@pytest.fixture
def wrong_code() -> Callable[[User], str]:
    """Return a function giving six digits that the phone shows nowhere near now."""

    def code(person: User) -> str:
        key = TOTPDevice.objects.get(user=person, confirmed=True).key
        near = {_shown_by(key, step) for step in range(-3, 4)}
        return next(c for c in map("{:06}".format, range(9)) if c not in near)

    return code


@pytest.fixture
def fresh_code() -> Callable[[User], str]:
    """Return a function giving a right code, as if none had been used lately."""

    def code(person: User) -> str:
        device = TOTPDevice.objects.get(user=person, confirmed=True)
        TOTPDevice.objects.filter(pk=device.pk).update(last_t=-1)
        return _shown_by(device.key)

    return code


@pytest.fixture
def wait_out() -> Callable[[User], None]:
    """Return a function that lets the wait after wrong codes be over."""

    def wait(person: User) -> None:
        TOTPDevice.objects.filter(user=person).update(
            throttling_failure_timestamp=clock.now() - timedelta(days=7)
        )

    return wait


@pytest.fixture
def give_password(people) -> Callable[..., object]:
    """Return a function that sends the sign-in form."""

    def send(client: Client, person: User, *, next: str = "/", **more: str):
        typed = {"email": person.email, "password": people.password, **more}
        return client.post(f"/people/sign-in/?next={next}", typed)

    return send


@pytest.fixture
def sent_link() -> Callable[[], str]:
    """Return a function that does the wanted mail work and finds the link's path."""

    def path() -> str:
        for item in WorkItem.objects.filter(
            kind="accounts.send_password_link", state="wanted"
        ):
            send_link(item.object_id)
            item.delete()
        found = re.search(r"http://\S+", mail.outbox[-1].body)
        assert found
        return found.group().removeprefix("http://localhost:8000")

    return path


@pytest.fixture
def wrong_passwords() -> Callable[[], int]:
    def count() -> int:
        return sum(AccessAttempt.objects.values_list("failures_since_start", flat=True))

    return count
