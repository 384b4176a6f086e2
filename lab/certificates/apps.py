"""The certificates app."""

from django.apps import AppConfig


class CertificatesConfig(AppConfig):
    """Drafts, review, issue, and what stands ever after."""

    name = "lab.certificates"
