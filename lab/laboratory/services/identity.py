"""The laboratory's identity, and how its numbers are written."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import optional_text, refuse_placeholder, text_lines
from lab.laboratory import numbers
from lab.laboratory.models import Laboratory, NumberFormat, Series
from lab.laboratory.records import change, described, insert
from lab.laboratory.zones import require_zone


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """What stands at the head of a certificate, as typed; tidied when it is used."""

    name: str
    address: str
    email: str
    phone: str
    time_zone: str
    country: str = ""
    accreditation: str = ""
    paper: str = Laboratory.Paper.A4
    document_title: str = Laboratory.Title.MEASUREMENT_REPORT

    def columns(self) -> dict[str, Any]:
        """Return the identity tidy, or refuse what a certificate couldn't print."""
        return {
            "name": refuse_placeholder(self.name, "name"),
            "address": text_lines(
                self.address, "address", most=Laboratory.ADDRESS_LINES
            ),
            "email": _email(self.email),
            "phone": refuse_placeholder(self.phone, "phone"),
            "country": _country(self.country),
            "time_zone": require_zone(self.time_zone),
            "accreditation": optional_text(self.accreditation, "accreditation"),
            "paper": self.paper,
            "document_title": self.document_title,
        }


@service(may="laboratory.change")
def set_up_laboratory(*, identity: Identity, acting_user: Actor) -> Laboratory:
    """Record the one laboratory of this installation, once.

    Doing it again with the same identity changes nothing.

    Raises
    ------
    NotAcceptable
        If something isn't fit to be printed on a certificate.
    WrongState
        If a laboratory is set up with another identity.
    """
    columns = identity.columns()
    there = Laboratory.objects.first()
    if there is None:
        laboratory = insert(Laboratory(**columns))
        audit.record(
            "laboratory.set_up",
            laboratory,
            actor=acting_user,
            after=described(laboratory, *columns),
        )
        return laboratory
    if described(there, *columns) != columns:
        raise WrongState(
            "The laboratory is set up already. Change its identity instead."
        )
    audit.nothing_changed()
    return there


@service(may="laboratory.change")
def change_laboratory(
    *, identity: Identity, reason: str = "", acting_user: Actor
) -> Laboratory:
    """Change the identity. Certificates that were issued keep what they printed.

    Raises
    ------
    WrongState
        If no laboratory is set up.
    NotAcceptable
        If something isn't fit to be printed on a certificate.
    """
    laboratory = Laboratory.objects.select_for_update().first()
    if laboratory is None:
        raise WrongState("The laboratory is not set up yet.")
    before, after = change(laboratory, **identity.columns())
    if not after:
        audit.nothing_changed()
        return laboratory
    audit.record(
        "laboratory.changed",
        laboratory,
        actor=acting_user,
        reason=reason,
        before=before,
        after=after,
    )
    return laboratory


@service(may="laboratory.change")
def change_number_format(*, series: str, pattern: str, acting_user: Actor) -> str:
    """Write the numbers of a series otherwise from now on; given ones stay.

    Raises
    ------
    NotAcceptable
        If there is no such series, if the pattern wouldn't give every number once,
        or if another series is written alike.
    """
    if series not in Series.values:
        raise NotAcceptable(f"There is no series of numbers “{series}”.")
    wanted = numbers.require_pattern(pattern.strip())
    _require_own(series, wanted)
    before = numbers.pattern_of(series)
    if before == wanted:
        audit.nothing_changed()
        return wanted
    row, made = NumberFormat.objects.select_for_update().get_or_create(
        series=series, defaults={"pattern": wanted}
    )
    if not made:
        change(row, pattern=wanted)
    audit.record(
        "number_format.changed",
        row,
        actor=acting_user,
        before={"series": series, "pattern": before},
        after={"series": series, "pattern": wanted},
    )
    return wanted


def _require_own(series: str, pattern: str) -> None:
    for other in Series.values:
        if other != series and numbers.same_numbers(numbers.pattern_of(other), pattern):
            raise NotAcceptable(
                f"The series “{Series(other).label}” is written so already, and one "
                "number would name two things. Begin this one with other letters.",
                field="pattern",
            )


def _country(said: str) -> str:
    code = said.strip().upper()
    if code and not re.fullmatch("[A-Z]{2}", code):
        raise NotAcceptable(
            f"“{code}” is no country code. Give the two letters of ISO 3166-1.",
            field="country",
        )
    return code


def _email(said: str) -> str:
    email = said.strip()
    try:
        validate_email(email)
    except ValidationError:
        raise NotAcceptable(
            f"“{email}” is no e-mail address. Give one like office@lab.example.",
            field="email",
        ) from None
    return email
