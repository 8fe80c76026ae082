"""The sheet about containers: how many, what pressure, what heat, and what stands on the label."""

from __future__ import annotations

from typing import Final

from service.api.workbook.asked import ACIDITY_UNITS, Ask, Block, Entry, Units
from service.planner.pressure.gas import WORDS

__all__ = ["packaging_blocks"]

_HURDLES: Final = ("pasteurised", "sterile filtered", "sulfite and sorbate", "sulfite", "sorbate", "kept cold")
_HURDLES_SENT: Final = ("pasteurised", "sterile_filtered", "sulfite,sorbate", "sulfite", "sorbate", "cold")
_CONTAINERS: Final = {words: kind for kind, words in WORDS.items()}
_HURDLE_NEEDS: Final = "Needed where sulfite and sorbate are to hold the yeast."


def _drink(units: Units) -> Block:
    return Block(
        "The drink as it is packed (invented figures: overwrite them)",
        (
            Entry("volume", "Volume", units.pick(25.0, 6.5), "quantity", units.volumes, most=1e5),
            Entry("abv", "Strength", 6.8, "number", ("% vol",), most=100.0),
            Entry("sugar", "Fermentable sugar", 8.0, "number", ("g/L",), most=1000.0),
            Entry("all_sugar", "All sugars", 34.0, "number", ("g/L",), most=1000.0),
            Entry("acidity", "Titratable acidity", 6.5, "acidity", ACIDITY_UNITS, most=200.0),
        ),
        note="Sugar that yeast can use, in a closed container, makes pressure that can break glass. Heed what stands "
        "above a number before you use the number, and keep one plastic bottle of each batch to squeeze (common "
        "practice).",
    )


def packaging_blocks(units: Units) -> tuple[Block, ...]:
    """The blocks of the sheet, with inputs in one system of units."""
    fill = units.pick(330.0, 12.0)
    return (
        _drink(units),
        Block(
            "How many containers does it fill?",
            (
                Entry("fill", "In each container", fill, "quantity", units.fills, most=1e5),
                Entry("settling", "Settled layer left behind", 5.0, "number", ("% of volume",), most=90.0),
                Entry("reserve", "Kept back", units.pick(250.0, 8.0), "quantity", units.fills, most=1e5),
            ),
            (
                Ask(
                    "fill-count",
                    "Containers",
                    (("volume", "volume"), ("fill", "fill")),
                    (("settling_percent", "settling"), ("reserve", "reserve")),
                    shown="0",
                ),
            ),
            lines=4,
        ),
        Block(
            "What pressure if it ferments again?",
            (
                Entry(
                    "container",
                    "Container",
                    WORDS["sparkling_bottle"],
                    "text",
                    choices=tuple(_CONTAINERS),
                    sent=tuple(_CONTAINERS.values()),
                    hint="Where you do not know: bottle of no stated kind.",
                ),
                Entry(
                    "hurdles",
                    "What holds the yeast",
                    "pasteurised",
                    "text",
                    choices=_HURDLES,
                    sent=_HURDLES_SENT,
                    hint="Empty: nothing does; then there is no number but a reason not to close it.",
                ),
                Entry(
                    "finished",
                    "Gravity stood still for days?",
                    None,
                    "yes_no",
                    choices=("yes", "no"),
                    hint="yes only if two equal gravities days apart showed it. Empty: nobody looked.",
                ),
                Entry("free", "Free SO2 in it", None, "quantity", ("mg/L",), most=300.0, hint=_HURDLE_NEEDS),
                Entry("sorbic", "Sorbic acid in it", None, "quantity", ("mg/L",), most=400.0, hint=_HURDLE_NEEDS),
                Entry(
                    "warmest",
                    "The warmest it will see",
                    units.pick(30.0, 86.0),
                    "quantity",
                    units.temperatures,
                    most=140.0,
                ),
                Entry(
                    "rated",
                    "Rated pressure",
                    None,
                    "quantity",
                    units.pressures,
                    most=500.0,
                    hint="As its maker states it.",
                ),
                Entry(
                    "ph",
                    "pH",
                    3.4,
                    "number",
                    ("pH",),
                    least=2.0,
                    most=5.0,
                    hint=_HURDLE_NEEDS,
                    shown="0.00",
                ),
                Entry(
                    "headspace",
                    "Headspace",
                    None,
                    "number",
                    ("% of drink",),
                    most=200.0,
                    hint="Of the volume of the drink. Empty: 4.",
                ),
                Entry("pressure_unit", "Answer in", units.pressures[0], "text", choices=("bar", "psi")),
            ),
            (
                Ask(
                    "pressure-if-refermented",
                    "Pressure if all of it ferments",
                    (
                        ("sugar_g_per_l", "sugar"),
                        ("abv_percent", "abv"),
                        ("container", "container"),
                        ("unit", "pressure_unit"),
                    ),
                    (
                        ("total_sugar_g_per_l", "all_sugar"),
                        ("hurdles", "hurdles"),
                        ("fermentation_finished", "finished"),
                        ("free", "free"),
                        ("sorbic", "sorbic"),
                        ("temperature", "warmest"),
                        ("rated_pressure", "rated"),
                        ("headspace_percent", "headspace"),
                        ("ph", "ph"),
                    ),
                    shown="0.0",
                ),
            ),
        ),
        Block(
            "What does the gauge of a keg have to show?",
            (
                Entry("volumes", "Carbon dioxide wanted", 2.2, "number", ("volumes",), least=0.1, most=10.0),
                Entry(
                    "keg_at",
                    "Temperature of the keg",
                    units.pick(4.0, 38.0),
                    "quantity",
                    units.temperatures,
                    most=110.0,
                ),
                Entry(
                    "keg_rated",
                    "Rated pressure of the keg",
                    None,
                    "quantity",
                    units.pressures,
                    most=500.0,
                    hint="Stamped on it. Empty: 9 bar, as usual.",
                ),
                Entry("keg_unit", "Answer in", units.pressures[0], "text", choices=("bar", "psi")),
            ),
            (
                Ask(
                    "keg-pressure",
                    "On the gauge",
                    (
                        ("volumes", "volumes"),
                        ("temperature", "keg_at"),
                        ("abv_percent", "abv"),
                        ("sugar_g_per_l", "all_sugar"),
                        ("unit", "keg_unit"),
                    ),
                    (("rated_pressure", "keg_rated"),),
                    shown="0.00",
                ),
            ),
            lines=6,
        ),
        Block(
            "How long does it pasteurise? (container, its rating and headspace as told above)",
            (
                Entry(
                    "heat",
                    "Temperature of the coldest spot",
                    units.pick(65.0, 149.0),
                    "quantity",
                    units.temperatures,
                    most=190.0,
                ),
                Entry(
                    "pu",
                    "Pasteurising units wanted",
                    60.0,
                    "number",
                    ("PU",),
                    most=10_000.0,
                    hint="Minutes at 60 °C that it is worth.",
                ),
                Entry(
                    "filled_at",
                    "Closed at",
                    None,
                    "quantity",
                    units.temperatures,
                    most=190.0,
                    hint="From there it swells. Empty: 4 °C, which asks for most room.",
                ),
                Entry(
                    "gas",
                    "Carbon dioxide in it",
                    None,
                    "number",
                    ("g/L",),
                    most=20.0,
                    hint="Empty: 1, of a still drink.",
                ),
            ),
            (
                Ask(
                    "pasteurising-minutes",
                    "Minutes at that temperature",
                    (("temperature", "heat"),),
                    (
                        ("target_units", "pu"),
                        ("abv_percent", "abv"),
                        ("sugar_g_per_l", "all_sugar"),
                        ("filled_at", "filled_at"),
                        ("co2_g_per_l", "gas"),
                        ("container", "container"),
                        ("headspace_percent", "headspace"),
                        ("rated_pressure", "rated"),
                    ),
                    shown="0.0",
                ),
            ),
            lines=6,
        ),
        *_label(units, fill),
    )


def _label(units: Units, fill: float) -> tuple[Block, ...]:
    return (
        Block(
            "Energy of a serving",
            (
                Entry("serving", "Serving", fill, "quantity", units.fills, most=1e5),
                Entry(
                    "factors",
                    "Factors of",
                    units.pick("European Union", "United States"),
                    "text",
                    choices=("European Union", "United States"),
                    sent=("eu", "us"),
                    hint="Whose rules for labels.",
                ),
            ),
            (
                Ask(
                    "energy-per-serving",
                    "Energy",
                    (("abv_percent", "abv"), ("sugar_g_per_l", "all_sugar"), ("serving", "serving")),
                    (("titratable_acidity", "acidity"), ("factors", "factors")),
                    shown="0",
                ),
            ),
            lines=4,
        ),
        Block(
            "Standard drinks in a container",
            (
                Entry("bottle", "Container holds", units.pick(750.0, 25.4), "quantity", units.fills, most=1e5),
                Entry(
                    "size",
                    "Drink after the rule of",
                    units.pick("WHO", "United States"),
                    "text",
                    choices=("United States", "United Kingdom", "Australia", "WHO"),
                    sent=("us", "uk", "au", "who"),
                    hint="WHO: that of the questionnaire of the World Health Organization, 10 g of alcohol.",
                ),
            ),
            (
                Ask(
                    "drinks-per-container",
                    "Standard drinks",
                    (("abv_percent", "abv"), ("container", "bottle"), ("size", "size")),
                    shown="0.00",
                ),
            ),
            lines=4,
        ),
        Block(
            "Percent juice that one ingredient brings",
            (
                Entry("juice", "Juice or concentrate", "cherry_tart_juice_concentrate_68", "ingredient"),
                Entry(
                    "juice_amount",
                    "Amount in the whole drink",
                    units.pick(1.0, 2.0),
                    "quantity",
                    units.pick(("kg", "g", "L", "mL", "lb", "oz wt"), ("lb", "oz wt", "kg", "g", "L", "mL")),
                    most=1e6,
                ),
                Entry("juice_brix", "Its Brix, if measured", None, "number", ("°Bx",), most=95.0),
            ),
            (
                Ask(
                    "juice-percent",
                    "Juice",
                    (("ingredient", "juice"), ("amount", "juice_amount"), ("volume", "volume")),
                    (("brix", "juice_brix"),),
                    shown="0.0",
                ),
            ),
            lines=3,
        ),
    )
