"""Limits of total SO2 by market and class of drink, and from how much the label has to say so.

Laws differ by what a drink is called, and change: every figure comes with its regulation, the edition it was taken
from and whether that was read. Local law decides, not this table; whoever sells checks the current text. People with
asthma above all may react to sulfite, a few of them severely: that is what the declaration is for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from service.chemistry.checks import check_not_negative

PUBLISHED = "published"
FROM_MEMORY = "from memory, unverified"


class Market(StrEnum):
    """Whose rules a drink answers to; `none` for a drink that is not sold, or sold elsewhere."""

    US = "us"
    EU = "eu"
    NONE = "none"


class LegalClass(StrEnum):
    """What a drink is before the law. It is named by the caller and has no default."""

    MEAD = "mead"
    GRAPE_WINE = "grape_wine"
    FRUIT_WINE = "fruit_wine"
    CIDER_PERRY = "cider_perry"


class WineColour(StrEnum):
    """Colour of a grape wine, as far as European limits tell it apart."""

    RED = "red"
    WHITE_OR_ROSE = "white_or_rose"


@dataclass(frozen=True, slots=True)
class SulfiteDeclaration:
    """From how much total SO2 the label has to say so: US rules at the threshold, EU rules only above it."""

    threshold_mg_per_l: float
    at_threshold: bool
    regulation: str
    edition: str
    mark: str
    source_key: str

    @property
    def comparison(self) -> str:
        """How the threshold is meant, in words."""
        return "at or above" if self.at_threshold else "above"

    def is_due(self, total_so2_mg_per_l: float) -> bool:
        """Whether this total has to be declared."""
        if self.at_threshold:
            return total_so2_mg_per_l >= self.threshold_mg_per_l
        return total_so2_mg_per_l > self.threshold_mg_per_l


@dataclass(frozen=True, slots=True)
class SulfiteLimit:
    """A limit of total SO2 for one class of drink in one market; check the current text before selling."""

    market: Market
    category: str
    mg_per_l: float
    regulation: str
    edition: str
    mark: str
    source_key: str
    declaration: SulfiteDeclaration
    note: str = ""


_CLASS_WORDS: Mapping[LegalClass, str] = MappingProxyType(
    {
        LegalClass.MEAD: "mead",
        LegalClass.GRAPE_WINE: "wine of grapes",
        LegalClass.FRUIT_WINE: "wine of fruit other than grapes",
        LegalClass.CIDER_PERRY: "cider and perry",
    }
)

US_DECLARATION = SulfiteDeclaration(10.0, True, "27 CFR 4.32(e)", "2015 annual edition", PUBLISHED, "cfr27_4_32")
"""Quoted in TTB method SSD:TM:500 as well. Below 7 % vol the label answers to 21 CFR 101.100(a)(4) and 130.9: the
same figure (published), the split at 7 % vol from memory, unverified."""

EU_DECLARATION = SulfiteDeclaration(
    10.0,
    False,
    "Regulation (EU) No 1169/2011, Annex II",
    "quoted text, the current one not read",
    "weak secondary source",
    "eu_1169_2011",
)
"""Above 10 mg/kg or 10 mg/L of total SO2 in the drink as ready for consumption."""

_PPM_NOTE = "Printed as parts per million, read as mg/L. Wine of 7 to 24 % vol; weaker drinks answer to food law."
_NO_MARKET_NOTE = "No market was named: the lowest limit known here for this class, as a caution and not as law."


def _us(lot_class: LegalClass) -> SulfiteLimit:
    return SulfiteLimit(
        Market.US,
        _CLASS_WORDS[lot_class],
        350.0,
        "27 CFR 4.22(b)(1)",
        "2015 annual edition",
        PUBLISHED,
        "cfr27_4_22",
        US_DECLARATION,
        _PPM_NOTE,
    )


def _eu_additives(lot_class: LegalClass, row: str, note: str = "") -> SulfiteLimit:
    return SulfiteLimit(
        Market.EU,
        _CLASS_WORDS[lot_class],
        200.0,
        f"Regulation (EC) No 1333/2008, Annex II, category {row}",
        "not read",
        FROM_MEMORY,
        "eu_1333_2008",
        EU_DECLARATION,
        note,
    )


_EU_OTHER: Mapping[LegalClass, SulfiteLimit] = MappingProxyType(
    {
        LegalClass.MEAD: _eu_additives(LegalClass.MEAD, "14.2.5"),
        LegalClass.FRUIT_WINE: _eu_additives(LegalClass.FRUIT_WINE, "14.2.4", "Made wine: 260 mg/L."),
        LegalClass.CIDER_PERRY: _eu_additives(LegalClass.CIDER_PERRY, "14.2.3"),
    }
)

EU_SWEET_FROM_G_PER_L = 5.0
"""Glucose and fructose from which a grape wine has the higher limits. Regulation (EU) 2019/934, Annex I B."""

_EU_GRAPE_MG_PER_L: Mapping[tuple[WineColour, bool], float] = MappingProxyType(
    {
        (WineColour.RED, False): 150.0,
        (WineColour.WHITE_OR_ROSE, False): 200.0,
        (WineColour.RED, True): 200.0,
        (WineColour.WHITE_OR_ROSE, True): 250.0,
    }
)

_CODEX: Mapping[LegalClass, tuple[float, str, str]] = MappingProxyType(
    {LegalClass.MEAD: (200.0, "14.2.5", FROM_MEMORY), LegalClass.GRAPE_WINE: (350.0, "14.2.3", PUBLISHED)}
)


def _eu(lot_class: LegalClass, glucose_fructose_g_per_l: float | None, colour: WineColour | None) -> SulfiteLimit:
    if lot_class is not LegalClass.GRAPE_WINE:
        return _EU_OTHER[lot_class]
    sweet = glucose_fructose_g_per_l is not None and glucose_fructose_g_per_l >= EU_SWEET_FROM_G_PER_L
    taken = WineColour.RED if colour is None else colour
    sugar = "glucose and fructose 5 g/L or more" if sweet else "glucose and fructose below 5 g/L"
    unknown = [what for what, given in (("colour", colour), ("sugar", glucose_fructose_g_per_l)) if given is None]
    assumed = f" The lower limit was taken for want of: {', '.join(unknown)}." if unknown else ""
    return SulfiteLimit(
        Market.EU,
        f"wine of grapes, {taken.value.replace('_', ' ')}, {sugar}",
        _EU_GRAPE_MG_PER_L[taken, sweet],
        "Delegated Regulation (EU) 2019/934, Annex I, part B",
        "text on legislation.gov.uk",
        PUBLISHED,
        "eu_2019_934",
        EU_DECLARATION,
        "Some listed wines may hold 300 mg/L; further special cases were not read." + assumed,
    )


def sulfite_limits(
    market: Market,
    lot_class: LegalClass,
    glucose_fructose_g_per_l: float | None = None,
    colour: WineColour | None = None,
) -> tuple[SulfiteLimit, ...]:
    """Limits of total SO2 that apply to a class of drink, the lowest first.

    The class is the caller's word: limits of grape wine do not govern mead in the European Union. Without a market no
    law is picked; what comes back is the lowest limit known here for the class, with the stricter declaration (at or
    above 10 mg/L), and the Codex figure where one is known.

    Parameters: market; lot_class; glucose_fructose_g_per_l of the finished drink, scalar [g/L], and colour, which
    matter for grape wine in the European Union only; where either is None the lower limit is taken and the note says
    so.
    Returns: one limit or more, each with regulation, edition and mark; check the current text before selling.
    Raises: InputError for a negative sugar.
    Source: 27 CFR 4.22(b)(1) and 4.32(e), 2015; Regulation (EU) 2019/934, Annex I B; Regulation (EC) No 1333/2008,
    Annex II (from memory, unverified); Codex Alimentarius GSFA, categories 14.2.3 and 14.2.5 (the latter from memory).

    >>> [(limit.mg_per_l, limit.mark) for limit in sulfite_limits(Market.EU, LegalClass.MEAD)]
    [(200.0, 'from memory, unverified')]
    """
    if glucose_fructose_g_per_l is not None:
        check_not_negative(glucose_fructose_g_per_l, "Glucose and fructose together")
    if market is Market.US:
        return (_us(lot_class),)
    european = _eu(lot_class, glucose_fructose_g_per_l, colour)
    if market is Market.EU:
        return (european,)
    lowest = min(_us(lot_class), european, key=lambda limit: limit.mg_per_l)
    found = [
        replace(
            lowest, market=Market.NONE, declaration=US_DECLARATION, note=f"{_NO_MARKET_NOTE} {lowest.note}".rstrip()
        )
    ]
    if lot_class in _CODEX:
        mg_per_l, row, mark = _CODEX[lot_class]
        found.append(
            SulfiteLimit(
                Market.NONE,
                _CLASS_WORDS[lot_class],
                mg_per_l,
                f"Codex General Standard for Food Additives, category {row}",
                "CXS 192, edition not recorded",
                mark,
                "codex_gsfa",
                US_DECLARATION,
                "An international standard, not the law of a market; printed in mg/kg, read as mg/L.",
            )
        )
    return tuple(sorted(found, key=lambda limit: limit.mg_per_l))
