"""A typed client that a generator writes from the OpenAPI document, and what a script does with it.

The generator (openapi-python-client) knows the published OpenAPI rules only, nothing of this service. What it cannot
read of the document, it says; what it reads wrong shows where every worked example goes through its types and back.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from tests.api.real import EXAMPLES, PATHS
from tests.clients.serving import Served, needs
from tests.clients.test_recipes import IN_THE_README, UNIT_MISSING, recipes, run

CONFIG = """\
content_type_overrides:
  image/svg+xml: application/octet-stream
  image/png: application/octet-stream
  application/xml: text/plain
  application/vnd.openxmlformats-officedocument.spreadsheetml.sheet: application/octet-stream
post_hooks: []
"""
# The generator knows JSON, texts and octets: it is told what else is which.

WORKED = sorted(EXAMPLES.glob("*/*.json"))


class Generated(NamedTuple):
    """The generated package."""

    folder: Path
    """Where it was written; its parent is on the module path."""
    said: str
    """What the generator printed."""
    document: dict[str, Any]
    """What it was generated from."""

    def part(self, name: str) -> Any:
        """A module of the package."""
        return import_module(f"{self.folder.name}.{name}")

    def call(self, operation: str) -> Any:
        """The module of an operation."""
        found = [path for path in (self.folder / "api").glob("*/*.py") if path.stem == operation]
        assert len(found) == 1, operation
        return self.part(f"api.{found[0].parent.name}.{operation}")


@pytest.fixture(scope="module")
def generated(service: Served, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Generated]:
    """Generated once, from the document as the running service sends it."""
    needs(package="openapi_python_client", get="pip install openapi-python-client")
    import httpx

    place = tmp_path_factory.mktemp("generated")
    document = httpx.get(f"{service.address}/v1/openapi.json", timeout=120.0).json()
    (place / "openapi.json").write_text(json.dumps(document), encoding="utf-8")
    (place / "config.yml").write_text(CONFIG, encoding="utf-8")
    client = place / "solver_client"
    options = f"--path {place}/openapi.json --config {place}/config.yml --output-path {client} --meta none"
    done = subprocess.run(
        [sys.executable, "-m", "openapi_python_client", "generate", "--fail-on-warning", *options.split()],
        capture_output=True,
        text=True,
        timeout=300,
        cwd=place,
        check=False,
    )
    said = done.stdout + done.stderr
    assert done.returncode == 0, said
    sys.path.insert(0, str(place))
    try:
        yield Generated(client, said, document)
    finally:
        sys.path.remove(str(place))
        for name in [name for name in sys.modules if name.split(".")[0] == client.name]:
            del sys.modules[name]


@pytest.fixture(scope="module")
def client(service: Served, generated: Generated) -> Iterator[Any]:
    """A client of the running service."""
    with generated.part("client").Client(base_url=service.address, timeout=120.0) as opened:
        yield opened


def test_nothing_of_the_document_is_left_out(generated: Generated) -> None:
    assert "WARNING" not in generated.said
    assert "kipping" not in generated.said
    operations = {o["operationId"] for path in generated.document["paths"].values() for o in path.values()}
    written = {path.stem for path in (generated.folder / "api").glob("*/*.py")} - {"__init__"}
    assert written == operations
    assert len(operations) > 60


def test_no_type_is_named_by_a_number(generated: Generated) -> None:
    """A field that may be null, or be one of several things, has types with names of their own; but for free keys."""
    models = [path.stem for path in (generated.folder / "models").glob("*.py")]
    assert [name for name in models if "type_" in name] == ["scored_dose_scores_type_0"]


def test_a_blend_is_solved_with_types(generated: Generated, client: Any) -> None:
    """Sweet again: SG 0.998 to 1.012; that 24 L weigh about 23.9 kg is arithmetic."""
    models = generated.part("models")
    targets = models.BlendPlanRequestTargets()
    targets["gravity"] = 1.012
    targets["abv_percent"] = models.TargetRange(max_=8.5)
    targets["titratable_acidity"] = models.TargetNear(value="5 g/L tartaric", tolerance="1 g/L tartaric")
    request = models.BlendPlanRequest(
        lots=[
            models.LotIn(
                name="dry base",
                volume="24 L",
                gravity=models.GravityReading(reading=0.998, sample_temperature="20 C"),
                abv_percent=8.1,
                titratable_acidity="4.6 g/L tartaric",
                class_=models.LotClass.MEAD,
            )
        ],
        additions=[
            models.AdditionIn(ingredient="honey"),
            models.AdditionIn(ingredient="lemon_juice", max_="1 L", treatment=models.Treatment.RAW),
        ],
        targets=targets,
        prefer=[models.PreferenceIn(maximise=models.PropertyName.CITRUS_PERCENT)],
        rounding=models.Rounding.KITCHEN,
        units=models.UnitSystem.METRIC,
        intended=models.IntendedIn(container=models.KeptIn.BOTTLE, hurdles=[]),
        date=None,
    )
    plan = generated.call("solve_blend").sync(client=client, body=request)
    assert isinstance(plan, models.BlendPlan)
    assert plan.outcome is models.Outcome.TARGETS_MET
    assert [amount.name for amount in plan.amounts] == ["dry base", "honey_average", "lemon_juice_fresh"]
    assert plan.amounts[0].mass_g == pytest.approx(24 * 0.998 * 998.2, rel=2e-3)
    assert plan.predicted.gravity.value == pytest.approx(1.012, abs=5e-4)
    assert plan.predicted.gravity.low < plan.predicted.gravity.value < plan.predicted.gravity.high
    assert plan.cautions[0].level is models.CautionLevel.STOP
    assert plan.clash is None


def test_a_refusal_is_a_problem_with_types(generated: Generated, client: Any) -> None:
    models = generated.part("models")
    lot = models.LotIn(name="base", volume="24", gravity=1.0, abv_percent=5.0)
    answer = generated.call("solve_blend").sync_detailed(client=client, body=models.BlendPlanRequest(lots=[lot]))
    assert answer.status_code == 422
    assert isinstance(answer.parsed, models.Problem)
    assert [fault.pointer for fault in answer.parsed.errors] == ["/lots/0/volume"]
    assert "unit" in answer.parsed.errors[0].detail
    assert answer.parsed.request_id == answer.headers["x-request-id"]
    missing = generated.call("get_ingredient").sync(client=client, id="hony")
    assert isinstance(missing, models.Problem)
    assert (missing.status, "honey" in missing.detail) == (404, True)


def test_readings_are_interpreted_with_types(generated: Generated, client: Any) -> None:
    """A rule of thumb of the trade, (OG − FG) × 131.25 % vol (common practice, no source), gives 6.3 % vol here."""
    models = generated.part("models")
    found = generated.call("interpret_readings").sync(
        client=client, body=models.ReadingsRequest(hydrometer=0.999, original_gravity=1.047)
    )
    assert isinstance(found, models.Interpretation)
    assert found.abv_percent.value == pytest.approx(6.3, abs=0.3)


def test_cells_and_the_catalogue_with_types(generated: Generated, client: Any) -> None:
    """20 °Bx is SG 1.08287 at 20 °C/20 °C (ICUMSA density of sucrose solutions)."""
    models = generated.part("models")
    assert generated.call("cell_sg_from_brix").sync(client=client, brix=20.0).startswith("1.0829")
    amount = generated.call("cell_amount_for_gravity")
    asked = {"volume": "5 gal", "gravity": 0.997, "abv_percent": 7.7, "ingredient": "honey", "target": 1.02}
    number = amount.sync(client=client, **asked, unit=models.AmountUnit.LB)
    low = amount.sync(client=client, **asked, unit=models.AmountUnit.LB, bound=models.IntervalEnd.LOW)
    assert float(low) < float(number)
    refused = amount.sync(client=client, **asked | {"volume": "5"})
    assert isinstance(refused, models.Problem)
    honeys = generated.call("list_ingredients").sync(client=client, category=models.Category.HONEY)
    assert {honey.category for honey in honeys.ingredients} == {"honey"}
    assert honeys.ingredients[0].composition_g_per_100g["water"] > 10
    table = generated.call("list_sources_csv").sync(client=client)
    assert table.startswith("key,")


def test_a_sweep_and_a_curve_with_types(generated: Generated, client: Any) -> None:
    models = generated.part("models")
    lot = models.LotIn(name="base", volume="10 L", gravity=0.998, abv_percent=7.0)
    requests = []
    for wanted in (1.005, 1.010):
        targets = models.BlendPlanRequestTargets()
        targets["gravity"] = wanted
        requests.append(
            models.BlendPlanRequest(lots=[lot], additions=[models.AdditionIn(ingredient="honey")], targets=targets)
        )
    requests.append(models.BlendPlanRequest(lots=[lot], additions=[models.AdditionIn(ingredient="hony")]))
    swept = generated.call("solve_blends").sync(client=client, body=models.BlendBatchRequest(requests=requests))
    assert [result.status for result in swept.results] == [200, 200, 422]
    honey = [result.plan.amounts[1].mass_g for result in swept.results[:2]]
    assert 0 < honey[0] < honey[1]
    assert isinstance(swept.results[2].problem, models.Problem)
    curve = generated.call("trade_off").sync(
        client=client,
        body=models.TradeOffRequest(
            lots=[lot],
            additions=[
                models.AdditionIn(ingredient="honey", max_="1 kg"),
                models.AdditionIn(ingredient="lemon_juice", max_="500 mL", treatment=models.Treatment.PASTEURISED),
            ],
            x=models.PropertyName.GRAVITY,
            points=4,
        ),
    )
    assert isinstance(curve, models.TradeOff)
    assert 3 <= len(curve.points) <= 4
    levels = [point.x for point in curve.points]
    assert levels == sorted(levels)


def test_examples_go_through_the_types_and_back(generated: Generated) -> None:
    """What is sent and what is answered hold nothing that the document does not tell, nulls included."""
    assert [f"{path.parent.name}/{path.stem}" for path in WORKED if not _goes_and_comes_back(generated, path)] == []
    assert len(WORKED) > 60


def _goes_and_comes_back(generated: Generated, path: Path) -> bool:
    """Whether a worked request and its answer are the same after they were read into the types and written again."""
    import httpx

    operation = path.parent.name
    example = json.loads(path.read_text(encoding="utf-8"))
    body = example["response"]["body"]
    if example["response"]["status"] != 200:
        return bool(generated.part("models").Problem.from_dict(body).to_dict() == body)
    sent: list[Any] = []

    def answer(request: httpx.Request) -> httpx.Response:
        assert request.url.path == PATHS[operation]
        sent.append(json.loads(request.content))
        return httpx.Response(200, json=body)

    request = _typed(generated, operation, example["request"])
    transport = {"transport": httpx.MockTransport(answer)}
    with generated.part("client").Client(base_url="http://solver.invalid", httpx_args=transport) as client:
        answered = generated.call(operation).sync(client=client, body=request)
    return bool(sent == [example["request"]] and answered.to_dict() == body)


def _typed(generated: Generated, operation: str, request: dict[str, Any]) -> Any:
    read: Callable[[dict[str, Any]], Any] = getattr(generated.part("models"), _request(generated, operation)).from_dict
    return read(request)


def _request(generated: Generated, operation: str) -> str:
    asked = generated.document["paths"][PATHS[operation]]["post"]["requestBody"]["content"]["application/json"]
    return str(asked["schema"]["$ref"].rsplit("/", 1)[1])


def test_the_recipe_of_the_readme(service: Served, generated: Generated, tmp_path: Path) -> None:
    (generate,) = recipes("sh", "openapi-python-client generate")
    assert f"--url {IN_THE_README}/v1/openapi.json" in generate
    assert f"--output-path {generated.folder.name}\n" in generate
    (recipe,) = recipes("python", f"from {generated.folder.name}")
    script = tmp_path / "sweet.py"
    script.write_text(recipe.replace(IN_THE_README, service.address), encoding="utf-8")
    asked = run([sys.executable, str(script)], tmp_path, PYTHONPATH=str(generated.folder.parent))
    assert asked.returncode == 0, asked.stderr
    assert re.search(r"^honey_average 1\d{3}\.\d+ .*kg", asked.stdout, re.MULTILINE), asked.stdout
    script.write_text(recipe.replace(IN_THE_README, service.address).replace('"24 L"', '"24"'), encoding="utf-8")
    refused = run([sys.executable, str(script)], tmp_path, PYTHONPATH=str(generated.folder.parent))
    assert refused.returncode == 1
    assert UNIT_MISSING in refused.stderr


@pytest.mark.slow
def test_the_client_passes_strict_types(generated: Generated, tmp_path: Path) -> None:
    script = tmp_path / "sweet.py"
    script.write_text(
        "from solver_client.api.blends import solve_blend\n"
        "from solver_client.client import Client\n"
        "from solver_client.models import BlendPlan, BlendPlanRequest, LotIn\n\n"
        'lot = LotIn(name="base", volume="24 L", gravity=0.998, abv_percent=8.1)\n'
        'with Client(base_url="http://127.0.0.1:8000") as client:\n'
        "    plan = solve_blend.sync(client=client, body=BlendPlanRequest(lots=[lot]))\n"
        "    if isinstance(plan, BlendPlan):\n"
        "        grams: float = plan.amounts[0].mass_g\n",
        encoding="utf-8",
    )
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--cache-dir", tmp_path / "cache", script, generated.folder],
        capture_output=True,
        text=True,
        timeout=300,
        cwd=generated.folder.parent,
        env={"MYPYPATH": str(generated.folder.parent), "PATH": "/usr/bin"},
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:]
