"""A recipe poured on paper: an independent answer to compare the service with.

Nothing of the service is imported. Densities at 20 °C stand in `liquids.py` beside this file, from the coefficient
tables of OIML R 22 (1975) and of ICUMSA SPS-4. A fermented lot is read by the Tabarié rule of OIV-MA-AS2-03B (R2012):
its non-volatile matter is the sucrose that reproduces its density. The volume of the blend is then found twice:

- route B, binary sum: V = V_OIML(water + ethanol) + sum of m_i phi_i(w), w = solids/(solids + water);
- route T, Tabarié: V = M/rho, rho = rho_EW(abv) + rho_sucrose(extract) - rho_W, iterated on V.

Both routes share the masses and nothing else; ``Poured`` carries both volumes. `compositions.csv` beside this file
holds the ingredients in g/100 g with their sources.
"""

import csv
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

import numpy as np

from tests.oracle.liquids import (
    AS_SUCROSE,
    COMPONENTS,
    ETHANOL,
    ETHANOL_KG_M3,
    FAT,
    IS_SOLID,
    WATER,
    WATER_KG_M3,
    binary_sum_volume_ml,
    bisect,
    dry_extract_g_per_l,
    sucrose_density_kg_m3,
    tabarie_sg,
)

MEQ_PER_G_CITRIC = 1000.0 / 64.04  # equivalent weight of anhydrous citric acid, formula mass 192.12 over 3
MEQ_PER_G_TARTARIC = 1000.0 / 75.04  # formula mass 150.09 over 2

_SUGARS = COMPONENTS[1:6]
# g per equivalent: formula mass over the protons titrated (chemistry).
_EQUIVALENT_WEIGHTS = {
    "citric_acid": 64.04, "malic_acid": 67.04, "tartaric_acid": 75.04, "lactic_acid": 90.08, "quinic_acid": 192.17,
    "other_acids_as_gluconic": 196.16,
}  # fmt: skip
_ACIDS = tuple(_EQUIVALENT_WEIGHTS)

# 21 CFR 101.30(h)(1): least Brix of the single-strength juice; lemon and lime: % anhydrous citric acid by weight.
_CITRUS_MIN_BRIX = {"Orange": 11.8, "Mandarin / tangerine": 11.8, "Grapefruit": 10.0}
_CITRUS_MIN_CITRIC_PERCENT = {"Lemon": 4.5, "Lime": 4.5}


@dataclass(frozen=True, slots=True)
class Composition:
    """What 100 g of an ingredient hold, in the order of ``COMPONENTS`` (ethanol included), and how it is counted."""

    name: str
    grams_per_100g: tuple[float, ...]
    ta_g_citric_per_100g: float = 0.0
    brix: float | None = None
    category: str = ""
    juice_standard: str = ""
    juice_basis: str = "none"
    juice_share_percent: float = 0.0
    fruit_family: str = "none"
    label_mix_mass_fraction: float = 1.0
    alkalinity_meq_per_l: float = 0.0
    co2_released_g_per_g: float = 0.0


@dataclass(frozen=True, slots=True)
class Lot:
    """A fermented lot by its four measurements; volume and % vol at 20 °C, titratable acidity to pH 8.2."""

    volume_l: float
    specific_gravity_20_20: float
    abv_percent: float
    ta_g_per_l_tartaric: float = 0.0


@dataclass(frozen=True, slots=True)
class Part:
    """A weighed ingredient (an id of `compositions.csv` or a composition of one's own) with what was measured on it.

    ``brix`` is true soluble solids (acid-corrected); titratable acidity is to pH 8.2 as anhydrous citric acid.
    ``sid_less_phosphate_meq_per_kg`` is S - P of the acid rule: 0 scales the acids in step with the acidity measured.
    """

    ingredient: str | Composition
    mass_g: float
    brix: float | None = None
    moisture_percent: float | None = None
    ta_g_per_l_citric: float | None = None
    ta_g_citric_per_100g: float | None = None
    sid_less_phosphate_meq_per_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class LotContents:
    """A lot as masses: sucrose-like solids once by the binary sum and once by Tabarié."""

    mass_g: float
    ethanol_g: float
    solids_binary_g: float
    solids_tabarie_g: float


@dataclass(frozen=True, slots=True)
class Poured:
    """The blend. Plain figures stand on route B, those with ``_t_`` on route T.

    ``solids_g_per_l`` is the mass balance (all but water and ethanol), ``dry_extract_g_per_l`` the OIV total dry
    extract of the route B density; ``brix`` leaves fat out of the solids, as the ingredient table does.
    """

    mass_g: float
    volume_l: float
    volume_t_l: float
    specific_gravity_20_20: float
    specific_gravity_t_20_20: float
    abv_percent: float
    abv_t_percent: float
    ta_g_per_l_tartaric: float
    ta_g_per_l_citric: float
    ta_meq_per_l: float
    solids_g_per_l: float
    dry_extract_g_per_l: float
    brix: float
    citrus_juice_percent: float
    citrus_juice_percent_by_fruit: dict[str, float] = field(default_factory=dict)


def lot_contents(lot: Lot) -> LotContents:
    """Masses of a lot: abv gives the ethanol, SG the whole, solids as sucrose reproduce the density on each route."""
    if lot.volume_l <= 0.0 or lot.abv_percent < 0.0:
        raise ValueError(f"a lot needs a volume above 0 and a strength of 0 or more, not {lot}")
    volume_ml = 1000.0 * lot.volume_l
    mass_g = lot.specific_gravity_20_20 * WATER_KG_M3 * lot.volume_l
    ethanol_g = lot.abv_percent * lot.volume_l * ETHANOL_KG_M3 / 100.0

    def excess_volume_ml(solids_g: float) -> float:
        parts = dict.fromkeys(COMPONENTS, 0.0)
        parts.update(water=mass_g - ethanol_g - solids_g, ethanol=ethanol_g, sucrose=solids_g)
        return binary_sum_volume_ml(tuple(parts.values())) - volume_ml

    solids_g = bisect(excess_volume_ml, 0.0, 0.8 * (mass_g - ethanol_g), "solids of the lot [g]")
    extract_g = lot.volume_l * dry_extract_g_per_l(lot.specific_gravity_20_20, lot.abv_percent)
    return LotContents(mass_g, ethanol_g, solids_g, extract_g)


def composition(name: str, ta_g_citric_per_100g: float = 0.0, **grams_per_100g: float) -> Composition:
    """An ingredient of one's own from its components in g/100 g; water closes the sum to 100 when it is not given."""
    unknown = set(grams_per_100g) - set(COMPONENTS)
    if unknown:
        raise ValueError(f"{name}: unknown components {sorted(unknown)}; use the names in COMPONENTS")
    grams_per_100g.setdefault("water", 100.0 - sum(grams_per_100g.values()))
    grams = tuple(float(grams_per_100g.get(key, 0.0)) for key in COMPONENTS)
    if min(grams) < 0.0 or abs(sum(grams) - 100.0) > 0.006:
        raise ValueError(f"{name}: components must be 0 or more and close to 100 g, they give {sum(grams):.3f}")
    brix = 100.0 - grams[WATER] - grams[FAT] - grams[ETHANOL]
    return Composition(name, grams, ta_g_citric_per_100g, brix)


@cache
def load_compositions() -> dict[str, Composition]:
    """Every row of `compositions.csv` by id; a blank titratable acidity is the sum of the row's acids."""
    table: dict[str, Composition] = {}
    with (Path(__file__).parent / "compositions.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            grams = tuple(float(row[f"{name}_g_per_100g"] or 0.0) for name in COMPONENTS)
            acids_meq = sum(1000.0 * grams[COMPONENTS.index(a)] / _EQUIVALENT_WEIGHTS[a] for a in _ACIDS)
            ta = row["ta_g_citric_per_100g"]
            table[row["id"]] = Composition(
                name=row["id"],
                grams_per_100g=grams,
                ta_g_citric_per_100g=float(ta) if ta else acids_meq / MEQ_PER_G_CITRIC,
                brix=float(row["brix"]) if row["brix"] else None,
                category=row["category"],
                juice_standard=row["juice_standard"],
                juice_basis=row["juice_basis"],
                juice_share_percent=float(row["juice_share_percent"] or 0.0),
                fruit_family=row["fruit_family"],
                label_mix_mass_fraction=float(row["label_mix_mass_fraction"] or 1.0),
                alkalinity_meq_per_l=float(row["alkalinity_meq_per_l"] or 0.0),
                co2_released_g_per_g=float(row["co2_released_g_per_g"] or 0.0),
            )
    return table


def density_g_per_ml(ingredient: Composition) -> float:
    """Density at 20 °C of an ingredient [g/mL] by the binary sum over its own components."""
    return sum(ingredient.grams_per_100g) / binary_sum_volume_ml(ingredient.grams_per_100g)


def as_measured(part: Part) -> Composition:
    """The part's composition after its measured Brix or moisture and acidity: solids by f, acids by q, sugars by h.

    f scales every non-water component to the measured solids; q = (T' + f(S - P))/(f(T0 + S - P)) the acids to the
    measured titratable acidity. The acid gained comes out of the sugars when the solids were measured, out of the
    water when they were not. A g/L figure is divided by the density of the corrected row, by iteration.
    """
    if part.brix is not None and part.moisture_percent is not None:
        raise ValueError("give Brix or moisture, not both")
    if part.ta_g_per_l_citric is not None and part.ta_g_citric_per_100g is not None:
        raise ValueError("give the titratable acidity in g/L or in g/100 g, not both")
    row = load_compositions()[part.ingredient] if isinstance(part.ingredient, str) else part.ingredient
    base = dict(zip(COMPONENTS, row.grams_per_100g, strict=True))
    solids_measured = part.brix is not None or part.moisture_percent is not None
    f = 1.0
    if part.brix is not None:
        if not row.brix:
            raise ValueError(f"{row.name} has no typical Brix to scale; give its composition instead")
        f = part.brix / row.brix
    elif part.moisture_percent is not None:
        f = (100.0 - part.moisture_percent) / (100.0 - base["water"])
    scaled = {name: f * grams for name, grams in base.items()}
    scaled["water"] = 100.0 - f * (100.0 - base["water"])
    brix = f * row.brix if row.brix else row.brix
    moved = _with_grams(row, scaled, f * row.ta_g_citric_per_100g, brix)
    if part.ta_g_citric_per_100g is not None:
        return _with_acid(moved, part, part.ta_g_citric_per_100g, f, row, solids_measured)
    if part.ta_g_per_l_citric is None:
        return moved
    result = moved
    for _ in range(40):
        ta = part.ta_g_per_l_citric / (10.0 * density_g_per_ml(result))
        result = _with_acid(moved, part, ta, f, row, solids_measured)
    return result


def _with_grams(row: Composition, grams: dict[str, float], ta: float, brix: float | None) -> Composition:
    if min(grams.values()) < 0.0:
        raise ValueError(f"{row.name}: the readings leave less than nothing of a component; check Brix and acidity")
    return replace(row, grams_per_100g=tuple(grams[n] for n in COMPONENTS), ta_g_citric_per_100g=ta, brix=brix)


def _with_acid(
    moved: Composition, part: Part, ta: float, f: float, row: Composition, solids_measured: bool
) -> Composition:
    """Step 3 and 4 of the override: acids by q, the difference out of the sugars or the water."""
    typical, base = 10.0 * MEQ_PER_G_CITRIC * row.ta_g_citric_per_100g, part.sid_less_phosphate_meq_per_kg
    if typical + base <= 0.0:
        raise ValueError(f"{row.name} has no acid to scale; leave the measured acidity out")
    q = (10.0 * MEQ_PER_G_CITRIC * ta + f * base) / (f * (typical + base))
    grams = dict(zip(COMPONENTS, moved.grams_per_100g, strict=True))
    gained = (q - 1.0) * sum(grams[name] for name in _ACIDS)
    brix = moved.brix
    if solids_measured:
        sugars = sum(grams[name] for name in _SUGARS)
        if gained > sugars:
            raise ValueError(f"{row.name}: the measured acid leaves no room for sugar; check Brix and acidity together")
        h = 1.0 - gained / sugars if sugars > 0.0 else 1.0
        grams.update({name: h * grams[name] for name in _SUGARS})
    else:
        grams["water"] -= gained
        brix = brix + gained if brix is not None else None
    grams.update({name: q * grams[name] for name in _ACIDS})
    return _with_grams(moved, grams, ta, brix)


def single_strength_litres(ingredient: Composition, mass_g: float) -> float:
    """Litres of single-strength citrus juice in a mass of an ingredient, 21 CFR 101.30; 0 for anything not citrus.

    Pressed juice counts by its own volume; a concentrate by its solids over the least Brix of the fruit, lemon and lime
    by anhydrous citric acid over 4.5 % by weight; a sweetened concentrate by the share declared for its label mix.
    """
    if ingredient.fruit_family != "citrus":
        return 0.0
    if ingredient.juice_basis == "declared":
        mix = _diluted(ingredient, ingredient.label_mix_mass_fraction)
        mix_ml = mass_g / ingredient.label_mix_mass_fraction / density_g_per_ml(mix)
        return ingredient.juice_share_percent / 100.0 * mix_ml / 1000.0
    if ingredient.category == "juice":
        return mass_g / density_g_per_ml(ingredient) / 1000.0
    if ingredient.juice_basis == "citric_percent":
        least = _CITRUS_MIN_CITRIC_PERCENT[ingredient.juice_standard]
        mix_fraction = least / ingredient.ta_g_citric_per_100g
        return mass_g / mix_fraction / density_g_per_ml(_diluted(ingredient, mix_fraction)) / 1000.0
    least = _CITRUS_MIN_BRIX[ingredient.juice_standard]
    if ingredient.brix is None:
        raise ValueError(f"{ingredient.name} needs a Brix to be counted as juice")
    return mass_g * ingredient.brix / least / sucrose_density_kg_m3(least / 100.0)


def _diluted(ingredient: Composition, mass_fraction: float) -> Composition:
    grams = [mass_fraction * g for g in ingredient.grams_per_100g]
    grams[WATER] += 100.0 * (1.0 - mass_fraction)
    return replace(ingredient, grams_per_100g=tuple(grams))


def pour(lots: Sequence[Lot], parts: Sequence[Part]) -> Poured:
    """Pour lots and weighed parts together: masses add, titratable acids add, the volume is found by both routes.

    A carbonate loses its carbon dioxide (the acid must suffice to drive it out) and its base is taken from the acidity;
    the alkalinity of a water likewise. What is left of a carbonate is weighed as ash.
    """
    grams = np.zeros(len(COMPONENTS), dtype=np.float64)
    extract_t_g, ta_meq = 0.0, 0.0
    juice_l: dict[str, float] = {}
    for lot in lots:
        held = lot_contents(lot)
        lot_grams = dict.fromkeys(COMPONENTS, 0.0)
        lot_grams["water"] = held.mass_g - held.ethanol_g - held.solids_binary_g
        lot_grams["ethanol"], lot_grams["sucrose"] = held.ethanol_g, held.solids_binary_g
        grams += np.array(tuple(lot_grams.values()))
        extract_t_g += held.solids_tabarie_g
        ta_meq += lot.volume_l * lot.ta_g_per_l_tartaric * MEQ_PER_G_TARTARIC
    for part in parts:
        if part.mass_g < 0.0:
            raise ValueError(f"a part weighs 0 g or more, not {part.mass_g:g} g")
        made_of = as_measured(part)
        kept = part.mass_g / 100.0 * (1.0 - made_of.co2_released_g_per_g)
        part_grams = kept * np.array(made_of.grams_per_100g, dtype=np.float64)
        grams += part_grams
        extract_t_g += float(part_grams @ AS_SUCROSE)
        ta_meq += part.mass_g / 100.0 * made_of.ta_g_citric_per_100g * MEQ_PER_G_CITRIC
        if made_of.alkalinity_meq_per_l:
            ta_meq -= made_of.alkalinity_meq_per_l * part.mass_g / density_g_per_ml(made_of) / 1000.0
        litres = single_strength_litres(made_of, part.mass_g)
        if litres > 0.0:
            juice_l[made_of.juice_standard] = juice_l.get(made_of.juice_standard, 0.0) + litres
    mass_g, ethanol_g = float(grams.sum()), float(grams[ETHANOL])
    volume_l = binary_sum_volume_ml(tuple(grams)) / 1000.0
    volume_t_l = _tabarie_volume_l(mass_g, ethanol_g, extract_t_g)
    solids_g = float(grams @ IS_SOLID)
    sg, abv = mass_g / volume_l / WATER_KG_M3, 100.0 * ethanol_g / ETHANOL_KG_M3 / volume_l
    by_fruit = {fruit: 100.0 * litres / volume_l for fruit, litres in juice_l.items()}
    return Poured(
        mass_g=mass_g,
        volume_l=volume_l,
        volume_t_l=volume_t_l,
        specific_gravity_20_20=sg,
        specific_gravity_t_20_20=mass_g / volume_t_l / WATER_KG_M3,
        abv_percent=abv,
        abv_t_percent=100.0 * ethanol_g / ETHANOL_KG_M3 / volume_t_l,
        ta_g_per_l_tartaric=ta_meq / volume_l / MEQ_PER_G_TARTARIC,
        ta_g_per_l_citric=ta_meq / volume_l / MEQ_PER_G_CITRIC,
        ta_meq_per_l=ta_meq / volume_l,
        solids_g_per_l=solids_g / volume_l,
        dry_extract_g_per_l=dry_extract_g_per_l(sg, abv),
        brix=100.0 * (solids_g - float(grams[FAT])) / mass_g,
        citrus_juice_percent=sum(by_fruit.values()),
        citrus_juice_percent_by_fruit=by_fruit,
    )


def _tabarie_volume_l(mass_g: float, ethanol_g: float, extract_g: float) -> float:
    """Fixed point V = M/rho(abv(V), extract(V)) [L]; the map contracts, since rho - rho_W is small beside rho_W."""
    volume_l = mass_g / WATER_KG_M3
    for _ in range(100):
        abv = 100.0 * ethanol_g / ETHANOL_KG_M3 / volume_l
        following = mass_g / (WATER_KG_M3 * tabarie_sg(abv, extract_g / volume_l))
        if abs(following - volume_l) < 1e-13 * volume_l:
            return following
        volume_l = following
    raise ValueError("route T found no volume; it holds for drinks, not for syrups")
