"""The checks app."""

from django.apps import AppConfig


class ChecksConfig(AppConfig):
    """Measuring systems, check procedures and artefact checks."""

    name = "lab.checks"
