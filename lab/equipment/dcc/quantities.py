"""The numbers of a certificate: single, in lists, in several units at once.

``si:real`` is one value; ``si:realListXMLList`` is a list in one text; ``si:hybrid``
holds the same in several units, of which the one nearest to ours is taken. The
uncertainty stands in ``expandedMU`` since version 2.1 of D-SI and in ``expandedUnc``
before; a list may state one uncertainty for all its values.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from lab.equipment.dcc.units import number, preference

DCC: Final = "{https://ptb.de/dcc}"
SI: Final = "{https://ptb.de/si}"
UNCERTAINTIES: Final = (
    # where it stands, how the value is called
    ("measurementUncertaintyUnivariate/{si}expandedMU", "valueExpandedMU"),
    ("expandedMU", "valueExpandedMU"),
    ("expandedUnc", "uncertainty"),
)
#: More numbers in one list than any certificate of ours has.
MOST_NUMBERS: Final = 2000


@dataclass(frozen=True, slots=True)
class Number:
    """One number with its unit and, where stated, its expanded uncertainty."""

    value: Decimal
    unit: str
    expanded_u: Decimal | None
    coverage_factor: Decimal | None
    label: str = ""


def numbers_of(quantity: Any) -> list[Number]:
    """Return the numbers of a ``dcc:quantity``; none where it holds text only."""
    forms = [form for form in _forms(quantity) if form]
    return min(forms, key=lambda form: preference(form[0].unit), default=[])


def _forms(quantity: Any) -> Iterator[list[Number]]:
    """Yield the same numbers once for each unit in which they are given."""
    for child in quantity:
        if child.tag == f"{SI}hybrid":
            yield from (_read(form) for form in child)
        else:
            yield _read(child)


def _read(form: Any) -> list[Number]:
    if form.tag == f"{SI}real":
        return _numbers(form, "")
    if form.tag == f"{SI}realListXMLList":
        return _numbers(form, "XMLList")
    return []


def _numbers(form: Any, suffix: str) -> list[Number]:
    values = _list(form, f"value{suffix}")
    units = _words(form, f"unit{suffix}")
    labels = _words(form, f"label{suffix}")
    us, factors = _uncertainty(form, suffix)
    count = len(values)
    if not count or not units or any(value is None for value in values):
        return []
    return [
        Number(value, unit, u, factor, label)
        for value, unit, u, factor, label in zip(
            values,
            _spread(units, count),
            _spread(us, count),
            _spread(factors, count),
            _spread(labels if suffix else labels[:1], count),
            strict=True,
        )
        if value is not None
    ]


def _uncertainty(
    form: Any, suffix: str
) -> tuple[list[Decimal | None], list[Decimal | None]]:
    for path, name in UNCERTAINTIES:
        steps = [f"{step}{suffix}" for step in path.replace("{si}", SI).split("/", 1)]
        steps = [step if step.startswith("{") else f"{SI}{step}" for step in steps]
        found = form
        for step in steps:
            found = None if found is None else found.find(step)
        if found is not None:
            return (
                _list(found, f"{name}{suffix}"),
                _list(found, f"coverageFactor{suffix}"),
            )
    return [], []


def _words(parent: Any, name: str) -> list[str]:
    found = parent.find(f"{SI}{name}")
    text = "" if found is None else found.text or ""
    if name.endswith("XMLList"):
        return text.split()[:MOST_NUMBERS]
    return [text.strip()] if text.strip() else []


def _list(parent: Any, name: str) -> list[Decimal | None]:
    return [number(word) for word in _words(parent, name)]


def _spread(items: Sequence[Any], count: int) -> list[Any]:
    """Return one item a value: as given, or the one for all, or none."""
    if len(items) == count:
        return list(items)
    missing = "" if items and isinstance(items[0], str) else None
    return [items[0] if len(items) == 1 else missing] * count
