"""Charts over time, drawn on the server: laid out once, for a page and for a PDF.

`plots`: what is to be drawn (lines, levels, marks, bands) and :func:`laid_out`, which
makes a `Picture` of it. `pictures`: strokes, signs and words in points, which
``templates/pieces/chart.html`` writes as SVG and :mod:`lab.common.pdf.charts` draws.
`axes`: where ticks stand. `periods`: the stretch of time that a page shows, by its
query, so that a chart is zoomed without a script.
"""

from lab.common.charts.periods import Period, PeriodLink, period_asked_for
from lab.common.charts.pictures import Picture, Shape, Tone
from lab.common.charts.plots import Band, Level, Line, Mark, Plot, Point, laid_out

__all__ = [
    "Band",
    "Level",
    "Line",
    "Mark",
    "Period",
    "PeriodLink",
    "Picture",
    "Plot",
    "Point",
    "Shape",
    "Tone",
    "laid_out",
    "period_asked_for",
]
