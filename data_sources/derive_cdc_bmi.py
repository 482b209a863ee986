"""Derive data_sources/cdc_2000_bmi.csv: body mass index by age, L M S.

Run: python -m data_sources.derive_cdc_bmi FOLDER

FOLDER holds cdc_2000_lms.csv, the CDC 2000 growth reference (Kuczmarski et al.,
CDC growth charts: United States, Advance Data 314, 2000; public domain; citation
from memory) with the columns measure, sex, age_years, L, M, S.
"""

import sys
from pathlib import Path

import pandas as pd


def main(folder: str) -> None:
    table = pd.read_csv(Path(folder) / "cdc_2000_lms.csv")
    bmi = table[table["measure"] == "bmi"].drop(columns="measure")
    out = Path(__file__).with_name("cdc_2000_bmi.csv")
    bmi.to_csv(out, index=False, lineterminator="\n")


if __name__ == "__main__":
    main(sys.argv[1])
