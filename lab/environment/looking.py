"""What the page of an import shows, by how far it has come."""

from __future__ import annotations

from typing import Any

from django.http import QueryDict

from lab.environment.forms.imports import LayoutForm, WishForm
from lab.environment.importing import guess_of
from lab.environment.models import ReadingImport
from lab.metrology.errors import BadShape


def look_at(
    found: ReadingImport, asked: QueryDict, posted: QueryDict | None = None
) -> dict[str, Any]:
    """Return the context of an import's page; before confirmation, with its form."""
    context: dict[str, Any] = {"import": found, "report": found.report}
    if found.state not in (found.State.LOOKED_AT, found.State.FAILED):
        return context
    wish_form = WishForm(asked if "header" in asked else None)
    context["wish_form"] = wish_form
    context["query"] = asked.urlencode()
    try:
        guess = guess_of(found, wish_form.wish())
    except BadShape as error:
        return context | {"unreadable": str(error)}
    remembered = found.source.layout
    is_known = remembered is not None and remembered.fits(guess.layout)
    start = remembered if remembered is not None and is_known else guess.layout
    form = LayoutForm(posted, guess=guess, start=start)
    names = [guess.layout.name_of(n) for n in range(guess.layout.width)]
    earlier = ReadingImport.objects.filter(file=found.file, state=found.State.DONE)
    return context | {
        "guess": guess,
        "names": names,
        "form": form,
        "is_remembered": is_known,
        "earlier": earlier.exclude(pk=found.pk).first(),
    }
