"""Paper calculation of the pH and the titratable acidity of a drink, to compare the service with.

Nothing of the service is imported. The model is the textbook charge balance: every weak acid is counted in all its
forms, the strong ions by their charge, and the pH is where the charges add up to nothing:

    S + [H+] - [OH-] - sum of C_i n_i(pH) = 0,   n_i = mean number of protons lost by acid i.

Activities by Davies (Davies 1962, Ion Association), log g = -A z² f(I), f = sqrt(I)/(1 + sqrt(I)) - 0.3 I. pH is an
activity; every other term is a concentration, so the k-th loss of a proton (k = 0, 1, 2) has the mixed constant
pK' = pK - (1 + 2k) A f, and [H+] = 10^-pH/g1. Inside, everything is mol/L and eq/L, and the ionic strength is found
anew for each trial pH, so that the root is the root of one function of one unknown.

Marks of the constants: P published, M from memory and unverified, C computed, J judged. The sources stand at each line.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate

from scipy.optimize import brentq

R_J_MOL_K = 8.314462618  # CODATA 2018, exact
T0_K = 298.15
CARBOXYLIC_PER_PERCENT = 0.0142  # P 0.17 over 12 % vol, lactate and succinate in Prenesti et al. 2012; M for the others
SULFITE_PER_PERCENT = 0.020  # P OIV-MA-AS323-04C, table I: 1.798 at 0 % vol, 2.099 at 15 % vol, 20 °C


@dataclass(frozen=True, slots=True)
class Acid:
    """A weak acid: formula mass [g/mol]; pK, enthalpy [kJ/mol] and heat capacity [J/mol/K] of each loss of a proton."""

    molar_mass: float
    pk25: tuple[float, ...]
    enthalpy: tuple[float, ...]
    heat_capacity: tuple[float, ...]
    per_percent_ethanol: float = CARBOXYLIC_PER_PERCENT


# Heat capacities M (after Goldberg, Kishore and Lennen 2002, J. Phys. Chem. Ref. Data 31:231), but for malic C.
ACIDS: dict[str, Acid] = {
    # P MINTEQ v4 database, NIST 46.2: log beta 6.396, 11.157, 14.285
    "citric": Acid(192.124, (3.128, 4.761, 6.396), (4.06, 2.05, -3.35), (-131.0, -178.0, -254.0)),
    # P IUPAC data set v2.4, entry serjeant2318; enthalpy and heat capacity C, fitted to its 0 to 50 °C
    "malic": Acid(134.087, (3.459, 5.097), (2.93, -1.21), (-155.0, -215.0)),
    # P MINTEQ v4 database: log beta 4.366, 7.402
    "tartaric": Acid(150.087, (3.036, 4.366), (2.93, 0.75), (-147.0, -218.0)),
    # M; Prenesti et al. 2012, table 4, extrapolate to 3.87
    "lactic": Acid(90.078, (3.86,), (-0.33,), (-150.0,)),
    # M usual handbook figure; P 3.76 at 17 °C (IUPAC serjeant2905), 3.90 at 25 °C (ThermoChimie)
    "gluconic": Acid(196.155, (3.86,), (0.0,), (0.0,)),
    # P IUPAC data set v2.4, entry serjeant2316; enthalpy M
    "succinic": Acid(118.088, (4.206, 5.639), (3.0, -0.5), (-121.0, -217.0)),
    # P MINTEQ v4 database, NIST 46.4
    "acetic": Acid(60.052, (4.757,), (-0.41,), (-142.0,)),
    # P MINTEQ v4 database, NIST 46.3: log beta 12.375, 19.573, 21.721; ethanol as for the carboxylic acids (J)
    "phosphoric": Acid(97.995, (2.148, 7.198, 12.375), (-7.9, 3.0, 15.0), (-141.0, -230.0, -242.0)),
    # P MINTEQ v4 database, NIST 46.4; ethanol as for the carboxylic acids (J)
    "carbonic": Acid(44.009, (6.352, 10.329), (9.16, 14.6), (-371.0, -249.0)),
    # M; P 4.62 at zero ionic strength from serjeant2850b
    "sorbic": Acid(112.127, (4.76,), (0.0,), (0.0,)),
    # P ThermoChimie (Goldberg and Parker 1985): log beta 7.17, 9.03; the ethanol slope of the second step J
    "sulfurous": Acid(64.064, (1.857, 7.172), (-17.8, -3.67), (-272.0, -262.0), SULFITE_PER_PERCENT),
    # P IUPAC serjeant2861: 4.04 at I = 0.1; the second M
    "ascorbic": Acid(176.124, (4.2, 11.6), (0.0, 0.0), (0.0, 0.0)),
    # M, 3.4 to 3.6 is quoted
    "quinic": Acid(192.17, (3.46,), (0.0,), (0.0,)),
    # J stands for an unknown carboxylic acid
    "generic": Acid(100.0, (4.2,), (0.0,), (0.0,)),
    # P MINTEQ v4 database, NIST 46.2
    "phthalic": Acid(166.13, (2.950, 5.408), (-2.7, -2.2), (-91.0, -295.0)),
}
# P MINTEQ v4 database; heat capacity and ethanol slope M
WATER = Acid(18.015, (13.997,), (55.81,), (-224.0,), 0.01)

# Atomic masses over charge, IUPAC: g per mol, charge.
IONS: dict[str, tuple[float, int]] = {
    "K": (39.098, 1),
    "Na": (22.990, 1),
    "Ca": (40.078, 2),
    "Mg": (24.305, 2),
    "Cl": (35.453, -1),
}
PHOSPHORUS_G_MOL = 30.974
CITRIC_G_PER_EQ = 64.04
TARTARIC_G_PER_EQ = 75.04


@dataclass(frozen=True, slots=True)
class Drink:
    """What a litre holds: weak acids [mmol], strong-ion difference [meq], half the sum of z² c of the strong ions."""

    acids_mmol: Mapping[str, float]
    sid_meq: float = 0.0
    ionic_mmol: float = 0.0
    abv_percent: float = 0.0


def drink(grams: Mapping[str, float], milligrams: Mapping[str, float] | None = None, abv_percent: float = 0.0) -> Drink:
    """A drink from its composition per litre: acids in g, minerals in mg (P as phosphoric acid)."""
    acids = {name: 1000.0 * g / ACIDS[name].molar_mass for name, g in grams.items()}
    sid = ionic = 0.0
    for name, mg in (milligrams or {}).items():
        if name == "P":
            acids["phosphoric"] = acids.get("phosphoric", 0.0) + mg / PHOSPHORUS_G_MOL
            continue
        mass, charge = IONS[name]
        sid += charge * mg / mass
        ionic += 0.5 * charge * charge * mg / mass
    return Drink(acids, sid, ionic, abv_percent)


def pour(parts: Sequence[tuple[float, Drink]]) -> Drink:
    """Blend by volume: everything per litre, and the strength, is averaged by litres."""
    litres = sum(v for v, _ in parts)

    def mean(of: Callable[[Drink], float]) -> float:
        return sum(v * of(d) for v, d in parts) / litres

    names = sorted({name for _, d in parts for name in d.acids_mmol})
    return Drink(
        {name: mean(lambda d, n=name: d.acids_mmol.get(n, 0.0)) for name in names},  # type: ignore[misc]
        mean(lambda d: d.sid_meq),
        mean(lambda d: d.ionic_mmol),
        mean(lambda d: d.abv_percent),
    )


def pk(acid: Acid, temperature_c: float, abv_percent: float) -> list[float]:
    """Constants at zero ionic strength, by the van 't Hoff equation with a constant heat capacity."""
    t = temperature_c + 273.15
    ln10_r = R_J_MOL_K * math.log(10.0)
    return [
        p
        + 1000.0 * h / ln10_r * (1.0 / t - 1.0 / T0_K)
        - c / ln10_r * (T0_K / t - 1.0 + math.log(t / T0_K))
        + acid.per_percent_ethanol * abv_percent
        for p, h, c in zip(acid.pk25, acid.enthalpy, acid.heat_capacity, strict=True)
    ]


def debye_huckel_a(temperature_c: float, abv_percent: float) -> float:
    """A = 0.509 at 25 °C in water, scaled by (eps T)^-1.5; the permittivity M, less 0.48 per % vol (M)."""
    t = temperature_c
    eps = 87.740 - 0.40008 * t + 9.398e-4 * t**2 - 1.410e-6 * t**3 - 0.48 * abv_percent
    return 0.509 * math.pow(78.30 * 298.15 / (eps * (t + 273.15)), 1.5)


class Model:
    """The charge balance of one drink at one temperature."""

    def __init__(self, of: Drink, temperature_c: float = 20.0, ideal: bool = False) -> None:
        self.a = 0.0 if ideal else debye_huckel_a(temperature_c, of.abv_percent)
        self.sid = of.sid_meq / 1000.0
        self.strong = of.ionic_mmol / 1000.0
        self.pkw = pk(WATER, temperature_c, of.abv_percent)[0]
        self.acids = [(c / 1000.0, pk(ACIDS[n], temperature_c, of.abv_percent)) for n, c in of.acids_mmol.items() if c]

    def ions(self, ph: float, strength: float) -> tuple[float, float, float, float]:
        """[H+], [OH-], charge of the weak acids and half their sum of z² c, at a pH and an ionic strength [mol/L]."""
        i = min(strength, 0.7)
        af = self.a * (math.sqrt(i) / (1.0 + math.sqrt(i)) - 0.3 * i)
        h, oh = math.pow(10.0, af - ph), math.pow(10.0, af + ph - self.pkw)
        charge = squares = 0.0
        for c, pks in self.acids:
            steps = (ph - p + (1 + 2 * k) * af for k, p in enumerate(pks))
            weights = [1.0, *(10.0**x for x in accumulate(steps))]
            total = sum(weights)
            charge += c * sum(z * w for z, w in enumerate(weights)) / total
            squares += 0.5 * c * sum(z * z * w for z, w in enumerate(weights)) / total
        return h, oh, charge, squares

    def strength(self, ph: float, titrated: bool = False) -> float:
        """The ionic strength at a pH; with `titrated`, the base that brought it there counts too [mol/L]."""
        now = self.strong
        for _ in range(500):
            h, oh, charge, squares = self.ions(ph, now)
            base = charge - self.sid + oh - h if titrated else 0.0
            before, now = now, self.strong + 0.5 * (h + oh + base) + squares
            if abs(now - before) <= 1e-15:
                return now
        raise ArithmeticError(f"ionic strength does not settle at pH {ph}")

    def residual(self, ph: float, strength: float | None = None) -> float:
        """Excess of positive charge at a pH [eq/L], at the drink's own or a given ionic strength."""
        h, oh, charge, _ = self.ions(ph, self.strength(ph) if strength is None else strength)
        return self.sid + h - oh - charge

    def ph(self) -> float:
        """Where the charges add up to nothing."""
        return float(brentq(self.residual, -2.0, 16.0, xtol=1e-13, rtol=1e-14))

    def base(self, end_point_ph: float) -> float:
        """Strong base that brings the drink to the end point [eq/L]."""
        h, oh, charge, _ = self.ions(end_point_ph, self.strength(end_point_ph, titrated=True))
        return charge - self.sid + oh - h


def ph(of: Drink, temperature_c: float = 20.0, ideal: bool = False) -> float:
    """pH of a drink."""
    return Model(of, temperature_c, ideal).ph()


def ta_meq(of: Drink, end_point_ph: float = 8.2, temperature_c: float = 20.0, ideal: bool = False) -> float:
    """Titratable acidity without carbonic acid [meq/L]."""
    degassed = {n: c for n, c in of.acids_mmol.items() if n != "carbonic"}
    still = Drink(degassed, of.sid_meq, of.ionic_mmol, of.abv_percent)
    return 1000.0 * Model(still, temperature_c, ideal).base(end_point_ph)


def infer(
    profile: Mapping[str, float],
    ph_measured: float,
    ta_measured_meq: float,
    *,
    end_point_ph: float = 8.2,
    abv_percent: float = 0.0,
    temperature_c: float = 20.0,
) -> Drink:
    """The drink of an acid profile that has this pH and this titratable acidity: two nested roots, no formula."""

    def balanced(scale: float) -> Drink:
        acids = {n: scale * c for n, c in profile.items()}

        def excess(sid: float) -> float:
            of = Drink(acids, sid, 0.5 * abs(sid), abv_percent)
            return Model(of, temperature_c).residual(ph_measured)

        most = 4.0 * sum(acids.values()) + 200.0
        sid = float(brentq(excess, -most, most, xtol=1e-12, rtol=1e-14))
        return Drink(acids, sid, 0.5 * abs(sid), abv_percent)

    def miss(scale: float) -> float:
        return ta_meq(balanced(scale), end_point_ph, temperature_c) - ta_measured_meq

    return balanced(float(brentq(miss, 1e-6, 200.0 * ta_measured_meq / sum(profile.values()), xtol=1e-13, rtol=1e-14)))
