"""The picture of a trade-off: what is told in words, the panels, the page that they stand on, and the file."""

from service.api.pictures.drawing import trade_off_picture
from service.api.pictures.words import LINES

__all__ = ["LINES", "trade_off_picture"]
