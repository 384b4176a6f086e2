"""What a letter says: all of it as strings, made once and kept."""

from __future__ import annotations

import json
from typing import Any, Final

from lab.accounts.models import User
from lab.certificates.models import Certificate
from lab.common import clock
from lab.customers.models import Contact, Customer
from lab.evidence.models import CaseDecision, Letter
from lab.evidence.outstanding import Dossier
from lab.laboratory.selectors import home_zone, the_laboratory

Outcome = CaseDecision.Outcome
#: What a customer is asked to do, by what was decided of a certificate.
ASKED: Final = {
    Outcome.STANDS: "It stands as issued. You need do nothing.",
    Outcome.AMENDED: "It is amended or replaced by a certificate of its own number. "
    "Please use that one.",
    Outcome.WITHDRAWN: "It is withdrawn. Please do not use it any more.",
    Outcome.MEASURED_AGAIN: "What it states has to be measured again. Please do not "
    "rely on it until you hear from us.",
}
UNDECIDED: Final = (
    "We are still looking into it. Please do not rely on it until you hear from us."
)


def content_of(
    dossier: Dossier, customer: Customer, facts: str, writer: User
) -> dict[str, Any]:
    """Return the whole letter to one customer as strings."""
    laboratory = the_laboratory()
    contact = Contact.objects.filter(customer=customer, in_use=True).first()
    today = clock.today(home_zone())
    return {
        "schema": 1,
        "laboratory": laboratory.name if laboratory else "",
        "laboratory_address": laboratory.address if laboratory else "",
        "laboratory_reach": f"{laboratory.email}, {laboratory.phone}"
        if laboratory
        else "",
        "paper": laboratory.paper if laboratory else "a4",
        "customer": customer.name,
        "customer_address": customer.address,
        "contact": contact.name if contact else "",
        "date": today.isoformat(),
        "reference": f"Case {dossier.case.pk}",
        "subject": "Certificates that we issued to you",
        "opening": "We have found that work of ours did not conform to what we "
        "require of it, and it touches what we certified to you. These are the facts "
        "as we know them.",
        "facts": facts,
        "certificates": [
            _certificate(one, dossier)
            for one in dossier.touched.certificates_of(customer)
        ],
        "closing": "If you have passed a certificate named here on to somebody else, "
        "please tell them too. Whether parts already in use are safe is not for a "
        "certificate to say: let a qualified person judge that. We are sorry for the "
        "trouble. Please ask us whatever you want to know.",
        "writer": writer.name,
        "writer_role": writer.get_role_display(),
    }


def _certificate(one: Certificate, dossier: Dossier) -> dict[str, str]:
    decision = dossier.standing_decisions.get(one.pk)
    return {
        "number": one.number,
        "issued": one.issued_at.astimezone(home_zone()).date().isoformat(),
        "order": one.job.order_number,
        "asked": ASKED[Outcome(decision.outcome)] if decision else UNDECIDED,
    }


def read_letter(letter: Letter) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(letter.snapshot_text)
    return content


def text_of(content: dict[str, Any]) -> str:
    """Return the letter as plain text, for mail."""
    rows = [
        f"{one['number']}, issued {one['issued']}, your order {one['order']}\n"
        f"    {one['asked']}"
        for one in content["certificates"]
    ]
    greeting = content["contact"] or content["customer"]
    parts = [
        (
            f"{content['laboratory']}\n{content['laboratory_address']}\n"
            f"{content['laboratory_reach']}"
        ),
        f"{content['customer']}\n{content['customer_address']}",
        f"{content['date']}, our reference: {content['reference']}",
        content["subject"],
        f"To {greeting}:",
        content["opening"],
        content["facts"],
        *rows,
        content["closing"],
        f"{content['writer']}\n{content['writer_role']}, {content['laboratory']}",
    ]
    return "\n\n".join(parts) + "\n"
