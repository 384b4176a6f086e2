"""What every test stands on: fences around flushes, profiles, and honest skips."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.conf import settings as django_settings
from django.contrib.sessions.backends.base import SessionBase
from django.db import connections
from django.test import Client, TransactionTestCase
from django.test.utils import override_settings
from django_otp import DEVICE_ID_SESSION_KEY
from django_otp.plugins.otp_totp.models import TOTPDevice
from hypothesis import HealthCheck, settings

from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.accounts.services import create_person
from lab.accounts.sessions import stamp_sign_in
from lab.common import fences
from lab.common.actors import PROGRAM
from tests.stages import staged

PROJECT = Path(__file__).resolve().parent.parent
SHARED_DATA = PROJECT.parent / "shared" / "data"
REQUIRED = {word for word in os.environ.get("UNBROKEN_REQUIRE", "").split(",") if word}

settings.register_profile(
    "ci",
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("deep", max_examples=1000, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))


def skip_unless(condition: object, need: str, reason: str) -> None:
    """Skip a test for want of something; where it is required, fail instead."""
    if condition:
        return
    if need in REQUIRED:
        pytest.fail(f"{need} is required here, and {reason}")
    pytest.skip(reason)


@pytest.fixture(scope="session")
def need() -> Callable[[object, str, str], None]:
    """Return what skips for want of something, or fails where it is required."""
    return skip_unless


@pytest.fixture(scope="session")
def shared_data() -> Callable[[str], Path]:
    """Return a finder of real files that the licences forbid committing."""

    def find(name: str) -> Path:
        path = SHARED_DATA / name
        skip_unless(path.exists(), "shared", f"the real file {name} is not here.")
        return path

    return find


@pytest.fixture(autouse=True, scope="session")
def records_apart(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep what tests store out of the installation's own folder."""
    folder = tmp_path_factory.mktemp("records")
    own = django_settings.STORAGES["records"] | {"OPTIONS": {"location": folder}}
    with override_settings(STORAGES=django_settings.STORAGES | {"records": own}):
        yield


@pytest.fixture
def noon() -> datetime:
    """An ordinary working day's noon for tests that stand the clock."""
    return datetime(2026, 3, 17, 12, tzinfo=UTC)


#: The password of everyone in the ``people`` fixture.
PASSWORD = "nine grey herons on a mast"


@dataclass(frozen=True)
class People:
    """One invented person for each part in a lab, and three technicians."""

    coordinator: User
    technician: User
    technician2: User
    technician3: User
    signatory: User
    quality: User
    administrator: User
    client: User
    password: str = PASSWORD


NAMES = {
    "coordinator": ("Imke Sandvoort", Role.COORDINATOR),
    "technician": ("Teodor Quill", Role.TECHNICIAN),
    "technician2": ("Bryn Halloway", Role.TECHNICIAN),
    "technician3": ("Nadia Pellworm", Role.TECHNICIAN),
    "signatory": ("Ottoline Marsh", Role.SIGNATORY),
    "quality": ("Ruben Achterkamp", Role.QUALITY),
    "administrator": ("Sunniva Locke", Role.ADMINISTRATOR),
    "client": ("Gil Ravelin", Role.CLIENT),
}


@pytest.fixture
def people(db: None) -> People:
    """Make one person per role; those who need one-time codes are enrolled."""
    return staged("people", hire)


def hire() -> People:
    made = {
        part: create_person(
            email=f"{part}@saltmarsh.example",
            name=name,
            role=role,
            password=PASSWORD,
            acting_user=PROGRAM,
        )
        for part, (name, role) in NAMES.items()
    }
    for person in made.values():
        if person.needs_code:
            TOTPDevice.objects.create(user=person, name="app", confirmed=True)
    return People(**made)


@pytest.fixture
def sign_in() -> Callable[[Client, User], Client]:
    """Return a function that signs a test client fully in, code included."""

    def fully(client: Client, person: User) -> Client:
        client.force_login(person)
        session: SessionBase = client.session
        stamp_sign_in(session)
        device = TOTPDevice.objects.filter(user=person, confirmed=True).first()
        if device is not None:
            session[DEVICE_ID_SESSION_KEY] = device.persistent_id
        session.save()
        return client

    return fully


@pytest.fixture
def login(
    sign_in: Callable[[Client, User], Client],
) -> Callable[[Client, User], Client]:
    """Return the same function as ``sign_in``."""
    return sign_in


@pytest.fixture
def in_threads() -> Callable[[Sequence[Callable[[], object]]], list[BaseException]]:
    """Return what runs functions at once and hands back whatever they raised."""
    return _run_in_threads


def _run_in_threads(
    functions: Sequence[Callable[[], object]],
) -> list[BaseException]:
    raised: list[BaseException] = []
    start = threading.Barrier(len(functions))

    def run(function: Callable[[], object]) -> None:
        try:
            start.wait(timeout=30)
            function()
        except BaseException as exc:  # noqa: BLE001 - handed to the test
            raised.append(exc)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(f,)) for f in functions]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


@pytest.fixture
def on_postgres() -> None:
    """Skip a test whose writers need a database that lets several write at once."""
    skip_unless(
        connections["default"].vendor == "postgresql",
        "postgres",
        "several writers at once are PostgreSQL's business.",
    )


_flush = TransactionTestCase._fixture_teardown


def _flush_behind_fences(self: TransactionTestCase) -> None:
    """Take the fences down for the runner's flush; its post_migrate puts them back."""
    for alias in self._databases_names(include_mirrors=False):
        fences.drop(connections[alias])
    _flush(self)
    for alias in self._databases_names(include_mirrors=False):
        fences.build(connections[alias])


TransactionTestCase._fixture_teardown = _flush_behind_fences  # type: ignore[method-assign]
