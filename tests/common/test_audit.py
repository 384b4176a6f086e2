"""The audit: written with the change, sealed into a chain, verified whole."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from lab.common import audit, clock, fences
from lab.common.actors import PROGRAM
from lab.common.models import AuditEntry, AuditSeal, NumberSeries

InThreads = Callable[[Sequence[Callable[[], object]]], list[BaseException]]


def write(count: int = 1) -> list[AuditEntry]:
    subject = NumberSeries(pk=7, series="probe", year=2026)
    return [
        audit.record("probe.written", subject, actor=PROGRAM, after={"turn": turn})
        for turn in range(count)
    ]


@pytest.mark.django_db
def test_an_entry_tells_who_what_and_the_values() -> None:
    subject = NumberSeries(pk=7, series="probe", year=2026)
    entry = audit.record(
        "probe.changed",
        subject,
        actor=PROGRAM,
        reason="A slip.",
        before={"last": 1},
        after={"last": 2},
    )
    assert entry.actor_name == "the program"
    assert entry.values_text == '{"after":{"last":2},"before":{"last":1}}'
    assert list(audit.history_of(subject)) == [entry]


@pytest.mark.django_db
def test_sealing_links_every_entry_once_and_verifies() -> None:
    write(7)
    assert audit.seal_batch(limit=3) == 3
    assert audit.seal_all() == 4
    assert audit.seal_all() == 0
    assert list(AuditSeal.objects.values_list("position", flat=True)) == [*range(1, 8)]
    found = audit.verify()
    assert found.ok
    assert found.sealed == 7
    assert found.head == audit.head() != audit.FIRST_DIGEST


@pytest.mark.django_db
def test_a_printed_head_is_looked_for_in_the_chain() -> None:
    write(2)
    audit.seal_all()
    witness = audit.head()
    write(1)
    audit.seal_all()
    assert audit.verify(witness[:16]).ok
    cut = audit.verify("0123456789abcdef")
    assert not cut.ok
    assert "0123456789abcdef is not in the chain" in cut.faults[0]


@pytest.mark.django_db
def test_entries_left_unsealed_for_over_a_minute_are_reported() -> None:
    (entry,) = write()
    assert audit.verify().ok
    with clock.set_to(clock.now() + timedelta(minutes=2)):
        late = audit.verify()
    assert late.unsealed_late == (entry.pk,)
    assert not late.ok


@pytest.mark.django_db(transaction=True)
def test_a_changed_entry_is_named() -> None:
    entries = write(3)
    audit.seal_all()
    tamper(f"UPDATE common_auditentry SET reason = 'x' WHERE id = {entries[1].pk}")
    faults = audit.verify().faults
    assert len(faults) == 1
    assert f"Entry {entries[1].pk} (probe.written" in faults[0]
    assert "changed after it was sealed" in faults[0]


@pytest.mark.django_db(transaction=True)
def test_a_removed_entry_is_named() -> None:
    entries = write(3)
    audit.seal_all()
    tamper(
        f"DELETE FROM common_auditseal WHERE entry_id = {entries[1].pk}",
        f"DELETE FROM common_auditentry WHERE id = {entries[1].pk}",
    )
    assert "position 2 to 2 are missing" in audit.verify().faults[0]


@pytest.mark.django_db(transaction=True)
def test_the_command_reports_and_fails_on_a_fault() -> None:
    entries = write(2)
    audit.seal_all()
    told = StringIO()
    call_command("verify-audit", stdout=told)
    assert "2" in told.getvalue()
    assert audit.head() in told.getvalue()
    tamper(f"UPDATE common_auditentry SET verb = 'x' WHERE id = {entries[0].pk}")
    with pytest.raises(CommandError, match="changed after it was sealed"):
        call_command("verify-audit", stdout=told)


def tamper(*statements: str) -> None:
    """Do what the fences exist to stop: as someone with the database's password."""
    fences.drop(connection)
    with transaction.atomic(), connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
    fences.build(connection)


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgres
def test_eight_writers_and_two_sealers_leave_one_chain_that_verifies(
    on_postgres: None, in_threads: InThreads
) -> None:
    def write_some() -> None:
        for _ in range(25):
            with transaction.atomic():
                write(2)

    def seal_meanwhile() -> None:
        for _ in range(60):
            audit.seal_batch(limit=20)

    assert in_threads([write_some] * 8 + [seal_meanwhile] * 2) == []
    audit.seal_all()
    found = audit.verify()
    assert found.ok
    assert found.sealed == 8 * 25 * 2
