"""The Celery application; start workers with ``celery -A lab.celery worker``."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "lab.settings")

app = Celery("unbroken")
app.config_from_object("django.conf:settings", namespace="CELERY")
