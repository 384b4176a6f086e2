"""The lapses app."""

from django.apps import AppConfig


class LapsesConfig(AppConfig):
    """Findings on sessions, and the holds that they raise."""

    name = "lab.lapses"
