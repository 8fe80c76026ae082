"""What a real LibreOffice Calc shows for formulas, for a CSV by its address and for a workbook: one start for all.

`calc_uno.py` does it under the operating system's Python, the only one that has `uno`; this runs it, with a profile
and a place of its own, and leaves nothing behind.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import signal
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from tests.clients.serving import needs

__all__ = ["Cell", "Report", "recalculated"]

_PYTHON: Final = "/usr/bin/python3"
_DRIVER: Final = Path(__file__).with_name("calc_uno.py")
_PIPES: Final = Path("/", "tmp")  # where Calc puts them, whatever the environment says
_GET: Final = "apt-get install libreoffice-calc libreoffice-script-provider-python python3-uno"


@dataclass(frozen=True, slots=True)
class Cell:
    """What a cell shows."""

    formula: str
    text: str
    """As displayed."""
    value: float
    """0 for a text or an error."""
    error: int
    """Number of the error as Calc displays it, such as 540 for Err:540; 0 for none."""


@dataclass(frozen=True, slots=True)
class Report:
    """All that one run of Calc found."""

    libreoffice: str
    """Its version."""
    seconds: Mapping[str, float]
    """How long each part took [s]."""
    cells: Sequence[Cell]
    """One for each formula, in order."""
    csv: Mapping[str, Sequence[Sequence[str]]] = field(default_factory=dict)
    """Rows of each address."""
    workbook: Mapping[str, Mapping[str, Cell]] = field(default_factory=dict)
    """Used cells by sheet and address, such as B3."""
    decimal_comma: Sequence[Cell] = ()
    """One for each formula that was asked for under a locale with a decimal comma."""

    def errors(self) -> list[str]:
        """The cells that show an error, in words: formulas and workbook."""
        wrong = [f"{cell.formula} shows {cell.text}" for cell in (*self.cells, *self.decimal_comma) if cell.error]
        for sheet, cells in self.workbook.items():
            wrong += [f"{sheet}!{where} {c.formula} shows {c.text}" for where, c in cells.items() if c.error]
        return wrong


def recalculated(
    formulas: Sequence[str] = (),
    csv_urls: Sequence[str] = (),
    workbook: Path | None = None,
    *,
    inputs: Mapping[str, Mapping[str, str]] | None = None,
    decimal_comma: Sequence[str] = (),
    within_s: float = 300.0,
) -> Report:
    """Have one LibreOffice Calc recalculate, in this order.

    Parameters: formulas, as an English Calc takes them, `;` between arguments; csv_urls, loaded as sheets; workbook,
    a file of any kind that Calc opens, all its cells are told; inputs, what to type into its cells before that, by
    sheet and address; decimal_comma, formulas under the locale de-DE; within_s [s], for all of it.
    Returns: the report.
    Raises: AssertionError where Calc failed or took too long.
    """
    needs(command="soffice", get=_GET)
    needs(file=_PYTHON, get=_GET)
    with tempfile.TemporaryDirectory(prefix="calc-", ignore_cleanup_errors=True) as place:
        pipe = Path(place).name
        job = {
            "place": place,
            "pipe": pipe,
            "formulas": list(formulas),
            "csv_urls": list(csv_urls),
            "workbook": None if workbook is None else str(workbook),
            "inputs": {sheet: dict(typed) for sheet, typed in (inputs or {}).items()},
            "decimal_comma": list(decimal_comma),
        }
        try:
            found = _run(json.dumps(job), within_s)
        finally:
            for left in _pipes(Path(place)):
                left.unlink(missing_ok=True)
    return Report(
        libreoffice=found["libreoffice"],
        seconds=found["seconds"],
        cells=[Cell(**cell) for cell in found["cells"]],
        csv=found["csv"],
        workbook={
            sheet: {where: Cell(**cell) for where, cell in cells.items()}
            for sheet, cells in found.get("workbook", {}).items()
        },
        decimal_comma=[Cell(**cell) for cell in found.get("decimal_comma", [])],
    )


def _run(job: str, within_s: float) -> dict[str, Any]:
    driver = subprocess.Popen(
        [_PYTHON, str(_DRIVER)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        told, complaint = driver.communicate(job, timeout=within_s)
    except subprocess.TimeoutExpired as late:
        raise AssertionError(f"Calc took more than {within_s:g} s") from late
    finally:
        # what it started is in the group of its own id, and nothing else is
        with contextlib.suppress(ProcessLookupError):
            os.killpg(driver.pid, signal.SIGKILL)
        driver.wait()
    assert driver.returncode == 0, complaint
    found: dict[str, Any] = json.loads(told)
    return found


def _pipes(place: Path) -> list[Path]:
    """The pipes that a Calc which was killed leaves: the one it was told to open, and one named for its profile."""
    profile = hashlib.md5((place / "profile").as_uri().encode("utf-16-le"), usedforsecurity=False).digest()
    names = (place.name, "SingleOfficeIPC_" + "".join(f"{byte:x}" for byte in profile))
    return [_PIPES / f"OSL_PIPE_{os.getuid()}_{name}" for name in names]
