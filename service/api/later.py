"""Parts of the published contract that this version refuses, each in words, instead of ignoring them.

When a part is built, its line here goes.
"""

from __future__ import annotations

from typing import Final

NOT_ANSWERED_YET: Final[dict[str, str]] = {
    "pack": "Whole packs are not chosen yet: give limits as masses or volumes.",
    "max_packs": "Whole packs are not chosen yet: give limits as masses or volumes.",
    "half_packs": "Whole packs are not chosen yet: give limits as masses or volumes.",
    "portions": "Splitting a batch into portions is not answered yet: ask for each drink on its own.",
    "match": "Matching a remembered drink is not answered yet: give targets on sugar, gravity and acidity.",
    "allow": "Helpful ingredients are not proposed yet, so there is nothing to allow.",
    "confidence": "Chances are not computed yet: narrow the range by the margin you want.",
    "hold_back": "Holding back is not answered yet: add four fifths, measure, and ask again.",
    "from": "Steps from another recipe are not answered yet: give the value itself.",
    "steps": "Steps from another recipe are not answered yet: give the value itself.",
    "fruit": "Fruit is not turned into juice yet: give the juice you pressed.",
    "fruit_count": "Fruit is not turned into juice yet: give the juice you pressed.",
    "label": "Nutrition labels are not read yet: give Brix or an inline composition.",
    "losses": "Losses are not reckoned yet: ask for the volume before them.",
    "scale_to": "Scaling a recipe is not answered yet: multiply its amounts.",
    "scores": "Scores are not judged yet: leave them out.",
}
"""Field name to what to do until it is built."""

KITCHEN_ROUNDING: Final = "Kitchen measures are not chosen yet: ask for rounding “scale” or “none”."
PACK_PRICE: Final = "A price per pack is not reckoned yet: give it per mass or volume, such as “1 kg”."
