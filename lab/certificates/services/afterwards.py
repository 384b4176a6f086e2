"""What happens to a certificate after its issue: sent, withdrawn."""

from __future__ import annotations

from datetime import datetime

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.certificates.models import Certificate, Sending, Withdrawal
from lab.common import audit, clock
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder


@service(may="certificates.withdraw")
def withdraw_certificate(
    *, certificate: Certificate, reason: str, acting_user: User
) -> Withdrawal:
    """Withdraw a certificate; it stays on record, and its public page says so.

    Raises
    ------
    NotAcceptable
        Without a reason.
    WrongState
        If it is withdrawn already.
    """
    text = refuse_placeholder(reason, "reason")
    try:
        with transaction.atomic():
            made = Withdrawal.objects.create(
                certificate=certificate, reason=text, withdrawn_by=acting_user
            )
    except IntegrityError:
        raise WrongState(f"{certificate.number} is withdrawn already.") from None
    audit.record("certificate.withdrawn", certificate, actor=acting_user, reason=text)
    return made


@service(may="certificates.see")
def record_sending(
    *,
    certificate: Certificate,
    sent_to: str,
    how: str,
    at: datetime,
    acting_user: User,
) -> Sending:
    """Record that a certificate went to somebody.

    Raises
    ------
    NotAcceptable
        If a text is a placeholder, or the time lies in the future.
    WrongState
        If the certificate is withdrawn.
    """
    clock.require_not_future(at)
    if Withdrawal.objects.filter(certificate=certificate).exists():
        raise WrongState(f"{certificate.number} is withdrawn and goes to nobody.")
    made = Sending.objects.create(
        certificate=certificate,
        sent_to=refuse_placeholder(sent_to, "sent_to"),
        how=refuse_placeholder(how, "how"),
        at=at,
        sent_by=acting_user,
    )
    audit.record(
        "certificate.sent",
        certificate,
        actor=acting_user,
        after={"to": made.sent_to, "how": made.how, "at": at},
    )
    return made
