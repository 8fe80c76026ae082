"""Log lines: one JSON object each on standard output, whichever process writes them."""

from __future__ import annotations

import json
import logging
import sys
import time
from typing import Final

from service.api.problems import json_safe

__all__ = ["ACCESS_LOGGER", "write_log_lines"]

ACCESS_LOGGER: Final = "service.access"
"""Name of the logger that gets a line for every request at level INFO; its message is the JSON itself."""


class JsonLines(logging.Formatter):
    """A record as one JSON object: time, level, logger, message, and the trace of an exception."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        if record.name == ACCESS_LOGGER:
            return record.getMessage()
        line = {
            "time": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(record.created)),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(json_safe(line), ensure_ascii=False)


def write_log_lines() -> None:
    """Have everything that is logged in this process written as JSON lines."""
    handler = logging.StreamHandler(sys.stdout)
    handler.setFormatter(JsonLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)  # what it tells below that, this service tells itself
