"""A drawing characteristic as it is typed, before it is kept."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from lab.common.errors import NotAcceptable
from lab.common.texts import optional_text, refuse_placeholder
from lab.laboratory.models import CharacteristicKind
from lab.metrology.errors import MetrologyError
from lab.metrology.units import ANGLE, LENGTH, Quantity
from lab.parts.models import NON_NEGATIVE, Characteristic


@dataclass(frozen=True, slots=True)
class CharacteristicEntry:
    """One requirement as the drawing writes it; deviations are from the nominal."""

    number: str
    kind: str
    description: str
    unit: str
    nominal_text: str
    lower_text: str = ""
    upper_text: str = ""
    evaluation: str = ""

    def checked(self) -> dict[str, Any]:
        """Return the columns, or refuse what no value could be judged by.

        Raises
        ------
        NotAcceptable
            Naming the characteristic and what is wrong with it.
        """
        try:
            columns = self._tidy()
            self._check_unit()
            Characteristic(**columns).tolerance  # noqa: B018 - it refuses nonsense
        except (MetrologyError, NotAcceptable) as refusal:
            where = f"Characteristic {self.number or 'without a number'}: "
            raise NotAcceptable(where + str(refusal), field="characteristics") from None
        return columns

    def _tidy(self) -> dict[str, Any]:
        columns: dict[str, Any] = {k: v.strip() for k, v in asdict(self).items()}
        columns["number"] = refuse_placeholder(self.number, "number")
        columns["description"] = refuse_placeholder(self.description, "description")
        columns["evaluation"] = optional_text(self.evaluation, "evaluation")
        if columns["kind"] in NON_NEGATIVE:
            columns["nominal_text"] = columns["nominal_text"] or "0"
        return columns

    def _check_unit(self) -> None:
        if self.kind not in CharacteristicKind:
            raise NotAcceptable(f"“{self.kind}” is no kind of characteristic.")
        wanted = ANGLE if self.kind == CharacteristicKind.ANGLE else LENGTH
        for text in (self.nominal_text, self.lower_text, self.upper_text):
            if text.strip() and Quantity(text.strip(), self.unit).kind is not wanted:
                raise NotAcceptable(f"{self.unit} is no unit of a {wanted.name}.")
        if self.kind in NON_NEGATIVE and self.nominal_text.strip() not in ("", "0"):
            raise NotAcceptable(
                "Form, orientation, position and profile have no nominal value but 0; "
                "write the tolerance as the upper deviation."
            )
