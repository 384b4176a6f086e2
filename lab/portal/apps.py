"""The portal app."""

from django.apps import AppConfig


class PortalConfig(AppConfig):
    """What a client may see, and what a stranger may ask."""

    name = "lab.portal"
