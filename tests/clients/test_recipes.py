"""The recipes of the README, run as they stand there, with the address of a running service put in.

curl is required where CI=true; R and node (for Google's Apps Script, whose one function that matters here is stood in
for) are used where they are there. Power Query runs on no machine of ours: what it names has to exist. The recipe for a
typed client is run where one is generated.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import httpx2
import pytest

from tests.clients.serving import Served, needs

README = Path(__file__).parents[2] / "README.md"
IN_THE_README = "http://127.0.0.1:8000"
UNIT_MISSING = "the unit is missing"

# UrlFetchApp of Google's Apps Script, as its reference describes fetch(url, params): synchronous, and with
# muteHttpExceptions an answer whatever its status.
URL_FETCH_APP = """
const UrlFetchApp = {
  fetch(url, options) {
    if (!options.muteHttpExceptions) throw new Error("a status of 400 or more would throw");
    const told = require("child_process").execFileSync("curl", ["-sS", "-X", options.method.toUpperCase(),
      "-H", "Content-Type: " + options.contentType, "--data-binary", "@-", "-w", "\\n%{http_code}", url],
      { input: options.payload, encoding: "utf8" });
    const end = told.lastIndexOf("\\n");
    return { getContentText: () => told.slice(0, end), getResponseCode: () => Number(told.slice(end + 1)) };
  },
};
"""


def recipes(language: str, holding: str) -> list[str]:
    """The blocks of the README in a language that hold a text."""
    blocks = re.findall(rf"^```{language}\n(.*?)^```$", README.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
    found = [block for block in blocks if holding in block]
    assert found, f"the README has no {language} recipe with {holding!r}"
    return found


def run(command: list[str], place: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """What a program answers within three minutes, in a folder of its own."""
    surroundings = {**os.environ, **environment}
    return subprocess.run(
        command, cwd=place, env=surroundings, capture_output=True, text=True, timeout=180, check=False
    )


def test_every_curl_of_the_readme_is_answered(service: Served, tmp_path: Path) -> None:
    needs(command="curl", get="apt-get install curl")
    blocks = [block for block in recipes("sh", "curl ") if IN_THE_README in block]
    assert len(blocks) >= 2
    for block in blocks:
        before = len(service.saw)
        done = run(["bash", "-euo", "pipefail", "-c", block.replace(IN_THE_README, service.address)], tmp_path)
        assert done.returncode == 0, done.stderr
        seen = service.saw[before:]
        assert len(seen) == block.count(IN_THE_README), block
        assert {status for _, _, status in seen} == {200}, block
        assert done.stdout or list(tmp_path.iterdir()), block


def test_the_batch_record_of_the_shell_recipe_is_a_table(service: Served, tmp_path: Path) -> None:
    needs(command="curl", get="apt-get install curl")
    (block,) = recipes("sh", "> batch_record.csv")
    run(["bash", "-euo", "pipefail", "-c", block.replace(IN_THE_README, service.address)], tmp_path)
    header, row = (tmp_path / "batch_record.csv").read_text(encoding="utf-8").strip().splitlines()
    assert header.startswith("batch,date,outcome,")
    assert row.startswith("orchard 7,2026-03-14,targets_met,")
    refused = block.replace('"5 gal"', '"5"').replace(IN_THE_README, service.address)
    done = run(["bash", "-euo", "pipefail", "-c", refused], tmp_path)
    assert done.returncode == 22  # curl's own: the server answered 400 or more
    assert UNIT_MISSING in (tmp_path / "batch_record.csv").read_text(encoding="utf-8")


def test_the_recipe_for_r(service: Served, tmp_path: Path) -> None:
    if shutil.which("Rscript") is None:
        pytest.skip("needs Rscript: apt-get install r-base-core r-cran-httr2 r-cran-jsonlite")
    (block,) = recipes("r", "/v1/blend-plans")
    script = tmp_path / "blend.R"
    script.write_text(block.replace(IN_THE_README, service.address), encoding="utf-8")
    done = run(["Rscript", str(script)], tmp_path, LC_ALL="C.UTF-8")
    if "no package called" in done.stderr:
        pytest.skip(f"needs packages of R: {done.stderr.strip()[:200]}")
    assert done.returncode == 0, done.stderr
    assert re.search(r"^\d+ +honey_average +1\d{3}\.\d+ .*kg", done.stdout, re.MULTILINE), done.stdout
    assert done.stdout.startswith("WARNING: ")
    script.write_text(block.replace('"24 L"', '"24"').replace(IN_THE_README, service.address), encoding="utf-8")
    refused = run(["Rscript", str(script)], tmp_path, LC_ALL="C.UTF-8")
    assert refused.returncode != 0
    assert UNIT_MISSING in refused.stderr


def test_the_recipe_for_google_sheets(service: Served, tmp_path: Path) -> None:
    for command in ("node", "curl"):
        if shutil.which(command) is None:
            pytest.skip(f"needs {command}: apt-get install nodejs curl")
    (block,) = recipes("js", "UrlFetchApp")
    server = re.search(r'SERVER = "(https://[^"]+)"', block)
    assert server is not None
    asked = """
console.log(JSON.stringify([
  BLEND("24 L", 0.998, 8.1, "honey", 1.012),
  BLEND_HEED("24 L", 0.998, 8.1, "honey", 1.012),
  words(() => BLEND("24", 0.998, 8.1, "honey", 1.012)),
  words(() => BLEND("24 L", 1.012, 8.1, "honey", 0.998)),
]));
function words(call) { try { call(); return "no error"; } catch (error) { return error.message; } }
"""
    script = tmp_path / "sheet.js"
    script.write_text(URL_FETCH_APP + block.replace(server[1], service.address) + asked, encoding="utf-8")
    done = run(["node", str(script)], tmp_path)
    assert done.returncode == 0, done.stderr
    number, heed, refused, out_of_reach = json.loads(done.stdout)
    assert number == pytest.approx(1081, abs=2)
    assert heed.splitlines()[0].startswith("WARNING: ")
    assert UNIT_MISSING in refused
    assert "gravity" in out_of_reach


def test_what_the_power_query_recipes_name_exists(service: Served) -> None:
    blocks = recipes("powerquery", "Web.Contents")
    ask = httpx2.Client(base_url=service.address, timeout=120.0)
    document = ask.get("/v1/openapi.json").json()
    paths = [f"/{path}" for block in blocks for path in re.findall(r'RelativePath = "([^"]+)"', block)]
    assert len(paths) == len(blocks) == 2
    assert "post" in document["paths"]["/v1/blend-plans"]
    plan, cell = blocks
    wanted = {
        "lots": [{"name": "dry base", "volume": "24 L", "gravity": 0.998, "abv_percent": 8.1}],
        "additions": [{"ingredient": "honey", "max": "3 kg"}],
        "targets": {"gravity": 1.012},
    }
    assert _as_json(_record_after("Wanted = ", plan)) == wanted
    amounts = ask.post("/v1/blend-plans", json=wanted).json()["amounts"]
    columns = re.findall(r'"([^"]+)"', plan[plan.index("Table.SelectColumns") : plan.index("else error")])
    assert set(columns) <= set(amounts[0])
    query = _as_json(_record_after("Query = ", cell))
    answer = ask.get("/v1/cell/amount-for-gravity.csv", params=query)
    ask.close()
    assert answer.status_code == 200
    typed = re.findall(r'\{"(\w+)", type number\}', cell)
    assert set(typed) <= set(answer.text.splitlines()[0].split(","))


def _record_after(start: str, block: str) -> str:
    """The record of Power Query's language that follows a text."""
    begins = block.index(start) + len(start)
    depth = 0
    for at in range(begins, len(block)):
        depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(block[at], 0)
        if depth == 0:
            return block[begins : at + 1]
    raise AssertionError(block)


def _as_json(record: str) -> Any:
    """A record of texts, numbers, lists and records, [a = 1, b = {2}], as JSON has it."""
    swapped = record.translate(str.maketrans("[]{}", "{}[]"))
    return json.loads(re.sub(r"(\w+) = ", r'"\1": ', swapped))
