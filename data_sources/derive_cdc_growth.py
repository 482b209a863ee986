"""Derive data_sources/cdc_2000_growth.csv: stature and body mass by age, L M S.

Run: python -m data_sources.derive_cdc_growth FOLDER

FOLDER holds cdc_2000_lms.csv, the CDC 2000 growth reference (Kuczmarski et al.,
CDC growth charts: United States, Advance Data 314, 2000; public domain; citation
from memory) with the columns measure, sex, age_years, L, M, S.
"""

import sys
from pathlib import Path

import pandas as pd

MEASURES = {"stature": "stature_cm", "body_mass": "body_mass_kg"}


def main(folder: str) -> None:
    table = pd.read_csv(Path(folder) / "cdc_2000_lms.csv")
    table = table[table["measure"].isin(MEASURES)]
    table["measure"] = table["measure"].map(MEASURES)
    out = Path(__file__).with_name("cdc_2000_growth.csv")
    table.to_csv(out, index=False, lineterminator="\n")


if __name__ == "__main__":
    main(sys.argv[1])
