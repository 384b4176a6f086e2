"""A chart of :mod:`lab.common.charts` on paper: the same picture, as vectors."""

from __future__ import annotations

from typing import Final

from reportlab.lib.colors import Color, HexColor
from reportlab.platypus import Flowable

from lab.common.charts.pictures import Picture, Shape, Sign, Stroke, Tone, Word
from lab.common.pdf import fonts, look
from lab.common.pdf.text import drawable

TONES: Final[dict[Tone, Color]] = {
    Tone.INK: look.INK,
    Tone.QUIET: look.QUIET,
    Tone.GOOD: HexColor("#1d5e3a"),
    Tone.WAIT: HexColor("#7a5200"),
    Tone.BAD: HexColor("#a11a1a"),
}
FONT_SIZE: Final = 12.0
SHADE: Final = 0.18


class Chart(Flowable):
    """A picture scaled to the width that it gets."""

    def __init__(self, picture: Picture) -> None:
        super().__init__()
        self.picture = picture

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.width = width
        self.height = self.picture.height * width / self.picture.width
        return self.width, self.height

    def draw(self) -> None:
        canvas, picture = self.canv, self.picture
        fonts.sheet()
        scale = self.width / picture.width
        canvas.saveState()
        # The picture counts from its top left, the paper from its bottom left; only
        # places are turned over, or the words would stand on their heads.
        canvas.scale(scale, scale)
        for box in picture.boxes:
            canvas.setFillColor(TONES[box.tone], alpha=SHADE)
            bottom = picture.height - box.y - box.height
            canvas.rect(box.x, bottom, box.width, box.height, stroke=0, fill=1)
        canvas.setFillAlpha(1)
        for stroke in picture.strokes:
            self._stroke(stroke)
        for sign in picture.signs:
            self._sign(sign)
        for word in picture.words:
            self._word(word)
        canvas.restoreState()

    def _up(self, y: float) -> float:
        return self.picture.height - y

    def _stroke(self, stroke: Stroke) -> None:
        canvas = self.canv
        canvas.setStrokeColor(TONES[stroke.tone])
        canvas.setLineWidth(stroke.width)
        canvas.setDash([4, 4] if stroke.dashed else [])
        path = canvas.beginPath()
        (x, y), *rest = stroke.places
        path.moveTo(x, self._up(y))
        for x, y in rest:
            path.lineTo(x, self._up(y))
        canvas.drawPath(path)

    def _sign(self, sign: Sign) -> None:
        canvas = self.canv
        canvas.setDash([])
        canvas.setFillColor(TONES[sign.tone])
        canvas.setStrokeColor(TONES[sign.tone])
        canvas.setLineWidth(1.5)
        if sign.corners:
            path = canvas.beginPath()
            (x, y), *rest = sign.corners
            path.moveTo(x, self._up(y))
            for x, y in rest:
                path.lineTo(x, self._up(y))
            path.close()
            canvas.drawPath(path, stroke=0, fill=1)
        elif sign.shape is Shape.RING:
            canvas.circle(sign.x, self._up(sign.y), 3.5, stroke=1, fill=0)
        else:
            canvas.circle(sign.x, self._up(sign.y), 3, stroke=0, fill=1)

    def _word(self, word: Word) -> None:
        canvas = self.canv
        canvas.setFillColor(TONES[word.tone])
        canvas.setFont(fonts.PLAIN, FONT_SIZE)
        draw = {
            "start": canvas.drawString,
            "middle": canvas.drawCentredString,
            "end": canvas.drawRightString,
        }[word.anchor]
        draw(word.x, self._up(word.y), drawable(word.text))
