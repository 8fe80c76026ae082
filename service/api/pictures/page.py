"""A page of words and panels: how words are measured and wrapped, and pieces of a page that know their height.

Everything is placed in points [pt, 1/72 in] on one page of fixed width. Words are measured in DejaVu Sans, which
matplotlib brings along; a character that it lacks becomes an empty square.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

WIDTH, EDGE, LEFT, RIGHT = 648.0, 22.0, 60.0, 150.0
"""Width of the page, margin of text, and room left and right of the panels [pt]."""
INSIDE: Final = WIDTH - 2.0 * EDGE
SMALL, BODY, TITLE = 9.0, 9.5, 13.0
INK, SOFT, FAINT = "#1a1a1a", "#4d4d4d", "#dedede"


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a panel stands on the page [pt, from the top], and the ranges that it shows."""

    top: float
    height: float
    xs: tuple[float, float]
    ys: tuple[float, float]

    @property
    def bottom(self) -> float:
        """Lower edge [pt, from the top of the page]."""
        return self.top + self.height

    def across(self, x: float) -> float:
        """Place of a level of the first property [pt, from the left]."""
        return LEFT + (x - self.xs[0]) / (self.xs[1] - self.xs[0]) * (WIDTH - LEFT - RIGHT)

    def down(self, y: float) -> float:
        """Place of a value [pt, from the top of the page]."""
        return self.bottom - (y - self.ys[0]) / (self.ys[1] - self.ys[0]) * self.height


class Lettering:
    """Measures, cleans and wraps words."""

    def __init__(self) -> None:
        from matplotlib.font_manager import FontProperties, findfont, get_font
        from matplotlib.textpath import text_to_path

        faces = [FontProperties(family=["DejaVu Sans"], weight=weight) for weight in ("normal", "bold")]
        self._glyphs = set.intersection(*(set(get_font(findfont(face)).get_charmap()) for face in faces))

        @cache
        def face(size: float, bold: bool) -> FontProperties:
            return FontProperties(family=["DejaVu Sans"], weight="bold" if bold else "normal", size=size)

        @cache
        def em(word: str, bold: bool) -> float:
            """Width of a word at a size of 1 [pt]."""
            return float(text_to_path.get_text_width_height_descent(word, face(100.0, bold), False)[0]) / 100.0

        self.face, self._em = face, em

    def width(self, text: str, size: float = BODY, bold: bool = False) -> float:
        """Width [pt]; words are measured one by one, since most of them come again."""
        words = text.split(" ")
        gap = self._em("a b", bold) - self._em("a", bold) - self._em("b", bold)
        return size * (sum(self._em(word, bold) for word in words if word) + gap * (len(words) - 1))

    def clean(self, text: str) -> str:
        """One line of characters that the typeface has."""
        return "".join(c if ord(c) in self._glyphs else "□" for c in readable(text))

    def wrap(self, text: str, width: float, size: float = BODY, bold: bool = False, most: int = 99) -> list[str]:
        """Lines no wider than `width` [pt], at most `most` of them; what is cut off ends in an ellipsis.

        A figure stays with its unit.
        """
        lines, line = [], ""
        glued = re.sub(r"(?<=\babout) (?=\d)|(?<=\d) (?=[^\d\s])", "\u00a0", self.clean(text))
        for word in glued.split(" "):
            both = f"{line} {word}" if line else word
            if self.width(both, size, bold) <= width:
                line = both
                continue
            if line:
                lines.append(line)
            line = word
            while self.width(line, size, bold) > width and len(line) > 1:
                fit = next(
                    k for k in range(len(line) - 1, 0, -1) if k == 1 or self.width(line[:k], size, bold) <= width
                )
                lines.append(line[:fit])
                line = line[fit:]
        lines.append(line)
        if len(lines) > most:
            last = lines[most - 1]
            while last and self.width(last + "…", size, bold) > width:
                last = last[:-1]
            lines = [*lines[: most - 1], last + "…"]
        return [line.replace("\u00a0", " ") for line in lines]


class Page:
    """A sheet whose places are points from its top left corner."""

    def __init__(self, height: float, lettering: Lettering) -> None:
        from matplotlib.figure import Figure

        self.height, self.lettering = height, lettering
        self.figure: Figure = Figure(figsize=(WIDTH / 72.0, height / 72.0), facecolor="white")

    def text(self, x: float, y: float, words: str, size: float = BODY, bold: bool = False, **options: Any) -> None:
        """Write one line with its base line at y."""
        face = self.lettering.face(size, bold)
        options = {"color": INK, "va": "baseline", **options}
        self.figure.text(x / WIDTH, 1.0 - y / self.height, words, fontproperties=face, **options)

    def line(self, xs: Sequence[float], ys: Sequence[float], **options: Any) -> None:
        """Draw a line, or a marker, through places on the page [pt]."""
        from matplotlib.lines import Line2D

        shown = [x / WIDTH for x in xs], [1.0 - y / self.height for y in ys]
        self.figure.add_artist(Line2D(*shown, **options))

    def axes(self, frame: Frame, numbered: bool, ticks: int) -> Axes:
        """An empty panel with a quiet grid; the figures of the first property stand below it where `numbered`."""
        from matplotlib.ticker import MaxNLocator, ScalarFormatter

        place = (
            LEFT / WIDTH,
            1.0 - frame.bottom / self.height,
            (WIDTH - LEFT - RIGHT) / WIDTH,
            frame.height / self.height,
        )
        axes: Axes = self.figure.add_axes(place, facecolor="none", xlim=frame.xs, ylim=frame.ys)
        for side, count in ((axes.xaxis, 8), (axes.yaxis, ticks)):
            plain = ScalarFormatter(useOffset=False)
            plain.set_scientific(False)
            side.set_major_locator(MaxNLocator(count))
            side.set_major_formatter(plain)
        axes.spines[["top", "right"]].set_visible(False)
        axes.spines[["left", "bottom"]].set_color(SOFT)
        axes.tick_params(labelsize=SMALL, labelcolor=INK, color=SOFT, length=3.0, labelbottom=numbered)
        axes.grid(color=FAINT, linewidth=0.6)
        axes.set_axisbelow(True)
        return axes


@dataclass(frozen=True, slots=True)
class Block:
    """A piece of the page: its height [pt], and what draws it below a given top [pt]."""

    height: float
    draw: Callable[[Page, float], None]


def readable(text: str) -> str:
    """One line without controls, which may turn the order of letters round, or what XML 1.0 cannot hold."""
    instead = {"Cc": " ", "Cf": "", "Cs": "□", "Cn": "□", "Co": "□"}
    kept = (instead.get(unicodedata.category(c), c) for c in unicodedata.normalize("NFC", text))
    return " ".join("".join(kept).split())


def text_block(
    lines: Sequence[str], size: float = BODY, bold: bool = False, indent: float = 0.0, after: float = 4.0
) -> Block:
    """Lines of words, one below the other."""

    def draw(page: Page, top: float) -> None:
        for k, words in enumerate(lines):
            page.text(EDGE + indent, top + (k + 0.8) * 1.3 * size, words, size, bold)

    return Block(1.3 * size * len(lines) + after, draw)


def entry(lettering: Lettering, tag: str, text: str, most: int = 2, size: float = BODY) -> Block:
    """A bold tag, and words beside it."""
    indent = max(18.0, lettering.width(lettering.clean(tag), size, True) + 6.0)
    words = text_block(lettering.wrap(text, INSIDE - indent, size, most=most), size, indent=indent, after=2.0)

    def draw(page: Page, top: float) -> None:
        page.text(EDGE, top + 0.8 * 1.3 * size, lettering.clean(tag), size, True)
        words.draw(page, top)

    return Block(words.height, draw)


def heading_block(text: str) -> list[Block]:
    """A bold line with some room above it."""
    return [gap_block(6.0), text_block([text], BODY, True, after=2.0)]


def gap_block(height: float) -> Block:
    """Nothing, so high [pt]."""
    return Block(height, lambda _page, _top: None)


def boxed(inside: Sequence[Block]) -> Block:
    """Blocks one below the other in a frame."""
    height = sum(block.height for block in inside)

    def draw(page: Page, top: float) -> None:
        left, right, low, high = EDGE - 8.0, WIDTH - EDGE + 8.0, top, top + height + 8.0
        page.line([left, right, right, left, left], [low, low, high, high, low], color=INK, linewidth=1.6)
        place = top + 4.0
        for block in inside:
            block.draw(page, place)
            place += block.height

    return Block(height + 16.0, draw)
