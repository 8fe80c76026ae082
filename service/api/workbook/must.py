"""The sheet about the must: honey for a gravity, strength, and readings and amounts brought to one scale."""

from __future__ import annotations

from typing import Final

from service.api.workbook.asked import ACIDITY_UNITS, DRINKS, DRINKS_SENT, Ask, Block, Entry, Units, answer_in

__all__ = ["must_blocks"]

_ACIDS_SENT: Final = ("tartaric", "citric", "malic", "lactic", "sulfuric", "meq")


def _sg(key: str, label: str, value: float | None, hint: str = "SG 20 °C/20 °C.", least: float = 0.97) -> Entry:
    return Entry(key, label, value, "number", ("SG",), least=least, most=1.5, hint=hint, shown="0.0000")


def _acid(key: str, label: str, value: str) -> Entry:
    hint = "The acid that it is expressed as."
    return Entry(key, label, value, "text", choices=ACIDITY_UNITS, sent=_ACIDS_SENT, hint=hint)


def must_blocks(units: Units) -> tuple[Block, ...]:
    """The blocks of the sheet, with inputs in one system of units."""
    degrees = units.temperatures
    return (
        Block(
            "How much honey for a must?",
            (
                _sg("must", "Original gravity wanted", 1.06, least=0.99),
                Entry("must_volume", "Volume", units.pick(20.0, 5.0), "quantity", units.volumes, most=1e5),
                Entry(
                    "must_is",
                    "The volume is",
                    "of the must",
                    "text",
                    choices=("of the must", "of the water alone"),
                    sent=("final", "water_added"),
                    hint="Of the must, honey and all; or of the water that the honey goes into.",
                ),
                Entry("must_honey", "Honey or sugar", "honey_average", "ingredient", hint="An id of Ingredients."),
                Entry(
                    "moisture",
                    "Its water, if measured",
                    None,
                    "number",
                    ("% of mass",),
                    most=40.0,
                    hint="Of honey, by a refractometer.",
                ),
                answer_in("must_unit", units.pick("kg", "lb"), ("kg", "g", "lb", "oz wt")),
            ),
            (
                Ask(
                    "honey-for-must",
                    "Honey to weigh",
                    (
                        ("original_gravity", "must"),
                        ("volume", "must_volume"),
                        ("volume_is", "must_is"),
                        ("ingredient", "must_honey"),
                        ("unit", "must_unit"),
                    ),
                    (("moisture_percent", "moisture"),),
                ),
            ),
            lines=12,
        ),
        Block(
            "How strong did it become? (only while nothing but yeast changed it)",
            (_sg("began", "Original gravity", 1.06, least=0.99), _sg("ended", "Gravity now", 0.998)),
            (
                Ask(
                    "abv-from-gravities",
                    "Strength",
                    (("original_gravity", "began"), ("final_gravity", "ended")),
                    shown="0.00",
                ),
            ),
            lines=3,
        ),
        Block(
            "What sugar and extract may be left?",
            (
                _sg("left", "Gravity", 0.998),
                Entry("strength", "Strength", 8.1, "number", ("% vol",), most=25.0),
                Entry(
                    "kind",
                    "Kind of ferment",
                    "mead",
                    "text",
                    choices=DRINKS,
                    sent=DRINKS_SENT,
                ),
            ),
            (
                Ask(
                    "sugar-from-gravity-and-abv",
                    "Sugar that may be left",
                    (("gravity", "left"), ("abv_percent", "strength")),
                    (("class", "kind"),),
                    shown="0.0",
                ),
                Ask(
                    "extract-from-gravity-and-abv",
                    "Total dry extract",
                    (("gravity", "left"), ("abv_percent", "strength")),
                    shown="0.0",
                ),
            ),
            lines=3,
        ),
        Block(
            "What does a hydrometer's reading mean at another temperature?",
            (
                _sg("reading", "Reading", 1.012, "As the hydrometer shows it."),
                Entry("warm", "Sample temperature", units.pick(24.0, 75.0), "quantity", degrees, most=110.0),
                Entry(
                    "stem",
                    "Hydrometer calibrated at",
                    units.pick(20.0, 60.0),
                    "quantity",
                    degrees,
                    most=110.0,
                    hint="It stands on the stem.",
                ),
                Entry("reading_abv", "Strength", 7.0, "number", ("% vol",), most=60.0, hint="0 for a must."),
            ),
            (
                Ask(
                    "gravity-from-reading",
                    "Gravity, SG 20/20",
                    (("reading", "reading"), ("sample_temperature", "warm"), ("calibrated_at", "stem")),
                    (("abv_percent", "reading_abv"),),
                    shown="0.0000",
                ),
            ),
            lines=3,
        ),
        Block(
            "From Brix to gravity (no alcohol in it)",
            (Entry("brix", "Sugar scale", 14.7, "number", ("°Bx",), most=95.0, hint="Of a must or a juice."),),
            (Ask("sg-from-brix", "Gravity, SG 20/20", (("brix", "brix"),), shown="0.0000"),),
            lines=3,
        ),
        Block(
            "From gravity to Brix (no alcohol in it)",
            (_sg("sg", "Gravity", 1.06, least=0.99),),
            (Ask("brix-from-sg", "Sugar scale", (("sg", "sg"),), shown="0.00"),),
            lines=3,
        ),
        *_conversions(units),
    )


def _conversions(units: Units) -> tuple[Block, ...]:
    return (
        Block(
            "The same acidity as another acid",
            (
                Entry("acidity", "Acidity", 6.5, "number", ("as told below",), most=2000.0),
                _acid("given_as", "Told in", "g/L tartaric"),
                _acid("wanted_as", "Wanted in", "g/L citric"),
            ),
            (
                Ask(
                    "acid-from-acid",
                    "Acidity",
                    (("value", "acidity"), ("given_as", "given_as"), ("wanted_as", "wanted_as")),
                    shown="0.00",
                ),
            ),
            lines=3,
        ),
        Block(
            "What does a volume weigh?",
            (
                Entry("liquid", "Ingredient", "honey_average", "ingredient"),
                Entry(
                    "liquid_volume",
                    "Volume",
                    units.pick(1.0, 12.0),
                    "quantity",
                    units.pick(("L", "mL", "fl oz", "gal"), units.fills),
                    most=1e5,
                ),
                answer_in("liquid_unit", units.pick("kg", "lb"), ("g", "kg", "oz wt", "lb")),
            ),
            (
                Ask(
                    "mass-from-volume",
                    "It weighs",
                    (("ingredient", "liquid"), ("volume", "liquid_volume"), ("unit", "liquid_unit")),
                ),
            ),
            lines=3,
        ),
        Block(
            "What room does a mass take?",
            (
                Entry("weighed", "Ingredient", "honey_average", "ingredient"),
                Entry(
                    "weighed_mass",
                    "Mass",
                    1.0,
                    "quantity",
                    units.pick(("kg", "g", "lb", "oz wt"), ("lb", "oz wt", "kg", "g")),
                    most=1e6,
                ),
                answer_in("weighed_unit", units.pick("mL", "fl oz"), ("mL", "L", "fl oz", "qt", "gal")),
            ),
            (
                Ask(
                    "volume-from-mass",
                    "It takes",
                    (("ingredient", "weighed"), ("mass", "weighed_mass"), ("unit", "weighed_unit")),
                ),
            ),
            lines=3,
        ),
    )
