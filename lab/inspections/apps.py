"""The inspections app."""

from django.apps import AppConfig


class InspectionsConfig(AppConfig):
    """Results, their uncertainty and decisions."""

    name = "lab.inspections"
