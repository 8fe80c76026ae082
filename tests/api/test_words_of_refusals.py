"""What a maker is told: the whole sentence of each refusal, over JSON and in a cell.

Each sentence has to say what is wrong, where, and what to write instead, in a maker's words. Figures in hints: SG of a
sugar scale by ICUMSA SPS-4 (12 °Bx is SG 1.0483); points are thousandths above water (common practice, no source).
"""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import quote

import pytest

from tests.api.real import BASE, PATHS, app, changed, codes, post

LOT, ADDITION = ("lots", 0), ("additions", 0)
HONEY = {"ingredient": "honey", "volume": "9.5L", "gravity": "0.9985", "abv_percent": "7.2", "target": "1.016"}
VOLUMES = "volume mL, L, hL, tsp, tbsp, cup, fl oz, pt, qt, gal, imp fl oz, imp pt, imp gal."
AMOUNTS = f"Units: mass mg, g, kg, oz, lb; {VOLUMES}"
LITRES = f"Units: {VOLUMES}"
BUFFERS = "Check the meter in buffers of pH 4.01 and 7.00."
TARTARIC = (
    'Write it like "6.5 g/L tartaric", "0.55 % citric" (grams in 100 mL), "55 g/kg citric" or "80 meq/L". '
    "Acids: tartaric, citric, malic, lactic, sulfuric."
)
NO_JARGON = re.compile(
    r"\b(type|schema|literal|validation|valid|enum|float|integer|string|null|none type|object|array|parse|regex)\b",
    re.IGNORECASE,
)

# The same mistake in a lot of a JSON request and in a cell: the same words.

TEXTS: list[tuple[str, str, str]] = [
    ("volume", "24", f'"24": the unit is missing. Write for example "24 L" or "24 gal". {LITRES}'),
    ("volume", "330", f'"330": the unit is missing. Write for example "330 mL" or "330 fl oz". {LITRES}'),
    ("volume", "1/2", f'"1/2": the unit is missing. Write for example "1/2 L" or "1/2 gal". {LITRES}'),
    ("volume", "24 litters", f'"24 litters": the unit "litters" is not known. Did you mean "liters"? {LITRES}'),
    ("volume", "5 galon", f'"5 galon": the unit "galon" is not known. Did you mean "gallon"? {LITRES}'),
    (
        "volume",
        "3 buckets",
        f'"3 buckets": the unit "buckets" is not known. Write a number and a unit, for example "19 L". {LITRES}',
    ),
    ("volume", "75 cl", '"75 cl": write it in mL: 1 cL is 10 mL.'),
    ("volume", "5 #", '"5 #": "#" could be pounds or pieces: write lb for pounds.'),
    ("volume", "10 oz", '"10 oz": an ounce is a mass: fl oz, or oz by weight? A volume is needed here, so "fl oz".'),
    (
        "volume",
        "24 kg",
        '"24 kg": this is a mass, and a volume is needed here. Write a number and a unit, for example "19 L". '
        f"{LITRES}",
    ),
    ("volume", "9,5 L", '"9,5 L" has a comma inside a number. Use a decimal point: "9.5".'),
    (
        "volume",
        "1,000 mL",
        '"1,000 mL" has a comma inside a number. Use a decimal point: "1.000", or 1000 for thousands.',
    ),
    ("volume", "5 gal 2 L", '"5 gal 2 L": this mixes two systems of units, gal and L. Write all of it in one.'),
    (
        "volume",
        "20-24 L",
        '"20-24 L": this is a range, and one amount is needed here. Write a number and a unit, for example "19 L". '
        f"{LITRES}",
    ),
    ("volume", "-3 L", '"-3 L": a volume cannot be negative. Leave the minus sign out.'),
    ("volume", "", 'This text is empty. Write a number and a unit, for example "19 L".'),
    (
        "volume",
        "about 24 L",
        f'"about 24 L": this does not begin with a number. Write a number and a unit, for example "19 L". {LITRES}',
    ),
    ("volume", "0 L", "A lot is between 1 mL and 10,000,000 L, not 0 L."),
    ("volume", "\uff19 L", '"\uff19 L": write it in the digits 0 to 9: "9 L".'),
    ("volume", "9 L\n", "A line break or a tab stands before or after this text: take it out."),
    ("titratable_acidity", "6.5", f'"6.5": the unit is missing. {TARTARIC}'),
    (
        "titratable_acidity",
        "6.5 g/L",
        '"6.5 g/L": say as which acid it is told: 6.5 g/L tartaric or citric, for example. '
        "Acids: tartaric, citric, malic, lactic, sulfuric.",
    ),
    (
        "titratable_acidity",
        "6.5 g/L tartric",
        '"6.5 g/L tartric": the acid "tartric" is not known. Did you mean tartaric?',
    ),
    (
        "titratable_acidity",
        "6.5 g/L acetic",  # volatile acid is another measurement: nothing else is offered in its place
        f'"6.5 g/L acetic": the acid "acetic" is not known. {TARTARIC}',
    ),
    (
        "titratable_acidity",
        "6,5 g/L tartaric",
        '"6,5 g/L tartaric" has a comma inside a number. Use a decimal point: "6.5".',
    ),
    ("residual_sugar", "4", '"4": the unit is missing. Write a concentration of sugar like "4 g/L".'),
]


def told(path: str, body: Any) -> dict[str, str]:
    """What a refused JSON request is told, by place."""
    return {error["pointer"]: error["detail"] for error in post(path, body, 422)["errors"]}


def told_in_cell(question: str, query: dict[str, Any]) -> dict[str, str]:
    """What a refused cell is told, by parameter."""
    response = app().get(f"/v1/cell/{question}", params=query)
    assert response.status_code == 422, response.text
    return {error["pointer"]: error["detail"] for error in response.json()["errors"]}


@pytest.mark.parametrize(("name", "text", "words"), TEXTS)
def test_a_text_of_a_lot_is_refused_in_the_same_words_everywhere(name: str, text: str, words: str) -> None:
    assert told(PATHS["solve_blend"], changed(*LOT, name, to=text)) == {f"/lots/0/{name}": words}
    assert told_in_cell("amount-for-gravity", {**HONEY, name: text}) == {f"/{name}": words}


@pytest.mark.parametrize(
    "text", ["9.5\u00a0L", "9.5\u202fL", "\uff19 L".replace("\uff19", "9"), "9.5 l.", "9.5 Litres"]
)
def test_spaces_and_spellings_that_are_pasted_are_read(text: str) -> None:
    post(PATHS["solve_blend"], changed(*LOT, "volume", to=text))
    assert app().get("/v1/cell/amount-for-gravity", params={**HONEY, "volume": text}).status_code == 200


POINTS = "12 points are SG 1.012; 12 °Bx or °P of a liquid without alcohol is SG 1.0483."
NOT_A_DRINK = "A gravity of {} is not a drink's: readings run from about 0.98 to 1.15."
NUMBERS: list[tuple[str, float, str]] = [
    ("gravity", 1016, f"{NOT_A_DRINK.format(1016)} Did you mean 1.016?"),
    ("gravity", 12, f"{NOT_A_DRINK.format(12)} {POINTS}"),
    ("gravity", 116, f"{NOT_A_DRINK.format(116)} 116 points are SG 1.116."),
    ("gravity", 0.5, NOT_A_DRINK.format(0.5)),
    ("ph", 33, "33 is too much: write a number less than 14. Is its decimal point in its place?"),
    ("ph", 0.3, f"No drink has pH 0.3; they lie between 2 and 7. {BUFFERS}"),
    ("ph", 12, f"No drink has pH 12; they lie between 2 and 7. {BUFFERS}"),
    ("abv_percent", -1, "-1 is negative: write a number of 0 or more."),
    ("abv_percent", 720, "720 is too much: write a number of 100 or less. Is its decimal point in its place?"),
]


@pytest.mark.parametrize(("name", "value", "words"), NUMBERS)
def test_an_impossible_reading_of_a_lot_is_told_what_it_may_be(name: str, value: float, words: str) -> None:
    assert told(PATHS["solve_blend"], changed(*LOT, name, to=value)) == {f"/lots/0/{name}": words}
    assert told_in_cell("amount-for-gravity", {**HONEY, name: value}) == {f"/{name}": words}


def test_a_strength_of_a_lot_that_leaves_no_room() -> None:
    words = "Gravity and strength leave no room for water. Check both, and their decimal points."
    assert told(PATHS["solve_blend"], changed(*LOT, "abv_percent", to=72)) == {"/lots/0/gravity": words}
    assert told_in_cell("amount-for-gravity", {**HONEY, "abv_percent": 72}) == {"/gravity": words}
    share = (
        "SG {} is lighter than 0.072 % vol in plain water (0.9999): no extract fits. Check the strength, the sample's "
        "temperature, and that the reading is SG 20/20. Strength is in % vol: did you mean 7.2?"
    )
    found = told(PATHS["solve_blend"], changed(*LOT, "abv_percent", to=0.072))
    assert found == {"/lots/0/gravity": share.format(0.998)}
    assert told_in_cell("amount-for-gravity", {**HONEY, "abv_percent": 0.072}) == {"/gravity": share.format(0.9985)}


def test_an_acidity_of_a_lot_whose_point_was_lost() -> None:
    words = (
        "An acidity of 65.0 g/L as tartaric does not fit SG 0.998 at 8 % vol: there is room for 22.2 g/L of extract in "
        "all. Check the decimal point and the unit of the acidity, the gravity and the strength."
    )
    found = told(PATHS["solve_blend"], changed(*LOT, "titratable_acidity", to="65 g/L tartaric"))
    assert found == {"/lots/0/titratable_acidity": words}


# Temperatures of a sample, and honey.

COOL = (
    "A sample temperature of 93.3 °C is outside 0–40 °C, where the expansion of a drink is known. Let the sample come "
    "to room temperature and read again."
)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("20", '"20": the unit is missing. Write for example "20 C" or "20 F". Units: temperature C, F.'),
        ("68 degrees", '"68 degrees": degrees of which scale? Write "18 C" or "65 F".'),
        ("200 F", COOL),
    ],
)
def test_the_temperature_of_a_sample(text: str, words: str) -> None:
    body = changed(*LOT, "gravity", to={"reading": 1.01, "sample_temperature": text})
    assert told(PATHS["solve_blend"], body) == {"/lots/0/gravity/sample_temperature": words}
    assert told_in_cell("amount-for-gravity", {**HONEY, "sample_temperature": text}) == {"/sample_temperature": words}
    body = {"hydrometer": {"reading": 1.01, "sample_temperature": text}}
    assert told(PATHS["interpret_readings"], body) == {"/hydrometer/sample_temperature": words}


@pytest.mark.parametrize(
    ("percent", "words"),
    [
        (
            82,
            "No honey has 82 % moisture; 10 to 30 % is read here. Is 82 its Brix? Then give that as brix, and leave "
            "the moisture out.",
        ),
        (0.17, "No honey has 0.17 % moisture; 10 to 30 % is read here. It is told in percent: did you mean 17?"),
    ],
)
def test_the_moisture_of_a_honey(percent: float, words: str) -> None:
    body = changed(*ADDITION, "measured", to={"moisture_percent": percent})
    assert told(PATHS["solve_blend"], body) == {"/additions/0/measured/moisture_percent": words}
    assert told_in_cell("amount-for-gravity", {**HONEY, "moisture_percent": percent}) == {"/moisture_percent": words}


# Ingredients.

KINDS = (
    "It lists kinds, not brands: look under honey, sugar, juice, concentrate, acid, salt, water, spirit. Or describe "
    "it by its own composition."
)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("hony", "Close to it: honey_average, honey_table, honey_white_clover, honey_alfalfa, honey_orange_blossom."),
        ("honeys", "Close to it: honey_average, honey_chestnut, honey_table, honey_white_clover, honey_alfalfa."),
        ("Sunny Meadow Clover", "Close to it: honey_white_clover."),
        ("Sunny Meadow Gold", KINDS),
        ("", "No ingredient is named here: write one of the catalogue, such as “honey”."),
    ],
)
def test_an_unknown_ingredient(name: str, words: str) -> None:
    whole = words if not name else f"There is no ingredient “{name}” in the catalogue. {words}"
    assert told(PATHS["solve_blend"], changed(*ADDITION, "ingredient", to=name)) == {"/additions/0/ingredient": whole}
    assert told_in_cell("amount-for-gravity", {**HONEY, "ingredient": name}) == {"/ingredient": whole}


@pytest.mark.parametrize("name", ["Honey", "HONEY ", "acacia honey"])
def test_case_and_spaces_of_an_ingredient_do_not_matter(name: str) -> None:
    post(PATHS["solve_blend"], changed(*ADDITION, "ingredient", to=name))
    assert app().get("/v1/cell/amount-for-gravity", params={**HONEY, "ingredient": name}).status_code == 200


# Over JSON alone.

CLASSES = '"mead", "grape_wine", "fruit_wine", "cider_perry", "citrus_juice", "berry_juice" or "spirit"'
JSON: list[tuple[tuple[str | int, ...], Any, str, str]] = [
    (
        (*LOT, "volume"),
        24,
        "/lots/0/volume",
        'The unit is missing. Write it in quotes with its unit, for example "24 L".',
    ),
    (
        (*ADDITION, "max"),
        "2",
        "/additions/0/max",
        f'"2": the unit is missing. Write for example "2 kg" or "2 L". {AMOUNTS}',
    ),
    (
        (*ADDITION, "max"),
        2,
        "/additions/0/max",
        'The unit is missing. Write it in quotes with its unit, for example "2 kg".',
    ),
    (
        (*ADDITION, "max"),
        "2 kgz",
        "/additions/0/max",
        f'"2 kgz": the unit "kgz" is not known. Did you mean "kg"? {AMOUNTS}',
    ),
    (
        (*ADDITION, "max"),
        "2,5 kg",
        "/additions/0/max",
        '"2,5 kg" has a comma inside a number. Use a decimal point: "2.5".',
    ),
    (
        (*LOT, "titratable_acidity"),
        6.5,
        "/lots/0/titratable_acidity",
        'The unit is missing. Write it in quotes with its unit, for example "6.5 g/L tartaric".',
    ),
    (
        (*LOT, "gravity"),
        "1,016",
        "/lots/0/gravity",
        "Write the gravity without quotes and with a decimal point: 1.016.",
    ),
    (
        (*LOT, "gravity"),
        "SG 1.016",
        "/lots/0/gravity",
        "Write the gravity without quotes and with a decimal point: 1.016.",
    ),
    ((*LOT, "gravity"), "12", "/lots/0/gravity", f"Write the gravity without quotes, as SG; 12 is none. {POINTS}"),
    (
        (*LOT, "gravity"),
        "12 Bx",
        "/lots/0/gravity",
        "“12 Bx”: with alcohol a sugar scale needs its instrument. Write "
        '{"reading": "12 Bx", "scale": "hydrometer"}; a refractometer reads alcohol too.',
    ),
    ((*LOT, "gravity"), {"reading": None}, "/lots/0/gravity/reading", "Write a number, or a text in quotes."),
    (("targets", "gravity"), "1,016", "/targets/gravity", "Write the gravity as a number (SG), without quotes: 1.016."),
    (
        ("targets", "gravity"),
        1016,
        "/targets/gravity",
        "The gravity of a drink lies between 0.7 and 1.6, not at 1016. Did you mean 1.016?",
    ),
    (
        ("targets", "ph"),
        33,
        "/targets/ph",
        "The pH of a drink lies between 1.5 and 10, not at 33. Did you mean 3.3?",
    ),
    (
        ("targets", "abv_percent"),
        {"min": 7, "max": 6},
        "/targets/abv_percent/min",
        "The min is above the max. Were the two exchanged?",
    ),
    (
        (*LOT, "use"),
        {"min": "6 L", "max": "5 L"},
        "/lots/0/use/min",
        "The min is above the max. Were the two exchanged?",
    ),
    ((*ADDITION, "min"), "3 kg", "/additions/0/min", "The min is above the max. Were the two exchanged?"),
    ((*LOT, "abv_percent"), "7.2%", "/lots/0/abv_percent", "Write 7.2, without quotes and without a percent sign."),
    ((*LOT, "abv_percent"), "7,2", "/lots/0/abv_percent", "Write 7.2, with a decimal point and without quotes."),
    ((*LOT, "ph"), "pH 3.4", "/lots/0/ph", "Write 3.4 without quotes."),
    ((*LOT, "ph"), "sour", "/lots/0/ph", "Write a number without quotes, for example 1.012."),
    ((*LOT, "ph"), True, "/lots/0/ph", "Write a number, for example 1.012; true and false are not numbers."),
    ((*LOT, "name"), "", "/lots/0/name", "This text is empty. Write one."),
    ((*LOT, "class"), "Cider", "/lots/0/class", f'Did you mean "cider_perry"? Write one of: {CLASSES}.'),
    ((*LOT, "degassed"), "yes", "/lots/0/degassed", "Write true or false, without quotes."),
    (("rounding",), "kichen", "/rounding", 'Did you mean "kitchen"? Write one of: "none", "scale" or "kitchen".'),
    ((*LOT, "gravty"), 0.998, "/lots/0/gravty", 'There is no field "gravty" here. Did you mean "gravity"?'),
    (("prefer",), ["cost"], "/prefer/0", "Write names and values in braces."),
    (
        ("prefer",),
        [{"maximize": "cost"}],
        "/prefer/0/maximize",
        'There is no field "maximize" here. Did you mean "maximise"?',
    ),
    (
        (*ADDITION, "pack"),
        "0 kg",
        "/additions/0/pack",
        "A pack holds more than nothing. Write what one holds, such as “1 kg”.",
    ),
    (("lots",), [*BASE["lots"], *BASE["lots"]], "/lots/1/name", "Two lots are called “base”: give each its own name."),
    (
        (*LOT, "volume"),
        None,
        "/lots/0/volume",
        "Give the lot's volume, or its mass, or gross and tare: one of the three.",
    ),
]


@pytest.mark.parametrize(("path", "value", "pointer", "words"), JSON)
def test_a_json_request_is_refused_in_words(path: tuple[str | int, ...], value: Any, pointer: str, words: str) -> None:
    body = changed(*path, to=value)
    if path == ("lots",):  # the target has to fit neither
        body["targets"] = BASE["targets"]
    assert told(PATHS["solve_blend"], body) == {pointer: words}


def test_a_misspelt_target_lists_what_there_is() -> None:
    ((pointer, words),) = told(PATHS["solve_blend"], {**BASE, "targets": {"gravty": 1.0}}).items()
    assert pointer == "/targets/gravty"
    assert words.startswith(
        'Did you mean "gravity"? Write one of: "gravity", "abv_percent", "titratable_acidity", "ph"'
    )


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("{'lots': 1}", 'line 1, column 2: names and texts stand in double quotes ("), not in single ones.'),
        ("{“lots”: 1}", 'line 1, column 2: names and texts stand in straight quotes ("), not in curly ones.'),
        ('{"gravity": 1,016}', "line 1, column 15: a number has a comma in it: use a decimal point."),
        ('{"volume": 24 L}', 'line 1, column 15: a quantity stands in quotes with its unit, as in "24 L".'),
        ('{"lots": 1,}', "line 1, column 12: a comma stands before the closing bracket: take it out."),
        ('{"ph": .5}', "line 1, column 8: a number begins with a digit or a minus sign: 0.5, not .5."),
    ],
)
def test_json_that_cannot_be_read(body: str, words: str) -> None:
    headers = {"Content-Type": "application/json"}
    response = app().post(PATHS["solve_blend"], content=body.encode(), headers=headers)
    assert (response.status_code, response.json()["detail"]) == (400, f"The body is not readable JSON at {words}")


# Readings.

SPRING = "A must or a drink reads between 0.970 and 1.200, not {}: read again, as SG."
SWAPPED = (
    "The final gravity 1.06 is above the original gravity 1.05. Were the two swapped? The strength of a sweetened "
    "drink cannot be had from its gravities: give the readings taken before the sugar went in, or the strength itself."
)
READINGS: list[tuple[dict[str, Any], str, str]] = [
    ({"hydrometer": 1.3}, "/hydrometer", SPRING.format(1.3)),
    ({"hydrometer": 12}, "/hydrometer", f"{SPRING.format(12)} {POINTS}"),
    ({"hydrometer": 1016}, "/hydrometer", f"{SPRING.format(1016)} Did you mean 1.016?"),
    ({"hydrometer": "1,016"}, "/hydrometer", "Write the gravity without quotes and with a decimal point: 1.016."),
    ({"ph": 33}, "/ph", "No must or drink has pH 33; they lie between 2 and 7. Did you mean 3.3?"),
    ({"ph": 9}, "/ph", f"No must or drink has pH 9; they lie between 2 and 7. {BUFFERS}"),
    (
        {"abv_percent": 72, "hydrometer": 1.0},
        "/abv_percent",
        "No ferment reaches 72 % vol; up to 25 is read here. Did you mean 7.2 % vol? If it is US proof, write half of "
        "it.",
    ),
    (
        {"titratable_acidity": "65 g/L tartaric"},
        "/titratable_acidity",
        "65 g/L as tartaric is no acidity of such a drink: check its decimal point and its unit.",
    ),
    (
        {"titration": {"naoh_ml": 104, "naoh_mol_per_l": 0.1, "sample_ml": 10}},
        "/titration/naoh_ml",
        "78 g/L as tartaric is no acidity of such a drink: check the strength of the base and the volumes.",
    ),
    (
        {"refractometer": "340 Bx", "hydrometer": 1.0},
        "/refractometer",
        '"340 Bx" lies beyond 100, which is pure sugar. Write a reading of a sugar scale like "7.6 Bx" or "7.6 P".',
    ),
    ({"original_gravity": 1.05, "hydrometer": 1.06}, "/original_gravity", SWAPPED),
    (
        {"series": [{"date": "14.03.2026", "gravity": 1.01}]},
        "/series/0/date",
        "Write the day as year-month-day, for example 2026-03-14.",
    ),
    (
        # a strong dry drink, warm: 0.975 is nothing that water with sugar could show
        {"hydrometer": {"reading": 0.975, "sample_temperature": "35 C"}, "abv_percent": 16},
        "/hydrometer/sample_temperature",
        "0.975 in a sample of 35 °C is too light to be corrected: the correction begins without alcohol, whatever the "
        "strength. Let the sample come to 20 °C and read again.",
    ),
    (
        {"series": [{"date": "2026-03-14", "gravity": 0.975, "temperature": "35 C"}]},
        "/series/0/temperature",
        "0.975 in a sample of 35 °C is too light to be corrected: the correction begins without alcohol, whatever the "
        "strength. Let the sample come to 20 °C and read again.",
    ),
]


@pytest.mark.parametrize(("body", "pointer", "words"), READINGS)
def test_readings_are_refused_in_words(body: dict[str, Any], pointer: str, words: str) -> None:
    assert told(PATHS["interpret_readings"], body) == {pointer: words}


# Strength from the gravities of a drink that was sweetened.

SWEETENED = (
    "Was it sweetened after the first reading? Then the two gravities no longer tell its strength: use those from "
    "before, or a laboratory's figure."
)


def test_two_gravities_of_a_sweet_drink_are_answered_with_the_doubt() -> None:
    query = {"original_gravity": 1.1, "final_gravity": 1.09}
    assert SWEETENED in app().get("/v1/cell/abv-from-gravities", params={**query, "explain": 1}).text
    assert SWEETENED in app().get("/v1/cell/caution/abv-from-gravities", params=query).text
    dry = app().get("/v1/cell/abv-from-gravities", params={**query, "final_gravity": 0.998, "explain": 1}).text
    assert SWEETENED not in dry
    assert "Holds only if nothing was added in between." in dry

    answer = post(PATHS["interpret_readings"], {"original_gravity": 1.1, "hydrometer": 1.09})
    assert codes(answer)["sweetened_after_first_reading"] == "warning"
    assert SWEETENED in [caution["text"] for caution in answer["cautions"]]
    denied = post(PATHS["interpret_readings"], {"original_gravity": 1.1, "hydrometer": 1.09, "sweetened": False})
    assert "sweetened_after_first_reading" not in codes(denied)


def test_a_drink_said_to_be_sweetened_has_no_strength_from_its_gravities() -> None:
    answer = post(PATHS["interpret_readings"], {"original_gravity": 1.1, "hydrometer": 1.03, "sweetened": True})
    (method,) = (report for report in answer["alcohol"] if report["method"] == "two_gravities")
    assert method["abv_percent"] is None
    assert method["text"] == (
        "Says nothing here: something went in after the original gravity was read, so that gravity no longer tells "
        "what was fermented."
    )
    assert codes(answer)["original_gravity_says_nothing"] == "warning"


def test_a_final_gravity_above_the_original_one() -> None:
    query = {"original_gravity": 1.05, "final_gravity": 1.06}
    assert told_in_cell("abv-from-gravities", query) == {"/original_gravity": SWAPPED}
    body = changed("lots", to=[{"name": "a", "volume": "9 L", "gravity": 1.06, "original_gravity": 1.05}])
    assert told(PATHS["solve_blend"], body) == {"/lots/0/original_gravity": SWAPPED}


@pytest.mark.parametrize(
    ("query", "pointer", "words"),
    [
        (
            {"original_gravity": 1050, "final_gravity": 0.998},
            "/original_gravity",
            "An original gravity lies between 1.000 and 1.200, not at 1050. Did you mean 1.050?",
        ),
        (
            {"original_gravity": 0.99, "final_gravity": 1.05},
            "/original_gravity",
            "An original gravity lies between 1.000 and 1.200, not at 0.99. It is that of the must before it "
            "fermented: was it exchanged with the final one?",
        ),
        (
            {"original_gravity": 1.05, "final_gravity": 998},
            "/final_gravity",
            "A final gravity of 998 is not a drink's. Did you mean 0.998?",
        ),
    ],
)
def test_gravities_that_were_mistyped(query: dict[str, float], pointer: str, words: str) -> None:
    assert told_in_cell("abv-from-gravities", query) == {pointer: words}


# In a cell alone.

UNITS = "g, kg, oz, lb, mL, L, tsp, tbsp, cup, fl oz, floz, pt, qt or gal"
CELLS: list[tuple[str, str, str]] = [
    ("gravity", "1,016", "Use a decimal point: 1.016."),
    ("gravity", "SG 0.998", "Write the number alone: 0.998."),
    ("gravity", "1/2", "Use a decimal point: 0.5."),
    ("gravity", "\uff10\uff0e\uff19\uff19\uff18", "Write it in the digits 0 to 9: 0.998."),
    ("gravity", "12 Bx", "Write a number alone, with a decimal point and without a unit, for example 1.012."),
    ("ph", "", "Nothing stands here. Write a number, for example 1.012, or, if it is not needed, leave it out."),
    ("abv_percent", "7.2 %", "Write 7.2, without a percent sign."),
    (
        "abv_percent",
        "14 proof",
        "Proof is not read here. Write the strength in % vol, as a number alone; US proof is twice that.",
    ),
    ("brix", "340", "340 is too much: write a number of 100 or less. Is its decimal point in its place?"),
    ("unit", "grams", f'Did you mean "g"? Write one of: {UNITS}.'),
    ("unit", "litre", f'Did you mean "L"? Write one of: {UNITS}.'),
    ("gravty", "0.998", 'There is no query parameter "gravty" here. Did you mean "gravity"?'),
    ("explain", "yes", "Write a whole number, for example 12; for a yes or no 1 or 0."),
]


@pytest.mark.parametrize(("name", "text", "words"), CELLS)
def test_a_cell_is_refused_in_words(name: str, text: str, words: str) -> None:
    assert told_in_cell("amount-for-gravity", {**HONEY, name: text}) == {f"/{name}": words}


@pytest.mark.parametrize("again", ["10L", "9.5L"])
def test_a_parameter_given_twice_is_refused_and_not_the_last_one_taken(again: str) -> None:
    query = "&".join(f"{name}={quote(text)}" for name, text in HONEY.items())
    response = app().get(f"/v1/cell/amount-for-gravity?{query}&volume={again}")
    assert response.status_code == 422
    (error,) = response.json()["errors"]
    assert error == {"pointer": "/volume", "detail": "This query parameter is given 2 times; give it once."}


def test_a_cell_without_a_parameter_and_a_cell_that_is_none() -> None:
    without = {name: text for name, text in HONEY.items() if name != "target"}
    assert told_in_cell("amount-for-gravity", without) == {"/target": "This is needed and was not given."}
    response = app().get("/v1/cell/amount-for-gravty")
    assert response.status_code == 404
    assert response.json()["detail"] == (
        'There is no cell question "amount-for-gravty". Did you mean "amount-for-gravity"?'
    )


def test_a_target_out_of_reach_is_an_answer_and_in_a_cell_no_number() -> None:
    answer = post(PATHS["solve_blend"], changed("targets", "gravity", to=1.2))
    assert answer["outcome"] == "targets_clash"
    assert answer["summary"].startswith("A gravity of 1.2 cannot be had with at most 2 kg of acacia honey")
    words = (
        "No amount of average honey brings this lot to a gravity of 0.99: the nearest is 0.9985. Choose another "
        "ingredient or another target."
    )
    assert told_in_cell("amount-for-gravity", {**HONEY, "target": 0.99}) == {"/target": words}


def test_no_sentence_speaks_of_the_programs_insides() -> None:
    sentences = [
        *(words for *_, words in TEXTS),
        *(words for *_, words in NUMBERS),
        *(words for *_, words in JSON),
        *(words for *_, words in READINGS),
        *(words for *_, words in CELLS),
    ]
    assert len(sentences) > 90
    for sentence in sentences:
        assert not NO_JARGON.search(sentence), sentence
        assert sentence.endswith((".", "?")), sentence
        assert len(sentence) < 400, sentence


@pytest.mark.parametrize("digits", [309, 4000])
@pytest.mark.parametrize(
    ("place", "pointer"),
    [(("additions", 0, "max_packs"), "/additions/0/max_packs"), (("lots", 0, "volume"), "/lots/0/volume")],
)
def test_a_whole_number_of_any_length_is_refused_in_words(
    place: tuple[str | int, ...], pointer: str, digits: int
) -> None:
    body = changed(*place, to=int("9" * digits))
    for path in ("/v1/blend-plans", "/v1/trade-offs"):
        refused = app().post(path, json=body)
        assert refused.status_code == 422, refused.text
        assert pointer in {error["pointer"] for error in refused.json()["errors"]}
