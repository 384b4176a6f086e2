"""``@service``: an actor, one transaction, an audit entry, or it does not pass."""

from __future__ import annotations

from typing import Any

import pytest

from lab.common import audit
from lab.common.actors import PROGRAM
from lab.common.errors import NotAllowed, WrongState
from lab.common.models import AuditEntry, NumberSeries
from lab.common.services import SERVICES, UnauditedService, service


class Nobody:
    pk = None
    is_active = True

    def may(self, action: str) -> bool:
        return False

    def get_full_name(self) -> str:
        return "nobody"


@pytest.fixture(autouse=True)
def _registry() -> Any:
    """Services made by these tests stay out of the project's list."""
    kept = dict(SERVICES)
    yield
    SERVICES.clear()
    SERVICES.update(kept)


def make(may: str = "") -> Any:
    @service(may=may)
    def start_series(*, series: str, acting_user: Any) -> NumberSeries:
        made = NumberSeries.objects.create(series=series, year=2026)
        audit.record("series.started", made, actor=acting_user)
        return made

    return start_series


@pytest.mark.django_db
def test_a_service_writes_and_records() -> None:
    made = make()(series="jobs", acting_user=PROGRAM)
    assert AuditEntry.objects.get().subject_id == str(made.pk)


@pytest.mark.django_db
def test_a_service_without_an_actor_is_refused() -> None:
    with pytest.raises(TypeError, match="who acts"):
        make()(series="jobs", acting_user=None)
    with pytest.raises(TypeError, match="who acts"):
        make()(series="jobs")


@pytest.mark.django_db
def test_an_actor_whose_role_may_not_is_refused_and_nothing_is_written() -> None:
    with pytest.raises(NotAllowed):
        make(may="rooms.change")(series="jobs", acting_user=Nobody())
    assert not NumberSeries.objects.exists()


@pytest.mark.django_db
def test_a_deactivated_actor_is_refused() -> None:
    gone = Nobody()
    gone.is_active = False
    with pytest.raises(NotAllowed):
        make()(series="jobs", acting_user=gone)


@pytest.mark.django_db
def test_a_refusal_takes_everything_back() -> None:
    @service
    def start_and_fail(*, acting_user: Any) -> None:
        made = NumberSeries.objects.create(series="jobs", year=2026)
        audit.record("series.started", made, actor=acting_user)
        raise WrongState("Somebody was first.")

    with pytest.raises(WrongState, match="Somebody was first"):
        start_and_fail(acting_user=PROGRAM)
    assert not NumberSeries.objects.exists()
    assert not AuditEntry.objects.exists()


@pytest.mark.django_db
def test_a_silent_service_fails_the_tests() -> None:
    @service
    def say_nothing(*, acting_user: Any) -> None:
        NumberSeries.objects.create(series="jobs", year=2026)

    with pytest.raises(UnauditedService, match="say_nothing"):
        say_nothing(acting_user=PROGRAM)
    assert not NumberSeries.objects.exists()


@pytest.mark.django_db
def test_a_service_may_say_that_nothing_changed() -> None:
    @service
    def repeat(*, acting_user: Any) -> str:
        audit.nothing_changed()
        return "as it was"

    assert repeat(acting_user=PROGRAM) == "as it was"


@pytest.mark.django_db
def test_an_entry_of_an_inner_service_counts_for_the_outer() -> None:
    inner = make()

    @service
    def outer(*, acting_user: Any) -> None:
        inner(series="jobs", acting_user=acting_user)

    outer(acting_user=PROGRAM)
    assert AuditEntry.objects.count() == 1


def test_a_service_that_asks_for_no_actor_can_not_be_declared() -> None:
    with pytest.raises(TypeError, match="must ask for acting_user"):

        @service
        def forgetful(*, name: str) -> None: ...

    with pytest.raises(TypeError, match="must ask for acting_user"):

        @service
        def lenient(*, acting_user: Any = None) -> None: ...

    with pytest.raises(TypeError, match="keywords only"):

        @service
        def positional(name: str, *, acting_user: Any) -> None: ...
