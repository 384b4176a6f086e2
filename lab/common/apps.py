"""Start-up of the ground floor: fences after each migrate, and the Celery app."""

from datetime import timedelta

from django.apps import AppConfig
from django.conf import settings
from django.core import checks
from django.db.models.signals import post_migrate

import lab.celery  # noqa: F401 - here and not in lab/__init__.py, which stays empty


class CommonConfig(AppConfig):
    """The app that every other stands on."""

    name = "lab.common"

    def ready(self) -> None:
        # Models can't be imported before this point; nowhere else is an import local.
        from lab.common import clock, fences  # noqa: PLC0415

        clock.shift(timedelta(seconds=settings.CLOCK_SHIFT_S))
        post_migrate.connect(fences.build_after_migrate)
        checks.register(fences.check_fences, checks.Tags.database)
