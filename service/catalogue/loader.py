"""Reads the tables of the catalogue, checks every row, and keeps them for the life of the process."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from service.catalogue.records import (
    Category,
    FruitFamily,
    Ingredient,
    JuiceBasis,
    JuiceStandard,
    Minerals,
    Provenance,
    Source,
    Spread,
)
from service.physics.solutes import Component

_TABLES = ("ingredients.csv", "sources.csv", "juice_standards.csv", "juice_yield.csv", "fining_agents.csv")

CLOSURE_TOLERANCE_G = 0.005
"""The components of every row add up to 100 g within this."""

TABLE_COMPONENTS = (
    Component.WATER,
    Component.SUCROSE,
    Component.GLUCOSE,
    Component.FRUCTOSE,
    Component.DISACCHARIDES,
    Component.HIGHER_SUGARS,
    Component.POLYOLS,
    Component.CITRIC,
    Component.MALIC,
    Component.TARTARIC,
    Component.LACTIC,
    Component.QUINIC,
    Component.GLUCONIC,
    Component.ETHANOL,
    Component.PROTEIN,
    Component.FAT,
    Component.ASH,
    Component.PECTIN,
    Component.OTHER_SOLIDS,
)
"""The components that have a column `<component>_g_per_100g` in the ingredient table."""


def _none_from_blank(cell: object) -> object:
    return None if cell == "" else cell


def _keys_from_cell(cell: object) -> object:
    return tuple(key for key in cell.split(";") if key) if isinstance(cell, str) else cell


_Number = Annotated[Annotated[float, Field(allow_inf_nan=False)] | None, BeforeValidator(_none_from_blank)]
_Text = Annotated[str | None, BeforeValidator(_none_from_blank)]
_Mass = Annotated[float, Field(ge=0.0, le=100.0, allow_inf_nan=False)]
_Keys = Annotated[tuple[str, ...], BeforeValidator(_keys_from_cell)]


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _IngredientRow(_Row):
    id: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    name: Annotated[str, Field(min_length=1)]
    category: Category
    usda_ndb: _Text
    water_g_per_100g: _Mass
    sucrose_g_per_100g: _Mass
    glucose_g_per_100g: _Mass
    fructose_g_per_100g: _Mass
    maltose_and_other_disaccharides_g_per_100g: _Mass
    other_sugars_g_per_100g: _Mass
    polyols_g_per_100g: _Mass
    citric_acid_g_per_100g: _Mass
    malic_acid_g_per_100g: _Mass
    tartaric_acid_g_per_100g: _Mass
    lactic_acid_g_per_100g: _Mass
    quinic_acid_g_per_100g: _Mass
    other_acids_as_gluconic_g_per_100g: _Mass
    ethanol_g_per_100g: _Mass
    protein_g_per_100g: _Mass
    fat_g_per_100g: _Mass
    ash_g_per_100g: _Mass
    pectin_g_per_100g: _Mass
    other_solids_g_per_100g: _Mass
    ta_typical_g_citric_per_100g: _Number
    ta_low_g_citric_per_100g: _Number
    ta_high_g_citric_per_100g: _Number
    ta_sd_g_citric_per_100g: _Number
    ph_typical: _Number
    ph_low: _Number
    ph_high: _Number
    brix_typical: _Number
    brix_low: _Number
    brix_high: _Number
    brix_sd: _Number
    potassium_mg_per_100g: _Number
    sodium_mg_per_100g: _Number
    calcium_mg_per_100g: _Number
    magnesium_mg_per_100g: _Number
    phosphorus_mg_per_100g: _Number
    vitamin_c_mg_per_100g: _Number
    energy_kcal_per_100g: _Number
    yan_mg_n_per_kg: _Number
    sid_minerals_meq_per_kg: _Number
    juice_standard: _Text
    juice_basis: JuiceBasis
    juice_share_percent: _Mass
    juice_share_mark: str
    fruit_family: FruitFamily
    acid_profile: _Text
    ph_sample_mass_fraction: _Number
    alkalinity_meq_per_l: _Number
    alkalinity_low_meq_per_l: _Number
    alkalinity_high_meq_per_l: _Number
    alkalinity_mark: str
    co2_released_g_per_g: _Number
    bulk_solid: bool
    composition_source: _Keys
    composition_mark: str
    acid_source: _Keys
    acid_mark: str
    ph_source: _Keys
    ph_mark: str
    range_source: _Keys
    range_mark: str
    mineral_source: _Keys
    mineral_mark: str
    energy_source: _Keys
    yan_mark: str
    notes: str

    def record(self) -> Ingredient:
        masses = {component: float(getattr(self, f"{component.value}_g_per_100g")) for component in TABLE_COMPONENTS}
        provenance = {
            "composition": Provenance(self.composition_source, self.composition_mark),
            "acid": Provenance(self.acid_source, self.acid_mark),
            "ph": Provenance(self.ph_source, self.ph_mark),
            "range": Provenance(self.range_source, self.range_mark),
            "mineral": Provenance(self.mineral_source, self.mineral_mark),
            "energy": Provenance(self.energy_source, ""),
            "yan": Provenance((), self.yan_mark),
            "juice_share": Provenance((), self.juice_share_mark),
            "alkalinity": Provenance((), self.alkalinity_mark),
        }
        return Ingredient(
            id=self.id,
            name=self.name,
            category=self.category,
            composition=MappingProxyType({c: m for c, m in masses.items() if m > 0.0}),
            ta_g_citric_per_100g=_spread(
                self.ta_typical_g_citric_per_100g,
                self.ta_low_g_citric_per_100g,
                self.ta_high_g_citric_per_100g,
                self.ta_sd_g_citric_per_100g,
            ),
            ph=_spread(self.ph_typical, self.ph_low, self.ph_high, None),
            brix=_spread(self.brix_typical, self.brix_low, self.brix_high, self.brix_sd),
            minerals=Minerals(
                potassium_mg_per_100g=self.potassium_mg_per_100g,
                sodium_mg_per_100g=self.sodium_mg_per_100g,
                calcium_mg_per_100g=self.calcium_mg_per_100g,
                magnesium_mg_per_100g=self.magnesium_mg_per_100g,
                phosphorus_mg_per_100g=self.phosphorus_mg_per_100g,
                vitamin_c_mg_per_100g=self.vitamin_c_mg_per_100g,
                yan_mg_n_per_kg=self.yan_mg_n_per_kg,
                sid_minerals_meq_per_kg=self.sid_minerals_meq_per_kg,
            ),
            energy_kcal_per_100g=self.energy_kcal_per_100g,
            juice_standard=self.juice_standard,
            juice_basis=self.juice_basis,
            juice_share_percent=self.juice_share_percent,
            fruit_family=self.fruit_family,
            acid_profile=self.acid_profile,
            ph_sample_mass_fraction=self.ph_sample_mass_fraction,
            alkalinity_meq_per_l=_spread(
                self.alkalinity_meq_per_l, self.alkalinity_low_meq_per_l, self.alkalinity_high_meq_per_l, None
            ),
            co2_released_g_per_g=self.co2_released_g_per_g or 0.0,
            bulk_solid=self.bulk_solid,
            usda_ndb=self.usda_ndb,
            provenance=MappingProxyType({group: p for group, p in provenance.items() if p.sources or p.mark}),
            notes=self.notes,
        )


class _SourceRow(_Row):
    key: Annotated[str, Field(min_length=1)]
    title: str
    authors_or_body: str
    year: Annotated[int | None, BeforeValidator(_none_from_blank)]
    identifier: str
    locator: str
    official_url: str
    kind: str
    mark: str
    note: str

    def record(self) -> Source:
        return Source(**self.model_dump())


class _JuiceStandardRow(_Row):
    fruit: Annotated[str, Field(min_length=1)]
    us_21cfr101_30_h1_min_brix_published: _Number
    us_21cfr101_30_h1_min_citric_acid_pct_ww_published: _Number
    us_19cfr151_91_average_brix_published: _Number
    eu_2001_112_annex_v_current_min_brix_published: _Number
    eu_2001_112_annex_v_2009_min_brix_published: _Number
    codex_247_2005_min_brix_memory: _Number
    note: str

    def record(self) -> JuiceStandard:
        return JuiceStandard(
            fruit=self.fruit,
            us_min_brix=self.us_21cfr101_30_h1_min_brix_published,
            us_min_citric_percent=self.us_21cfr101_30_h1_min_citric_acid_pct_ww_published,
            us_customs_average_brix=self.us_19cfr151_91_average_brix_published,
            eu_min_brix=self.eu_2001_112_annex_v_current_min_brix_published,
            eu_2009_min_brix=self.eu_2001_112_annex_v_2009_min_brix_published,
            codex_min_brix=self.codex_247_2005_min_brix_memory,
            note=self.note,
        )


def _spread(typical: float | None, low: float | None, high: float | None, sd: float | None) -> Spread | None:
    return None if typical is None else Spread(typical, low, high, sd)


def _table_bytes(name: str) -> bytes:
    return files("service.catalogue").joinpath("tables", name).read_bytes()


def _rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(_table_bytes(name).decode("utf-8")), strict=True))


@cache
def sources() -> Mapping[str, Source]:
    """Every source that an ingredient row cites, by key.

    >>> sources()["oiml_r22"].title
    'International alcoholometric tables'
    """
    records = [_SourceRow.model_validate(row).record() for row in _rows("sources.csv")]
    by_key = {record.key: record for record in records}
    assert len(by_key) == len(records), "a source key stands twice in sources.csv"
    return MappingProxyType(by_key)


@cache
def juice_standards() -> Mapping[str, JuiceStandard]:
    """Single-strength standards by fruit.

    >>> juice_standards()["Orange"].us_min_brix  # 21 CFR 101.30(h)(1)
    11.8
    """
    records = [_JuiceStandardRow.model_validate(row).record() for row in _rows("juice_standards.csv")]
    by_fruit = {record.fruit: record for record in records}
    assert len(by_fruit) == len(records), "a fruit stands twice in juice_standards.csv"
    return MappingProxyType(by_fruit)


@cache
def ingredients() -> Mapping[str, Ingredient]:
    """The whole catalogue by ingredient id, in the order of the table.

    Raises: AssertionError where a row does not close to 100 g, or cites a source or juice standard that is not
    there; pydantic.ValidationError where a cell is malformed. Both are defects of the table, not of a request.

    >>> ingredients()["honey_average"].grams(Component.WATER)  # White et al. (1962), n = 490
    17.2
    """
    known, standards = sources(), juice_standards()
    by_id: dict[str, Ingredient] = {}
    for row in _rows("ingredients.csv"):
        record = _IngredientRow.model_validate(row).record()
        assert record.id not in by_id, f"the id {record.id} stands twice"
        total = sum(record.composition.values())
        assert abs(total - 100.0) <= CLOSURE_TOLERANCE_G + 1e-9, f"{record.id} adds up to {total:.4f} g"
        cited = {key for p in record.provenance.values() for key in p.sources}
        assert cited <= known.keys(), f"{record.id} cites {sorted(cited - known.keys())}, which sources.csv lacks"
        assert record.juice_standard is None or record.juice_standard in standards, f"{record.id}: no such standard"
        by_id[record.id] = record
    return MappingProxyType(by_id)


@cache
def data_version() -> str:
    """Short SHA-256 of the bytes of these tables: two answers with the same version used the same facts.

    >>> len(data_version())
    12
    """
    digest = hashlib.sha256()
    for name in _TABLES:
        content = _table_bytes(name)
        digest.update(f"{name}:{len(content)}:".encode())
        digest.update(content)
    return digest.hexdigest()[:12]
