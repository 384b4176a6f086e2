"""The command tells whether a printed digest is in the chain, and fails where not."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from lab.common import audit, clock
from lab.common.actors import PROGRAM
from lab.common.models import NumberSeries

pytestmark = pytest.mark.django_db


def write_entry() -> None:
    subject = NumberSeries(pk=7, series="probe", year=2026)
    audit.record("probe.written", subject, actor=PROGRAM)


def test_a_printed_digest_is_found_by_its_beginning_in_any_case() -> None:
    write_entry()
    audit.seal_all()
    printed = audit.head()[:16].upper()
    write_entry()
    audit.seal_all()
    told = StringIO()
    call_command("verify-audit", head=printed, stdout=told)
    assert f"{printed.lower()} is in the chain" in told.getvalue()
    assert told.getvalue().endswith("The chain is whole.\n")


def test_a_printed_digest_that_is_not_there_fails() -> None:
    told = StringIO()
    with pytest.raises(CommandError, match="entries were cut off"):
        call_command("verify-audit", head="0123456789abcdef", stdout=told)
    assert "is not in the chain" in told.getvalue()


@pytest.mark.parametrize("head", ["0123", "g" * 16, "a" * 65])
def test_what_is_no_digest_is_refused(head: str) -> None:
    with pytest.raises(CommandError, match="is no digest"):
        call_command("verify-audit", head=head)


def test_entries_that_wait_for_their_seal_are_counted() -> None:
    write_entry()
    with (
        clock.set_to(clock.now() + timedelta(minutes=2)),
        pytest.raises(CommandError, match="1 entries") as refusal,
    ):
        call_command("verify-audit", stdout=StringIO())
    assert "see that the worker runs" in str(refusal.value)
