"""The customers app."""

from django.apps import AppConfig


class CustomersConfig(AppConfig):
    """Customers and their contacts."""

    name = "lab.customers"
