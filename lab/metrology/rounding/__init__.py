"""The printed text of a value and its expanded uncertainty; made here only.

Rules, decided on unrounded numbers in ``Decimal``:

* The expanded uncertainty U is printed to two significant digits, to the nearest,
  ties up (0.0996 becomes 0.10); to one digit where asked for, if that is not below
  U by more than 5 %, else up (JCGM 100, 7.2.6; EA-4/02 M:2022, 6.3).
* The value is printed to the same decimal place, ties away from zero
  (ISO 80000-1:2009, annex B, rule B).
* U is never printed below the smallest uncertainty that the method claims (CMC;
  ILAC-P14:09/2020, 5.4).
* Where the printed value would stand on the other side of a limit than the unrounded
  one, so that the digits contradict the verdict, value and U get one digit more, and
  again until they agree.
* Millimetres and inches are each rounded from the unrounded value.

The minus sign in texts is the typographic one (U+2212); :attr:`PrintedResult.value`
holds the printed number as a ``Decimal`` for machines. The clause numbers are from
memory.
"""

from __future__ import annotations

from lab.metrology.rounding.figures import (
    print_coverage_factor,
    print_limit,
    print_probability,
    print_significant,
)
from lab.metrology.rounding.results import (
    Bound,
    PrintedResult,
    print_quantity,
    print_result,
    reported_expanded_u,
)
from lab.metrology.rounding.units import Unit, convert, unit_named

__all__ = [
    "Bound",
    "PrintedResult",
    "Unit",
    "convert",
    "print_coverage_factor",
    "print_limit",
    "print_probability",
    "print_quantity",
    "print_result",
    "print_significant",
    "reported_expanded_u",
    "unit_named",
]
