"""Forms for customers and their contacts."""

from __future__ import annotations

from django import forms

from lab.common.forms import text_area


class CustomerForm(forms.Form):
    """A customer as certificates name them."""

    name = forms.CharField(max_length=120)
    address = forms.CharField(
        widget=text_area(4), help_text="One line each, as printed on certificates."
    )
    phone = forms.CharField(max_length=40, required=False, label="Telephone")
    notes = forms.CharField(
        widget=text_area(3), required=False, help_text="For the lab only; not printed."
    )


class CustomerChangeForm(CustomerForm):
    """The same, with the choice to book no more for them."""

    in_use = forms.BooleanField(
        required=False, label="In use: new jobs can be booked for this customer"
    )


class ContactForm(forms.Form):
    """A person whom one reaches at a customer."""

    name = forms.CharField(max_length=120)
    email = forms.EmailField(max_length=200, label="E-mail")
    phone = forms.CharField(max_length=40, required=False, label="Telephone")


class ContactChangeForm(ContactForm):
    """The same, with the choice to reach them no more."""

    in_use = forms.BooleanField(
        required=False, label="In use: taken off, they can no longer sign in"
    )
