"""A drawing as inline SVG: its title and description for whoever cannot see it, and shapes that need no color.

Every look stands on the shape itself: the maker of PDF reads no style sheet inside a drawing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

INK, SOFT, RULE, CLAY, LEAF, SHEET = "#22201c", "#5b564c", "#cfc8b8", "#8a2b12", "#23513a", "#fffdf7"
"""Colors of the pages; each shape is told apart without them too."""

_FONT = "'Noto Sans', 'DejaVu Sans', sans-serif"
Point = tuple[float, float]


@dataclass(frozen=True)
class Figure:
    """A drawing with the numbers in it: ``numbers`` are rows of text, the first one the heads of the columns."""

    title: str
    svg: str
    numbers: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()


@dataclass
class Drawing:
    """Shapes in a frame of ``width`` x ``height`` user units, y downward; ``key`` is unique in the document."""

    key: str
    width: float
    height: float
    _shapes: list[str] = field(default_factory=list)

    def line(self, points: Sequence[Point], color: str = INK, width: float = 1.4, dash: str = "") -> None:
        """Draw a line through points; one point draws nothing."""
        if len(points) > 1:
            way = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
            dashed = f' stroke-dasharray="{dash}"' if dash else ""
            self._put(f'<polyline points="{way}" fill="none" stroke="{color}" stroke-width="{width}"{dashed}/>')

    def area(self, points: Sequence[Point], color: str = RULE, opacity: float = 0.35) -> None:
        """Fill the area within points."""
        way = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self._put(f'<polygon points="{way}" fill="{color}" fill-opacity="{opacity}" stroke="none"/>')

    def dot(self, at: Point, color: str = INK, radius: float = 3.4, hollow: bool = False) -> None:
        """Draw a round mark, hollow where it is less than sure."""
        fill = SHEET if hollow else color
        place = f'cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius}"'
        self._put(f'<circle {place} fill="{fill}" stroke="{color}" stroke-width="1.4"/>')

    def words(
        self, at: Point, text: str, *, anchor: str = "start", size: float = 10, color: str = SOFT, bold: bool = False
    ) -> None:
        """Write one line of text with its foot at a point; ``anchor``: start, middle or end."""
        weight = ' font-weight="bold"' if bold else ""
        look = f'font-size="{size}" fill="{color}" text-anchor="{anchor}" font-family="{_FONT}"{weight}'
        self._put(f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" {look}>{escape(text)}</text>')

    def svg(self, title: str, description: str) -> str:
        """Return the drawing, named for whoever cannot see it."""
        names = f"{self.key}-title {self.key}-desc"
        frame = f'viewBox="0 0 {self.width:g} {self.height:g}" width="{self.width:g}" height="{self.height:g}"'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby={quoteattr(names)} {frame}>'
            f'<title id="{self.key}-title">{escape(title)}</title>'
            f'<desc id="{self.key}-desc">{escape(description)}</desc>' + "".join(self._shapes) + "</svg>"
        )

    def _put(self, shape: str) -> None:
        self._shapes.append(shape)


@dataclass(frozen=True)
class Axes:
    """Two scales on a drawing: ``x`` and ``y`` give the first and last value, ``frame`` left, top, right, bottom."""

    drawing: Drawing
    x: tuple[float, float]
    y: tuple[float, float]
    frame: tuple[float, float, float, float]

    def at(self, x: float, y: float) -> Point:
        """Return where a pair of values lies; what is beyond the scale lies on its edge."""
        left, top, right, bottom = self.frame
        across = (min(max(x, self.x[0]), self.x[1]) - self.x[0]) / (self.x[1] - self.x[0])
        up = (min(max(y, self.y[0]), self.y[1]) - self.y[0]) / (self.y[1] - self.y[0])
        return left + across * (right - left), bottom - up * (bottom - top)

    def grid(self, xs: Iterable[tuple[float, str]], ys: Iterable[tuple[float, str]]) -> None:
        """Draw the frame's two axes with their marks, each as value and text."""
        left, top, right, bottom = self.frame
        for value, text in ys:
            _, y = self.at(self.x[0], value)
            self.drawing.line([(left, y), (right, y)], RULE, 0.7)
            self.drawing.words((left - 5, y + 3.5), text, anchor="end")
        for value, text in xs:
            x, _ = self.at(value, self.y[0])
            self.drawing.line([(x, bottom), (x, bottom + 4)], SOFT, 0.8)
            self.drawing.words((x, bottom + 15), text, anchor="middle")
        self.drawing.line([(left, top), (left, bottom), (right, bottom)], SOFT, 0.9)

    def curve(self, points: Iterable[Point], color: str = INK, width: float = 1.4, dash: str = "") -> None:
        """Draw a line through pairs of values."""
        self.drawing.line([self.at(*point) for point in points], color, width, dash)


def ticks(lo: float, hi: float, step: float, unit: str = "") -> list[tuple[float, str]]:
    """Return the marks of a scale from ``lo`` to ``hi``, both included where they are multiples of ``step``."""
    first = -(-lo // step)
    number = int((hi - first * step) // step) + 1
    values = [(first + i) * step for i in range(number)]
    return [(value, f"{value:g}{unit}") for value in values]
