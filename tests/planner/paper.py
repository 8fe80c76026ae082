"""A request and its amounts turned into the words of the paper calculation, `tests.oracle.pour`.

Only what the request says is used, never what the service read from it: volumes and masses are parsed here again.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from tests.oracle.liquids import COMPONENTS, WATER, WATER_KG_M3, binary_sum_volume_ml, bisect
from tests.oracle.pour import Composition, Lot, Part, Poured, as_measured, density_g_per_ml, pour

_ML = {"mL": 1.0, "L": 1000.0, "gal": 3785.411784}
_TARTARIC_PER_G = {"tartaric": 1.0, "citric": 75.04 / 64.04}
SID_LESS_PHOSPHATE = {"lemon_juice_fresh": 32.4 - 0.626 * 8.0}
"""S - P of the acid rule, meq/kg, from the pH and the phosphorus of the row (17 and 8 mg/100 g: orange, lemon)."""


def litres(text: str) -> float:
    """A volume such as "24 L"."""
    number, unit = text.split()
    return float(number) * _ML[unit] / 1000.0


def tartaric_g_per_l(text: str) -> float:
    """An acidity such as "4.6 g/L tartaric"."""
    found = re.fullmatch(r"([\d.]+) g/L (\w+)", text)
    assert found is not None, text
    return float(found.group(1)) * _TARTARIC_PER_G[found.group(2)]


def paper_lot(lot: Mapping[str, Any], volume_l: float, abv_percent: float, acid_g_per_l: float) -> Lot:
    """A lot by what its maker read; strength and acidity as told where the service had to assume them."""
    if "abv_percent" in lot:
        abv_percent = lot["abv_percent"]
    if "titratable_acidity" in lot:
        acid_g_per_l = tartaric_g_per_l(lot["titratable_acidity"])
    return Lot(volume_l, lot["gravity"], abv_percent, acid_g_per_l)


_SUGARS = COMPONENTS[1:6]


def labelled(ingredient: str, label: Mapping[str, Any]) -> Composition:
    """A can by its nutrition label: the strength at which one part of it and so many of water have the label's sugar.

    Its juice is the share declared for that drink.
    """
    can_parts, water_parts = map(float, label.get("diluted", "1+0").split("+"))
    wanted_g_per_l = label["sugar_g"] / litres(label["serving"])

    def of(brix: float) -> Composition:
        return as_measured(Part(ingredient, 1.0, brix=brix))

    def water_g(can: Composition) -> float:
        """Water beside 100 g of can."""
        return water_parts / can_parts * 100.0 / density_g_per_ml(can) * WATER_KG_M3 / 1000.0

    def excess_sugar(brix: float) -> float:
        can = of(brix)
        grams = list(can.grams_per_100g)
        grams[WATER] += water_g(can)
        sugar = sum(grams[COMPONENTS.index(name)] for name in _SUGARS)
        return float(1000.0 * sugar / binary_sum_volume_ml(tuple(grams)) - wanted_g_per_l)

    can = of(bisect(excess_sugar, 1.0, 75.0, "Brix of the can"))
    if "juice_percent" not in label:
        return can
    share = 100.0 / (100.0 + water_g(can))
    percent = label["juice_percent"]
    return replace(can, juice_basis="declared", juice_share_percent=percent, label_mix_mass_fraction=share)


def paper_part(addition: Mapping[str, Any], ingredient: str, mass_g: float) -> Part:
    """An addition as weighed, with what was measured on it."""
    measured = addition.get("measured", {})
    if "label" in measured:
        return Part(labelled(ingredient, measured["label"]), mass_g)
    acidity = measured.get("titratable_acidity")
    return Part(
        ingredient,
        mass_g,
        brix=measured.get("brix"),
        moisture_percent=measured.get("moisture_percent"),
        ta_g_per_l_citric=None if acidity is None else tartaric_g_per_l(acidity) * 64.04 / 75.04,
        sid_less_phosphate_meq_per_kg=0.0 if acidity is None else SID_LESS_PHOSPHATE[ingredient],
    )


def poured_on_paper(
    request: Mapping[str, Any],
    answer: Mapping[str, Any],
    aliases: Mapping[str, str] | None = None,
    abv_percent: float = 0.0,
    acid_g_per_l: float = 3.0,
) -> Poured:
    """The amounts of a plan or recipe poured by the paper calculation."""
    masses = {a["name"]: a["mass_g"] for a in answer["amounts"]}
    volumes = {a["name"]: a["volume_ml"] for a in answer["amounts"]}
    lots = [
        paper_lot(lot, volumes[lot["name"]] / 1000.0, abv_percent, acid_g_per_l)
        for lot in request["lots"]
        if masses[lot["name"]] > 0.0
    ]
    parts = []
    for addition in request.get("additions", []):
        ingredient = (aliases or {}).get(addition["ingredient"], addition["ingredient"])
        parts.append(paper_part(addition, ingredient, masses[ingredient]))
    return pour(lots, parts)


def agrees(predicted: Mapping[str, Any], poured: Poured, where: str = "") -> None:
    """What was promised is what is poured, within what a maker's instruments show."""
    promised = {name: value["value"] for name, value in predicted.items() if value is not None}
    assert promised["gravity"] == pytest.approx(poured.specific_gravity_20_20, abs=3e-4), where
    assert promised["abv_percent"] == pytest.approx(poured.abv_percent, abs=0.03), where
    assert promised["volume"] == pytest.approx(poured.volume_l, rel=1e-3), where
    assert promised["titratable_acidity"] == pytest.approx(poured.ta_g_per_l_tartaric, abs=0.05), where
    assert promised["citrus_percent"] == pytest.approx(poured.citrus_juice_percent, abs=0.1), where
