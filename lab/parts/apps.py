"""The parts app."""

from django.apps import AppConfig


class PartsConfig(AppConfig):
    """Parts, their revisions and drawing characteristics."""

    name = "lab.parts"
