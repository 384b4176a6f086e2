"""The evidence app."""

from django.apps import AppConfig


class EvidenceConfig(AppConfig):
    """Cases of nonconforming work, and what leans on what."""

    name = "lab.evidence"
