"""The words on a picture: title, names of views, legend, scale bars, labels, and the knob with what it shows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from gougeform.present.palette import INK, PAPER, QUIET, colour, words
from gougeform.show.scene import Camera, Moment, Scene

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

_MARGIN, _TITLE, _LINE, _SMALL = 40, 40, 25, 22
_LINES = ("edge", "edge of the second tool", "crease", "heel line", "contact line")
_LEFT_OUT = ("heel line",)


def font(size: float, bold: bool = False) -> FreeTypeFont:
    """The lettering of all pictures, at a size in pixels."""
    import matplotlib
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name), size)


def fitted(text: str, size: float, bold: bool, room: float) -> FreeTypeFont:
    """The font at that size, or as much smaller as the text needs to fit."""
    letters = font(size, bold)
    long = letters.getlength(text)
    return letters if long <= room else font(max(size * room / long, 8.0), bold)


class Board:
    """The paper of one scene at `grain` px for a px of the scene: what stays the same on it is written once."""

    def __init__(self, scene: Scene, grain: float = 1.0):
        from PIL import Image, ImageDraw

        self.scene, self.grain = scene, grain
        self.size = (round(grain * scene.size[0]), round(grain * scene.size[1]))
        self.paper = Image.new("RGB", self.size, PAPER)
        self._write(ImageDraw.Draw(self.paper))

    def box(self, view: Camera) -> tuple[int, int, int, int]:
        """A view's box in pixels."""
        x, y, w, h = (round(self.grain * v) for v in view.box)
        return x, y, w, h

    def filled(self, frame: Moment, pictures: list[Image]) -> Image:
        """The whole picture of a frame, from the pictures of its views in their order."""
        from PIL import ImageDraw

        sheet = self.paper.copy()
        for view, one in zip(self.scene.views, pictures, strict=True):
            sheet.paste(one, self.box(view)[:2])
        pen = ImageDraw.Draw(sheet)
        for view in self.scene.views:
            if view.labels:
                self._labels(pen, frame, view.at(frame))
        self._knob(pen, frame)
        return sheet

    def _write(self, pen: ImageDraw) -> None:
        g, scene = self.grain, self.scene
        room = self.size[0] - 2 * _MARGIN * g
        pen.text((_MARGIN * g, 22 * g), scene.title, fill=INK, font=fitted(scene.title, _TITLE * g, True, room))
        for number, line in enumerate(scene.lines[:2]):
            y = (78 + 34 * number) * g
            pen.text((_MARGIN * g, y), line, fill=QUIET, font=fitted(line, _LINE * g, False, room))
        for view in scene.views:
            x, y, w, _ = (g * v for v in view.box)
            pen.text((x, y - 30 * g), view.name, fill=QUIET, font=fitted(view.name, _SMALL * g, False, 0.7 * w))
            _scale_bar(pen, view, g)
        self._legend(pen)

    def _legend(self, pen: ImageDraw) -> None:
        g = self.grain
        found = [one for one in self.scene.meanings() if one not in _LEFT_OUT]
        letters, x, y = font(_SMALL * g), _MARGIN * g, self.size[1] - 46 * g
        named = list(zip(found, words(found), strict=True))
        width = sum(44 * g + letters.getlength(name) + 30 * g for _, name in named)
        shrink = min(1.0, (self.size[0] - 2 * _MARGIN * g) / width)
        letters = font(_SMALL * g * shrink)
        for meaning, name in named:
            if meaning in _LINES:
                pen.line(
                    (x, y + 14 * g, x + 34 * g * shrink, y + 14 * g), fill=colour(meaning), width=max(round(6 * g), 2)
                )
            else:
                at = (x, y, x + 34 * g * shrink, y + 28 * g)
                pen.rounded_rectangle(at, 5 * g, fill=colour(meaning), outline=QUIET)
            pen.text((x + 42 * g * shrink, y), name, fill=INK, font=letters)
            x += 44 * g * shrink + letters.getlength(name) + 30 * g * shrink

    def _labels(self, pen: ImageDraw, frame: Moment, view: Camera) -> None:
        """Each label beside its place, with a line to it; kept inside the box, and off the labels before it."""
        g = self.grain
        x0, y0, w, h = (g * v for v in view.box)
        letters, taken = font(_SMALL * g), list[float]()
        for label in frame.labels:
            place = g * view.place(label.at[None])[0]
            wide, tall = letters.getlength(label.words), 30 * g
            left = min(max(place[0] + 26 * g, x0 + 6 * g), x0 + w - wide - 6 * g)
            top = min(max(place[1] - 70 * g, y0 + 6 * g), y0 + h - tall - 6 * g)
            while any(abs(top - other) < 1.15 * tall for other in taken):
                top += 1.2 * tall
            taken.append(top)
            tint = colour(label.meaning)
            pen.line((*place, left, top + tall / 2), fill=tint, width=max(round(2 * g), 1))
            pen.rectangle((left - 5 * g, top, left + wide + 5 * g, top + tall), fill=PAPER)
            pen.text((left, top + 1 * g), label.words, fill=tint, font=letters)

    def _knob(self, pen: ImageDraw, frame: Moment) -> None:
        """How far along the frames this one is, and what it shows."""
        g, scene = self.grain, self.scene
        if not scene.knob:
            return
        left, right, y = 40 * g, 420 * g, self.size[1] - 84 * g
        part = scene.frames.index(frame) / max(len(scene.frames) - 1, 1)
        pen.rounded_rectangle((left, y - 3 * g, right, y + 3 * g), 3 * g, fill="#c9c4ba")
        at = left + part * (right - left)
        pen.ellipse((at - 11 * g, y - 11 * g, at + 11 * g, y + 11 * g), fill=INK)
        text, room = frame.words, self.size[0] - (450 + _MARGIN) * g
        pen.text((450 * g, y - 15 * g), text, fill=INK, font=fitted(text, _LINE * g, False, room))


def _scale_bar(pen: ImageDraw, view: Camera, g: float) -> None:
    """A bar of a round number of mm, over the right end of a view."""
    x, y, w, _ = (g * v for v in view.box)
    most = 0.25 * w / g / view.scale
    length = max((mm for mm in (0.5, 1, 2, 5, 10, 20, 50, 100, 200) if mm <= most), default=0.5)
    long = length * view.scale * g
    letters, text = font(0.9 * _SMALL * g), f"{length:g} mm"
    right, low = x + w - 2 * g, y - 6 * g
    pen.line((right - long, low, right, low), fill=INK, width=max(round(3 * g), 1))
    for end in (right - long, right):
        pen.line((end, low - 8 * g, end, low), fill=INK, width=max(round(3 * g), 1))
    pen.text((right - long - letters.getlength(text) - 10 * g, low - 20 * g), text, fill=INK, font=letters)
