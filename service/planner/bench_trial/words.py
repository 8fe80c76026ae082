"""What is said about a bench trial: cautions of glass and colour, steps, and one sentence for the whole."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from service.planner.answers import PRACTICE, Amount, Caution, Predicted
from service.planner.bench_trial.answers import Colour, Outcome
from service.planner.bench_trial.asked import BenchAsked
from service.planner.bench_trial.colour import is_hazy
from service.planner.bench_trial.glass import Glass
from service.planner.bench_trial.graduation import volume_in_words
from service.planner.plain_words import in_plain_words
from service.planner.work import WorkStep
from service.quantities import System, volume_text

_FADING: tuple[str, ...] = ("dye_stability", "natural_yellow", "photostability")
"""Keys of the bibliography behind what is said about natural and other colours that fade."""

COLOUR_SOURCES = (*_FADING, "eu_231_2012", "eu_1333_2008", "adi_of_dyes", "cfr21_74_705", "cfr21_74_101")


def bench_cautions(asked: BenchAsked, glass: Glass, colours: Sequence[Colour], plain: Predicted) -> Iterator[Caution]:
    """What to heed besides the cautions of the blend itself."""
    yield Caution(
        "taste_the_batch_again",
        "note",
        "A glass is a small sample: dose most of the amount, stir, taste beside the glass, then add the rest.",
        PRACTICE,
    )
    vessel, system = asked.circumstances.intended.vessel_l, asked.circumstances.system
    if vessel is not None and plain.volume.value > vessel * (1.0 + 1e-3):
        yield Caution(
            "stocks_overflow_the_vessel",
            "warning",
            f"Plain scaling of the stocks makes {_litres(plain.volume.value, system)} and the vessel holds "
            f"{_litres(vessel, system)}.",
            "arithmetic",
        )
    hazy = is_hazy(asked, glass)
    if hazy:
        yield Caution(
            "haze_scatters_light",
            "note",
            "Haze scatters light, so that no absorbance is told: match by eye, in the same glass and depth of drink.",
            PRACTICE,
        )
    if colours:
        yield from _colour_cautions(glass, colours, hazy=hazy)


def _colour_cautions(glass: Glass, colours: Sequence[Colour], *, hazy: bool) -> Iterator[Caution]:
    if not hazy:
        yield Caution(
            "absorbance_of_the_dye_alone",
            "note",
            "Absorbances are those of the dyes alone; the drink's own colour and any haze come on top. Match by eye, "
            "in the same glass and depth.",
            "eu_231_2012",
        )
    yield Caution(
        "colour_last",
        "note",
        "Colour after fining and before packaging, since fining takes colour too; look again after a day.",
        PRACTICE,
    )
    known = {s.asked.dye.dye.id for s in glass.stocks if s.asked.dye is not None and s.asked.dye.dye is not None}
    if any(s.asked.dye is not None and s.asked.dye.dye is None for s in glass.stocks):
        yield Caution(
            "natural_colours_fade",
            "note",
            "Natural colours fade in light; some fall out below pH 4 (carmine below 3.5), and free sulfite bleaches "
            "berry colours. Try a bottle first.",
            "photostability",
        )
    if "tartrazine" in known:
        yield Caution(
            "tartrazine_is_declared",
            "warning",
            "Some people react to tartrazine: the label has to name it (United States: FD&C Yellow No. 5). Tell "
            "whoever drinks it.",
            "cfr21_74_705",
        )
    if known:
        yield Caution(
            "colour_rules",
            "note",
            "Food-grade certified dye only. Whether a drink may be coloured at all depends on its legal class and "
            "country; daily intakes are from memory. Check local law.",
            "adi_of_dyes",
        )
    if any(limit.exceeded for colour in colours for limit in colour.limits):
        yield Caution(
            "colour_above_remembered_limit",
            "warning",
            "More dye than the European limit as remembered here: check the current text, and colour less.",
            "eu_1333_2008",
        )


_VESSEL_ML = 10.0


def _litres(volume_l: float, system: System) -> str:
    """A volume of drink in the caller's system, to a hundredth of a litre."""
    return volume_text(1000.0 * volume_l, system, _VESSEL_ML)


def summary_of(
    outcome: Outcome, glass: Glass, glass_predicted: Predicted, batch: Predicted, system: System = "metric"
) -> str:
    """The intended result in one sentence."""
    litres = _litres(batch.volume.value, system)
    if outcome == "nothing_to_add":
        return "Nothing was dosed, so that nothing is to be added: the batch is the glass already."
    if outcome == "composition_matched":
        water = ", the stocks' water included" if glass.water_g > 0.0 else ""
        return f"{litres} of batch with the composition of the glass{water}: a litre of either holds the same."
    if outcome == "matched_but_for_stock_water":
        return (
            f"A litre of the finished {litres} holds of every ingredient what a litre of the glass was dosed with; the "
            "water of the stocks is left out, so that the batch has "
            f"{batch.abv_percent.value:.2f} % vol where the glass had {glass_predicted.abv_percent.value:.2f}."
        )
    named = "sweetness, acidity, juice and strength"
    if outcome == "properties_matched":
        return f"{litres} of batch with the {named} of the glass, from other ingredients."
    return (
        f"{litres} of batch as near to the {named} of the glass as these ingredients come, counted in noticeable "
        "steps; see differences."
    )


def steps_of(asked: BenchAsked, amounts: Sequence[Amount], colours: Sequence[Colour]) -> tuple[WorkStep, ...]:
    """What to do, in order."""
    added = [a for a in amounts if a.kind == "addition" and a.mass_g > 0.0]
    dyes = {c.stock for c in colours}
    steps = []
    if added:
        steps.append(
            WorkStep(
                "Degas the batch, and keep the glass, covered, for comparison.",
                "",
                0.0,
                "No more bubbles rise.",
                PRACTICE,
            )
        )
    for amount in (a for a in added if a.name not in dyes):
        how = "Dissolve" if _is_dry(asked, amount.name) else "Stir in"
        steps.append(
            WorkStep(
                f"{how} {in_plain_words(amount.name)}, nine tenths of it first, in some of the batch drawn off for it.",
                amount.amount_text,
                0.0,
                "Nothing lies on the bottom.",
                PRACTICE,
            )
        )
    if any(a.name not in dyes for a in added):
        steps.append(
            WorkStep(
                "Taste beside the glass at the same temperature; then add the rest, or as much of it as is wanted.",
                "",
                0.0,
                "Acidity and gravity are as predicted.",
                PRACTICE,
            )
        )
    for colour in colours:
        steps.append(
            WorkStep(
                f"After fining, before packaging, stir in {colour.stock}, nine tenths of it first.",
                volume_in_words(colour.batch_ml, asked.circumstances.system),
                0.0,
                "By eye as the glass, in the same glass and depth; again after a day.",
                PRACTICE,
            )
        )
    return tuple(steps)


def _is_dry(asked: BenchAsked, name: str) -> bool:
    everything = [
        *asked.additions,
        *(s.addition for s in asked.stocks if s.addition is not None),
    ]
    return any(a.ingredient.id == name and a.ingredient.bulk_solid for a in everything)
