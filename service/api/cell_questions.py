"""The questions that a spreadsheet cell can ask, in the order in which they are listed."""

from __future__ import annotations

from service.api.cell_after import AFTER_QUESTIONS
from service.api.cell_amounts import AMOUNT_QUESTIONS
from service.api.cell_cost import COST_QUESTIONS
from service.api.cell_label import LABEL_QUESTIONS
from service.api.cell_must import MUST_QUESTIONS
from service.api.cell_packaging import PACKAGING_QUESTIONS
from service.api.cell_pressure import PRESSURE_QUESTIONS
from service.api.cell_readings import READING_QUESTIONS
from service.api.cell_share import SHARE_QUESTIONS
from service.api.cell_stabilising import STABILISING_QUESTIONS
from service.api.cell_sugar import SUGAR_QUESTIONS
from service.api.question import Question

QUESTIONS: tuple[Question, ...] = (
    *AMOUNT_QUESTIONS,
    *AFTER_QUESTIONS,
    *READING_QUESTIONS,
    *SUGAR_QUESTIONS,
    *SHARE_QUESTIONS,
    *STABILISING_QUESTIONS,
    *PACKAGING_QUESTIONS,
    *PRESSURE_QUESTIONS,
    *LABEL_QUESTIONS,
    *MUST_QUESTIONS,
    *COST_QUESTIONS,
)
