"""How certificates stand, are sent and withdrawn, and are read for ever."""

from __future__ import annotations

import json

import pytest

from lab.certificates.models import Sending, Withdrawal
from lab.certificates.selectors import standing_of, with_standing
from lab.certificates.services import (
    approve_draft,
    record_sending,
    submit_draft,
    withdraw_certificate,
)
from lab.certificates.snapshot import UnknownSchema, read_snapshot, upcast
from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.frozen import FrozenRecordChange
from lab.common.models import AuditEntry
from tests import chain

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _afternoon():
    with clock.set_to(chain.at(15)):
        yield


@pytest.fixture
def issued(lab):
    return chain.certificate(lab)


def follow(lab, old, **way):
    job = old.job
    made = chain.draft(lab, job, change="Evaluated anew.", **way)
    submit_draft(draft=made, acting_user=lab.people.technician)
    approve_draft(draft=made, acting_user=lab.people.technician3)
    return chain.issue(lab, made)


def standing(certificate) -> str:
    rows = with_standing(type(certificate).objects.filter(pk=certificate.pk))
    return standing_of(rows.get())


def withdraw(lab, certificate, reason: str = "The wrong part was measured."):
    return withdraw_certificate(
        certificate=certificate, reason=reason, acting_user=lab.people.quality
    )


def test_how_a_certificate_stands_is_read_from_what_came_after(lab, issued) -> None:
    assert standing(issued) == "current"
    amendment = follow(lab, issued, amends=issued)
    assert (standing(issued), standing(amendment)) == ("amended", "current")
    withdraw(lab, amendment)
    assert (standing(issued), standing(amendment)) == ("current", "withdrawn")
    replacement = follow(lab, issued, replaces=issued)
    assert (standing(issued), standing(replacement)) == ("superseded", "current")


def test_a_withdrawal_is_once_and_for_all(lab, people, issued) -> None:
    with pytest.raises(NotAcceptable) as refusal:
        withdraw(lab, issued, reason="tbd")
    assert refusal.value.field == "reason"
    with pytest.raises(NotAllowed):
        withdraw_certificate(
            certificate=issued, reason="Because.", acting_user=people.technician
        )
    withdraw(lab, issued)
    with pytest.raises(WrongState, match="withdrawn already"):
        withdraw(lab, issued)
    assert Withdrawal.objects.count() == 1
    entry = AuditEntry.objects.get(verb="certificate.withdrawn")
    assert (entry.actor, entry.reason) == (
        people.quality,
        "The wrong part was measured.",
    )


def test_a_withdrawn_certificate_can_be_replaced_and_not_amended(lab, issued) -> None:
    withdraw(lab, issued)
    with pytest.raises(WrongState, match=r"is withdrawn\. Replace it"):
        follow(lab, issued, amends=issued)
    chain.abandon(lab, issued.job)
    follow(lab, issued, replaces=issued)
    assert standing(issued) == "withdrawn"


def test_sendings_are_kept(lab, people, issued) -> None:
    def send(**changes):
        return record_sending(
            **{
                "certificate": issued,
                "sent_to": "mabel@ravelin.example",
                "how": "E-mail",
                "at": clock.now(),
                "acting_user": people.coordinator,
            }
            | changes
        )

    with pytest.raises(NotAcceptable):
        send(sent_to="?")
    with pytest.raises(NotAcceptable, match="future"):
        send(at=chain.at(16))
    send()
    send(how="Post")
    assert Sending.objects.filter(certificate=issued).count() == 2
    withdraw(lab, issued)
    with pytest.raises(WrongState, match="goes to nobody"):
        send()


def test_a_certificate_is_never_changed(issued) -> None:
    issued.number = "C2026-9999"
    with pytest.raises(FrozenRecordChange):
        issued.save()
    with pytest.raises(FrozenRecordChange):
        type(issued).objects.filter(pk=issued.pk).update(snapshot_text="{}")
    with pytest.raises(FrozenRecordChange):
        issued.delete()


def test_a_snapshot_of_a_later_program_is_refused() -> None:
    with pytest.raises(UnknownSchema, match="is of schema 2"):
        read_snapshot('{"schema":2}')
    with pytest.raises(UnknownSchema):
        upcast({})
    content = {"schema": 1, "title": "Test report"}
    assert read_snapshot(json.dumps(content)) == content
