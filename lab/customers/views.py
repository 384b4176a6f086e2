"""Pages of customers and their contacts."""

from __future__ import annotations

from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, numbered_page, posted
from lab.customers import services
from lab.customers.access import customers_for, get_contact_for, get_customer_for
from lab.customers.forms import (
    ContactChangeForm,
    ContactForm,
    CustomerChangeForm,
    CustomerForm,
)
from lab.customers.models import Contact, Customer

DETAIL = "customers:detail"


@require_safe
def customers(request: Request) -> HttpResponse:
    said = request.GET.get("q", "").strip()
    rows = customers_for(request.user).order_by("-in_use", "name")
    rows = rows.annotate(people=Count("contacts", filter=Q(contacts__in_use=True)))
    page = numbered_page(rows.filter(name__icontains=said), request.GET.get("page"))
    may_change = request.user.may("customers.change")
    context = {"page": page, "q": said, "may_change": may_change}
    return render(request, "customers/list.html", context)


@require_safe
def customer(request: Request, pk: int) -> HttpResponse:
    found = get_customer_for(request.user, pk)
    context = {
        "customer": found,
        "contacts": found.contacts.select_related("user").order_by("-in_use", "name"),
        "may_change": request.user.may("customers.change"),
        "may_invite": request.user.may("clients.invite"),
    }
    return render(request, "customers/detail.html", context)


@require_http_methods(FORM_METHODS)
def add(request: Request) -> HttpResponse:
    form = CustomerForm(posted(request))
    made: list[Customer] = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.add_customer(acting_user=request.user, **form.cleaned_data)
        ),
    ):
        return done(request, f"{made[0].name} is added.", DETAIL, made[0].pk)
    return form_page(
        request, form, title="Add a customer", back=reverse("customers:list")
    )


@require_http_methods(FORM_METHODS)
def change(request: Request, pk: int) -> HttpResponse:
    found = get_customer_for(request.user, pk)
    now = {name: getattr(found, name) for name in CustomerChangeForm.base_fields}
    form = CustomerChangeForm(posted(request), initial=now)
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_customer(
            customer=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The customer is changed.", DETAIL, pk)
    return form_page(
        request, form, title=f"Change {found.name}", back=reverse(DETAIL, args=[pk])
    )


@require_http_methods(FORM_METHODS)
def add_contact(request: Request, pk: int) -> HttpResponse:
    found = get_customer_for(request.user, pk)
    form = ContactForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.add_contact(
            customer=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The contact is added.", DETAIL, pk)
    title = f"Add a contact at {found.name}"
    return form_page(request, form, title=title, back=reverse(DETAIL, args=[pk]))


@require_http_methods(FORM_METHODS)
def change_contact(request: Request, pk: int) -> HttpResponse:
    found = get_contact_for(request.user, pk)
    now = {name: getattr(found, name) for name in ContactChangeForm.base_fields}
    form = ContactChangeForm(posted(request), initial=now)
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_contact(
            contact=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The contact is changed.", DETAIL, found.customer_id)
    back = reverse(DETAIL, args=[found.customer_id])
    return form_page(request, form, title=f"Change {found.name}", back=back)


@require_POST
def invite(request: Request, pk: int) -> HttpResponse:
    found: Contact = get_contact_for(request.user, pk)
    services.invite_contact(contact=found, acting_user=request.user)
    sentence = f"{found.name} gets a mail with a link to set a password by."
    return done(request, sentence, DETAIL, found.customer_id)
