"""Every write about customers and the people there."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from lab.accounts.permissions import Role
from lab.accounts.services import deactivate_person, invite_new_person
from lab.common import audit
from lab.common.actors import PROGRAM, Actor
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import optional_text, refuse_placeholder, text_lines
from lab.customers.models import Contact, Customer

ADDRESS_LINES = 6


@service(may="customers.change")
def add_customer(
    *, name: str, address: str, phone: str = "", notes: str = "", acting_user: Actor
) -> Customer:
    """Add a customer as certificates will name them.

    Raises
    ------
    NotAcceptable
        If the name is taken, or name or address is empty or a placeholder.
    """
    values = _customer_values(name, address, phone, notes)
    _require_free_name(values["name"])
    customer = Customer.objects.create(**values)
    audit.record("customer.added", customer, actor=acting_user, after=values)
    return customer


@service(may="customers.change")
def change_customer(
    *,
    customer: Customer,
    name: str,
    address: str,
    phone: str = "",
    notes: str = "",
    in_use: bool = True,
    acting_user: Actor,
) -> Customer:
    """Change what a customer is called or where they are.

    Issued certificates keep the name and address that they were issued with.

    Raises
    ------
    NotAcceptable
        See :func:`add_customer`.
    """
    customer = Customer.objects.select_for_update().get(pk=customer.pk)
    values = _customer_values(name, address, phone, notes) | {"in_use": in_use}
    _require_free_name(values["name"], besides=customer)
    _change(customer, values, "customer.changed", acting_user)
    return customer


@service(may="customers.change")
def add_contact(
    *, customer: Customer, name: str, email: str, phone: str = "", acting_user: Actor
) -> Contact:
    """Add a person whom one reaches at a customer.

    Raises
    ------
    NotAcceptable
        If the address is no e-mail address or is known at this customer already.
    """
    values = _contact_values(name, email, phone)
    _require_free_email(customer, values["email"])
    contact = Contact.objects.create(customer=customer, **values)
    audit.record("contact.added", contact, actor=acting_user, after=values)
    return contact


@service(may="customers.change")
def change_contact(
    *,
    contact: Contact,
    name: str,
    email: str,
    phone: str = "",
    in_use: bool = True,
    acting_user: Actor,
) -> Contact:
    """Change a contact. One out of use can no longer sign in.

    Raises
    ------
    NotAcceptable
        See :func:`add_contact`.
    """
    contact = Contact.objects.select_for_update().get(pk=contact.pk)
    values = _contact_values(name, email, phone) | {"in_use": in_use}
    _require_free_email(contact.customer, values["email"], besides=contact)
    _change(contact, values, "contact.changed", acting_user)
    if not in_use and contact.user is not None and contact.user.is_active:
        deactivate_person(
            person=contact.user,
            reason=f"{contact.name} is no longer a contact.",
            acting_user=PROGRAM,
        )
    return contact


@service(may="clients.invite")
def invite_contact(*, contact: Contact, acting_user: Actor) -> Contact:
    """Give a contact an account and send a link to set the first password by.

    They see their own customer's jobs and certificates, and nothing else.

    Raises
    ------
    WrongState
        If the contact has an account, or is out of use.
    NotAcceptable
        If the e-mail address signs somebody else in.
    """
    contact = Contact.objects.select_for_update().get(pk=contact.pk)
    if contact.user_id is not None:
        raise WrongState(f"{contact.name} has an account already.")
    if not contact.in_use:
        raise WrongState(f"{contact.name} is no longer a contact.")
    # Adding people is the administrator's; a client account for a known contact is
    # made by the program on this person's word, which the entry below keeps.
    user = invite_new_person(
        email=contact.email, name=contact.name, role=Role.CLIENT, acting_user=PROGRAM
    )
    contact.user = user
    contact.save(update_fields=["user"])
    audit.record(
        "contact.invited", contact, actor=acting_user, after={"email": contact.email}
    )
    return contact


def _customer_values(name: str, address: str, phone: str, notes: str) -> dict[str, Any]:
    return {
        "name": refuse_placeholder(name, "name"),
        "address": text_lines(address, "address", most=ADDRESS_LINES),
        "phone": optional_text(phone, "phone"),
        "notes": notes.strip(),
    }


def _contact_values(name: str, email: str, phone: str) -> dict[str, Any]:
    address = email.strip().lower()
    try:
        validate_email(address)
    except ValidationError:
        raise NotAcceptable(
            f"“{email}” is no e-mail address. Write it like name@place.example.",
            field="email",
        ) from None
    return {
        "name": refuse_placeholder(name, "name"),
        "email": address,
        "phone": optional_text(phone, "phone"),
    }


def _require_free_name(name: str, *, besides: Customer | None = None) -> None:
    others = Customer.objects.exclude(pk=besides.pk if besides else 0)
    if others.filter(name__iexact=name).exists():
        raise NotAcceptable(
            f"There is a customer called {name} already. Use that one, or tell the "
            "two apart by their names.",
            field="name",
        )


def _require_free_email(
    customer: Customer, email: str, *, besides: Contact | None = None
) -> None:
    others = customer.contacts.exclude(pk=besides.pk if besides else 0)
    if others.filter(email=email).exists():
        raise NotAcceptable(
            f"{email} is a contact of {customer.name} already.", field="email"
        )


def _change(
    record: Customer | Contact, values: dict[str, Any], verb: str, actor: Actor
) -> None:
    """Write the values that differ, and both old and new to the audit."""
    before = {name: getattr(record, name) for name in values}
    changed = [name for name in values if before[name] != values[name]]
    if not changed:
        audit.nothing_changed()
        return
    for name in changed:
        setattr(record, name, values[name])
    record.save(update_fields=changed)
    audit.record(
        verb,
        record,
        actor=actor,
        before={name: before[name] for name in changed},
        after={name: values[name] for name in changed},
    )
