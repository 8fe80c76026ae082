"""Properties, values, targets and ingredients as one says them in the cellar."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from math import floor, inf, log10
from re import compile as compiled

from service.catalogue.loader import ingredients
from service.model.properties import PROPERTIES
from service.planner.asked import Circumstances, TargetAsked
from service.quantities import mass_text, number_text, volume_text

_PLAIN = {
    "gravity": "a gravity of {}",
    "titratable_acidity": "an acidity of {}",
    "ph": "a pH of {}",
    "extract_g_per_l": "{} of extract",
    "sugar_g_per_l": "{} of sugar",
    "fermentable_sugar_g_per_l": "{} of fermentable sugar",
    "sucrose_equivalent_g_per_l": "a sweetness of {}",
    "sugar_acid_ratio": "a sugar–acid ratio of {}",
    "juice_percent": "{} of juice",
    "citrus_percent": "{} of citrus juice",
    "added_mass": "{} added",
    "added_volume": "{} added",
    "cost": "a cost of {}",
    "energy_kcal_per_100ml": "{}",
}
"""A value of a property in a sentence; those that are not here are plain by their unit."""

_OWN_WORDS = {"SG", "pH", ""}
FINE_ML, FINE_G = 10.0, 1.0
_DIGITS = 3
METRIC: Circumstances = Circumstances()
_PLAIN_PROPERTIES = {
    "citrus_percent": "citrus juice",
    "juice_percent": "juice",
    "sucrose_equivalent_g_per_l": "sweetness",
    "abv_percent": "strength",
    "titratable_acidity": "acidity",
    "ph": "pH",
    "brix": "Brix",
    "added_mass": "mass to add",
    "added_volume": "volume to add",
    "sugar_acid_ratio": "sugar–acid ratio",
    "energy_kcal_per_100ml": "food energy",
    "packaged_volume": "volume to fill",
}
_NOUNS = ("concentrate", "juice", "puree", "must", "cocktail", "acid", "water", "spirit")
"""What a thing is: the words of an id behind it say which of its kind."""
_ID = compiled(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
_FORMS = frozenset({"monohydrate", "anhydrous", "crystalline"})


def value_in_words(name: str, value: float, circumstances: Circumstances = METRIC) -> str:
    """A value of a property in words: `6.5 % vol`, `a gravity of 1.012`.

    >>> value_in_words("abv_percent", 6.5), value_in_words("sugar_g_per_l", 60.0)
    ('6.5 % vol', '60 g/L of sugar')
    """
    return _PLAIN.get(name, "{}").format(figure_in_words(name, value, circumstances))


def figure_in_words(name: str, value: float, circumstances: Circumstances) -> str:
    """A value with its unit, volumes and masses in the caller's system."""
    law = PROPERTIES["volume" if name == "packaged_volume" else name]
    if name == "added_mass":
        return mass_text(value, circumstances.system, min(circumstances.instruments.scale_step_g, FINE_G))
    if law.unit == "L" and circumstances.system != "metric":
        return volume_text(1000.0 * value, circumstances.system, FINE_ML)
    unit = circumstances.currency or "" if name == "cost" else "" if law.unit in _OWN_WORDS else law.unit
    return f"{number_text(value, 10.0 ** -(law.decimals + 1))} {unit}".rstrip()


def target_in_words(target: TargetAsked, circumstances: Circumstances = METRIC) -> str:
    """A target in words: `at least 6.4 % vol`, `an acidity of at most 9 g/L tartaric`."""
    low, high = (
        figure_in_words(target.name, end, circumstances) if abs(end) < inf else "" for end in (target.low, target.high)
    )
    if target.value is not None:
        figure = figure_in_words(target.name, target.value, circumstances)
    elif not high:
        figure = f"at least {low}"
    elif not low:
        figure = f"at most {high}"
    else:
        figure = between(low, high)
    return _PLAIN.get(target.name, "{}").format(figure)


def between(low: str, high: str) -> str:
    """A range with its unit once: `3.2 to 6.3 L`."""
    unit = high.partition(" ")[2]
    return low if low == high else f"{low.removesuffix(f' {unit}') if unit else low} to {high}"


def amount_in_words(mass_g: float, circumstances: Circumstances, *, liquid: bool = False) -> str:
    """A mass as the caller's scale shows it, in three digits at least.

    >>> amount_in_words(0.2134, METRIC), amount_in_words(4561.0, METRIC)
    ('0.213 g', '4.561 kg')
    """
    step = shown_step(mass_g, min(circumstances.instruments.scale_step_g, FINE_G))
    words = mass_text(mass_g, circumstances.system, step)
    # ounces alone could be fluid ones
    return f"{words} wt" if liquid and words.endswith(" oz") and " lb" not in words else words


def shown_step(amount: float, step: float) -> float:
    """A step that shows an amount in three digits at least, and never coarser than `step`."""
    if amount <= 0.0:
        return step
    return float(min(step, 10.0 ** (floor(log10(amount)) - _DIGITS + 1)))


def plain_figure(value: float, digits: int = 4) -> str:
    """A figure in so many significant digits, never with a power of ten.

    Parameters: value; digits, at least 1.
    Returns: the digits, without trailing zeros behind the point.

    >>> plain_figure(20_003.0), plain_figure(18.92706), plain_figure(0.00021, 2)
    ('20000', '18.93', '0.00021')
    """
    if value == 0.0:
        return "0"
    return number_text(value, 10.0 ** (floor(log10(abs(value))) - digits + 1))


def capital(text: str) -> str:
    """A text as the beginning of a sentence.

    >>> capital("acacia honey"), capital("pH 3.4")
    ('Acacia honey', 'pH 3.4')
    """
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def small(text: str) -> str:
    """A sentence as it goes on behind a semicolon.

    >>> small("At least 15, expect 16"), small("pH 3.4"), small("CO2 left on top")
    ('at least 15, expect 16', 'pH 3.4', 'CO2 left on top')
    """
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def joined(words: Sequence[str], last: str = "and") -> str:
    """A list as one says it: `a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def plain_property(name: str) -> str:
    """What a property is called in the cellar.

    >>> plain_property("sucrose_equivalent_g_per_l"), plain_property("fermentable_sugar_g_per_l")
    ('sweetness', 'fermentable sugar')
    """
    return _PLAIN_PROPERTIES.get(name, name.removesuffix("_g_per_l").replace("_", " "))


def plain_names(names: Sequence[str]) -> dict[str, str]:
    """What lots and additions are called in the cellar, each by its own name.

    Parameters: names, of lots and ids of the catalogue, each once.
    Returns: a plain name for each, no two alike: where two would be, both keep every word of their id. What is not in
        the catalogue keeps its name, with spaces.

    >>> list(plain_names(["cherry_tart_juice_concentrate_68", "honey_acacia 2", "dry base"]).values())
    ['tart cherry concentrate', 'acacia honey 2', 'dry base']
    >>> list(plain_names(["water_tap", "water_deionised", "lemon_juice_fresh"]).values())
    ['water tap', 'water deionised', 'lemon juice']
    """
    short = {name: _plain_name(name) for name in names}
    taken = Counter(short.values())
    return {name: plain if taken[plain] == 1 else _spaced(name) for name, plain in short.items()}


def in_plain_words(text: str) -> str:
    """A sentence with what its ids of the catalogue are called in the cellar; everything else stays.

    >>> in_plain_words("the acidity of cherry_tart_juice_concentrate_68 already poured")
    'the acidity of tart cherry concentrate already poured'
    """
    found = [name for name in dict.fromkeys(_ID.findall(text)) if name in ingredients()]
    plain = plain_names(found)
    return _ID.sub(lambda match: plain.get(match[0], match[0]), text) if found else text


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def _plain_name(name: str) -> str:
    id_, gap, number = name.partition(" ")
    if id_ not in ingredients() or (gap and not number.isdecimal()):
        return _spaced(name)
    words = [word for word in id_.split("_") if word not in _FORMS]
    if len(words) > 1 and words[0] in ("honey", "sugar"):
        words = [*words[1:], words[0]]
    if words[0] == "cherry":
        words[:2] = words[1], words[0]
    noun = next((noun for noun in _NOUNS if noun in words), None)
    if noun is not None:
        words = words[: words.index(noun) + 1]
    if noun == "concentrate":
        words = [word for word in words if word != "juice"]
    return " ".join(words) + gap + number
