"""curl, the plainest client."""

from __future__ import annotations

import json
import subprocess

import pytest

from tests.clients.serving import Served, needs

LOT = {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0}
BLEND = {
    "lots": [LOT],
    "additions": [{"ingredient": "honey", "max": "2 kg"}],
    "targets": {"gravity": 1.012},
}
TRADE = {
    "lots": [LOT],
    "additions": [
        {"ingredient": "honey", "max": "1 kg"},
        {"ingredient": "lemon_juice", "max": "500 mL", "treatment": "pasteurised"},
    ],
    "points": 4,
}
AS_JSON = ("-H", "Content-Type: application/json")


def curl(*arguments: str, fails: int = 0) -> str:
    """What curl writes; `fails`, the code it ends with."""
    needs(command="curl", get="apt-get install curl")
    done = subprocess.run(["curl", "-sS", *arguments], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == fails, done.stderr
    return done.stdout


def test_a_number_and_nothing_else(service: Served) -> None:
    """20 °Bx is SG 1.08287 at 20 °C/20 °C (ICUMSA density of sucrose solutions)."""
    assert curl(f"{service.address}/v1/cell/sg-from-brix?brix=20").startswith("1.08")


def test_spaces_plus_minus_and_percent_signs_in_a_cell(service: Served) -> None:
    """An address has no spaces: curl writes them as %20, people as +, and both are read."""
    query = {
        "volume": "9.5 L ± 0.1 L",
        "gravity": "0.9985",
        "abv_percent": "7.2",
        "titratable_acidity": "0.4 % tartaric",
        "target": "6 g/L tartaric",
        "ingredient": "lemon_juice",
        "unit": "mL",
    }
    cell = f"{service.address}/v1/cell/amount-for-acidity"
    encoded = [part for name, text in query.items() for part in ("--data-urlencode", f"{name}={text}")]
    number = curl("--fail", "-G", cell, *encoded)
    by_hand = "&".join(f"{name}={text.replace('%', '%25').replace(' ', '+')}" for name, text in query.items())
    assert curl("--fail", f"{cell}?{by_hand.replace('±', '%C2%B1')}") == number
    assert 300 < float(number) < 600
    assert "\n" not in number


def test_a_plan_as_json_and_as_a_row_of_a_table(service: Served) -> None:
    body = json.dumps({**BLEND, "batch": "orchard 7"})
    plan = json.loads(curl("--fail", f"{service.address}/v1/blend-plans", *AS_JSON, "-d", body))
    assert plan["outcome"] == "targets_met"
    header, row = curl("--fail", f"{service.address}/v1/blend-plans.csv", *AS_JSON, "-d", body).strip().splitlines()
    told = dict(zip(header.split(","), row.split(","), strict=True))
    assert told["batch"] == "orchard 7"
    assert float(told["honey_average_mass_g"]) == pytest.approx(plan["amounts"][1]["mass_g"], rel=1e-6)


def test_a_refusal_fails_and_still_tells_why(service: Served) -> None:
    """curl ends with 22 where it was told to fail at a status of 400 or more (its manual, EXIT CODES)."""
    body = json.dumps({**BLEND, "lots": [{**LOT, "volume": "10"}]})
    told = curl("--fail-with-body", f"{service.address}/v1/blend-plans", *AS_JSON, "-d", body, fails=22)
    assert json.loads(told)["errors"][0]["pointer"] == "/lots/0/volume"
    assert curl("--fail", f"{service.address}/v1/cell/sg-from-brix?brix=340", fails=22) == ""


def test_a_form_instead_of_json_is_told_so(service: Served) -> None:
    """Without a header, -d says application/x-www-form-urlencoded, the commonest slip with curl."""
    told = json.loads(curl(f"{service.address}/v1/blend-plans", "-d", json.dumps(BLEND)))
    assert told["status"] == 415
    assert "Content-Type" in told["detail"]
    assert "application/json" in told["detail"]


@pytest.mark.parametrize(
    "path",
    [
        "/v1/cell/sg-from-brix?brix=20",
        "/v1/cell/sg-from-brix.csv?brix=20",
        "/v1/cell/sg-from-brix?brix=twenty",
        "/v1/ingredients.csv",
        "/v1/ingredients/hony",
        "/docs",
        "/v1/openapi.json",
    ],
)
def test_head_tells_what_get_tells(service: Served, path: str) -> None:
    """RFC 9110, 9.3.2: the header fields of a HEAD are those of the GET, and no content follows."""
    head = told_fields(curl("-I", service.address + path))
    get = told_fields(curl("-o", "/dev/null", "-D", "-", service.address + path))
    for name in ("status", "content-type", "content-length", "etag", "cache-control"):
        assert head.get(name) == get.get(name), name
    assert int(head["content-length"]) > 0


def told_fields(head: str) -> dict[str, str]:
    """The status line and the fields of a response."""
    status, *lines = head.strip().splitlines()
    fields = {name.lower(): text.strip() for name, _, text in (line.partition(":") for line in lines)}
    return {"status": status.split()[1], **fields}


def test_progress_comes_line_by_line(service: Served) -> None:
    """-N writes every line as it comes; each is a JSON text of its own."""
    accept = ("-H", "Accept: application/x-ndjson")
    told = curl("--fail", "-N", f"{service.address}/v1/trade-offs", *AS_JSON, *accept, "-d", json.dumps(TRADE))
    *progress, last = [json.loads(line) for line in told.splitlines()]
    assert progress
    assert all(line.keys() == {"progress"} for line in progress)
    done = [line["progress"]["done"] for line in progress]
    assert done == sorted(done)
    assert last.keys() == {"result"}
    plain = json.loads(curl("--fail", f"{service.address}/v1/trade-offs", *AS_JSON, "-d", json.dumps(TRADE)))
    assert last["result"]["points"] == plain["points"]
