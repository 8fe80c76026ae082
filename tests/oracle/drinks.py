"""Drinks and salt solutions that the acid-base checks share, with the mark of every composition.

Grams of acid and milligrams of mineral per litre. Marks: P published, M from memory and unverified, J judged,
C computed.
"""

from __future__ import annotations

from tests.oracle.charge import Drink, drink

# J test meads. Czech meads average lactic 1.0, gluconic 0.6, acetic 0.4 g/L (P Kružík 2022, Czech J. Food Sci. 40:42);
# the other acids and the minerals J.
MEAD_A = drink(
    {"gluconic": 0.6, "lactic": 1.0, "acetic": 0.4, "succinic": 0.5, "citric": 0.1, "malic": 0.2, "phosphoric": 0.15},
    {"K": 250.0, "Na": 40.0, "Ca": 30.0, "Mg": 15.0, "Cl": 30.0},
    abv_percent=12.0,
)
MEAD_B = drink(
    {"gluconic": 0.8, "acetic": 0.3, "succinic": 0.4, "malic": 0.1},
    {"K": 150.0, "Na": 20.0, "Ca": 20.0, "Mg": 8.0, "Cl": 20.0},
    abv_percent=10.0,
)
# P wine E07 of Prenesti et al. 2012, table 1; its potassium J (1000 mg/L), its strength J.
WINE = drink(
    {"acetic": 0.395, "citric": 0.719, "lactic": 0.615, "malic": 2.419, "succinic": 0.916, "tartaric": 1.806},
    {"K": 1000.0, "Na": 20.0, "Ca": 80.0, "Mg": 80.0, "P": 100.0},
    abv_percent=12.0,
)

# Minerals of the juices: USDA SR28, NDB 09206, 09221, 09152 and 09016 (P), per 100 g times the density.
ORANGE_MINERALS = {"K": 2090.0, "Ca": 114.0, "Mg": 114.0, "P": 169.0}
# Citric of orange and lemon: Penniston et al. 2008 (lemon P; orange from a weak secondary source). Malic J.
ORANGE = drink({"citric": 9.1, "malic": 1.7}, ORANGE_MINERALS)
# Citric of mandarin: Karadeniz 2004, Turk. J. Agric. For. (P). Malic J.
MANDARIN = drink({"citric": 9.22, "malic": 1.5}, {"K": 1860.0, "Na": 10.0, "Ca": 188.0, "Mg": 84.0, "P": 146.0})
LEMON = drink({"citric": 48.0, "malic": 2.0}, {"K": 1060.0, "Na": 10.0, "Ca": 62.0, "Mg": 62.0, "P": 82.0})
# Malic of apple J.
APPLE = drink({"malic": 5.5}, {"K": 1050.0, "Na": 42.0, "Ca": 83.0, "Mg": 52.0, "P": 73.0})
# 10 g of honey in 75 mL of water, with 45.9 mmol of gluconic acid and 23.9 meq of cations per kg (C from the means of
# White et al. 1962, USDA Technical Bulletin 1261); 10 g in about 82 mL.
HONEY_IN_WATER = Drink({"gluconic": 5.6}, 2.9, 1.45)

SALTS = {
    "potassium hydrogen phthalate, 0.05 mol/L": Drink({"phthalic": 50.0}, 50.0, 25.0),
    "potassium dihydrogen citrate, 0.05 mol/L": Drink({"citric": 50.0}, 50.0, 25.0),
    "potassium hydrogen tartrate, saturated": Drink({"tartaric": 34.1}, 34.1, 17.05),
    "phosphate, equimolar 0.025 mol/L": Drink({"phosphoric": 50.0}, 75.0, 37.5),
    "carbonate, equimolar 0.025 mol/L": Drink({"carbonic": 50.0}, 75.0, 37.5),
    "acetate, equimolar 0.1 mol/L": Drink({"acetic": 200.0}, 100.0, 50.0),
    "sulfite and sorbate in weak citric acid": Drink({"citric": 5.0, "sulfurous": 2.0, "sorbic": 1.8}, 5.0, 2.5),
}

DRINKS = {
    "mead A": MEAD_A,
    "mead B": MEAD_B,
    "white wine": WINE,
    "orange juice": ORANGE,
    "mandarin juice": MANDARIN,
    "lemon juice": LEMON,
    "apple juice": APPLE,
    "honey in water": HONEY_IN_WATER,
}

# Volumes [L] of the blends that the averages of pH are judged by: honey ferments, juices and wine (J).
BLENDS: dict[str, list[tuple[float, Drink]]] = {
    "mead A, orange 75:25": [(75.0, MEAD_A), (25.0, ORANGE)],
    "mead B, orange 80:20": [(80.0, MEAD_B), (20.0, ORANGE)],
    "mead A, mandarin 60:40": [(60.0, MEAD_A), (40.0, MANDARIN)],
    "mead B, lemon 95:5": [(95.0, MEAD_B), (5.0, LEMON)],
    "mead A, lemon 90:10": [(90.0, MEAD_A), (10.0, LEMON)],
    "mead B, apple 50:50": [(50.0, MEAD_B), (50.0, APPLE)],
    "mead A, wine 50:50": [(50.0, MEAD_A), (50.0, WINE)],
    "mead B, wine 70:30": [(70.0, MEAD_B), (30.0, WINE)],
    "orange, lemon, mead A 20:5:75": [(20.0, ORANGE), (5.0, LEMON), (75.0, MEAD_A)],
    "apple, lemon 90:10": [(90.0, APPLE), (10.0, LEMON)],
}
