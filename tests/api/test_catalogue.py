"""The catalogue, the bibliography and the document: what they list, and that a caller's copy is kept."""

from __future__ import annotations

import csv
import io
import re
from typing import Any

import pytest
from openapi_spec_validator import validate

from service.catalogue.records import Category
from service.planner.evidence import MODEL_SOURCES
from tests.api.real import PATHS as QUESTIONS
from tests.api.real import all_examples, app
from tests.oracle.pour import density_g_per_ml, load_compositions

PATHS = ("/v1/ingredients", "/v1/ingredients.csv", "/v1/ingredients/honey", "/v1/sources", "/v1/sources.csv")


def get(path: str) -> Any:
    response = app().get(path)
    assert response.status_code == 200, response.text
    return response.json()


def rows(path: str) -> list[dict[str, str]]:
    response = app().get(path)
    assert response.status_code == 200
    assert response.headers["content-type"].startswith("text/csv")
    return list(csv.DictReader(io.StringIO(response.text)))


@pytest.mark.parametrize("path", PATHS)
def test_a_copy_is_kept_by_its_tag(path: str) -> None:
    first = app().get(path)
    tag = first.headers["etag"]
    assert "max-age" in first.headers["cache-control"]
    for sent in (tag, f'"other", W/{tag}'):
        again = app().get(path, headers={"If-None-Match": sent})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["etag"] == tag
    assert app().get(path, headers={"If-None-Match": '"other"'}).status_code == 200
    head = app().head(path)
    assert (head.status_code, head.content, head.headers["etag"]) == (200, b"", tag)


def test_every_ingredient_of_the_table_is_listed() -> None:
    listed = get("/v1/ingredients")
    assert listed["data_version"] == app().get("/version").json()["data_version"]
    on_paper = load_compositions()
    assert {i["id"] for i in listed["ingredients"]} == set(on_paper)
    for ingredient in listed["ingredients"]:
        name = ingredient["id"]
        assert sum(ingredient["composition_g_per_100g"].values()) == pytest.approx(100.0, abs=0.006), name
        assert ingredient["dose_by_mass_only"] == (ingredient["density_g_ml"] is None), name
        if ingredient["density_g_ml"] is not None:
            assert ingredient["density_g_ml"] == pytest.approx(density_g_per_ml(on_paper[name]), abs=2e-4), name
        for spread in ("brix", "ta_g_citric_per_100g", "ph"):
            found = ingredient[spread]
            if found is not None and found["low"] is not None:
                assert found["low"] <= found["typical"] <= found["high"], name
        assert ingredient["provenance"]["composition"]["mark"], name


def test_ingredients_by_category_and_by_words() -> None:
    for category in Category:
        found = get(f"/v1/ingredients?category={category.value}")["ingredients"]
        assert {i["category"] for i in found} <= {category.value}
    words = get("/v1/ingredients?text=lemon%20juice%20concentrate")["ingredients"]
    assert [i["id"] for i in words] == ["lemon_juice_concentrate_400"]
    assert get("/v1/ingredients?text=nonesuch")["ingredients"] == []
    assert app().get("/v1/ingredients?category=cheese").status_code == 422
    assert app().get("/v1/ingredients?colour=gold").status_code == 422


@pytest.mark.parametrize("name", ["honey", "honey_average", "Honey%20Average", "honey-average"])
def test_one_ingredient_by_id_or_short_name(name: str) -> None:
    found = get(f"/v1/ingredients/{name}")
    assert found["id"] == "honey_average"
    assert "honey" in found["aliases"]
    assert found["composition_g_per_100g"]["water"] == 17.2


def test_an_unknown_ingredient_is_not_found_with_what_is_close() -> None:
    response = app().get("/v1/ingredients/honney")
    assert response.status_code == 404
    assert response.headers["content-type"] == "application/problem+json"
    assert "honey_average" in response.json()["detail"]


def test_every_source_that_is_named_is_in_the_bibliography() -> None:
    sources = get("/v1/sources")["sources"]
    keys = [source["key"] for source in sources]
    assert keys == sorted(set(keys))
    assert set(MODEL_SOURCES) <= set(keys)
    for source in sources:
        assert source["title"]
        assert source["mark"]
    for ingredient in get("/v1/ingredients")["ingredients"]:
        for group in ingredient["provenance"].values():
            assert set(group["sources"]) <= set(keys), ingredient["id"]


def test_the_tables_hold_what_the_lists_hold() -> None:
    listed = get("/v1/ingredients")["ingredients"]
    table = rows("/v1/ingredients.csv")
    assert [row["id"] for row in table] == [i["id"] for i in listed]
    for row, ingredient in zip(table, listed, strict=True):
        assert None not in row
        for component, grams in ingredient["composition_g_per_100g"].items():
            assert float(row[f"{component}_g_per_100g"]) == grams
        density = row["density_g_ml"]
        assert (float(density) if density else None) == ingredient["density_g_ml"]
    assert [row["key"] for row in rows("/v1/sources.csv")] == [s["key"] for s in get("/v1/sources")["sources"]]
    assert len(rows("/v1/ingredients.csv?category=honey")) == len(get("/v1/ingredients?category=honey")["ingredients"])


@pytest.mark.parametrize("path", ["/v1/ingredients.csv", "/v1/sources.csv"])
def test_no_text_of_a_table_starts_a_formula(path: str) -> None:
    for row in rows(path):
        for value in row.values():
            if value.startswith(("=", "+", "-", "@")):
                float(value)


def test_an_empty_table_keeps_its_header() -> None:
    text = app().get("/v1/ingredients.csv?text=nonesuch").text
    assert text.startswith("id,name,category")


# The document.


def test_the_document_of_the_application_is_valid() -> None:
    validate(get("/v1/openapi.json"))


def test_operations_carry_the_names_of_the_contract() -> None:
    paths = get("/v1/openapi.json")["paths"]
    expected = {
        ("post", "/v1/blend-plans"): "solve_blend",
        ("post", "/v1/blend-forecasts"): "forecast_blend",
        ("get", "/v1/ingredients"): "list_ingredients",
        ("get", "/v1/ingredients/{id}"): "get_ingredient",
        ("get", "/v1/sources"): "list_sources",
        ("get", "/v1/cell"): "list_cells",
    }
    for (method, path), operation_id in expected.items():
        assert paths[path][method]["operationId"] == operation_id
    cells = [path for path in paths if path.startswith("/v1/cell/") and "{question}" not in path]
    assert len(cells) == len(get("/v1/cell")["cells"])
    for path in cells:
        name = path.rsplit("/", 1)[1].replace("-", "_")
        assert paths[path]["get"]["operationId"] == f"cell_{name}"
    ids = [operation["operationId"] for path in paths.values() for operation in path.values()]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[a-z][a-z0-9_]*", operation_id) for operation_id in ids)


def test_the_document_shows_every_example() -> None:
    paths = get("/v1/openapi.json")["paths"]
    for operation_id, path in QUESTIONS.items():
        shown = paths[path]["post"]["requestBody"]["content"]["application/json"]["examples"]
        assert list(shown) == [file.stem for file in all_examples(operation_id)]
        assert all(example["summary"] and example["value"] for example in shown.values())
