"""The equipment app."""

from django.apps import AppConfig


class EquipmentConfig(AppConfig):
    """Every device of the lab and its calibrations."""

    name = "lab.equipment"
