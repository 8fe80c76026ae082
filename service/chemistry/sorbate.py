"""Sorbate: how much sorbic acid a drink is said to need, from published figures only, and what the markets allow.

Sorbic acid keeps a few yeast cells from growing. It does not kill them, does not stop an active ferment and does
nothing at these doses to lactic or acetic bacteria; it works better in a more acid drink, and is tasted by some from
135 mg/L on, by others at 400 (University of Minnesota enology pages). Always use it together with sulfite: lactic
bacteria turn sorbic acid into 2-ethoxyhexa-3,5-diene, a taint of geranium leaves (The Oxford Companion to Wine) that
nothing takes out again (common practice, no source). Where malolactic bacteria may be at work, do without it.

The printed doses begin at 10 % vol and end at pH 3.5. Beyond, on the side where more is needed, there is no dose here
and none is made up: a dry drink, cold, sterile filtration or pasteurising are the ways left. Dose the salt before the
sulfite is computed: 200 mg/L of sorbic acid as potassium salt lift the pH of a weakly buffered drink by 0.12 to 0.19
(computed), and with it the free SO2 that it needs. Keep to local law and licensed practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from service.chemistry.activity import davies_a, davies_f
from service.chemistry.checks import check_not_negative, check_range, check_volume
from service.chemistry.sulfite import WINE_IONIC_STRENGTH_MOL_PER_L
from service.chemistry.sulfite_limits import FROM_MEMORY, PUBLISHED, Market
from service.chemistry.tabulated import bilinear
from service.chemistry.weak_acids import DISSOCIATIONS, WeakAcid
from service.errors import InputError

POTASSIUM_SORBATE_MOLAR_MASS_G_PER_MOL = 150.22
"""Formula mass of potassium sorbate, IUPAC standard atomic weights; as in OIV COEI-1-POTSOR."""

SORBIC_ACID_MOLAR_MASS_G_PER_MOL = 112.13
"""Formula mass of sorbic acid, IUPAC standard atomic weights; as in OIV COEI-1-POTSOR."""

POTASSIUM_SORBATE_SORBIC_SHARE = SORBIC_ACID_MOLAR_MASS_G_PER_MOL / POTASSIUM_SORBATE_MOLAR_MASS_G_PER_MOL
"""Sorbic acid that the salt yields, 0.7464 [g/g]: 74.64 % in OIV COEI-1-POTSOR; 1 mg of acid is 1.340 mg of salt."""

POTASSIUM_SORBATE_POTASSIUM_SHARE = 39.098 / POTASSIUM_SORBATE_MOLAR_MASS_G_PER_MOL
"""Potassium that it brings along, 0.2603 [g/g]: 26.03 % in OIV COEI-1-POTSOR."""

TASTE_THRESHOLD_MG_PER_L = (135.0, 400.0)
"""Range of reported taste thresholds of sorbic acid. University of Minnesota enology pages."""

TABLE_SOLUTION_G_PER_L = 30.0
"""Potassium sorbate in the solution that the table of doses is printed for. T. Underhill, Making Better Wines."""

TABLE_PH = (3.1, 3.2, 3.3, 3.4, 3.5)
TABLE_ML_PER_L: Mapping[float, tuple[float, ...]] = MappingProxyType(
    {
        10.0: (5.5, 6.0, 7.0, 8.0, 9.0),
        11.0: (4.5, 5.0, 6.0, 7.0, 7.5),
        12.0: (3.2, 3.5, 4.0, 4.5, 5.0),
        13.0: (2.6, 3.0, 3.2, 3.5, 4.0),
        14.0: (2.0, 2.2, 2.4, 2.7, 3.0),
    }
)
"""Solution per litre of drink [mL/L], by strength [% vol] and pH. T. Underhill, Making Better Wines (weak secondary
source: an extract). The doses rise faster with pH than the undissociated share falls, so that they hold more than the
chemistry of sorbic acid."""

TABLE_MARK = "published, weak secondary source: an extract"
TABLE_SOURCE_KEY = "underhill"

REMEMBERED_SORBIC_MG_PER_L: Mapping[float, float] = MappingProxyType(
    {10.0: 150.0, 11.0: 125.0, 12.0: 100.0, 13.0: 75.0, 14.0: 50.0}
)
"""Sorbic acid [mg/L] by strength [% vol] alone: a table of a type often printed (from memory, unverified). It lies
inside the span over pH of the printed one, and is a cross-check of it; no dose comes from it."""

_LOWEST_ABV, _HIGHEST_ABV = min(TABLE_ML_PER_L), max(TABLE_ML_PER_L)
_LOWEST_PH, _HIGHEST_PH = TABLE_PH[0], TABLE_PH[-1]
_ADVICE = "Check the figure and its unit."


def undissociated_sorbic_fraction(
    ph: float,
    abv_percent: float = 0.0,
    temperature_c: float = 20.0,
    ionic_mol_per_l: float = WINE_IONIC_STRENGTH_MOL_PER_L,
) -> float:
    """Share of the sorbic acid that is undissociated, the form that inhibits yeast.

    f = 1/(1 + 10^(pH − pK)),  pK = 4.76 + 0.0142·abv − A(t, abv)·f(I)

    Parameters: ph, scalar [-]; abv_percent, scalar [% vol]; temperature_c, scalar [°C]; ionic_mol_per_l I, scalar
    [mol/L].
    Returns: share, scalar [-].
    Raises: OutOfRangeError outside pH 0–14, 0–40 °C, 0–20 % vol or 0–0.5 mol/L.
    Validity: pK 4.76 from memory, unverified (4.62 to 4.77 is met: 3 points at pH 3.8); the enthalpy is taken as 0.
    Source: Davies equation; ethanol slope after Prenesti et al. 2012, table 4, measured on other carboxylic acids.

    Example: 85 % at pH 4.0 in water (computed).

    >>> round(undissociated_sorbic_fraction(4.0, ionic_mol_per_l=0.0), 2)
    0.85
    """
    check_range(ph, 0.0, 14.0, "A pH", _ADVICE)
    check_range(abv_percent, 0.0, 20.0, "A strength in % vol", _ADVICE)
    check_range(temperature_c, 0.0, 40.0, "A temperature in °C", _ADVICE)
    check_range(ionic_mol_per_l, 0.0, 0.5, "An ionic strength in mol/L", _ADVICE)
    sorbic = DISSOCIATIONS[WeakAcid.SORBIC]
    shift = davies_a(temperature_c, abv_percent) * davies_f(ionic_mol_per_l)
    pk = sorbic.steps[0].pk_25c + sorbic.pk_per_abv_percent * abv_percent - shift
    share: float = 1.0 / (1.0 + 10.0 ** (ph - pk))
    return share


@dataclass(frozen=True, slots=True)
class SorbicDose:
    """What the printed table says of one drink: a dose with its reason, or no dose with its reason."""

    dose_mg_per_l: float | None
    inside_table: bool
    reason: str
    is_upper_bound: bool = False
    mark: str = TABLE_MARK
    source_key: str = TABLE_SOURCE_KEY


def sorbic_dose(abv_percent: float, ph: float) -> SorbicDose:
    """Sorbic acid that the printed table asks for, read between its figures and never beyond them.

    Inside 10–14 % vol and pH 3.1–3.5: straight lines between the four figures around. Stronger, or more acid: the
    figure at the edge of the table, which is an upper bound, since both need less. Weaker, or less acid: no dose,
    since both need more than the table holds, how much more nobody has printed.

    Parameters: abv_percent, scalar [% vol]; ph, scalar [-], of the drink as it will be bottled.
    Returns: a `SorbicDose` [mg/L as sorbic acid]; `dose_mg_per_l` is None where there is none.
    Raises: OutOfRangeError for a strength outside 0–100 % vol or a pH outside 0–14.
    Validity: 10–14 % vol, pH 3.1–3.5; with sulfite, a finished ferment and few cells left.
    Source: T. Underhill, Making Better Wines, table of doses (weak secondary source, an extract).

    Example: 5 mL/L of a 30 g/L solution at 12 % vol and pH 3.5.

    >>> round(sorbic_dose(12.0, 3.5).dose_mg_per_l or 0.0)
    112
    >>> sorbic_dose(6.0, 3.3).reason
    'outside the published table: it starts at 10 % vol, and a weaker drink needs more than it holds'
    """
    check_range(abv_percent, 0.0, 100.0, "A strength in % vol", _ADVICE)
    check_range(ph, 0.0, 14.0, "A pH", _ADVICE)
    beyond = []
    if abv_percent < _LOWEST_ABV:
        beyond.append(f"it starts at {_LOWEST_ABV:g} % vol, and a weaker drink needs more than it holds")
    if ph > _HIGHEST_PH:
        beyond.append(f"it ends at pH {_HIGHEST_PH:g}, and a less acid drink needs more than it holds")
    if beyond:
        return SorbicDose(None, False, f"outside the published table: {'; '.join(beyond)}")
    bounds = []
    if abv_percent > _HIGHEST_ABV:
        bounds.append(f"its row of {_HIGHEST_ABV:g} % vol is an upper bound, since a stronger drink needs less")
    if ph < _LOWEST_PH:
        bounds.append(f"its column of pH {_LOWEST_PH:g} is an upper bound, since a more acid drink needs less")
    dose = _table_mg_per_l(min(abv_percent, _HIGHEST_ABV), max(ph, _LOWEST_PH))
    if bounds:
        return SorbicDose(dose, False, f"outside the published table: {'; '.join(bounds)}", is_upper_bound=True)
    return SorbicDose(dose, True, "read from the published table")


def _table_mg_per_l(abv_percent: float, ph: float) -> float:
    ml_per_l = bilinear(TABLE_ML_PER_L, TABLE_PH, abv_percent, ph)
    return ml_per_l * TABLE_SOLUTION_G_PER_L * POTASSIUM_SORBATE_SORBIC_SHARE


def potassium_sorbate_g(sorbic_mg_per_l: float, volume_l: float, purity: float = 1.0) -> float:
    """Potassium sorbate that adds so much sorbic acid.

    m = c·V/(1000·0.7464·p)

    Parameters: sorbic_mg_per_l c to add, scalar [mg/L]; volume_l V, scalar [L]; purity p of the salt [g/g].
    Returns: salt, scalar [g].
    Raises: InputError for negative amounts or a purity outside 0–1.
    Validity: dry salt, dissolved in water before it goes in (common practice, no source).
    Source: formula masses, IUPAC standard atomic weights; OIV COEI-1-POTSOR.

    Example: the limit of the OIV, 200 mg/L, is 268 mg/L of salt.

    >>> round(1000.0 * potassium_sorbate_g(200.0, 1.0))
    268
    """
    check_not_negative(sorbic_mg_per_l, "The sorbic acid to add")
    check_not_negative(volume_l, "The volume")
    _check_purity(purity)
    return sorbic_mg_per_l * volume_l / (1000.0 * POTASSIUM_SORBATE_SORBIC_SHARE * purity)


def sorbic_mg_per_l_from_potassium_sorbate(mass_g: float, volume_l: float, purity: float = 1.0) -> float:
    """Sorbic acid that a mass of potassium sorbate adds: the inverse of `potassium_sorbate_g`.

    c = 1000·0.7464·p·m/V

    Parameters: mass_g m, scalar [g]; volume_l V, scalar [L]; purity p [g/g].
    Returns: sorbic acid, scalar [mg/L].
    Raises: InputError for a negative mass, no volume, or a purity outside 0–1.
    Validity: dry salt.
    Source: formula masses, IUPAC standard atomic weights; OIV COEI-1-POTSOR.

    >>> round(sorbic_mg_per_l_from_potassium_sorbate(0.268, 1.0))
    200
    """
    check_not_negative(mass_g, "The mass of salt")
    check_volume(volume_l)
    _check_purity(purity)
    return 1000.0 * POTASSIUM_SORBATE_SORBIC_SHARE * purity * mass_g / volume_l


@dataclass(frozen=True, slots=True)
class SorbicLimit:
    """A limit of sorbic acid in one market; check the current text before selling."""

    market: Market
    mg_per_l: float
    regulation: str
    edition: str
    mark: str
    source_key: str
    note: str = ""


OIV_LIMIT = SorbicLimit(
    Market.NONE,
    200.0,
    "OIV International Code of Oenological Practices, II.3.4.5",
    "edition not recorded",
    PUBLISHED,
    "oiv_ii_3_4_5",
    "No market was named: the lower of the known limits, as a caution and not as law. Add shortly before bottling.",
)

_LIMITS: Mapping[Market, SorbicLimit] = MappingProxyType(
    {
        Market.US: SorbicLimit(
            Market.US, 300.0, "27 CFR 24.246", "2015 annual edition", PUBLISHED, "cfr27_24_246", "As sorbic acid."
        ),
        Market.EU: SorbicLimit(
            Market.EU,
            200.0,
            "Regulation (EC) No 1333/2008, Annex II; for grape wine Delegated Regulation (EU) 2019/934, Annex I",
            "not read",
            FROM_MEMORY,
            "eu_1333_2008",
            "As sorbic acid.",
        ),
        Market.NONE: OIV_LIMIT,
    }
)


def sorbic_limit(market: Market) -> SorbicLimit:
    """Limit of sorbic acid in a market; without a market the OIV's, the lower of the published ones.

    Parameters: market.
    Returns: the limit [mg/L as sorbic acid], with regulation, edition and mark.
    Source: 27 CFR 24.246, 2015 annual edition; OIV International Code of Oenological Practices, II.3.4.5; the
    European figure from memory, unverified.

    >>> sorbic_limit(Market.US).mg_per_l
    300.0
    """
    return _LIMITS[market]


def _check_purity(purity: float) -> None:
    if not 0.0 < purity <= 1.0:
        raise InputError(f"A purity of {purity:g} is not a share of the mass. Give a number above 0, up to 1.")
