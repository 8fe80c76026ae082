"""One invented batch from the must to the bottle: each request is what the answers before it hand on, and readings."""

from __future__ import annotations

import copy
import re
import types
from pathlib import Path
from typing import Any

import pytest

from tests.api.real import PATHS, app, example, post

START = "20_whole_batch"
README = Path(__file__).parents[2] / "README.md"


def _asked(operation: str) -> dict[str, Any]:
    found: dict[str, Any] = example(operation, START)
    return {name: value for name, value in found.items() if name != "note"}


def _answered(operation: str) -> dict[str, Any]:
    return post(PATHS[operation], _asked(operation))


def _handed(answer: dict[str, Any], operation: str) -> dict[str, Any]:
    """The body that an answer hands on to an operation."""
    call = answer["next"][operation]
    assert call["path"] == PATHS[operation]
    body: dict[str, Any] = copy.deepcopy(call["request"])
    return body


def _unlike(handed: Any, asked: Any, where: str = "") -> set[str]:
    """Where a request differs from the one handed on: places that were read, chosen or left out."""
    if isinstance(handed, dict) and isinstance(asked, dict):
        return {
            place
            for key in handed.keys() | asked.keys()
            for place in _unlike(handed.get(key), asked.get(key), f"{where}/{key}")
        }
    return set() if handed == asked else {where}


def test_readings_follow_the_must() -> None:
    differing = _unlike(_handed(_answered("plan_must"), "interpret_readings"), _asked("interpret_readings"))
    assert differing == {"/hydrometer", "/original_gravity", "/volume", "/ph", "/titratable_acidity", "/series"}


def test_stabilising_follows_the_readings() -> None:
    differing = _unlike(_handed(_answered("interpret_readings"), "plan_stabilising"), _asked("plan_stabilising"))
    assert differing == {"/volume_at_packaging"}


def test_the_blend_follows_must_and_readings() -> None:
    handed = _handed(_answered("plan_must"), "solve_blend")
    handed["lots"] = [{**_handed(_answered("interpret_readings"), "solve_blend")["lots"][0], "name": "dry base"}]
    chosen = {"/targets/abv_percent", "/targets/volume", "/hold_back", "/rounding", "/instruments", "/start_date"}
    assert _unlike(handed, _asked("solve_blend")) == chosen


def test_the_correction_follows_the_blend() -> None:
    differing = _unlike(_handed(_answered("solve_blend"), "correct_blend"), _asked("correct_blend"))
    assert {place.split("/")[1] for place in differing} == {"measured"}


def test_packaging_follows_the_correction_and_the_stabilising() -> None:
    handed = _handed(_answered("correct_blend"), "plan_packaging")
    sulfite = _handed(_answered("plan_stabilising"), "plan_packaging")["drink"]
    handed["drink"] |= {name: sulfite[name] for name in ("free_so2", "total_so2")}
    chosen = {"/containers", "/losses", "/reserve", "/refermentation", "/heat", "/serving", "/start_date"}
    assert _unlike(handed, _asked("plan_packaging")) == chosen


def test_what_was_planned_for_sixty_bottles_fills_sixty() -> None:
    must, packed = _answered("plan_must"), _answered("plan_packaging")
    assert must["finished"] is not None
    assert _asked("plan_must")["finished"]["containers"][0]["count"] == 60
    (bottles,) = packed["fills"]
    assert bottles["count_low"] <= 60 <= bottles["count_high"]
    assert packed["sealing"] == "no_blocker_found"
    assert packed["label_text"]


def _scripts() -> list[str]:
    """Those that ask by httpx; that of a generated client has its own test."""
    found = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    return [script for script in found if "import httpx" in script]


@pytest.mark.parametrize("number", range(len(_scripts())))
def test_scripts_of_the_readme_run(
    number: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every Python script of the README, asking the application instead of a server."""

    def ask(url: str, json: Any) -> Any:
        response = app().post(url.removeprefix("http://127.0.0.1:8000"), json=json)
        assert response.status_code == 200, response.text
        return response

    httpx = types.ModuleType("httpx")
    httpx.post = ask  # type: ignore[attr-defined]
    monkeypatch.setitem(__import__("sys").modules, "httpx", httpx)
    exec(compile(_scripts()[number], f"README script {number + 1}", "exec"), {"__name__": "__main__"})
    assert capsys.readouterr().out
