"""The WSGI application, for any server; ``manage.py serve`` brings its own."""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application

from lab.common import secret_key

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "lab.settings")

if not os.environ.get("UNBROKEN_SECRET_KEY"):
    settings.SECRET_KEY = secret_key.ensure(settings.SECRET_KEY_FILE)
application = get_wsgi_application()
