"""The sheet about sweetening and blending one lot."""

from __future__ import annotations

from typing import Final

from service.api.workbook.asked import ACIDITY_UNITS, DRINKS, DRINKS_SENT, Ask, Block, Entry, Units, answer_in

__all__ = ["LOT_EITHER", "LOT_MAY", "LOT_NEEDS", "blend_blocks"]

LOT_NEEDS: Final = (("volume", "volume"), ("gravity", "gravity"))
LOT_EITHER: Final = (("abv_percent", "abv"), ("original_gravity", "original"))
LOT_MAY: Final = (
    ("class", "class"),
    ("titratable_acidity", "acidity"),
    ("ph", "ph"),
    ("sample_temperature", "sample"),
    ("calibrated_at", "calibrated"),
    ("residual_sugar", "residual"),
)
"""The parameters of a lot, and the inputs of this sheet that they come from."""

_ANSWER_IN: Final = ("kg", "g", "L", "mL", "lb", "oz wt", "gal", "qt", "fl oz")
_MEASURED: Final = "Leave empty to use the catalogue; what you measured on your own juice is better."


def _ingredient(key: str, value: str, label: str = "Ingredient") -> Entry:
    return Entry(key, label, value, "ingredient", hint="Choose an id of the sheet Ingredients.")


def _lot(units: Units) -> Block:
    return Block(
        "The lot that everything on this sheet is about (invented figures: overwrite them)",
        (
            Entry("volume", "Volume", units.pick(24.0, 6.0), "quantity", units.volumes, most=1e5, hint="At 20 °C."),
            Entry(
                "gravity",
                "Gravity now",
                0.998,
                "number",
                ("SG",),
                least=0.97,
                most=1.5,
                hint="Specific gravity, such as 0.998.",
                shown="0.0000",
            ),
            Entry(
                "abv", "Strength", 8.1, "number", ("% vol",), most=100.0, hint="Or leave it empty and tell the next."
            ),
            Entry(
                "original",
                "or original gravity",
                None,
                "number",
                ("SG",),
                least=0.99,
                most=1.5,
                hint="Before fermentation; used where the strength is empty.",
                shown="0.0000",
            ),
            Entry(
                "class",
                "Kind of drink",
                "mead",
                "text",
                choices=DRINKS,
                sent=DRINKS_SENT,
                hint="Decides what is assumed where nothing was measured.",
            ),
            Entry("acidity", "Titratable acidity", 4.6, "acidity", ACIDITY_UNITS, most=200.0, hint="Empty: assumed."),
            Entry("ph", "pH", 3.42, "number", ("pH",), least=1.5, most=9.0, hint="Empty: assumed.", shown="0.00"),
            Entry(
                "sample",
                "Sample temperature",
                None,
                "quantity",
                units.temperatures,
                most=110.0,
                hint="Empty: the gravity is SG 20 °C/20 °C.",
            ),
            Entry(
                "calibrated",
                "Hydrometer calibrated at",
                None,
                "quantity",
                units.temperatures,
                most=110.0,
                hint="On its stem, often 20 °C or 60 °F. Only with a sample temperature.",
            ),
            Entry(
                "residual",
                "Sugar left, if tested",
                None,
                "quantity",
                ("g/L",),
                most=500.0,
                hint="By a sugar test. Empty: judged from the gravity.",
            ),
        ),
        one_of=("abv", "original"),
        note="Strength or original gravity, one is enough. Acidity and pH are assumed from the kind of drink where "
        "they are empty; measure them before juice or acid goes in. Two liquids are mixed at the end of this sheet.",
    )


def blend_blocks(units: Units) -> tuple[Block, ...]:
    """The blocks of the sheet, with inputs in one system of units."""
    gravity = Entry(
        "honey_target",
        "Gravity wanted",
        1.012,
        "number",
        ("SG",),
        least=0.97,
        most=1.5,
        hint="SG 20/20.",
        shown="0.0000",
    )
    return (
        _lot(units),
        Block(
            "How much honey, juice or concentrate for a gravity?",
            (
                _ingredient("honey", "honey_acacia"),
                gravity,
                answer_in("honey_unit", units.pick("kg", "lb"), _ANSWER_IN),
            ),
            (_amount("amount-for-gravity", "Add", "honey"),),
        ),
        Block(
            "How much water, honey or spirit for a strength?",
            (
                _ingredient("strength_by", "water_deionised"),
                Entry(
                    "strength_by_target",
                    "Strength wanted",
                    7.0,
                    "number",
                    ("% vol",),
                    most=60.0,
                    hint="Water and honey lower it, spirit lifts it.",
                ),
                answer_in("strength_by_unit", units.pick("L", "qt"), _ANSWER_IN),
            ),
            (_amount("amount-for-abv", "Add", "strength_by"),),
        ),
        Block(
            "How much juice, concentrate or acid for an acidity?",
            (
                _ingredient("sour", "lemon_juice_fresh"),
                Entry(
                    "sour_target",
                    "Acidity wanted",
                    6.5,
                    "acidity",
                    ACIDITY_UNITS,
                    most=200.0,
                    hint="After it went in.",
                ),
                answer_in("sour_unit", units.pick("mL", "fl oz"), _ANSWER_IN),
                Entry(
                    "sour_acidity",
                    "Its acidity, if measured",
                    None,
                    "acidity",
                    ACIDITY_UNITS,
                    most=800.0,
                    hint=_MEASURED,
                ),
            ),
            (_amount("amount-for-acidity", "Add", "sour", may=(("ingredient_titratable_acidity", "sour_acidity"),)),),
            lines=14,
        ),
        Block(
            "How much of an acid or a carbonate for a pH?",
            (
                _ingredient("ph_by", "citric_acid_anhydrous"),
                Entry(
                    "ph_by_target",
                    "pH wanted",
                    3.3,
                    "number",
                    ("pH",),
                    least=2.5,
                    most=4.6,
                    hint="Acid lowers it, a carbonate lifts it.",
                    shown="0.00",
                ),
                answer_in("ph_by_unit", units.pick("g", "oz wt"), _ANSWER_IN),
            ),
            (_amount("amount-for-ph", "Add", "ph_by"),),
            lines=11,
        ),
        Block(
            "How much citrus juice or concentrate for its share?",
            (
                _ingredient("citrus", "orange_juice_concentrate_frozen"),
                Entry(
                    "citrus_target",
                    "Citrus juice wanted",
                    15.0,
                    "number",
                    ("%",),
                    most=100.0,
                    hint="Single strength, of the volume.",
                ),
                answer_in("citrus_unit", units.pick("L", "fl oz"), _ANSWER_IN),
            ),
            (_amount("amount-for-citrus", "Add", "citrus"),),
            lines=9,
        ),
        Block(
            "What is it after an addition?",
            (
                _ingredient("poured", "cherry_tart_juice_concentrate_68"),
                Entry(
                    "poured_amount",
                    "Amount",
                    units.pick(1.0, 2.0),
                    "quantity",
                    units.pick(("kg", "g", "L", "mL", "lb", "oz wt"), ("lb", "oz wt", "kg", "g", "L", "mL")),
                    most=1e6,
                    hint="Weighed, or measured at 20 °C.",
                ),
                Entry("poured_brix", "Its Brix, if measured", None, "number", ("°Bx",), most=95.0, hint=_MEASURED),
            ),
            (
                _after("gravity-after", "Gravity", "0.0000"),
                _after("abv-after", "Strength", "0.00"),
                _after("acidity-after", "Titratable acidity", "0.00"),
                _after("ph-after", "pH", "0.00"),
                _after("volume-after", "Volume [L]", "0.00"),
                _after("sugar-after", "All sugars", "0.0"),
                _after("citrus-after", "Citrus juice", "0.0"),
            ),
        ),
        _mixing(),
    )


def _mixing() -> Block:
    def sg(key: str, label: str, value: float) -> Entry:
        return Entry(key, label, value, "number", ("SG",), least=0.97, most=1.5, hint="SG 20/20.", shown="0.0000")

    def abv(key: str, label: str, value: float) -> Entry:
        return Entry(key, label, value, "number", ("% vol",), most=100.0, hint="0 for juice, must or syrup.")

    return Block(
        "In what proportion do two liquids mix to a gravity?",
        (
            sg("gravity_a", "Gravity of A", 1.08),
            abv("abv_a", "Strength of A", 0.0),
            sg("gravity_b", "Gravity of B", 0.998),
            abv("abv_b", "Strength of B", 8.1),
            sg("mix", "Gravity wanted", 1.012),
        ),
        (
            Ask(
                "share-for-gravity",
                "Share of A before mixing",
                (
                    ("gravity_a", "gravity_a"),
                    ("abv_percent_a", "abv_a"),
                    ("gravity_b", "gravity_b"),
                    ("abv_percent_b", "abv_b"),
                    ("target", "mix"),
                ),
                shown="0.0",
            ),
        ),
    )


def _amount(question: str, label: str, key: str, may: tuple[tuple[str, str], ...] = ()) -> Ask:
    own = (("ingredient", key), ("target", f"{key}_target"), ("unit", f"{key}_unit"))
    return Ask(question, label, (*own, *LOT_NEEDS), (*LOT_MAY, *may), LOT_EITHER)


def _after(question: str, label: str, shown: str) -> Ask:
    own = (("ingredient", "poured"), ("amount", "poured_amount"))
    return Ask(question, label, (*own, *LOT_NEEDS), (*LOT_MAY, ("brix", "poured_brix")), LOT_EITHER, shown=shown)
