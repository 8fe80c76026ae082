"""The sheet about sulfite and sorbate, which asks for a dose only where the drink allows one."""

from __future__ import annotations

from typing import Final

from service.api.workbook.asked import ACIDITY_UNITS, DRINKS, DRINKS_SENT, Ask, Block, Entry, Units, answer_in

__all__ = ["stabilising_blocks"]

_NEEDS: Final = (("volume", "volume"), ("ph", "ph"), ("abv_percent", "abv"))
_MAY: Final = (
    ("fermentation_finished", "finished"),
    ("volume_at_packaging", "packed"),
    ("titratable_acidity", "acidity"),
    ("sugar_g_per_l", "sugar"),
    ("class", "class"),
    ("market", "market"),
    ("raw_juice_after", "raw"),
    ("malolactic_possible", "malolactic"),
)
_YES_NO: Final = ("yes", "no")
_SALTS_IN: Final = ("g", "kg", "oz wt", "lb")


def _drink(units: Units) -> Block:
    return Block(
        "The drink to be stabilised (invented figures: overwrite them)",
        (
            Entry("volume", "Volume at dosing", units.pick(20.0, 5.0), "quantity", units.volumes, most=1e5),
            Entry(
                "packed",
                "Volume at packaging",
                units.pick(22.0, 5.5),
                "quantity",
                units.volumes,
                most=1e5,
                hint="After sweetening; empty: as at dosing.",
            ),
            Entry("ph", "pH at dosing", 3.4, "number", ("pH",), least=2.0, most=5.0, hint="By a meter.", shown="0.00"),
            Entry("abv", "Strength at dosing", 12.0, "number", ("% vol",), most=25.0),
            Entry("acidity", "Titratable acidity", None, "acidity", ACIDITY_UNITS, most=200.0, hint="Empty: assumed."),
            Entry(
                "sugar",
                "Fermentable sugar, as packed",
                40.0,
                "number",
                ("g/L",),
                most=1000.0,
                hint="Empty: taken as enough to referment.",
            ),
            Entry(
                "finished",
                "Gravity stood still for days?",
                "yes",
                "yes_no",
                choices=_YES_NO,
                hint="yes only if two equal gravities days apart showed it. Otherwise there is no dose.",
            ),
            Entry("raw", "Raw juice goes in afterwards?", "no", "yes_no", choices=_YES_NO),
            Entry("malolactic", "Malolactic bacteria possible?", "no", "yes_no", choices=_YES_NO),
            Entry(
                "class",
                "Kind of drink",
                "mead",
                "text",
                choices=DRINKS,
                sent=DRINKS_SENT,
            ),
            Entry(
                "market",
                "Market",
                "any",
                "text",
                choices=("any", "European Union", "United States"),
                sent=("none", "eu", "us"),
                hint="any: the lowest limits known. Check the law where you sell.",
            ),
        ),
        note="Some people react badly to sulfite, asthmatics most. Sorbate does nothing against bacteria and needs "
        "sulfite beside it. A dose answers how much, not whether the law where you are allows it.",
    )


def stabilising_blocks(units: Units) -> tuple[Block, ...]:
    """The blocks of the sheet, with inputs in one system of units."""
    return (
        _drink(units),
        Block(
            "How much potassium sorbate?",
            (
                answer_in("sorbate_unit", "g", _SALTS_IN),
                Entry(
                    "sorbic",
                    "Sorbic acid wanted",
                    None,
                    "quantity",
                    ("mg/L",),
                    most=300.0,
                    hint="Empty: by the published table.",
                ),
                Entry(
                    "purity",
                    "Sorbate in the product",
                    None,
                    "number",
                    ("% of mass",),
                    least=1.0,
                    most=100.0,
                    hint="As its maker states it. Empty: 100.",
                ),
            ),
            (
                Ask(
                    "dose-of-sorbate",
                    "Potassium sorbate",
                    (*_NEEDS, ("unit", "sorbate_unit")),
                    (*_MAY, ("sorbic", "sorbic"), ("purity_percent", "purity")),
                    shown="0.00",
                ),
            ),
            lines=24,
        ),
        Block(
            "How much potassium metabisulfite?",
            (
                answer_in("sulfite_unit", "g", _SALTS_IN),
                Entry(
                    "free",
                    "Free SO2 wanted",
                    None,
                    "quantity",
                    ("mg/L",),
                    most=200.0,
                    hint="Empty: 0.8 mg/L molecular SO2 at the pH of the drink.",
                ),
                Entry("free_now", "Free SO2 in it now", None, "quantity", ("mg/L",), most=200.0, hint="Empty: none."),
                Entry(
                    "total_now",
                    "Total SO2 in it now",
                    None,
                    "quantity",
                    ("mg/L",),
                    most=500.0,
                    hint="Empty: as the free part.",
                ),
                Entry(
                    "bound",
                    "Share that gets bound",
                    None,
                    "number",
                    ("0 to 0.9",),
                    most=0.89,
                    hint="Of what goes in. Empty: 0.4, a guess.",
                ),
                Entry(
                    "yields",
                    "SO2 that the salt yields",
                    None,
                    "number",
                    ("% of mass",),
                    least=1.0,
                    most=57.6,
                    hint="Empty: 57, fresh potassium metabisulfite; old salt 50 or less.",
                ),
                Entry(
                    "with_sorbic",
                    "Sorbic acid that goes in too",
                    None,
                    "quantity",
                    ("mg/L",),
                    most=300.0,
                    hint="Sorbate lifts the pH, so that more sulfite is needed. Empty: none.",
                ),
            ),
            (
                Ask(
                    "dose-of-sulfite",
                    "Potassium metabisulfite",
                    (*_NEEDS, ("unit", "sulfite_unit")),
                    (
                        *_MAY,
                        ("free", "free"),
                        ("free_now", "free_now"),
                        ("total_now", "total_now"),
                        ("bound_share", "bound"),
                        ("so2_share_percent", "yields"),
                        ("sorbic", "with_sorbic"),
                    ),
                    shown="0.00",
                ),
            ),
            lines=16,
        ),
    )
