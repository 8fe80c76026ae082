"""Fields that are refused where they do not belong, each in words that say where it does.

A line of a part that is not built goes when it is.
"""

from __future__ import annotations

from typing import Final

NOT_ANSWERED_YET: Final[dict[str, str]] = {
    "lees": "Lees come off the base before it is measured: give the volume that was racked; what settles from the "
    "blend is `settling`.",
    "losses": "Losses stand beside the targets of POST /v1/blend-plans, for one drink: leave them out here.",
    "scores": "Scores are judged by POST /v1/tastings, with the doses they belong to: send them there.",
}
"""Field name to what to do instead."""
