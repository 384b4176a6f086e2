"""The pages over an archive, and what opening one of them costs."""

from __future__ import annotations

import time

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django_otp import DEVICE_ID_SESSION_KEY
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.accounts.sessions import stamp_sign_in
from lab.jobs.models import Job
from tests.chain import Lab

MOST_QUERIES = 15


def pages_of(lab: Lab) -> list[str]:
    """Return the addresses of the pages whose lists grow with the archive."""
    job = Job.objects.filter(number__startswith="A-", sessions__isnull=False).first()
    named = [
        ("home",),
        ("checks:list",),
        ("checks:system", lab.system.pk),
        ("jobs:list",),
        ("equipment:list",),
        ("equipment:due",),
        ("equipment:detail", lab.bar.tag),
        ("environment:rooms",),
        ("certificates:list",),
        ("parts:list",),
        ("customers:list",),
    ]
    if job is not None:
        named.append(("board:job", job.number))
    return [reverse(name, args=keys) for name, *keys in named]


def queries_and_time(lab: Lab, address: str) -> tuple[int, float]:
    """Open a page as the quality manager, who sees the most of it."""
    client = Client()
    person = lab.people.quality
    client.force_login(person)
    session = client.session
    stamp_sign_in(session)
    device = TOTPDevice.objects.filter(user=person, confirmed=True).first()
    if device is not None:
        session[DEVICE_ID_SESSION_KEY] = device.persistent_id
    session.save()
    client.get(address)
    with CaptureQueriesContext(
        connection,
    ) as captured:
        begun = time.perf_counter()
        answer = client.get(address)
        spent = time.perf_counter() - begun
    if answer.status_code != 200:
        raise AssertionError(f"{address} answered {answer.status_code}.")
    return len(captured), spent
