"""The page at `/` and its files as they are sent: headers, policy, and that nothing comes from elsewhere."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from tests.api import real

_FOLDER = files("service.api") / "static" / "page"
_FILES = sorted(found.name for found in _FOLDER.iterdir() if found.name != "index.html")
_MODULES = [name for name in _FILES if name.endswith(".js")]


def text(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")


def test_the_page_and_its_policy() -> None:
    answer = real.app().get("/")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    policy = answer.headers["content-security-policy"]
    for part in ("default-src 'none'", "script-src 'self'", "style-src 'self'", "connect-src 'self'"):
        assert f"{part};" in policy
    assert "unsafe" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert "set-cookie" not in answer.headers
    assert real.app().get("/?from=a+letter").content == answer.content


def test_head_and_an_unchanged_copy() -> None:
    for path in ("/", *(f"/page/{name}" for name in _FILES)):
        got = real.app().get(path)
        head = real.app().head(path)
        assert (head.status_code, head.content) == (200, b"")
        assert head.headers["content-length"] == str(len(got.content))
        again = real.app().get(path, headers={"If-None-Match": got.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")


@pytest.mark.parametrize(
    "path", ["/index.html", "/page", "/page/", "/page/nothing.js", "/page/index.html", "/page/../app.py"]
)
def test_what_is_not_there(path: str) -> None:
    answer = real.app().get(path)
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


def test_other_methods_are_refused_and_the_page_is_no_operation() -> None:
    assert real.app().post("/", json={}).status_code == 405
    assert real.app().options("/").headers["allow"] == "GET, HEAD, OPTIONS"
    paths = real.app().get("/v1/openapi.json").json()["paths"]
    assert [path for path in paths if path == "/" or path.startswith("/page")] == []


def test_media_types() -> None:
    kinds = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
    for name in _FILES:
        sent = real.app().get(f"/page/{name}").headers["content-type"]
        assert sent.split(";")[0] == kinds[name[name.rindex(".") :]]


def test_nothing_is_inline_and_nothing_comes_from_elsewhere() -> None:
    page = text("index.html")
    assert re.findall(r"<script(?![^>]* src=)", page) == []
    assert "<style" not in page
    assert re.findall(r"\s(?:on\w+|style)=", page) == []
    for name in ("index.html", *_FILES):
        addresses = set(re.findall(r"https?://[^\s\"'`)]+", text(name)))
        assert addresses <= {"http://www.w3.org/2000/svg"}, name
    assert "url(" not in text("page.css")
    assert "@import" not in text("page.css")


def test_every_link_and_import_is_answered() -> None:
    linked = set(re.findall(r'(?:href|src)="([^"#]+)"', text("index.html")))
    assert {"page/app.js", "page/page.css", "page/icon.svg"} <= linked
    for path in linked - {"v1/workbook.xlsx"}:
        assert real.app().head(f"/{path}").status_code == 200, path
    for name in _MODULES:
        for imported in re.findall(r'from "\./([^"]+)"', text(name)):
            assert imported in _MODULES, (name, imported)
    reached, found = {"app.js"}, ["app.js"]
    while found:
        for imported in re.findall(r'from "\./([^"]+)"', text(found.pop())):
            if imported not in reached:
                reached.add(imported)
                found.append(imported)
    assert reached == set(_MODULES)


@pytest.mark.parametrize("name", _MODULES)
def test_data_never_becomes_markup_and_modules_stay_small(name: str) -> None:
    module = text(name)
    for word in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "new Function",
        "localStorage",
    ):
        assert word not in module
    assert len(module.splitlines()) <= 300


def test_the_words_of_the_page() -> None:
    page = text("index.html")
    assert '<html lang="en">' in page
    for said in ("What have I?", "What may go in?", "What do I want?", "What then?", "Alcohol is for adults"):
        assert said in page
    everything = " ".join(text(name).lower() for name in ("index.html", *_FILES))
    assert not re.search(r"\b(?:is|are) safe\b", everything)
