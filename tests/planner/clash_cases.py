"""Random requests that clash, and the requests that a clash's own words lead to: one thing given up, moved or added."""

from __future__ import annotations

import copy
import random
from typing import Any

Body = dict[str, Any]

SWEET = {"honey_acacia": 0.15, "sugar_white": 0.1, "apple_juice_concentrate_70": 0.15, "honey_average": 0.15}
SOUR = {
    "lemon_juice_fresh": 0.06,
    "cherry_tart_juice_concentrate_68": 0.08,
    "raspberry_juice": 0.12,
    "orange_juice_concentrate_frozen": 0.1,
    "citric_acid_anhydrous": 0.002,
}
THIN = {"water_deionised": 0.25, "orange_juice_fresh": 0.2}
MOST_KG_PER_L = {**SWEET, **SOUR, **THIN}
_PACKS = ("250 g", "400 g", "1 kg", "12 fl oz")
_ROOM_KG_PER_L = 10.0
_ANYTHING = {"gravity": {"max": 1.59}}


def litres(text: str) -> float:
    """A volume such as "24 L"."""
    number, unit = text.split()
    assert unit == "L", text
    return float(number)


def _lots(chance: random.Random) -> list[Body]:
    found = []
    for k in range(chance.choice([1, 1, 2, 3])):
        volume = round(chance.uniform(4.0, 25.0), 1)
        lot: Body = {
            "name": f"lot {'ABC'[k]}",
            "volume": f"{volume} L",
            "gravity": round(chance.uniform(0.996, 1.004), 4),
            "abv_percent": round(chance.uniform(5.0, 13.0), 1),
            "titratable_acidity": f"{chance.uniform(3.5, 7.5):.1f} g/L tartaric",
            "ph": round(chance.uniform(3.1, 3.7), 2),
        }
        use = chance.random()
        if use < 0.25:
            lot["use"] = {"max": f"{volume * chance.uniform(0.5, 1.0):.2f} L"}
        elif use < 0.45:
            lot["use"] = {"min": f"{volume * chance.uniform(0.1, 0.5):.2f} L", "max": f"{volume * 0.9:.2f} L"}
        found.append(lot)
    return found


def poured_l(lots: list[Body]) -> float:
    """The most that may be poured of all lots together [L], what the planner takes for its measure."""
    return sum(litres(lot["use"]["max"] if "use" in lot else lot["volume"]) for lot in lots)


def _additions(chance: random.Random, scale_l: float) -> list[Body]:
    names = [chance.choice(sorted(SWEET)), *chance.sample(sorted(MOST_KG_PER_L), chance.randint(1, 5))]
    found = []
    for name in sorted(set(names)):
        most = scale_l * MOST_KG_PER_L[name] * chance.uniform(0.1, 1.0)
        kind = chance.random()
        if kind < 0.1:
            given: Body = {"amount": f"{0.3 * most:.4f} kg"}
        elif kind < 0.25 and name not in ("citric_acid_anhydrous", "sugar_white"):
            given = {"pack": chance.choice(_PACKS), "max_packs": chance.randint(1, 6)}
            if chance.random() < 0.3:
                given["half_packs"] = True
        elif kind < 0.4:
            given = {"min": f"{most * chance.uniform(0.1, 0.6):.4f} kg", "max": f"{most:.4f} kg"}
        elif kind < 0.5 and name in THIN:
            given = {"max": f"{most:.3f} L"}
        else:
            given = {"max": f"{most:.4f} kg"}
        found.append({"ingredient": name, **given})
    return found


_SPANS = {
    "gravity": (0.999, 1.05, 0.002, ""),
    "abv_percent": (3.5, 11.0, 0.3, ""),
    "titratable_acidity": (3.5, 9.0, 0.5, " g/L tartaric"),
    "ph": (2.9, 3.7, 0.06, ""),
    "sugar_g_per_l": (0.0, 110.0, 5.0, ""),
    "citrus_percent": (0.0, 20.0, 1.0, ""),
}
_DIGITS = {"gravity": 4, "ph": 2}


def _targets(chance: random.Random, scale_l: float, *, priced: bool) -> Body:
    names = chance.sample(
        [
            "gravity",
            "gravity",
            "abv_percent",
            "abv_percent",
            "volume",
            "volume",
            "titratable_acidity",
            "citrus_percent",
            "sugar_g_per_l",
            "ph",
        ],
        chance.randint(2, 6),
    )
    spans = {**_SPANS, "volume": (0.7 * scale_l, 1.4 * scale_l, 0.05 * scale_l, " L")}
    if priced:
        spans["cost"] = (0.5 * scale_l, 2.0 * scale_l, scale_l, "")
        names.append("cost")
    found: Body = {}
    for name in sorted(set(names)):
        low, high, width, unit = spans[name]

        def words(value: float, unit: str = unit, digits: int = _DIGITS.get(name, 2)) -> Any:
            return f"{value:.{digits}f}{unit}" if unit else round(value, digits)

        value, kind = chance.uniform(low, high), chance.random()
        width *= chance.uniform(0.3, 1.5)
        if name == "cost":
            found[name] = {"max": words(value)}
        elif kind < 0.25:
            found[name] = words(value)
        elif kind < 0.5:
            found[name] = {"min": words(value), "max": words(value + width)}
        elif kind < 0.65:
            found[name] = {"min": words(value)}
        elif kind < 0.8:
            found[name] = {"max": words(value)}
        else:
            found[name] = {"value": words(value), "tolerance": words(width)}
        if isinstance(found[name], dict) and chance.random() < 0.3:
            found[name]["priority"] = chance.randint(1, 3)
    return found


def random_request(chance: random.Random) -> Body:
    """One to three lots, one to six additions and two to six targets that often clash."""
    lots = _lots(chance)
    scale_l = poured_l(lots)
    priced = chance.random() < 0.15
    additions = _additions(chance, scale_l)
    if priced:
        for addition in additions:
            addition["price"] = {"amount": round(chance.uniform(0.5, 12.0), 2), "per": "1 kg"}
    request: Body = {"lots": lots, "additions": additions, "targets": _targets(chance, scale_l, priced=priced)}
    allow = [kind for kind in ("spirit", "carbonates", "raw_juice") if chance.random() < 0.2]
    return {**request, "allow": allow} if allow else request


def all_limits(request: Body) -> list[str]:
    """The names that a request's limits have as members of a conflict."""
    found = [f"use of {lot['name']}" for lot in request["lots"]]
    for addition in request["additions"]:
        name = addition["ingredient"]
        if "amount" in addition:
            found.append(f"amount of {name}")
            continue
        if "max" in addition or "max_packs" in addition:
            found.append(f"stock of {name}")
        if "min" in addition:
            found.append(f"least of {name}")
        if "pack" in addition:
            found.append(f"packs of {name}")
    return found


def _addition(request: Body, name: str) -> Body:
    return next(a for a in request["additions"] if a["ingredient"] == name)


def _pack(text: str) -> tuple[float, str]:
    number, unit = text.split(" ", 1)
    return float(number), unit


def without(request: Body, members: list[str]) -> Body:
    """The request with some targets and limits given up."""
    body = copy.deepcopy(request)
    scale_l = poured_l(request["lots"])
    for member in members:
        if member in body["targets"]:
            del body["targets"][member]
            continue
        kind, _, name = member.partition(" of ")
        if kind == "use":
            lot = next(lot for lot in body["lots"] if lot["name"] == name)
            room = _ROOM_KG_PER_L * scale_l  # the readings are per litre: a larger lot of the same
            lot.update(volume=f"{room:.6g} L", use={"min": "0 L", "max": f"{room:.6g} L"})
            continue
        addition = _addition(body, name)
        if kind == "amount":
            del addition["amount"]
            addition["max"] = f"{_ROOM_KG_PER_L * scale_l:.6g} kg"
        elif kind == "stock":
            addition.pop("max_packs", None)
            addition["max"] = f"{_ROOM_KG_PER_L * scale_l:.6g} kg"
        elif kind == "least":
            del addition["min"]
        else:
            number, unit = _pack(addition.pop("pack"))
            addition.pop("half_packs", None)
            packs = addition.pop("max_packs", None)
            if packs is not None:
                addition["max"] = f"{packs * number:.6g} {unit}"
    if not body["targets"]:
        body["targets"] = copy.deepcopy(_ANYTHING)
    return body


def alone(request: Body, members: list[str]) -> Body:
    """The request with nothing but some targets and limits."""
    others = [m for m in (*request["targets"], *all_limits(request)) if m not in members]
    return without(request, others)


def with_target(request: Body, name: str, low: float, high: float) -> Body:
    """The request with another range for one target, in the property's unit."""
    body = copy.deepcopy(request)
    unit = {"titratable_acidity": " g/L tartaric", "volume": " L"}.get(name, "")
    old = body["targets"][name]
    body["targets"][name] = {
        end: f"{value:.9f}{unit}" if unit else value
        for end, value in (("min", low), ("max", high))
        if abs(value) < 1e300
    }
    if isinstance(old, dict) and "priority" in old:
        body["targets"][name]["priority"] = old["priority"]
    return body


def with_mass(request: Body, member: str, mass_g: float, litre_g: float | None = None) -> Body:
    """The request in which the amount of a limit may be this; `litre_g` is the mass of a litre of a lot."""
    body = copy.deepcopy(request)
    kind, _, name = member.partition(" of ")
    if kind == "use":
        assert litre_g is not None
        lot = next(lot for lot in body["lots"] if lot["name"] == name)
        use, new = lot.get("use", {"min": lot["volume"], "max": lot["volume"]}), mass_g / litre_g
        low, high = litres(use.get("min", "0 L")), litres(use["max"])
        if "use" not in lot:
            low = high = new
        low, high = min(low, new), max(high, new)
        lot["volume"] = f"{max(high, litres(lot['volume'])):.9g} L"
        lot["use"] = {"min": f"{low:.9g} L", "max": f"{high:.9g} L"}
        return body
    addition = _addition(body, name)
    text = f"{mass_g:.9g} g"
    if kind == "amount":
        addition["amount"] = text
    elif kind == "stock":
        addition.pop("max_packs", None)
        addition["max"] = text
    elif kind == "least":
        addition["min"] = text
    else:
        for key in ("pack", "max_packs", "half_packs", "min", "max"):
            addition.pop(key, None)
        addition["amount"] = text
    return body


def with_help(request: Body, ingredient: str, mass_g: float) -> Body:
    """The request with so much of one more ingredient."""
    body = copy.deepcopy(request)
    body["additions"].append({"ingredient": ingredient, "max": f"{mass_g:.9g} g"})
    return body
