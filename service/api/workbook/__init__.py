"""The ready workbook: sheets of questions, test batches, a batch record, the catalogue, and where it is served."""

from service.api.workbook.router import workbook_router

__all__ = ["workbook_router"]
