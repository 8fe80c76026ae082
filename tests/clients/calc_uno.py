"""Drive a LibreOffice Calc of its own: formulas in, what the cells show out. Run by the interpreter that has `uno`.

Read by `tests.clients.calc`, which hands over one JSON object on the standard input (see `Job` there) and reads one
from the standard output. The `uno` module is a package of the operating system's Python: it is imported only when this
runs, so that the module can be imported anywhere.

Calc leaves a formula that asks a server alone (Err:540) unless the document is a file in a trusted place of its
profile and is opened with full update of its links. Both are done here; a converting command line cannot.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import Any, Final
from xml.sax.saxutils import escape, quoteattr

_FULL_UPDATE: Final = 3  # com.sun.star.document.UpdateDocMode.FULL_UPDATE
_CSV_FILTER: Final = "Text - txt - csv (StarCalc)"
_CSV_AS_READ: Final = "44,34,76,1"  # comma, double quote, UTF-8, from line 1
_STARTS_WITHIN_S: Final = 120.0
_ENDS_WITHIN_S: Final = 15.0
_STORED_AS: Final = ("WEBSERVICE(", "FILTERXML(", "ENCODEURL(")  # functions that a file keeps under another prefix

_PROFILE: Final = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Common/Security/Scripting"><prop oor:name="SecureURL" oor:op="fuse">
<value><it>{trusted}</it></value></prop></item>
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse">
<value>en-US</value></prop></item>
</oor:items>
"""
_SHEET: Final = """<?xml version="1.0" encoding="UTF-8"?>
<office:document xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:of="urn:oasis:names:tc:opendocument:xmlns:of:1.2"
 office:version="1.3" office:mimetype="application/vnd.oasis.opendocument.spreadsheet">
<office:body><office:spreadsheet><table:table table:name="S">{rows}</table:table></office:spreadsheet></office:body>
</office:document>
"""


def sheet_text(formulas: Sequence[str]) -> str:
    """A flat document with the formulas in its first column.

    Parameters: formulas, as an English Calc with `;` between arguments takes them.
    Returns: the document.

    >>> '"of:=COM.MICROSOFT.WEBSERVICE(A2)"' in sheet_text(["=WEBSERVICE(A2)"])
    True
    """
    rows = []
    for formula in formulas:
        for name in _STORED_AS:
            formula = formula.replace(name, "COM.MICROSOFT." + name)
        rows.append(
            f"<table:table-row><table:table-cell table:formula={quoteattr('of:' + formula)}/></table:table-row>"
        )
    return _SHEET.format(rows="".join(rows))


class Calc:
    """A headless Calc with its own profile, reached through a named pipe."""

    def __init__(self, uno: Any, place: Path, pipe: str) -> None:
        self.uno = uno
        self.place = place
        user = place / "profile" / "user"
        user.mkdir(parents=True)
        (user / "registrymodifications.xcu").write_text(
            _PROFILE.format(trusted=escape(place.as_uri())), encoding="utf-8"
        )
        profile = (place / "profile").as_uri()
        self.process = subprocess.Popen(
            [
                "soffice",
                f"-env:UserInstallation={profile}",
                "--headless",
                "--norestore",
                "--nologo",
                "--nodefault",
                f"--accept=pipe,name={pipe};urp;",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "TMPDIR": str(place)},
        )
        self.services = self._connected(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        self.desktop = self.service("com.sun.star.frame.Desktop")

    def _connected(self, where: str) -> Any:
        local = self.uno.getComponentContext()
        resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
        until = time.monotonic() + _STARTS_WITHIN_S
        while True:
            try:
                return resolver.resolve(where)
            except Exception as error:
                if time.monotonic() > until or self.process.poll() is not None:
                    self.process.kill()
                    raise TimeoutError("Calc did not start") from error
                time.sleep(0.05)

    def service(self, name: str) -> Any:
        """A service of the running Calc by name."""
        return self.services.ServiceManager.createInstanceWithContext(name, self.services)

    def ended(self) -> None:
        """Let it end, or end it."""
        try:
            self.desktop.terminate()
            self.process.wait(_ENDS_WITHIN_S)
        except Exception:
            self.process.kill()

    def named(self, **values: Any) -> tuple[Any, ...]:
        """Values by name, as Calc takes them."""
        return tuple(
            self.uno.createUnoStruct("com.sun.star.beans.PropertyValue", Name=name, Value=value)
            for name, value in values.items()
        )

    def version(self) -> str:
        """Its version."""
        found = self._settings("/org.openoffice.Setup/Product", "ConfigurationAccess").ooSetupVersionAboutBox
        return str(found)

    def set_locale(self, locale: str) -> None:
        """Take over the locale of numbers that people choose in the options: it decides how a number becomes text."""
        node = self._settings("/org.openoffice.Setup/L10N", "ConfigurationUpdateAccess")
        node.ooSetupSystemLocale = locale
        node.commitChanges()

    def _settings(self, path: str, how: str) -> Any:
        provider = self.service("com.sun.star.configuration.ConfigurationProvider")
        return provider.createInstanceWithArguments(f"com.sun.star.configuration.{how}", self.named(nodepath=path))

    def opened(self, url: str, **more: Any) -> Any:
        """A document, hidden."""
        document = self.desktop.loadComponentFromURL(url, "_blank", 0, self.named(Hidden=True, **more))
        if document is None:
            raise OSError(f"Calc did not open {url}")
        return document

    def formulas(self, formulas: Sequence[str]) -> list[dict[str, Any]]:
        """What each formula shows."""
        source = self.place / "sheet.fods"
        source.write_text(sheet_text(formulas), encoding="utf-8")
        document = self.opened(source.as_uri(), UpdateDocMode=_FULL_UPDATE)
        try:
            sheet = document.Sheets.getByIndex(0)
            return [
                {**shown(sheet.getCellByPosition(0, row)), "formula": formula} for row, formula in enumerate(formulas)
            ]
        finally:
            document.close(True)

    def csv(self, url: str) -> list[list[str]]:
        """A CSV loaded from an address as a sheet."""
        document = self.opened(url, FilterName=_CSV_FILTER, FilterOptions=_CSV_AS_READ)
        try:
            sheet = document.Sheets.getByIndex(0)
            end = used(sheet)
            lines = sheet.getCellRangeByPosition(0, 0, end.EndColumn, end.EndRow).getFormulaArray()
            return [list(line) for line in lines]
        finally:
            document.close(True)

    def workbook(self, path: str, inputs: dict[str, dict[str, str]]) -> dict[str, dict[str, dict[str, Any]]]:
        """Every used cell of every sheet, after some cells were filled as if typed."""
        source = self.place / Path(path).name
        source.write_bytes(Path(path).read_bytes())
        document = self.opened(source.as_uri(), UpdateDocMode=_FULL_UPDATE)
        try:
            for name, typed in inputs.items():
                for address, content in typed.items():
                    document.Sheets.getByName(name).getCellRangeByName(address).setFormula(content)
            document.calculateAll()
            return {sheet.Name: dump(sheet) for sheet in document.Sheets}
        finally:
            document.close(True)


def shown(cell: Any) -> dict[str, Any]:
    """What a cell holds and shows."""
    return {"text": cell.String, "value": cell.Value, "error": cell.getError(), "formula": cell.Formula}


def used(sheet: Any) -> Any:
    """The last used column and row of a sheet."""
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    return cursor.RangeAddress


def dump(sheet: Any) -> dict[str, dict[str, Any]]:
    """The used cells of a sheet by address, such as B3."""
    end = used(sheet)
    everything = sheet.getCellRangeByPosition(0, 0, end.EndColumn, end.EndRow).getFormulaArray()
    return {
        f"{column_name(column)}{row + 1}": shown(sheet.getCellByPosition(column, row))
        for row, line in enumerate(everything)
        for column, content in enumerate(line)
        if content != ""
    }


def column_name(column: int) -> str:
    """The letters of a column.

    Parameters: column, counted from 0.
    Returns: its letters.

    >>> column_name(0), column_name(25), column_name(26), column_name(701), column_name(702)
    ('A', 'Z', 'AA', 'ZZ', 'AAA')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def main() -> int:
    """Read a job, do it with one start of Calc, write what was found."""
    job = json.load(sys.stdin)
    uno = import_module("uno")
    seconds: dict[str, float] = {}

    def timed(name: str, began: float) -> None:
        seconds[name] = round(time.monotonic() - began, 3)

    began = time.monotonic()
    calc = Calc(uno, Path(job["place"]), job["pipe"])
    try:
        timed("start", began)
        report: dict[str, Any] = {"libreoffice": calc.version(), "seconds": seconds}
        began = time.monotonic()
        report["cells"] = calc.formulas(job["formulas"])
        timed("formulas", began)
        began = time.monotonic()
        report["csv"] = {url: calc.csv(url) for url in job["csv_urls"]}
        timed("csv", began)
        if job["workbook"]:
            began = time.monotonic()
            report["workbook"] = calc.workbook(job["workbook"], job["inputs"])
            timed("workbook", began)
        if job["decimal_comma"]:
            began = time.monotonic()
            calc.set_locale("de-DE")
            report["decimal_comma"] = calc.formulas(job["decimal_comma"])
            timed("decimal_comma", began)
    finally:
        calc.ended()
    json.dump(report, sys.stdout)
    return 0


if __name__ == "__main__":
    sys.exit(main())
