// An invented batch to try the page with.

/** @param {"metric" | "us"} units */
export const demoBatch = (units) => (units === "us" ? US : METRIC);

const METRIC = {
  batch: "orchard 9 (invented)",
  units: "metric",
  lots: [{ name: "dry base", volume: "24 L", gravity: 0.998, abv_percent: 8.1, titratable_acidity: "4.6 g/L tartaric", ph: 3.42, class: "mead", degassed: true }],
  additions: [
    { ingredient: "honey_acacia", min: "400 g", max: "3 kg" },
    { ingredient: "cherry_tart_juice_concentrate_68", min: "500 g", max: "4 kg" },
    { ingredient: "lemon_juice_fresh", max: "1.2 L", treatment: "pasteurised", measured: { brix: 8.2, titratable_acidity: "55 g/L citric" } },
    { ingredient: "orange_juice_concentrate_frozen", max: "2 kg" },
    { ingredient: "water_deionised", max: "4 L" },
  ],
  targets: {
    gravity: 1.012,
    abv_percent: { min: 6.2, max: 7.2 },
    titratable_acidity: { value: "7 g/L tartaric", tolerance: "0.3 g/L tartaric" },
    volume: { max: "30 L" },
  },
  prefer: [{ maximise: "citrus_percent" }],
  rounding: "scale",
  instruments: { scale: { step: "5 g" } },
  intended: { container: "bottle", storage_temperature: "18 C", hurdles: ["sulfite", "sorbate"], vessel: "33 L" },
};

const US = {
  batch: "orchard 9 (invented)",
  units: "us",
  lots: [{ name: "dry base", volume: "5 gal", gravity: 0.998, abv_percent: 8.1, titratable_acidity: "0.46 % tartaric", ph: 3.42, class: "mead", degassed: true }],
  additions: [
    { ingredient: "honey_acacia", min: "1 lb", max: "6 lb" },
    { ingredient: "cherry_tart_juice_concentrate_68", min: "1 lb", max: "8 lb" },
    { ingredient: "lemon_juice_fresh", max: "1 qt", treatment: "pasteurised", measured: { brix: 8.2, titratable_acidity: "5.5 % citric" } },
    { ingredient: "orange_juice_concentrate_frozen", max: "48 fl oz" },
    { ingredient: "water_deionised", max: "1 gal" },
  ],
  targets: {
    gravity: 1.012,
    abv_percent: { min: 6.2, max: 7.2 },
    titratable_acidity: { value: "0.7 % tartaric", tolerance: "0.03 % tartaric" },
    volume: { max: "6.5 gal" },
  },
  prefer: [{ maximise: "citrus_percent" }],
  rounding: "kitchen",
  instruments: { scale: { step: "0.1 oz" } },
  intended: { container: "bottle", storage_temperature: "65 F", hurdles: ["sulfite", "sorbate"], vessel: "7 gal" },
};
