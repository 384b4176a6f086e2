"""Telling customers: letters drafted from what is known, tellings recorded."""

from __future__ import annotations

from datetime import datetime

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable
from lab.common.jsontext import canonical_text, sha256_hex
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.customers.models import Customer
from lab.evidence.guards import lock_open
from lab.evidence.letters.content import content_of
from lab.evidence.models import Case, Letter, Telling
from lab.evidence.outstanding import dossier_of

Way = Telling.Way


@service(may="cases.tell")
def draft_letter(
    *, case: Case, customer: Customer, facts: str, acting_user: User
) -> Letter:
    """Draft the letter to one customer: the certificates, and the plain facts.

    It is kept whole as it stands and never changed; a better one is another letter.

    Raises
    ------
    CaseClosed
    NotAcceptable
        If the facts are missing, or the customer has no certificate in the case.
    """
    text = refuse_placeholder(facts, "facts")
    locked = lock_open(case)
    dossier = dossier_of(locked)
    if customer not in dossier.touched.customers:
        raise NotAcceptable(f"The case touches no certificate of {customer}.")
    content = canonical_text(content_of(dossier, customer, text, acting_user))
    made = Letter.objects.create(
        case=locked,
        customer=customer,
        snapshot_text=content,
        snapshot_sha256=sha256_hex(content),
        drafted_by=acting_user,
    )
    audit.record(
        "case.letter_drafted",
        locked,
        actor=acting_user,
        after={"customer": customer.name, "sha256": made.snapshot_sha256},
    )
    enqueue("evidence.render_letter", made.pk)
    return made


@service(may="cases.tell")
def record_telling(
    *,
    case: Case,
    customer: Customer,
    way: str,
    note: str,
    at: datetime,
    told: str = "",
    letter: Letter | None = None,
    acting_user: User,
) -> Telling:
    """Record that a customer was told and how, or why there is no need.

    Raises
    ------
    CaseClosed
    NotAcceptable
        If the way is none, it was by letter and none of the customer's is named,
        nobody is named who was told, or it lies in the future.
    """
    if way not in Way:
        raise NotAcceptable(f"“{way}” is no way of telling.", field="way")
    clock.require_not_future(at)
    text = refuse_placeholder(note, "note")
    if way == Way.LETTER:
        _require_own_letter(letter, case, customer)
    who = "" if way == Way.NOT_NEEDED else refuse_placeholder(told, "told")
    locked = lock_open(case)
    made = Telling.objects.create(
        case=locked,
        customer=customer,
        letter=letter if way == Way.LETTER else None,
        way=way,
        told=who,
        note=text,
        at=at,
        told_by=acting_user,
    )
    audit.record(
        "case.customer_told",
        locked,
        actor=acting_user,
        reason=text,
        after={"customer": customer.name, "way": way, "told": who, "at": at},
    )
    return made


def _require_own_letter(letter: Letter | None, case: Case, customer: Customer) -> None:
    own = letter is not None and (
        (letter.case_id, letter.customer_id) == (case.pk, customer.pk)
    )
    if not own:
        raise NotAcceptable("Draft a letter to this customer first.", field="letter")
