"""What became of a frame: stable and moved targets, expansion, groups."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lab.metrology.alignment import Transform
from lab.metrology.errors import Degenerate
from lab.metrology.frames.groups import MovedGroup

__all__ = ["Expansion", "FrameComparison", "MovedTarget", "NoStableMajority"]


class NoStableMajority(Degenerate):
    """No more than half of the targets kept their places."""


@dataclass(frozen=True, slots=True)
class Expansion:
    """A uniform expansion from the first frame to the second.

    Attributes
    ----------
    relative, u_relative : float
        1e-6 is 1 µm/m.
    is_significant : bool
        At 5 %, two-sided.
    temperature_k, u_temperature_k : float or None
        What it means for the part, where its expansion was stated.
    """

    relative: float
    u_relative: float
    is_significant: bool
    temperature_k: float | None
    u_temperature_k: float | None


@dataclass(frozen=True, slots=True)
class MovedTarget:
    """A target that moved against the stable ones, in the first frame."""

    name: str
    shift_mm: tuple[float, float, float]
    u_shift_mm: float
    statistic: float

    @property
    def length_mm(self) -> float:
        """How far it moved."""
        return math.hypot(*self.shift_mm)


@dataclass(frozen=True, slots=True, eq=False)
class FrameComparison:
    """What became of a frame.

    Attributes
    ----------
    stable : tuple of str
        Targets that kept their places.
    moved : tuple of MovedTarget
        The others, the largest statistic first.
    groups : tuple of MovedGroup
        Moved targets that moved as one body.
    expansion : Expansion
        Tested first, on the majority.
    least_detectable_mm : mapping of str to float
        The move of each target, in the direction in which it is seen worst, that
        would have been found with the power.
    tf_before_after : Transform
        Maps the second frame onto the first by the stable targets; with scale where
        the expansion is significant.
    critical : float
        For a target's statistic, of the whole family.
    probability, power : float
        As stated.
    only_before, only_after : tuple of str
        Targets of one frame alone; they weren't compared.
    """

    stable: tuple[str, ...]
    moved: tuple[MovedTarget, ...]
    groups: tuple[MovedGroup, ...]
    expansion: Expansion
    least_detectable_mm: dict[str, float]
    tf_before_after: Transform
    critical: float
    probability: float
    power: float
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]

    @property
    def words(self) -> tuple[str, ...]:
        """What was found, in sentences."""
        said = [_expansion_words(self.expansion)]
        grouped = {name for group in self.groups for name in group.names}
        said.extend(group.words for group in self.groups)
        said.extend(
            f"Target {each.name} moved by {each.length_mm:.3g} mm "
            f"(u = {each.u_shift_mm:.2g} mm)."
            for each in self.moved
            if each.name not in grouped
        )
        if not self.moved:
            worst = max(self.least_detectable_mm.values())
            said.append(
                f"No target moved; any move of more than {worst:.2g} mm would have "
                f"been found with a probability of at least {100 * self.power:.0f} %."
            )
        return tuple(said)


def _expansion_words(expansion: Expansion) -> str:
    parts, u_parts = 1e6 * expansion.relative, 1e6 * expansion.u_relative
    said = f"Uniform expansion {parts:.1f} µm/m (u = {u_parts:.1f} µm/m)"
    if not expansion.is_significant:
        return said + ", within what chance gives."
    if expansion.temperature_k is None:
        return said + ": significant, as of a change of temperature."
    return said + (
        f": significant, as of a change of temperature of "
        f"{expansion.temperature_k:.2f} K (u = {expansion.u_temperature_k:.2f} K)."
    )
