"""What the worker does about certificates: render the document of each, once."""

from __future__ import annotations

from lab.certificates.documents.rendering import render_certificate
from lab.common.work.kinds import Kind

KINDS = {"certificates.render": Kind(render_certificate, limit_s=120)}
