"""The list of cell questions: JSON, a page and rows, whose formulas ask the service that lists them."""

from __future__ import annotations

import csv
import io
import re
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urljoin

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.testclient import TestClient
from starlette.types import Receive, Scope, Send

from service.api.addresses import address_of
from service.api.cell_formulas import SHEETS, Sheet, number_formula, words_formula
from service.api.cell_questions import QUESTIONS
from service.api.settings import Settings
from service.errors import InputError
from tests.api.real import app

HTML = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
ADDRESS = re.compile(r'"(http[^"]+)"')


LITERAL = re.compile(r'"([^"]*)"')


def addresses(formula: str) -> list[str]:
    """The addresses that a formula asks, each joined from its pieces."""
    return ADDRESS.findall(formula.replace('"&"', ""))


def listed(**headers: str) -> dict[str, dict[str, Any]]:
    return {cell["question"]: cell for cell in app().get("/v1/cell", headers=headers).json()["cells"]}


def test_the_formulas_ask_this_service_and_get_the_example_s_answer() -> None:
    for name, cell in listed(Host="cellar.example:8123").items():
        for sheet in ("excel", "libreoffice", "google_sheets"):
            (address,) = addresses(cell["formulas"][sheet])
            assert address.startswith(f"http://cellar.example:8123/v1/cell/{name}?")
            assert app().get(address.removeprefix("http://cellar.example:8123")).text == cell["example_answer"]
            (beside,) = addresses(cell["caution_formulas"][sheet])
            assert app().get(beside.removeprefix("http://cellar.example:8123")).status_code == 200
        assert cell["unit"]


def test_formulas_are_written_as_each_spreadsheet_reads_them() -> None:
    formulas = listed()["sg-from-brix"]["formulas"]
    assert re.fullmatch(r'=NUMBERVALUE\(WEBSERVICE\("[^"]+"\),"\."\)', formulas["excel"])
    assert re.fullmatch(r'=NUMBERVALUE\(WEBSERVICE\("[^"]+"\);"\."\)', formulas["libreoffice"])
    assert re.fullmatch(r'=IMPORTDATA\("[^"]+",",","en_US"\)', formulas["google_sheets"])


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("length", [1, 199, 200, 201, 2048])
def test_no_text_in_a_formula_is_longer_than_excel_takes(sheet: Sheet, length: int) -> None:
    """Excel takes texts of up to 255 characters within a formula (from memory, unverified)."""
    url = "http://" + "a1=%20&"[: length % 7] + "x" * length
    for formula in (number_formula(sheet, url), words_formula(sheet, url)):
        assert max(map(len, LITERAL.findall(formula))) <= 255
        assert addresses(formula) == [url]


@pytest.mark.parametrize(
    ("setting", "host", "expected"),
    [
        ("", "cellar.example", "http://cellar.example/"),
        ("", "[::1]:8000", "http://[::1]:8000/"),
        ("https://blend.example/solver/", "cellar.example", "https://blend.example/solver/"),
        ("", 'x"><script>', "http://testserver:80/"),
        ("", "", "http://testserver:80/"),
    ],
)
def test_the_address_in_formulas(setting: str, host: str, expected: str) -> None:
    told: list[str] = []

    async def tells(scope: Scope, receive: Receive, send: Send) -> None:
        told.append(address_of(Request(scope, receive)))
        await Response()(scope, receive, send)

    small = Starlette(routes=[Mount("/", app=tells)])
    small.state.settings = Settings.from_environment({"SERVICE_PUBLIC_URL": setting})
    TestClient(small).get("/v1/cell", headers={"Host": host})
    assert told == [expected.removesuffix("/")]


@pytest.mark.parametrize("bad", ["solver.example", "ftp://solver.example", "https://x/?a=1", 'https://x"', "https://"])
def test_an_address_that_is_none_is_refused_at_the_start(bad: str) -> None:
    with pytest.raises(InputError, match="SERVICE_PUBLIC_URL has to be an address such as"):
        Settings.from_environment({"SERVICE_PUBLIC_URL": bad})


def test_what_is_needed_is_enough_and_nothing_less() -> None:
    for name, cell in listed().items():
        given = dict(pair.split("=", 1) for pair in cell["example"].split("?")[1].split("&"))
        assert set(cell["needed"]) <= set(given) <= set(cell["parameters"])
        assert [detail["name"] for detail in cell["details"] if detail["needed"]] == cell["needed"]
        assert {detail["name"] for detail in cell["details"]} == set(cell["parameters"])
        assert all(detail["meaning"] for detail in cell["details"])
        sets_of_one = [[needed] for needed in cell["needed"]] + cell["either"]
        for alternatives in sets_of_one:
            query = "&".join(f"{key}={value}" for key, value in given.items() if key not in alternatives)
            assert app().get(f"/v1/cell/{name}?{query}").status_code == 422, (name, alternatives)


def test_a_table_for_spreadsheets() -> None:
    response = app().get("/v1/cell.csv")
    assert response.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(response.text)))
    assert [row["question"] for row in rows] == [question.name for question in QUESTIONS]
    for row in rows:
        assert row["libreoffice"].startswith("=NUMBERVALUE(")
        assert float(row["example_answer"]) > 0.0


class Page(HTMLParser):
    """What the tests look for in the page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.tags: list[str] = []
        self.attributes: set[str] = set()
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}
        given = dict(attrs)
        self.ids += [given["id"] or ""] if "id" in given else []
        self.links += [given["href"] or ""] if tag == "a" else []

    def handle_data(self, data: str) -> None:
        self.text += data


def test_a_page_for_people() -> None:
    response = app().get("/v1/cell", headers=HTML)
    assert response.headers["content-type"] == "text/html; charset=utf-8"
    assert response.headers["vary"] == "Accept, Host"
    page = Page(response.text)
    assert len(set(page.ids)) == len(page.ids)
    names = [question.name for question in QUESTIONS]
    assert [anchor for anchor in page.ids if anchor in names] == names
    for link in page.links:
        if link.startswith("#"):
            assert link[1:] in page.ids
        else:  # from /v1/cell, wherever that stands
            assert app().get(urljoin("/v1/cell", link)).status_code == 200, link
    for cell in listed().values():
        for formula in (*cell["formulas"].values(), *cell["caution_formulas"].values()):
            assert formula in page.text
        for parameter in cell["parameters"]:
            assert parameter in page.text
    assert "script" not in page.tags
    assert not page.attributes & {"style", "onclick", "onload"}
    assert "script-src 'self'" in response.headers["content-security-policy"]


def test_scripts_get_json_people_a_page() -> None:
    for accept, kind in (("", "json"), ("*/*", "json"), ("application/json", "json"), ("text/html", "html")):
        response = app().get("/v1/cell", headers={"Accept": accept})
        assert kind in response.headers["content-type"]
        assert response.headers["vary"] == "Accept, Host"
