"""The accounts app."""

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    """People, roles, and what each role may do."""

    name = "lab.accounts"
