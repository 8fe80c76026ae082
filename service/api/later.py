"""Parts of the published contract that this version refuses, each in words, instead of ignoring them.

When a part is built, its line here goes.
"""

from __future__ import annotations

from typing import Final

NOT_ANSWERED_YET: Final[dict[str, str]] = {
    "losses": "Losses stand beside the targets of POST /v1/blend-plans, for one drink: leave them out here.",
    "scores": "Scores are judged by POST /v1/tastings, with the doses they belong to: send them there.",
}
"""Field name to what to do until it is built."""
