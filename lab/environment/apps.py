"""The environment app."""

from django.apps import AppConfig


class EnvironmentConfig(AppConfig):
    """The air of the rooms: readings and what they show."""

    name = "lab.environment"
