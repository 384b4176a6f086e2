"""The program's settings with only its ground floors, and probes for kinds of work.

Child processes of the work tests start with these: they load fast, and tables are
made straight from the models.
"""

from quick_disk import without_waiting

from lab.settings import *  # noqa: F403
from lab.settings import DATABASES, INSTALLED_APPS

DATABASES = without_waiting(DATABASES)
LAB_APPS = ["lab.common", "lab.accounts", "work_probe"]
INSTALLED_APPS = [
    *LAB_APPS,
    *(app for app in INSTALLED_APPS if not app.startswith("lab.")),
]
MIGRATION_MODULES = {app.rpartition(".")[2]: None for app in INSTALLED_APPS}
