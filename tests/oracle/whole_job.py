"""The job around the blend on paper: must, ferment, losses, containers, gas, heat and label.

Nothing of the service is imported. Masses and volumes are those of `pour.py` and `liquids.py` beside this file; every
other equation stands here with its source, and every inversion is by bisection or by trying all whole numbers.

Marks of the constants: P published, C computed from formula masses, M from memory and unverified, J judged or a choice
of this project.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tests.oracle.liquids import (
    COMPONENTS,
    ETHANOL,
    ETHANOL_KG_M3,
    IS_SOLID,
    WATER,
    WATER_KG_M3,
    binary_sum_volume_ml,
    bisect,
    horner,
    sucrose_density_kg_m3,
)
from tests.oracle.pour import Part, as_measured, density_g_per_ml

ETHANOL_G_PER_L_PERCENT = ETHANOL_KG_M3 / 100.0  # g/L of ethanol in 1 % vol
LITRES_PER_US_GALLON, GRAMS_PER_POUND = 3.785411784, 453.59237
KELVIN = 273.15

# --- Must and ferment. Balling, Die Gährungschemie (P): 2.0665 g extract = 1 alcohol + 0.9565 CO2 + 0.11 yeast.
EXTRACT_PER_ETHANOL, CO2_PER_ETHANOL, YEAST_PER_ETHANOL = 2.0665, 0.9565, 0.11
LEAST_YIELD = 0.46  # g/g, common practice, no source
HONEY_DISACCHARIDES_SHARE = 0.5  # J, range 0 to 1; no published mean
DEMANDS_MG_N_PER_G = {"low": 0.75, "medium": 0.90, "high": 1.25}  # M
DAP_NITROGEN_SHARE = 28.014 / 132.06  # C, (NH4)2HPO4
PHOSPHATE_LIMIT_G_PER_L = 8.0 * GRAMS_PER_POUND / (1000.0 * LITRES_PER_US_GALLON)  # P, 27 CFR 24.246, 2015 edition
_SUGARS = ("sucrose", "glucose", "fructose")
_DISACCHARIDES = COMPONENTS.index("maltose_and_other_disaccharides")


@dataclass(frozen=True, slots=True)
class Must:
    """What is poured together before yeast: mass, volume, extract and the part of it that yeast can use [g]."""

    mass_g: float
    volume_l: float
    extract_g: float
    fermentable_g: float

    @property
    def gravity(self) -> float:
        return self.mass_g / self.volume_l / WATER_KG_M3

    @property
    def plato(self) -> float:
        return 100.0 * self.extract_g / self.mass_g

    @property
    def share(self) -> float:
        return self.fermentable_g / self.extract_g


@dataclass(frozen=True, slots=True)
class Fermented:
    """What a must has become."""

    volume_l: float
    gravity: float
    abv_percent: float


def must(parts: Sequence[Part], honey_disaccharides_share: float = HONEY_DISACCHARIDES_SHARE) -> Must:
    """Masses add, the volume is the binary sum; of a honey's reducing disaccharides the share ferments, of others all.

    Other sugars, polyols and everything that is no sugar stay.
    """
    grams, fermentable = np.zeros(len(COMPONENTS)), 0.0
    for part in parts:
        made_of = as_measured(part)
        here = part.mass_g / 100.0 * np.array(made_of.grams_per_100g)
        grams += here
        share = honey_disaccharides_share if made_of.category == "honey" else 1.0
        fermentable += sum(float(here[COMPONENTS.index(name)]) for name in _SUGARS) + share * here[_DISACCHARIDES]
    return Must(
        float(grams.sum()), binary_sum_volume_ml(tuple(grams)) / 1000.0, float(grams @ IS_SOLID), float(fermentable)
    )


def mixed_volume_l(water_g: float, ethanol_g: float, sucrose_g: float) -> float:
    grams = [0.0] * len(COMPONENTS)
    grams[WATER], grams[ETHANOL], grams[COMPONENTS.index("sucrose")] = water_g, ethanol_g, sucrose_g
    return binary_sum_volume_ml(grams) / 1000.0


def ferment(of: Must, gone_g: float | None = None) -> Fermented:
    """By Balling's factors: carbon dioxide and yeast leave, what does not ferment counts as sucrose.

    `gone_g` is the extract that ferments; all that can, unless given.
    """
    gone = of.fermentable_g if gone_g is None else gone_g
    ethanol = gone / EXTRACT_PER_ETHANOL
    left = of.mass_g - (CO2_PER_ETHANOL + YEAST_PER_ETHANOL) * ethanol
    rest = of.extract_g - gone
    volume = mixed_volume_l(left - ethanol - rest, ethanol, rest)
    return Fermented(volume, left / volume / WATER_KG_M3, ethanol / volume / ETHANOL_G_PER_L_PERCENT)


def sucrose_must(gravity: float, fermentable_share: float = 1.0) -> Must:
    """A litre of must known by its gravity only, all its extract as sucrose (ICUMSA SPS-4)."""
    w = bisect(lambda w: sucrose_density_kg_m3(w) / sucrose_density_kg_m3(0.0) - gravity, 0.0, 0.85, "extract")
    extract = w * gravity * WATER_KG_M3
    return Must(gravity * WATER_KG_M3, 1.0, extract, fermentable_share * extract)


def abv_of_two_gravities(original: float, final: float) -> Fermented:
    """The ferment of a must of the first gravity that reaches the second."""
    of = sucrose_must(original)
    gone = bisect(lambda g: ferment(of, g).gravity - final, 0.0, of.extract_g, "extract fermented")
    return ferment(of, gone)


def abv_by_real_extract(original: float, final: float) -> float:
    """RE = 0.1808 OE + 0.8192 AE (M); A = (OE - RE)/(2.0665 - 0.010665 OE) % by mass; % vol = A FG/0.7907.

    Degrees Plato by the cubic fit 135.997, -630.272, 1111.14, -616.868 (M).
    """
    oe, ae = (horner((-616.868, 1111.14, -630.272, 135.997), sg) for sg in (original, final))
    real = 0.1808 * oe + 0.8192 * ae
    return (oe - real) / (2.0665 - 0.010665 * oe) * final / 0.7907


def third_of_sugar(original: float, final: float) -> float:
    """The gravity at which a third of the sugar is gone."""
    return original - (original - final) / 3.0


def nitrogen_need_mg_per_l(demand_mg_per_g: float, of: Must, yan_mg_per_l: float) -> float:
    """What the yeast lacks; never below nothing."""
    return max(0.0, demand_mg_per_g * of.fermentable_g / of.volume_l - yan_mg_per_l)


# --- Losses.


@dataclass(frozen=True, slots=True)
class Losses:
    """Shares of what there is at each step, then litres."""

    lees: float = 0.0
    racking: float = 0.0
    settling: float = 0.0
    dead_l: float = 0.0
    samples_l: float = 0.0

    def packaged(self, blend_l: float) -> float:
        """What is left of a blend to fill."""
        kept = blend_l * (1.0 - self.lees) * (1.0 - self.racking) * (1.0 - self.settling)
        return kept - self.dead_l - self.samples_l

    def blend(self, packaged_l: float) -> float:
        """How much to blend for a volume to fill."""
        return (packaged_l + self.dead_l + self.samples_l) / (
            (1.0 - self.lees) * (1.0 - self.racking) * (1.0 - self.settling)
        )


# --- Containers, by trying every number.


@dataclass(frozen=True, slots=True)
class Size:
    """Containers of one size: so many, at most so many, or as many as there is drink for."""

    fill_ml: float
    count: int | None = None
    most: int | None = None


def fills(sizes: Sequence[Size], available_ml: float) -> tuple[int, ...] | None:
    """Every combination is tried: least left over, then fewest containers, then most of the sizes that stand first.

    None where the counts asked for take more than there is.
    """

    def candidates(size: Size, left_ml: float) -> range:
        room = math.floor((left_ml + 1e-6) / size.fill_ml)
        if size.count is not None:
            return range(size.count, size.count + 1) if size.count <= room else range(0)
        return range((room if size.most is None else min(room, size.most)) + 1)

    def every(left_ml: float, rest: Sequence[Size]) -> Iterator[tuple[float, tuple[int, ...]]]:
        if not rest:
            yield left_ml, ()
            return
        for n in candidates(rest[0], left_ml):
            for left, others in every(left_ml - n * rest[0].fill_ml, rest[1:]):
                yield left, (n, *others)

    found = min(
        ((round(left, 3), sum(counts), tuple(-n for n in counts)) for left, counts in every(available_ml, sizes)),
        default=None,
    )
    return None if found is None else tuple(-n for n in found[2])


# --- Carbon dioxide. Carroll, Slupsky and Mather 1991, J. Phys. Chem. Ref. Data 20:1201 (P) for water;
# alcohol and sugar by Regulation (EEC) No 2676/90, Annex, ch. 37 (P), the product of both J. R in L bar/mol/K.
CO2_G_MOL, WATER_G_MOL, R_L_BAR = 44.0095, 18.015, 0.08314462618
G_PER_L_OF_ONE_VOLUME = 1.9768  # M, 0 °C, 1 atm, real gas
ATM_BAR, PSI_PER_BAR = 1.01325, 14.5038
CO2_PER_HEXOSE, CO2_PER_SUCROSE = 2.0 * CO2_G_MOL / 180.156, 4.0 * CO2_G_MOL / 342.296  # C
NOT_TO_BIOMASS = 0.95  # J
_KELL = (999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12)  # M, Kell 1975


def water_kg_m3(temperature_c: float) -> float:
    """Density of water at 1 atm, Kell 1975."""
    return horner(_KELL, temperature_c) / (1.0 + 16.879850e-3 * temperature_c)


def solubility_g_per_l_bar(temperature_c: float, abv_percent: float = 0.0, sugar_g_per_l: float = 0.0) -> float:
    """Dissolved carbon dioxide per bar of it."""
    t = temperature_c + KELVIN
    henry_mpa = math.exp(-6.8346 + 1.2817e4 / t - 3.7668e6 / t**2 + 2.997e8 / t**3)
    in_water = 0.1 / henry_mpa * water_kg_m3(temperature_c) / WATER_G_MOL * CO2_G_MOL
    return in_water * (0.86 - 0.01 * abv_percent) / 0.86 * (1.0 - 0.00144 * sugar_g_per_l)


def bottle_bar(
    co2_g_per_l: float, temperature_c: float, abv_percent: float, sugar_g_per_l: float, headspace_share: float
) -> float:
    """Partial pressure of all that gas between the drink and the room above it."""
    above = headspace_share * CO2_G_MOL / (R_L_BAR * (temperature_c + KELVIN))
    return co2_g_per_l / (solubility_g_per_l_bar(temperature_c, abv_percent, sugar_g_per_l) + above)


def co2_after_g_per_l(before_g_per_l: float, hexose_g_per_l: float, per_g: float = CO2_PER_HEXOSE) -> float:
    """Gas in a closed container after sugar has fermented in it."""
    return before_g_per_l + per_g * NOT_TO_BIOMASS * hexose_g_per_l


def keg_gauge_bar(volumes: float, temperature_c: float, abv_percent: float, sugar_g_per_l: float) -> float:
    """What the gauge of a keg shows for a carbonation."""
    held = volumes * G_PER_L_OF_ONE_VOLUME
    return held / solubility_g_per_l_bar(temperature_c, abv_percent, sugar_g_per_l) - ATM_BAR


# --- Heat. Del Vecchio 1951 (P, seen in a secondary copy): 1 unit a minute at 60 °C, 1.393 times that for each degree.
def pasteurising_minutes(units: float, temperature_c: float) -> float:
    """Minutes at a temperature that give so many units."""
    return units / math.pow(1.393, temperature_c - 60.0)


def least_and_most_units(log: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Units of a log of minutes and degrees, if each stretch had its colder and if it had its warmer end."""
    stretches = [(m2 - m1, t1, t2) for (m1, t1), (m2, t2) in pairwise(log)]
    return (
        sum(dt * math.pow(1.393, min(a, b) - 60.0) for dt, a, b in stretches),
        sum(dt * math.pow(1.393, max(a, b) - 60.0) for dt, a, b in stretches),
    )


def swelling_share(from_c: float, to_c: float) -> float:
    """By how much a drink swells: as water, and a seventh more for its alcohol (J, x 1.15)."""
    return 1.15 * (water_kg_m3(from_c) / water_kg_m3(to_c) - 1.0)


def squeezed_air_bar(from_c: float, to_c: float, headspace_share: float) -> float:
    """Air shut in at 1.013 bar, warmed and squeezed by the drink that swells; infinite where no room is left."""
    left = headspace_share - swelling_share(from_c, to_c)
    if left <= 0.0:
        return math.inf
    return 1.01325 * (to_c + KELVIN) / (from_c + KELVIN) * headspace_share / left


# --- Label. Regulation (EU) No 1169/2011, Annex XIV (P): alcohol, sugar, organic acid.
KCAL_PER_G, KJ_PER_G = (7.0, 4.0, 3.0), (29.0, 17.0, 13.0)
DRINK_G = {"us": 14.0, "au": 10.0, "who": 10.0}  # secondary sources and M; a UK unit is 10 mL (M)
UK_UNIT_ML = 10.0


@dataclass(frozen=True, slots=True)
class LabelPortion:
    """What a volume of the drink holds."""

    kcal: float
    kj: float
    sugar_g: float
    ethanol_g: float
    drinks: Mapping[str, float]


def label_portion(volume_ml: float, abv_percent: float, sugar_g_per_l: float, citric_g_per_l: float) -> LabelPortion:
    """Energy by the three factors, sugar, alcohol, and drinks of several countries."""
    litres = volume_ml / 1000.0
    grams = (abv_percent * ETHANOL_G_PER_L_PERCENT * litres, sugar_g_per_l * litres, citric_g_per_l * litres)
    drinks = {size: grams[0] / one for size, one in DRINK_G.items()}
    drinks["uk"] = volume_ml * abv_percent / 100.0 / UK_UNIT_ML
    kcal, kj = (sum(f * g for f, g in zip(by, grams, strict=True)) for by in (KCAL_PER_G, KJ_PER_G))
    return LabelPortion(kcal, kj, grams[1], grams[0], drinks)


# Least Brix of single-strength juice, 21 CFR 101.30(h) (P, 2015 edition), and anhydrous citric acid for two.
LEAST_BRIX = {"Orange": 11.8, "Grapefruit": 10.0, "Pineapple": 12.8, "Apple": 11.5}
LEAST_CITRIC_PERCENT = {"Lemon": 4.5, "Lime": 4.5}


def juice_litres(part: Part) -> float:
    """Single-strength juice of a pressed juice (its volume) or of a concentrate (its solids, or its citric acid)."""
    made_of = as_measured(part)
    if made_of.category == "juice":
        return part.mass_g / density_g_per_ml(made_of) / 1000.0
    if made_of.juice_standard in LEAST_CITRIC_PERCENT:
        # g citric over 4.5 % of the mass of a litre of such juice; 1.03 kg/L, so about 46 g/L
        return part.mass_g * made_of.ta_g_citric_per_100g / 4.5 / 1.03 / 1000.0
    least = LEAST_BRIX[made_of.juice_standard]
    return part.mass_g * (made_of.brix or 0.0) / least / sucrose_density_kg_m3(least / 100.0)
