"""The sheet about containers: how many, what pressure, what heat, and what stands on the label."""

from __future__ import annotations

from typing import Final

from service.api.workbook.asked import ACIDITY_UNITS, Ask, Block, Entry, Units

__all__ = ["packaging_blocks"]

_HURDLES: Final = ("pasteurised", "sterile_filtered", "cold", "sulfite+sorbate", "sulfite", "sorbate")


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
            heed_rows=4,
        ),
        Block(
            "What pressure if it ferments again?",
            (
                Entry(
                    "container",
                    "Container",
                    "sparkling_bottle",
                    "text",
                    choices=("bottle", "sparkling_bottle", "can", "keg", "jar", "flask"),
                ),
                Entry(
                    "hurdles",
                    "What holds the yeast",
                    "pasteurised",
                    "words",
                    choices=_HURDLES,
                    hint="Empty: nothing does; then there is no number but a reason not to close it.",
                ),
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
                    hint="For sulfite and sorbate.",
                    shown="0.00",
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
                        ("temperature", "warmest"),
                        ("rated_pressure", "rated"),
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
                    shown="0.00",
                ),
            ),
            heed_rows=5,
        ),
        Block(
            "How long does it pasteurise?",
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
            ),
            (
                Ask(
                    "pasteurising-minutes",
                    "Minutes at that temperature",
                    (("temperature", "heat"),),
                    (("target_units", "pu"), ("abv_percent", "abv"), ("sugar_g_per_l", "all_sugar")),
                    shown="0.0",
                ),
            ),
            heed_rows=6,
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
                    "factors", "Factors", units.pick("eu", "us"), "text", choices=("eu", "us"), hint="Of the label law."
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
            heed_rows=4,
        ),
        Block(
            "Standard drinks in a container",
            (
                Entry("bottle", "Container holds", units.pick(750.0, 25.4), "quantity", units.fills, most=1e5),
                Entry(
                    "size",
                    "Drink after the rule of",
                    units.pick("who", "us"),
                    "text",
                    choices=("us", "uk", "au", "who"),
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
            heed_rows=4,
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
            heed_rows=3,
        ),
    )
