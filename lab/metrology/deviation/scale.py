"""The colour scale of deviations, and why it is this one.

The map is *batlow* [1]_ (package ``cmcrameri``), in steps.

- Its lightness rises evenly from end to end, so that a grey print or photocopy keeps
  the order *and the sign*: dark is low, light is high. A diverging map, the custom for
  deviations, is symmetric in lightness: printed in grey, +0.1 and -0.1 look alike.
- It is perceptually uniform and was made to be read with the common deficiencies of
  colour vision; it has no red beside green of the same lightness.
- In steps of equal width a patch can be matched with the bar beside the picture.

The picture has no shading, for that would change the lightness; shape is told by
outlines. What lies outside the tolerance is hatched and what was not measured is
dotted, so that neither needs colour.

References
----------
.. [1] Crameri, F., Shephard, G. E., Heron, P. J. (2020). The misuse of colour in
   science communication. Nature Communications 11, 5444.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from lab.metrology import arrays
from lab.metrology.errors import OutOfDomain

__all__ = ["MAP_NAME", "ColourScale", "colour_scale", "relative_luminance"]

MAP_NAME = "batlow"


@dataclass(frozen=True, slots=True, eq=False)
class ColourScale:
    """Steps of deviation and their colours.

    Attributes
    ----------
    edges_mm : ndarray, shape (n + 1,)
        Rising; what lies beyond the ends has the colour of the last step there.
    colours : ndarray of uint8, shape (n, 3)
        Red, green, blue.
    map_name : str
        Where the colours come from.
    """

    edges_mm: NDArray[np.float64]
    colours: NDArray[np.uint8]
    map_name: str

    def step_of(self, distances_mm: NDArray[np.float64]) -> NDArray[np.intp]:
        """Return the number of the step that each deviation falls into."""
        steps = np.searchsorted(self.edges_mm, distances_mm, side="right") - 1
        return np.asarray(np.clip(steps, 0, len(self.colours) - 1), dtype=np.intp)


def colour_scale(lowest_mm: float, highest_mm: float, steps: int = 10) -> ColourScale:
    """Return a stepped scale between two deviations.

    Parameters
    ----------
    lowest_mm, highest_mm : float
        The ends.
    steps : int
        From 2 to 20: more can't be told apart.

    Returns
    -------
    scale : ColourScale

    Raises
    ------
    NotFinite, OutOfDomain
        If the ends are upside down, or the steps too few or too many.

    Examples
    --------
    >>> colour_scale(-0.5, 0.5, 5).edges_mm.round(3).tolist()
    [-0.5, -0.3, -0.1, 0.1, 0.3, 0.5]
    """
    lowest = arrays.finite("lowest_mm", lowest_mm)
    highest = arrays.finite("highest_mm", highest_mm)
    if not lowest < highest:
        raise OutOfDomain(
            f"The scale must rise: lowest_mm is {lowest:g}, highest_mm {highest:g}."
        )
    if not 2 <= steps <= 20:
        raise OutOfDomain(f"steps is {steps}; it must lie from 2 to 20.")
    table = _table()
    places = np.round(np.linspace(0, len(table) - 1, steps)).astype(int)
    return ColourScale(
        edges_mm=np.linspace(lowest, highest, steps + 1),
        colours=np.round(255.0 * table[places]).astype(np.uint8),
        map_name=MAP_NAME,
    )


def relative_luminance(colours: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return the luminance of sRGB colours relative to white, shape (n,).

    As IEC 61966-2-1 defines it; it is what a grey print shows.
    """
    share = colours / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ [0.2126, 0.7152, 0.0722], dtype=np.float64)


@cache
def _table() -> NDArray[np.float64]:
    # The plain table: importing the package's own module would load a plotting
    # library for 256 rows of numbers.
    text = files("cmcrameri").joinpath("cmaps", f"{MAP_NAME}.txt").read_text("ascii")
    return np.array([line.split() for line in text.splitlines()], dtype=np.float64)
