"""The laboratory app."""

from django.apps import AppConfig


class LaboratoryConfig(AppConfig):
    """The lab itself: identity, sites, rooms, methods, authorisations, rules."""

    name = "lab.laboratory"
