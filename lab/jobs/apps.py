"""The jobs app."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    """Jobs, items, sessions, holds and readiness."""

    name = "lab.jobs"
