"""The sheet about sulfite and sorbate, which asks for a dose only where the drink allows one."""

from __future__ import annotations

from typing import Final

from service.api.workbook.asked import ACIDITY_UNITS, Ask, Block, Entry, Units

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
                choices=("mead", "fruit_wine", "grape_wine", "cider_perry"),
            ),
            Entry(
                "market",
                "Market",
                "none",
                "text",
                choices=("none", "eu", "us"),
                hint="none: the lowest limits known. Check the law where you sell.",
            ),
        ),
        note="Some people react badly to sulfite, asthmatics most. Sorbate does nothing against bacteria and needs "
        "sulfite beside it. A dose answers how much, not whether the law where you are allows it.",
    )


def stabilising_blocks(units: Units) -> tuple[Block, ...]:
    """The blocks of the sheet, with inputs in one system of units."""
    grams = ("g", "kg", "oz", "lb")
    return (
        _drink(units),
        Block(
            "How much potassium sorbate?",
            (
                Entry("sorbate_unit", "Answer in", "g", "text", choices=grams),
                Entry(
                    "sorbic",
                    "Sorbic acid wanted",
                    None,
                    "quantity",
                    ("mg/L",),
                    most=300.0,
                    hint="Empty: by the published table.",
                ),
            ),
            (
                Ask(
                    "dose-of-sorbate",
                    "Potassium sorbate",
                    (*_NEEDS, ("unit", "sorbate_unit")),
                    (*_MAY, ("sorbic", "sorbic")),
                    shown="0.00",
                ),
            ),
            heed_rows=13,
        ),
        Block(
            "How much potassium metabisulfite?",
            (
                Entry("sulfite_unit", "Answer in", "g", "text", choices=grams),
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
                    (*_MAY, ("free", "free"), ("free_now", "free_now"), ("sorbic", "with_sorbic")),
                    shown="0.00",
                ),
            ),
            heed_rows=11,
        ),
    )
