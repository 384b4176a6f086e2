"""Work for a worker: rows that say it is wanted, claimed and done once.

``enqueue`` is called in the transaction of the change that makes the work wanted.
Apps say what a kind of work runs in ``KINDS`` of their ``tasks.py``::

    KINDS = {"certificates.render": Kind(render, limit_s=120, tries=5)}

Losing the whole queue loses nothing: the row is the queue. Everything that a kind
runs must be safe to run twice, since a worker can die after the work and before
it could say so.
"""

from lab.common.work.kinds import Kind, TryLater
from lab.common.work.queue import enqueue

__all__ = ["Kind", "TryLater", "enqueue"]
