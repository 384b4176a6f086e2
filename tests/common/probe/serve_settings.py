"""The program's settings whole, with tables made straight from the models."""

from quick_disk import without_waiting

from lab.settings import *  # noqa: F403
from lab.settings import DATABASES, INSTALLED_APPS

DATABASES = without_waiting(DATABASES)
MIGRATION_MODULES = {app.rpartition(".")[2]: None for app in INSTALLED_APPS}
