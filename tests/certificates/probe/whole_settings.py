"""The whole program's settings for child processes, with quick disks."""

from quick_disk import without_waiting

from lab.settings import *  # noqa: F403
from lab.settings import DATABASES, INSTALLED_APPS, STORAGES

DATABASES = without_waiting(DATABASES)
MIGRATION_MODULES = {app.rpartition(".")[2]: None for app in INSTALLED_APPS}
CLOCK_SETTABLE = True
STORAGES = {
    **STORAGES,
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
