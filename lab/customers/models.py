"""Customers and the people one reaches there."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock


class Customer(models.Model):
    """Who orders the work, as a certificate names them."""

    name = models.CharField(max_length=120, unique=True)
    address = models.TextField(help_text="One line each, as printed.")
    phone = models.CharField(max_length=40, blank=True)
    notes = models.TextField(blank=True, help_text="For the lab only; never printed.")
    in_use = models.BooleanField(default=True)
    created_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def address_lines(self) -> list[str]:
        return self.address.splitlines()


class Contact(models.Model):
    """One person at a customer; with an account, they see their own jobs."""

    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="contacts"
    )
    name = models.CharField(max_length=120)
    email = models.EmailField(max_length=200)
    phone = models.CharField(max_length=40, blank=True)
    user = models.OneToOneField(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        related_name="contact",
        help_text="The account by which this person signs in, if they have one.",
    )
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["customer", "email"], name="contact_once_a_customer"
            )
        ]

    def __str__(self) -> str:
        return self.name
