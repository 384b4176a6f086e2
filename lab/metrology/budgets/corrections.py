r"""Corrections of the part: temperature, coating, bending.

* **Temperature** (ISO 1): :math:`L_{20} = L / (1 + \alpha (T - 20))`. The shares are
  :math:`L\,(T-20)\,u(\alpha)` and :math:`L\,\alpha\,u(T)`. Where one sensor serves the
  part and the scale bar, u(T) enters once, as
  :math:`(\alpha_\mathrm{part} - \alpha_\mathrm{bar})\,L\,u(T)`.
* **Coating**: matting spray of thickness t on a surface moves it outward by t, and a
  target's reflecting face stands off by its thickness. A coat is one cause: its error
  is the same on every surface it covers.
* **Bending**: a temperature difference ΔT across the thickness h of a free slender part
  bends it to the curvature :math:`\kappa = \alpha\,\Delta T / h`; the sagitta over L is
  :math:`\kappa L^2 / 8`, the ends tilt against each other by :math:`\kappa L`, and a
  length at height e from the neutral fibre changes by :math:`e\,\kappa L` (Timoshenko,
  1925, J. Opt. Soc. Am. 11, 233; for one material, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from lab.metrology.arrays import finite, non_negative, positive
from lab.metrology.budgets.terms import Term, TermKind
from lab.metrology.errors import OutOfDomain
from lab.metrology.thermal import Expansion, Temperature, length_at_reference
from lab.metrology.uncertainty import Distribution, Normal, Rectangular

__all__ = ["Bending", "PartThermal", "bending", "bending_term", "coating_term"]


@dataclass(frozen=True, slots=True)
class PartThermal:
    """The part's temperature and expansion, and what was done with them.

    Parameters
    ----------
    expansion, temperature
        Of the part, with their standard uncertainties.
    is_corrected : bool
        True if the result handed in was already brought to 20 °C with these values
        (by the software that it came from); False if it is as measured.
    expansion_source, sensor : str
        Names of the causes, for lengths that share them; the defaults are right for
        lengths of one part under one sensor.
    shared_bar : Expansion or None
        Expansion of the scale bar if the part's sensor serves the bar too.
    bar_source : str
        Name of that bar; required with ``shared_bar``.
    """

    expansion: Expansion
    temperature: Temperature
    is_corrected: bool
    expansion_source: str = "expansion of the part"
    sensor: str = "sensor of the part"
    shared_bar: Expansion | None = None
    bar_source: str = ""

    def __post_init__(self) -> None:
        """Refuse a shared bar without a name."""
        if self.shared_bar is not None and not self.bar_source.strip():
            raise OutOfDomain("bar_source: name the bar that shares the part's sensor.")

    def terms(self, length_mm: float) -> tuple[Term, ...]:
        """Give the correction to 20 °C and its shares for a length."""
        at_reference = length_at_reference(length_mm, self.expansion, self.temperature)
        correction = 0.0 if self.is_corrected else at_reference.correction_mm
        from_20_k = self.temperature.from_reference_k
        bar_per_k = 0.0 if self.shared_bar is None else self.shared_bar.per_k
        terms = [
            Term(
                TermKind.PART_EXPANSION,
                "expansion of the part",
                Normal(self.expansion.u_per_k),
                sensitivity=-length_mm * from_20_k,
                source=self.expansion_source,
                unit="1/K",
            ),
            Term(
                TermKind.PART_TEMPERATURE,
                "temperature of the part",
                Normal(self.temperature.u_k),
                sensitivity=-length_mm * (self.expansion.per_k - bar_per_k),
                correction=correction,
                source=self.sensor,
                unit="K",
            ),
        ]
        if self.shared_bar is not None:
            terms.append(
                Term(
                    TermKind.SCALE_EXPANSION,
                    f"expansion of {self.bar_source}",
                    Normal(self.shared_bar.u_per_k),
                    sensitivity=length_mm * from_20_k,
                    source=f"expansion of {self.bar_source}",
                    unit="1/K",
                )
            )
        return tuple(terms)


@dataclass(frozen=True, slots=True)
class Bending:
    """A slender part bent by a temperature difference across its thickness.

    ``sagitta_mm`` is the rise over the whole length, ``end_tilt_rad`` the angle
    between its ends, ``chord_change_mm`` the (negative) change of the straight distance
    of its ends on the neutral fibre.
    """

    curvature_per_mm: float
    sagitta_mm: float
    end_tilt_rad: float
    chord_change_mm: float

    def length_change_mm(self, height_mm: float) -> float:
        """Give the change of a length at a height above the neutral fibre."""
        return finite("height_mm", height_mm) * self.end_tilt_rad + self.chord_change_mm


def bending(
    length_mm: float, thickness_mm: float, expansion_per_k: float, difference_k: float
) -> Bending:
    r"""Give the thermal bending of a free slender part.

    Parameters
    ----------
    length_mm, thickness_mm : float
        Free length, and thickness in the direction of the difference.
    expansion_per_k : float
        Coefficient of expansion.
    difference_k : float
        Temperature of the upper face minus that of the lower one.

    Returns
    -------
    Bending

    Raises
    ------
    OutOfDomain
        If a size is not above zero, or the part bends by more than 0.1 rad, where the
        formulas for small curvature no longer hold.

    Notes
    -----
    Free, of one material, with the temperature linear through the thickness. A part
    that is held straight by its fixture shows it as force and not as shape.

    Examples
    --------
    >>> round(bending(1000.0, 20.0, 23.1e-6, 0.5).sagitta_mm, 3)
    0.072
    """
    length = positive("length_mm", length_mm)
    thickness = positive("thickness_mm", thickness_mm)
    curvature = (
        finite("expansion_per_k", expansion_per_k)
        * finite("difference_k", difference_k)
        / thickness
    )
    tilt = curvature * length
    if abs(tilt) > 0.1:
        raise OutOfDomain(
            f"The part would bend by {abs(tilt):.2g} rad; the formulas hold up to 0.1. "
            "Check the thickness and the temperature difference."
        )
    return Bending(
        curvature_per_mm=curvature,
        sagitta_mm=curvature * length**2 / 8.0,
        end_tilt_rad=tilt,
        chord_change_mm=-length * tilt**2 / 24.0,
    )


def bending_term(
    effect_at_limit: float, *, correction: float = 0.0, unit: str = "mm"
) -> Term:
    """Give the share of thermal bending, from its effect at the limit of ΔT.

    Parameters
    ----------
    effect_at_limit : float
        Effect on the result (sagitta, length change or tilt from :func:`bending`) for
        the half-width of what the temperature difference may be about its estimate.
    correction : float
        What is added to the result for the estimated difference; 0 for none.
    unit : str
        Unit of the result.

    Examples
    --------
    >>> round(bending_term(0.012).contribution, 4)
    0.0069
    """
    return Term(
        TermKind.BENDING,
        "thermal bending",
        Rectangular(abs(finite("effect_at_limit", effect_at_limit))),
        correction=correction,
        unit=unit,
    )


def coating_term(
    thickness_mm: float,
    u_thickness_mm: float,
    *,
    outward: Sequence[float],
    is_spray: bool = True,
    name: str = "",
) -> Term:
    r"""Give the correction for matting spray, or for the thickness of targets.

    Parameters
    ----------
    thickness_mm, u_thickness_mm : float
        Mean thickness of the coat (of the targets), and its standard uncertainty.
    outward : sequence of float
        Change of the result per unit by which each coated surface moves outward: two
        end faces of an external length ``[1, 1]``, of an internal one ``[-1, -1]``,
        a step between two faces that look the same way ``[1, -1]``, an external
        diameter ``[1, 1]``.
    is_spray : bool
        False for targets.
    name : str
        Printed; a default follows from the kind.

    Returns
    -------
    Term
        Correction :math:`-t \sum o_i` with u :math:`u(t) |\sum o_i|`: what one coat
        does to both ends of a step cancels.

    Examples
    --------
    >>> term = coating_term(0.008, 0.003, outward=[1, 1])
    >>> term.correction, round(abs(term.contribution), 4)
    (-0.016, 0.006)
    """
    thickness = non_negative("thickness_mm", thickness_mm)
    spread = non_negative("u_thickness_mm", u_thickness_mm)
    moved = math.fsum(finite("outward", each) for each in outward)
    distribution: Distribution = Normal(spread)
    kind = TermKind.SPRAY if is_spray else TermKind.TARGET_THICKNESS
    return Term(
        kind,
        name or kind.value,
        distribution,
        sensitivity=-moved,
        correction=-moved * thickness,
    )
