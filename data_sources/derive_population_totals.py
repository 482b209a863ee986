"""Derive data_sources/nhanes_2015_2016_totals.csv: how many people of each kind.

Run: python -m data_sources.derive_population_totals FOLDER [--check]

FOLDER holds nhanes_2015_2016/DEMO_I.XPT and BMX_I.XPT. With --check nothing is
written; the command fails if the file that ships differs. Only totals of ten
age bands by sex and ethnic group leave the survey.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.surveys import Survey, read_nhanes_files

OUT = Path(__file__).with_name("nhanes_2015_2016_totals.csv")
#: Each band holds at least 3 people of every kind among the embedded people and
#: in 2015-16; finer bands leave kinds without anybody.
AGES_FROM = (2, 6, 12, 20, 30, 40, 50, 60, 70, 80)
AGE_END = 121
SOURCE = "NHANES 2015-2016, DEMO_I and BMX_I, sums of WTMEC2YR over examined people"


def read(folder: Path) -> Survey:
    place = folder / "nhanes_2015_2016"
    return read_nhanes_files(place / "DEMO_I.XPT", place / "BMX_I.XPT")


def totals(survey: Survey) -> pd.DataFrame:
    """Return the population by age band, sex and ethnic group, one row per cell."""
    frame = survey.frame
    edges = [*AGES_FROM, AGE_END]
    band = np.searchsorted(AGES_FROM, frame["age_years"], side="right") - 1
    cells = pd.DataFrame(
        {
            "age_years_from": np.asarray(edges)[band],
            "age_years_below": np.asarray(edges)[band + 1],
            "sex": frame["sex"],
            "ethnic_group": frame["ethnic_group"],
            "weight": survey.weight,
        }
    )
    by = ["age_years_from", "age_years_below", "sex", "ethnic_group"]
    table = cells.groupby(by)["weight"].agg(total="sum", n="size").reset_index()
    table["total"] = table["total"].round().astype("int64")
    table["source"] = SOURCE
    return table


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--check", action="store_true")
    given = parser.parse_args(arguments)
    text = totals(read(given.folder)).to_csv(index=False, lineterminator="\n")
    if not given.check:
        OUT.write_text(text, encoding="utf-8", newline="\n")
        return 0
    same = OUT.read_text(encoding="utf-8") == text
    print(f"{OUT.name}: {'as derived' if same else 'differs from what is derived'}")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
