"""The Celery application. Workers are started by ``manage.py worker`` (or ``serve``).

A message only nudges: what is wanted stands in rows (:mod:`lab.common.work`). With
the embedded broker, ``memory://``, a message reaches nobody outside the process that
sends it, so sending one from anywhere but a worker is refused instead of lost.
"""

from __future__ import annotations

import os
from typing import Any

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "lab.settings")


class MessageWithoutWorker(RuntimeError):
    """A message was sent where no worker could ever read it."""


class LabCelery(Celery):  # type: ignore[misc]  # celery carries no types
    """Celery that refuses to drop a message into a broker nobody listens to.

    The check stands here and not in the ``before_task_publish`` signal because
    Celery logs and swallows whatever a signal's receiver raises.
    """

    #: True in a worker process, whose own threads read the embedded broker.
    in_worker = False

    def send_task(self, *args: Any, **kwargs: Any) -> Any:
        if not self.in_worker and str(self.conf.broker_url).startswith("memory:"):
            raise MessageWithoutWorker(
                "No worker hears a message from this process: without REDIS_URL the "
                "broker lives inside the worker. Call lab.common.work.enqueue instead."
            )
        return super().send_task(*args, **kwargs)


# No fix-ups: Celery's one for Django closes and reopens every connection around each
# task and runs all system checks at start; lab.common.work closes what it uses.
app = LabCelery("unbroken", include=["lab.common.tasks"], fixups=set())
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.update(
    worker_redirect_stdouts=False,
    # Redis may be away for a day; the worker waits for it and the rows wait too.
    broker_connection_max_retries=None,
    # A page must not wait while a message is tried again: the sweep will do it.
    task_publish_retry=False,
)
if str(app.conf.broker_url).startswith("memory:"):
    app.conf.update(
        broker_url="memory://localhost/",  # without a name kombu warns at each start
        # This broker is polled; the default of a second is a second's wait.
        broker_transport_options={"polling_interval": 0.05},
    )
else:
    app.conf.broker_transport_options = {
        "socket_connect_timeout": 2,
        "socket_timeout": 5,
        "max_retries": 0,  # of a sender; a worker goes by the setting above
    }
