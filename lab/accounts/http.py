"""The request as our pages see it: a person of ours, and htmx beside it."""

from __future__ import annotations

from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from lab.accounts.models import User


class Request(HttpRequest):
    """A request after the middleware; on pages for anyone ``user`` may be nobody."""

    user: User
    htmx: HtmxDetails
