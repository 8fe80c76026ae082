"""`python -m service ask`: one request file answered on the command line."""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from service.__main__ import main
from service.api.command import answer_file, table
from tests.api.real import BASE, EXAMPLES, PATHS, app, changed, plan, worked

DEMO = EXAMPLES / "solve_blend" / "01_sour_cherry_and_lemon.json"
TWO = EXAMPLES / "forecast_blend" / "01_two_recipes.json"


def command(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "service", *arguments],
        cwd=EXAMPLES.parent,
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )


def told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str | Path
) -> tuple[int, str]:
    """Exit code and text of the command in this process."""
    monkeypatch.setattr(sys, "argv", ["service", *map(str, arguments)])
    code = main()
    return code, capsys.readouterr().out


def quiet(answer: dict[str, Any]) -> dict[str, Any]:
    return {**answer, "proof": None}


def test_the_demo_as_a_table() -> None:
    done = command("ask", str(DEMO))
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    for words in ("Pour or weigh", "Expect", "Target", "Assumed, for want of a reading:", "Measure next:"):
        assert any(line.startswith(words) for line in lines), words
    assert any(line.startswith("targets_met: All targets are met") for line in lines)
    assert any(line.startswith("Proof: proved_best") for line in lines)
    for amount in plan(worked(DEMO)["request"])["amounts"]:
        assert any(line.startswith(f"{amount['name']}  ") and amount["amount_text"] in line for line in lines)
    assert any(line.split()[:2] == ["gravity", "1.0120"] for line in lines)
    assert max(map(len, lines)) <= 120


def test_the_work_stands_in_order_with_its_days_and_what_follows(tmp_path: Path) -> None:
    def shown(body: dict[str, Any]) -> list[str]:
        path = tmp_path / "request.json"
        path.write_text(json.dumps(body), encoding="utf-8")
        status, answer = answer_file(path, "solve_blend")
        assert status == 200
        return table(answer).splitlines()

    lines = shown(BASE)
    first = lines.index("Steps:") + 1
    assert lines[first].startswith("1. Read the gravity of base")
    assert any(line.startswith("2. after 72 h: ") for line in lines)
    followed = [line.split()[2].rstrip(".") for line in lines if line.startswith("Then: POST ")]
    assert followed == ["/v1/corrections", "/v1/stabilising-plans", "/v1/fining-plans", "/v1/packaging-plans"]
    dated = shown({**BASE, "start_date": "2026-02-27"})
    assert any(line.startswith("1. 2026-02-27, day 0: ") for line in dated)
    assert any(line.startswith("2. 2026-03-02, day 3: after 72 h: ") for line in dated)


def test_the_demo_tells_intervals_chances_and_what_is_least_known() -> None:
    answer = plan(worked(DEMO)["request"])
    text = table(answer)
    lines = text.splitlines()
    gravity, strength = answer["predicted"]["gravity"], answer["predicted"]["abv_percent"]
    assert f"{gravity['value']:.4f} ({gravity['low']:.4f} to {gravity['high']:.4f})" in text
    assert f"{strength['value']:.2f} ({strength['low']:.2f} to {strength['high']:.2f})" in text
    least = " ".join(lines[lines.index("What is least known:") :])
    for known in answer["least_known"]:
        assert known["text"] in " ".join(least.split())
    header = next(k for k, line in enumerate(lines) if line.startswith("Target"))
    assert lines[header].split()[-1] == "chance"
    for target, line in zip(answer["targets"], lines[header + 1 :], strict=False):
        assert line.split()[0] == target["property"]
        assert line.endswith(f"{100.0 * target['chance']:.0f} %")
    for reading in answer["next_reading"]:
        if reading["expect"] is not None:
            assert f"({reading['low']:g} to {reading['high']:g})" in " ".join(text.split())


def test_what_goes_in_first_stands_before_the_whole_and_below_the_stops() -> None:
    targets = {"gravity": {"min": 1.008, "max": 1.014}, "abv_percent": {"min": 6.5, "confidence": 0.9}}
    request = {**BASE, "targets": targets, "hold_back": 0.05, "intended": {"container": "bottle"}}
    water = {"ingredient": "water", "max": "3 L"}
    answer = plan({**request, "additions": [*BASE["additions"], water], "prefer": [{"maximise": "volume"}]})
    first = answer["first_addition"]
    text = table(answer)
    places = [text.index(words) for words in ("STOP: ", "Add first, and measure", "In all", "Expect  ", "Target  ")]
    assert places == sorted(places)
    between = text[places[1] : places[2]]
    for amount in first["amounts"]:
        assert amount["amount_text"] in between
    assert first["text"] in " ".join(between.split())
    volume = first["predicted"]["volume"]
    assert f"{volume['value']:.2f} ({volume['low']:.2f} to {volume['high']:.2f})" in between
    assert answer["caution_price"]["text"] in " ".join(text[text.index("What it costs to be so sure:") :].split())
    plain = table(plan(BASE))
    assert "Add first" not in plain
    assert "so sure" not in plain


def test_the_demo_as_json() -> None:
    done = command("ask", str(DEMO), "--json")
    assert (done.returncode, done.stderr) == (0, "")
    assert quiet(json.loads(done.stdout)) == quiet(plan(worked(DEMO)["request"]))


def test_a_forecast_is_told_by_its_recipes(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code, text = told(monkeypatch, capsys, "ask", TWO)
    assert code == 0
    assert text.index("Recipe: honey and lemon") < text.index("Recipe: orange concentrate")
    wrong, refusal = told(monkeypatch, capsys, "ask", TWO, "--operation", "solve_blend")
    assert wrong == 1
    assert "at /lots: This is needed" in refusal


def test_a_refused_file(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "request.json"
    file.write_text(json.dumps(changed("targets", "ph", to=34.0)), encoding="utf-8")
    code, text = told(monkeypatch, capsys, "ask", file)
    assert code == 1
    assert "at /targets/ph: The pH of a drink lies between" in " ".join(text.split())
    code, text = told(monkeypatch, capsys, "ask", file, "--json")
    assert code == 1
    assert json.loads(text)["errors"][0]["pointer"] == "/targets/ph"
    file.write_text(json.dumps({**BASE, "colour": "gold", "rounding": 3}), encoding="utf-8")
    code, text = told(monkeypatch, capsys, "ask", file)
    assert code == 1
    assert "at /colour" in text
    assert "at /rounding" in text


@pytest.mark.parametrize("text", ["", "{", "[1, 2", "\ufeff{}", '{"lots": NaN}', "[]", "3", '{"lots": 1e999}'])
def test_a_file_that_is_no_request(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str
) -> None:
    file = tmp_path / "request.json"
    file.write_text(text, encoding="utf-8")
    code, said = told(monkeypatch, capsys, "ask", file)
    assert code == 1
    assert said.strip()
    code, said = told(monkeypatch, capsys, "ask", file, "--json")
    assert code == 1
    assert json.loads(said)["status"] in (400, 422)


def test_a_file_of_other_bytes_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "request.json"
    file.write_bytes(b"\xff\xfe{}")
    assert answer_file(file, None)[0] == 400
    assert answer_file(tmp_path, None)[0] == 400


def test_a_missing_file_is_said_without_its_folder(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    code, text = told(monkeypatch, capsys, "ask", tmp_path / "nothing.json")
    assert code == 1
    assert "There is no file nothing.json" in text
    assert str(tmp_path) not in text


@pytest.mark.parametrize("arguments", [(), ("answer",), ("ask",), ("ask", "a.json", "--operation", "other")])
def test_a_command_that_cannot_be_read_exits_with_2(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    with pytest.raises(SystemExit) as caught:
        told(monkeypatch, capsys, *arguments)
    assert caught.value.code == 2
    assert "usage: python -m service" in capsys.readouterr().err


def test_a_clash_is_an_answer(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code, text = told(monkeypatch, capsys, "ask", EXAMPLES / "solve_blend" / "03_clash.json")
    assert code == 0
    assert "targets_clash: At least 6.5 % vol and at least 31 L cannot both hold" in text
    assert "enough for 29.9 L of 6.5 % vol" in text
    assert "off by 1.09" in text


@pytest.mark.parametrize(
    ("operation", "start", "words"),
    [
        ("solve_blend", "07", ["Portion: keg", "Portion: bottles", "All portions together"]),
        ("solve_blend", "08", ["29 g sugar in 330 mL"]),
        ("solve_blend", "09", ["This plan minus “last year”", "told apart by instruments"]),
        ("solve_blend", "10", [" packs, or "]),
        ("solve_blends", "01", ["Request 1", "Request 4", "at /targets/gravity: The gravity of a drink lies"]),
        ("forecast_blend", "03", ["all amounts × ", "Reading  ", "This recipe minus “glass”"]),
    ],
)
def test_what_is_told_of_each_kind_of_answer(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], operation: str, start: str, words: list[str]
) -> None:
    (path,) = (EXAMPLES / operation).glob(f"{start}*.json")
    code, text = told(monkeypatch, capsys, "ask", path)
    assert code == 0
    for word in words:
        assert word in " ".join(text.split()) or word in text, word
    assert max(map(len, text.splitlines())) <= 120


def test_a_trade_off_is_a_line_for_each_point(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "request.json"
    lemon = [*BASE["additions"], {"ingredient": "lemon_juice_fresh", "max": "500 mL"}]
    limits = {"gravity": {"min": 1.0, "max": 1.02}}
    file.write_text(json.dumps({**BASE, "additions": lemon, "targets": limits, "points": 4}), encoding="utf-8")
    code, text = told(monkeypatch, capsys, "ask", file)
    assert code == 0
    assert "Least to most sucrose_equivalent_g_per_l" in text
    lines = text.splitlines()
    start = next(k for k, line in enumerate(lines) if line.split()[:1] == ["sucrose_equivalent_g_per_l"])
    assert [line.split()[0] for line in lines[start + 1 : start + 4]] == ["1", "2", "3"]
    assert all(re.search(r"\d \([\d.]+ to [\d.]+\)", line) for line in lines[start + 1 : start + 4])
    grams = lines.index("Grams of each part")
    assert "lemon_juice_fresh" in lines[grams + 1].split()
    assert [line.split()[0] for line in lines[grams + 2 : grams + 5]] == ["1", "2", "3"]


def test_requests_in_one_file_are_refused_as_a_whole_or_one_by_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "requests.json"
    file.write_text(json.dumps({"requests": []}), encoding="utf-8")
    code, text = told(monkeypatch, capsys, "ask", file)
    assert (code, "at /requests: Give at least 1 item" in text) == (1, True)
    file.write_text(json.dumps({"requests": [BASE, 3]}), encoding="utf-8")
    code, text = told(monkeypatch, capsys, "ask", file, "--json")
    assert (code, [r["status"] for r in json.loads(text)["results"]]) == (0, [200, 422])


def test_a_plan_with_recipes_beside_it_is_no_forecast(tmp_path: Path) -> None:
    file = tmp_path / "request.json"
    recipe = {"name": "r", "lots": BASE["lots"]}
    file.write_text(json.dumps({**BASE, "recipes": [recipe]}), encoding="utf-8")
    status, body = answer_file(file, None)
    assert (status, body["outcome"], [c["recipe"] for c in body["compared"]]) == (200, "targets_met", ["r"])
    file.write_text(json.dumps({"recipes": [recipe]}), encoding="utf-8")
    assert "steps_are" in answer_file(file, None)[1]


def test_a_table_of_no_amounts_says_so() -> None:
    assert "(no amounts)" in table({**plan(BASE), "amounts": []})


def test_a_port_that_is_taken_is_told_before_anything_else() -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        done = command("serve", "--port", str(port))
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(f"Port {port} is taken")
    assert f"--port {port + 1}" in done.stderr


@pytest.mark.parametrize("port", ["70000", "-1"])
def test_a_port_that_is_none_is_refused(port: str) -> None:
    done = command("serve", f"--port={port}")
    assert (done.returncode, done.stdout) == (2, "")
    assert "between 0 and 65535" in done.stderr


def test_the_server_tells_where_it_answers() -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    running = subprocess.Popen(
        [sys.executable, "-m", "service", "serve", "--port", str(port)],
        cwd=EXAMPLES.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        encoding="utf-8",
    )
    try:
        assert running.stdout is not None
        told = "".join(running.stdout.readline() for _ in range(4))
    finally:
        running.terminate()
        running.communicate(timeout=30)
    for path in ("/", "/v1/cell", "/v1/workbook.xlsx", "/docs"):
        assert f"http://127.0.0.1:{port}{path}" in told


def test_a_picture_is_drawn_of_the_curve_that_was_answered(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib", reason="pictures need the extra plots")
    (curve,) = (EXAMPLES / "trade_off").glob("01_*.json")
    picture = tmp_path / "curve.svg"
    done = command("ask", str(curve), "--picture", str(picture))
    assert done.returncode == 0, done.stderr
    assert picture.read_bytes() == app().post(f"{PATHS['trade_off']}.svg", json=worked(curve)["request"]).content


def test_a_picture_of_another_kind_is_refused_before_any_work(tmp_path: Path) -> None:
    done = command("ask", str(tmp_path / "not there.json"), "--picture", str(tmp_path / "curve.gif"))
    assert (done.returncode, done.stdout) == (2, "")
    assert "has to end in .svg or .png" in done.stderr
