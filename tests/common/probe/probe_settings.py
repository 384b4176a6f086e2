"""The program's settings with only its ground floors, and probes for kinds of work.

Child processes of the work tests start with these: they load fast, and tables are
made straight from the models.
"""

from quick_disk import without_waiting

from lab.settings import *  # noqa: F403
from lab.settings import DATABASES, INSTALLED_APPS, MIDDLEWARE, STORAGES

GROUND = ("lab.common", "lab.accounts")
DATABASES = without_waiting(DATABASES)
LAB_APPS = [*GROUND, "work_probe"]
INSTALLED_APPS = [
    *LAB_APPS,
    *(app for app in INSTALLED_APPS if not app.startswith("lab.")),
]
MIDDLEWARE = [
    name
    for name in MIDDLEWARE
    if not name.startswith("lab.") or name.startswith(GROUND)
]
ROOT_URLCONF = "probe_urls"
MIGRATION_MODULES = {app.rpartition(".")[2]: None for app in INSTALLED_APPS}
STORAGES = {
    **STORAGES,
    # Compressing static files takes longer than all that these tests look at.
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
