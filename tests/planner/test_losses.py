"""What is lost between the blend and the bottles: arithmetic, conservation, what settles out of juice."""

from __future__ import annotations

from dataclasses import replace
from math import hypot

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from service.api.reading import Reader
from service.api.reading_losses import losses_from
from service.api.requests_losses import JarTestIn, LossesIn, LossesOfTheBaseIn
from service.catalogue.lookup import get_ingredient
from service.errors import InconsistentError, InputError, OutOfRangeError, ServiceError
from service.planner.asked import AdditionAsked
from service.planner.losses import Losses, blended_l, loss_report, packaged_l, packaged_span
from service.planner.materials import Material, materials_of
from service.planner.pulp import jar_test_to_read, settled, settled_by_figures, settled_share
from service.planner.span import Span

SHARES = st.floats(0.0, 0.6)
VOLUMES = st.floats(0.0, 5.0)
LOSSES = st.builds(
    lambda lees, racking, layer, spread, dead, samples: Losses(
        lees, racking, Span(layer, layer * (1.0 - spread), min(layer * (1.0 + spread), 0.95)), dead, samples
    ),
    SHARES,
    SHARES,
    SHARES,
    st.floats(0.0, 0.9),
    VOLUMES,
    VOLUMES,
)


def read(**given: object) -> Losses:
    return losses_from(LossesOfTheBaseIn.model_validate(given), Reader())


def test_each_part_takes_its_share_of_what_is_left() -> None:
    # arithmetic: 30 L · 0.96 · 0.99 · 0.8 − 0.3 L − 0.2 L
    losses = Losses(0.04, 0.01, Span.exact(0.2), 0.3, 0.2)
    assert packaged_l(30.0, losses) == pytest.approx(22.3096)
    report = loss_report(Span.exact(30.0), losses)
    assert [(p.what, p.volume_l) for p in report.parts] == [
        ("lees", 1.2),
        ("racking", 0.288),
        ("settling", 5.7024),
        ("dead_volume", 0.3),
        ("samples", 0.2),
    ]
    assert report.lost_percent == pytest.approx(100.0 * (30.0 - 22.3096) / 30.0, abs=0.005)


@settings(max_examples=50)
@given(LOSSES, st.floats(0.1, 1e4))
def test_what_is_blended_is_what_is_packaged_and_every_part(losses: Losses, packaged: float) -> None:
    blended = blended_l(packaged, losses)
    report = loss_report(Span.exact(blended), losses)
    assert report.packaged_l + sum(part.volume_l for part in report.parts) == pytest.approx(blended, abs=4e-4)
    assert report.lost_l == pytest.approx(blended - packaged, abs=1e-3)


@settings(max_examples=50)
@given(LOSSES, st.floats(0.0, 1e4))
def test_there_and_back(losses: Losses, packaged: float) -> None:
    assert packaged_l(blended_l(packaged, losses), losses) == pytest.approx(packaged, rel=1e-12, abs=1e-9)


@settings(max_examples=50)
@given(LOSSES, st.floats(0.0, 1e3), st.floats(0.001, 10.0), st.floats(0.001, 0.3))
def test_more_to_fill_or_more_lost_takes_more(losses: Losses, packaged: float, more_l: float, more: float) -> None:
    needed = blended_l(packaged, losses)
    assert blended_l(packaged + more_l, losses) > needed
    assert blended_l(packaged, replace(losses, samples_l=losses.samples_l + more_l)) > needed
    worse = replace(losses, lees_share=losses.lees_share + more)
    assert blended_l(packaged, worse) >= needed
    assert blended_l(packaged + more_l, worse) > blended_l(packaged + more_l, losses)


@settings(max_examples=25)
@given(LOSSES, st.floats(50.0, 1e3), st.floats(0.0, 0.05))
def test_an_interval_holds_its_value_and_grows_with_both_doubts(losses: Losses, volume: float, share: float) -> None:
    blend = Span(volume, volume * (1.0 - share), volume * (1.0 + share))
    needed = blended_l(0.0, losses)
    if volume < needed:
        with pytest.raises(InconsistentError, match="take more than"):
            packaged_span(blend, losses)
        return
    left = packaged_span(blend, losses)
    sure = packaged_span(Span.exact(volume), losses)
    assert left.low <= sure.low <= left.value == sure.value <= sure.high <= left.high


def test_two_independent_doubts_add_as_squares() -> None:
    # arithmetic: 20 ± 1 L of which 20 ± 5 % settle: 16 L, doubts 0.8 L and 1 L
    left = packaged_span(Span(20.0, 19.0, 21.0), Losses(settling=Span(0.2, 0.15, 0.25)))
    assert (left.value, left.value - left.low) == pytest.approx((16.0, hypot(0.8, 1.0)))


def test_losses_of_more_than_there_is_are_refused() -> None:
    with pytest.raises(InconsistentError, match=r"take more than the 0\.4 L"):
        loss_report(Span.exact(0.4), Losses(dead_volume_l=0.5))
    with pytest.raises(OutOfRangeError, match="below 100 %"):
        Losses(lees_share=1.0)
    with pytest.raises(OutOfRangeError, match="below zero"):
        Losses(samples_l=-0.1)
    with pytest.raises(OutOfRangeError, match="volume from zero"):
        blended_l(-1.0, Losses())


def test_removing_drink_leaves_concentrations_as_they_are() -> None:
    # what is lost has the blend's own composition: mass over volume is the same before and after
    losses = Losses(0.04, 0.01, Span.exact(0.2), 0.3, 0.2)
    left = packaged_l(25.0, losses)
    sorbate_mg = 180.0 * 25.0
    assert sorbate_mg * (left / 25.0) / left == pytest.approx(180.0)


# A jar test and the other forms of a request.


@pytest.mark.parametrize(
    ("layer", "height", "share"),
    [
        ("35 mm", "180 mm", 35.0 / 180.0),
        ("3.5 cm", "180 mm", 35.0 / 180.0),
        ("1 3/8 in", "7 in", 1.375 / 7.0),
        ("200 mL", "1 L", 0.2),
        (35, 180.0, 35.0 / 180.0),
    ],
)
def test_a_jar_test_is_the_layer_over_the_height(layer: str | float, height: str | float, share: float) -> None:
    losses = read(jar_test={"layer": layer, "height": height})
    assert losses.measured
    assert losses.settling is not None
    assert losses.settling.value == pytest.approx(share)
    assert losses.settling.low < share < losses.settling.high


@pytest.mark.parametrize(
    ("given", "pointer", "words"),
    [
        ({}, "", "Say what is lost"),
        ({"lees": "4"}, "/lees", "not a percentage"),
        ({"racking": "95 %"}, "/racking", "0 to 90 %"),
        ({"settling": "a fifth"}, "/settling", "estimate"),
        ({"settling": "20 %", "jar_test": {"layer": 1, "height": 5}}, "/settling", "not both"),
        ({"jar_test": {"layer": 35, "height": "180 mm"}}, "/jar_test/layer", "alike"),
        ({"jar_test": {"layer": "35 mm", "height": "1 L"}}, "/jar_test/layer", "alike"),
        ({"jar_test": {"layer": "180 mm", "height": "35 mm"}}, "/jar_test", "exchanged"),
        ({"jar_test": {"layer": "95 mm", "height": "100 mm"}}, "/jar_test/layer", "settle longer"),
        ({"jar_test": {"layer": "0 mm", "height": "100 mm"}}, "/jar_test/layer", "above zero"),
        ({"jar_test": {"layer": "1/0 in", "height": "7 in"}}, "/jar_test/layer", "no zero below"),
        ({"jar_test": {"layer": "a finger", "height": "180 mm"}}, "/jar_test/layer", "35 mm"),
        ({"dead_volume": "300 g"}, "/dead_volume", "volume is needed"),
        ({"samples": "0.2"}, "/samples", "unit is missing"),
        ({"samples": "2000000 hL"}, "/samples", "check the unit"),
    ],
)
def test_what_cannot_be_read_is_refused_where_it_stands(given: dict[str, object], pointer: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as refused:
        read(**given)
    assert refused.value.pointer == pointer


def test_a_bare_share_is_as_stated_and_a_jar_test_is_a_measurement() -> None:
    stated, jar, guessed = read(settling="10 %"), read(jar_test={"layer": 18, "height": 180}), read(settling="estimate")
    assert [(one.measured, one.stated) for one in (stated, jar, guessed)] == [
        (False, True),
        (True, False),
        (False, False),
    ]
    assert stated.settling == Span.exact(0.1)
    (part,) = loss_report(Span.exact(20.0), stated).parts
    assert (part.low, part.high, part.source_id) == (2.0, 2.0, "as_stated")
    (part,) = loss_report(Span.exact(20.0), jar).parts
    assert part.low < part.high
    assert part.source_id == "reading"
    assert "losses: settling" in {a.what for a in stated.assumed}
    assert "losses: settling" not in {a.what for a in jar.assumed}


def test_a_blend_has_no_lees() -> None:
    losses = losses_from(LossesIn.model_validate({"racking": "1 %"}), Reader())
    assert "losses: lees" not in {a.what for a in losses.assumed}
    assert "losses: lees" in {a.what for a in read(racking="1 %").assumed}
    with pytest.raises(ValidationError):
        LossesIn.model_validate({"lees": "4 %"})


def test_what_is_left_out_counts_as_nothing_and_is_told() -> None:
    losses = read(lees="4 %", samples="200 mL")
    assert {a.what for a in losses.assumed} == {"losses: racking", "losses: settling", "losses: dead_volume"}
    assert {a.value for a in losses.assumed} == {"none"}
    assert (losses.kept_share, losses.volumes_l) == pytest.approx((0.96, 0.2))
    whole = read(lees="4 %", racking="1 %", settling="20 %", dead_volume="10 fl oz", samples="200 mL")
    assert [a.what for a in whole.assumed] == ["losses: settling"]
    assert whole.dead_volume_l == pytest.approx(0.2957353, abs=1e-6)  # NIST Handbook 44, App. C: 29.573530 mL/fl oz
    assert JarTestIn(layer=3, height=18).layer == 3


# What settles out of juice.


def blend(**grams: float) -> tuple[tuple[Material, ...], list[float]]:
    materials = materials_of((), [AdditionAsked(get_ingredient(name)) for name in grams])
    return materials, [grams[m.name] for m in materials]


def test_a_pulpy_blend_leaves_about_a_fifth() -> None:
    # common practice, no source: a pulpy citrus blend can leave about a fifth behind
    assert settled_share(0.8, 0.0).value == pytest.approx(0.2)
    pressed = settled_share(0.0, 0.45)
    assert pressed.low < 0.2 < pressed.high
    # 3 L of juice with 10 % of spun pulp: 0.6 to 0.9 L (computed from a bulk of 2 to 3); both ends lie within ours
    layer = settled_share(3.0 / 24.0, 0.0)
    assert 24.0 * layer.low < 0.6 < 24.0 * layer.value < 0.9 < 24.0 * layer.high


def test_the_layer_is_reckoned_from_the_juice_in_the_blend() -> None:
    materials, masses = blend(orange_juice_concentrate_frozen=1800.0, lemon_juice_fresh=500.0, water_deionised=18000.0)
    losses = settled(Losses(estimate=True), materials, masses)
    by_hand = dict.fromkeys(("concentrate", "pressed"), 0.0)
    volume = sum(m.per_g.volume_ml * g for m, g in zip(materials, masses, strict=True))
    for m, g in zip(materials, masses, strict=True):
        kind = "pressed" if m.name.endswith("fresh") else "concentrate"
        by_hand[kind] += m.per_g.tally("citrus_juice_ml") * g
    assert losses.settling is not None
    assert losses.settling.value == pytest.approx(
        2.5 * (0.1 * by_hand["concentrate"] + 0.175 * by_hand["pressed"]) / volume, rel=5e-3
    )
    assert losses.estimate
    assert not losses.measured
    assert [a.what for a in losses.assumed] == ["losses: settling"]
    (jar,) = jar_test_to_read(losses)
    assert jar.wait_min_h == 48.0
    assert jar.expect == pytest.approx(100.0 * losses.settling.value, abs=0.05)


def test_juice_of_other_fruit_is_not_counted_and_told() -> None:
    clear, masses = blend(apple_juice_bottled=5000.0, water_deionised=5000.0)
    losses = settled(Losses(estimate=True), clear, masses)
    assert losses.settling == Span.exact(0.0)
    assert "other fruit" in losses.assumed[0].source
    citrus = settled(Losses(estimate=True), *blend(lemon_juice_fresh=100.0, water_deionised=900.0))
    assert "other fruit" not in citrus.assumed[0].source


def test_of_a_drink_by_its_figures_both_kinds_of_juice_count() -> None:
    losses = settled_by_figures(Losses(estimate=True), 20.0, 25.0).settling
    assert losses is not None
    least, most = settled_share(0.2, 0.0), settled_share(0.0, 0.2)
    assert (losses.low, losses.high) == (least.low, most.high)
    assert least.value < losses.value < most.value


def test_no_estimate_where_none_was_asked_or_none_can_be_made() -> None:
    told = Losses(settling=Span.exact(0.1), measured=True)
    materials, masses = blend(lemon_juice_fresh=1000.0)
    assert settled(told, materials, masses) is told
    assert settled_by_figures(told, None, None) is told
    assert jar_test_to_read(told) == jar_test_to_read(Losses(estimate=True)) == ()
    with pytest.raises(OutOfRangeError, match="needs the citrus juice"):
        settled_by_figures(Losses(estimate=True), None, None)
    with pytest.raises(ServiceError, match="jar_test") as refused:
        settled(Losses(estimate=True), *blend(orange_juice_concentrate_frozen=1000.0))
    assert refused.value.pointer == "/losses/settling"


def test_the_text_tells_an_estimate_and_the_callers_units() -> None:
    losses = Losses(settling=Span(0.2, 0.1, 0.3), estimate=True)
    text = loss_report(Span.exact(18.92705892), losses, "us").text  # 5 US gal, NIST Handbook 44, Appendix C
    assert "5 gal" in text
    assert "estimate" in text
    assert "estimate" not in loss_report(Span.exact(20.0), replace(losses, estimate=False)).text


def test_what_rounding_lacks_is_no_loss_too_many() -> None:
    losses = Losses(settling=Span.exact(0.3112994416045059), dead_volume_l=1.15625, samples_l=0.28125)
    assert packaged_l(blended_l(0.0, losses), losses) == 0.0


def test_a_blend_without_citrus_has_a_layer_of_nothing_told_in_words() -> None:
    apple = settled(Losses(estimate=True), *blend(apple_juice_bottled=5000.0, water_deionised=5000.0))
    figures = settled_by_figures(Losses(estimate=True), 0.0, 25.0)
    neither = settled_by_figures(Losses(estimate=True), None, 0.0)
    for losses in (apple, figures, neither):
        assert losses.settling == Span.exact(0.0)
        report = loss_report(Span.exact(20.0), losses)
        (part,) = report.parts
        assert (part.what, part.share_percent, part.volume_l) == ("settling", 0.0, 0.0)
        assert part.text in report.text
        assert part.text in losses.assumed[0].source
        assert "no citrus juice" in part.text
        (jar,) = jar_test_to_read(losses)
        assert (jar.expect, jar.low, jar.high) == (None, None, None)
    with_some = settled_by_figures(Losses(estimate=True), 20.0, 25.0)
    assert "no citrus juice" not in loss_report(Span.exact(20.0), with_some).text
    assert loss_report(Span.exact(20.0), Losses(racking_share=0.0, settling=Span.exact(0.0))).parts == ()
