"""Which customers a person sees: the lab all, a client contact their own."""

from __future__ import annotations

from django.db.models import QuerySet
from django.http import Http404

from lab.accounts.models import User
from lab.customers.models import Contact, Customer


def customer_of(user: User) -> Customer | None:
    """Return the customer whose contact a person is, if they are one's."""
    contact = Contact.objects.filter(user=user, in_use=True).first()
    return contact.customer if contact else None


def customers_for(user: User) -> QuerySet[Customer]:
    if user.may("customers.see"):
        return Customer.objects.all()
    return Customer.objects.filter(contacts__user=user, contacts__in_use=True)


def get_customer_for(user: User, pk: int) -> Customer:
    found = customers_for(user).filter(pk=pk).first()
    if found is None:
        raise Http404("There is no such customer.")
    return found


def get_contact_for(user: User, pk: int) -> Contact:
    found = Contact.objects.filter(pk=pk, customer__in=customers_for(user)).first()
    if found is None:
        raise Http404("There is no such contact.")
    return found
