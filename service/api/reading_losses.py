"""Reads losses: shares, a jar test, volumes."""

from __future__ import annotations

import re
from typing import Final

from service.api.reading import VOLUME, Reader
from service.api.requests_losses import JarTestIn, LossesIn
from service.errors import InconsistentError, InputError, OutOfRangeError, QuantityError, ServiceError
from service.model.lot_class import Assumed
from service.planner.losses import Losses
from service.planner.span import Span
from service.quantities import parse_percent

ESTIMATE: Final = "estimate"

_MOST_SHARE: Final = 0.9
_MOST_L: Final = 1e8
_MM: Final = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4}
_NUMBER: Final = r"(\d+(?:\.\d+)?|\d+\s+\d+/\d+|\d+/\d+)"
_LENGTH: Final = re.compile(rf"\s*{_NUMBER}\s*(mm|cm|m|inches|inch|in)\s*", re.ASCII)
_HEIGHT_SD_MM: Final = 1.5
_READ_SHARE: Final = 0.02

_USUAL: Final = {
    "lees": (
        "3 to 6 % of a light ferment on its yeast (from memory, unverified)",
        "measure what stays behind",
    ),
    "racking": ("1 to 2 % of a transfer (common practice, no source)", "measure what stays behind"),
    "settling": (
        "up to a fifth of a pulpy citrus blend (common practice, no source)",
        "stand 1 L of the blend cold for 48 to 72 h in a straight jar",
    ),
    "dead_volume": ("0.2 to 0.5 L (common practice, no source)", "run water through and measure it"),
    "samples": ("what you draw", "note what you draw"),
}


def losses_from(given: LossesIn, reader: Reader) -> Losses:
    """Losses as the planner takes them.

    Parameters: given, with lees where a base is looked for; reader, which gathers the faults with pointers below the
        losses: call it in `reader.attempt("/losses", …)`, or let the faults be prefixed by the place of the losses.
    Returns: Losses; what was left out counts as nothing and stands in `assumed`, as does a settled layer that was only
        stated. With settling "estimate" its `estimate` is set and the layer still to be reckoned.
    Raises: ServiceError with the first thing to change.
    """
    settling, measured = _settling(given)
    known = [name for name in _USUAL if name in type(given).model_fields]
    shares = {name: _share(getattr(given, name, None), f"/{name}") for name in ("lees", "racking")}
    volumes = {name: _litres(getattr(given, name), f"/{name}", reader) for name in ("dead_volume", "samples")}
    estimate = given.settling is not None and given.settling.strip().lower() == ESTIMATE
    told = {name: getattr(given, name) is not None for name in known}
    told["settling"] = told["settling"] or given.jar_test is not None
    if not any(told.values()):
        raise InputError(f"Say what is lost: {', '.join(known)} or jar_test, at least one of them.")
    assumed = [
        Assumed(f"losses: {name}", "none", f"not given; usual is {usual}", how)
        for name, (usual, how) in _USUAL.items()
        if name in told and not told[name]
    ]
    if settling is not None and not measured:
        value = f"{100.0 * settling.value:.4g} %"
        source = "as stated by the caller; its error is not known and not counted"
        assumed.append(Assumed("losses: settling", value, source, _USUAL["settling"][1]))
    return Losses(
        shares["lees"],
        shares["racking"],
        settling,
        volumes["dead_volume"],
        volumes["samples"],
        tuple(assumed),
        measured,
        estimate,
    )


def _share(text: str | None, pointer: str) -> float:
    if text is None:
        return 0.0
    share = parse_percent(text, pointer=pointer) / 100.0
    if share > _MOST_SHARE:
        raise OutOfRangeError(f"“{text}” lost leaves hardly anything: a share from 0 to 90 % is meant.", pointer)
    return share


def _litres(text: str | None, pointer: str, reader: Reader) -> float:
    if text is None:
        return 0.0
    litres = reader.quantity(text, VOLUME, pointer, liquid=True).value_base / 1000.0
    if litres > _MOST_L:
        raise InputError("That is more than 100,000,000 L: check the unit.", pointer)
    return litres


def _settling(given: LossesIn) -> tuple[Span | None, bool]:
    """The settled layer as a share, and whether a jar test told it: a bare share is as the caller states it."""
    if given.jar_test is not None:
        if given.settling is not None:
            raise InputError("Give the settled layer as a share or by a jar test, not both.", "/settling")
        return _jar(given.jar_test), True
    if given.settling is None or given.settling.strip().lower() == ESTIMATE:
        return None, False
    try:
        share = _share(given.settling, "/settling")
    except QuantityError as error:
        text = f"{error.detail} Or write “{ESTIMATE}”, to reckon it from the citrus juice in the blend."
        raise QuantityError(text, error.pointer) from error
    return Span.exact(share), False


def _jar(given: JarTestIn) -> Span:
    """The layer over the whole, read to 1.5 mm at its upper edge, or to 2 % of the whole (judged)."""
    layer, kind = _height(given.layer, "/jar_test/layer")
    height, other = _height(given.height, "/jar_test/height")
    if kind != other:
        raise InputError(
            "Read layer and height alike: two lengths, two volumes, or two bare numbers.", "/jar_test/layer"
        )
    if layer >= height:
        raise InconsistentError("The layer is as high as all that is in the jar: were they exchanged?", "/jar_test")
    share = layer / height
    if share > _MOST_SHARE:
        raise OutOfRangeError(
            "The layer fills more than 90 % of the jar: let it settle longer, cold.", "/jar_test/layer"
        )
    sd = _HEIGHT_SD_MM / height if kind == "length" else _READ_SHARE
    read = Span.read(share, min(sd, _READ_SHARE))
    return Span(read.value, read.low, min(read.high, 0.5 * (1.0 + share)))


def _height(given: float | str, pointer: str) -> tuple[float, str]:
    """A height or a volume, and which of the two, or a bare number."""
    if not isinstance(given, str):
        return float(given), "number"
    found = _LENGTH.fullmatch(given)
    if found is not None:
        value, kind = _number(found.group(1), pointer) * _MM[found.group(2)], "length"
    else:
        try:
            value, kind = Reader().quantity(given, VOLUME, liquid=True).value_base, "volume"
        except ServiceError as error:
            raise QuantityError(
                f"“{given}”: write a height such as “35 mm” or “1.5 in”, or a volume such as “200 mL”.", pointer
            ) from error
    if value <= 0.0:
        raise InputError("A height or volume above zero is meant.", pointer)
    return value, kind


def _number(text: str, pointer: str) -> float:
    """A decimal number or a fraction of inches."""
    total = 0.0
    for part in text.split():
        top, _, bottom = part.partition("/")
        if bottom and float(bottom) == 0.0:
            raise QuantityError(f"“{text}”: a fraction has no zero below.", pointer)
        total += float(top) / float(bottom or 1.0)
    return total
