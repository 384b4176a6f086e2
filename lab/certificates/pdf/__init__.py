"""The PDF of a certificate, drawn from its snapshot alone.

``render(snapshot_text)`` asks neither the database nor the clock. It prints the strings
of the snapshot and computes nothing: what is rounded, judged or worded was so before.
The same snapshot gives the same bytes in every process of one installation.
``unprintable(snapshot_text)`` names the signs that no font at hand can print.
"""

from lab.certificates.pdf.document import render, unprintable
from lab.common.pdf.fonts import FontUnusable
from lab.common.pdf.text import UnprintableText

__all__ = ["FontUnusable", "UnprintableText", "render", "unprintable"]
