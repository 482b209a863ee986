"""Derive data_sources/survey_summaries.csv: means, SDs and percentiles.

Run: python -m data_sources.derive_survey_summaries FOLDER [--check]

FOLDER holds ansur2_men.csv, ansur2_women.csv, snyder1977_children.csv and
nhanes_2015_2016/. With --check nothing is written; the command fails if the file
that ships differs. NHANES 2015-16 by its design (strata, units, examination
weights; pregnant women included, because the embedded people cannot be told
apart by it); ANSUR II and Snyder 1977 person by person, without weights.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from data_sources.design_estimate import design_estimate, weighted_sd
from data_sources.read_surveys import read_ansur2, read_snyder1977
from data_sources.stamp_registry import keep
from sizing.measures import SEXES
from sizing.surveys import Survey, read_nhanes_folder

OUT = Path(__file__).with_name("survey_summaries.csv")
PERCENTILES = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
AGE_BANDS = {
    "ANSUR II": [(17, 59)],
    "Snyder 1977": [(2, 5), (5, 9), (9, 13), (13, 18)],
    "NHANES 2015-16": [
        *[(2, 5), (5, 9), (9, 13), (13, 18)],
        *[(20, 121), (20, 40), (40, 60), (60, 121)],
    ],
}
#: Fewer people measured than this tell too little of a P5 or P95 (common
#: practice, no source: under 2 people would lie beyond it).
LEAST_PEOPLE = 30


def surveys(folder: Path) -> dict[str, Survey]:
    army = [folder / "ansur2_men.csv", folder / "ansur2_women.csv"]
    return {
        "ANSUR II": read_ansur2(army),
        "Snyder 1977": read_snyder1977(folder / "snyder1977_children.csv"),
        "NHANES 2015-16": read_nhanes_folder(folder / "nhanes_2015_2016"),
    }


def summary_of(survey: Survey, name: str) -> pd.DataFrame:
    """Return one row per sex, age band, measure and statistic."""
    frame = survey.frame
    design = {"weights": survey.weight}
    if "stratum" in frame:
        design |= {"stratum": frame["stratum"], "unit": frame["unit"]}
    parts = []
    for low, high in AGE_BANDS[name]:
        for sex in SEXES:
            member = frame["age_years"].between(low, high, inclusive="left")
            member &= frame["sex"] == sex
            for measure in survey.measures:
                group = frame[measure].where(member)
                if group.notna().sum() < LEAST_PEOPLE:
                    continue
                rows = statistics(group, design)
                where = [name, low, high, sex, measure]
                labels = ["survey", "age_years_from", "age_years_below", "sex", "name"]
                for place, (label, value) in enumerate(zip(labels, where, strict=True)):
                    rows.insert(place, label, value)
                parts.append(rows)
    return pd.concat(parts, ignore_index=True)


def statistics(values: pd.Series, design: dict[str, pd.Series]) -> pd.DataFrame:
    """Return mean, SD and percentiles with their errors."""
    mean = design_estimate(values, **design)
    parts = [mean.assign(statistic="mean")]
    sd = weighted_sd(values, weights=design["weights"])
    open_ends = {"se": np.nan, "low": np.nan, "high": np.nan}
    how = "weighted SD, no interval"
    parts.append(mean.assign(statistic="sd", estimate=sd, method=how, **open_ends))
    for q in PERCENTILES:
        row = design_estimate(values, **design, statistic="quantile", q=q)
        parts.append(row.assign(statistic=f"p{round(q * 100):02d}"))
    table = pd.concat(parts, ignore_index=True)
    numbers = ["estimate", "se", "low", "high"]
    table[numbers] = table[numbers].round(3)
    table["df"] = table["df"].astype("int64")
    order = ["statistic", *numbers, "method", "n", "df"]
    return table[order]


def summaries(folder: Path) -> pd.DataFrame:
    """Return the whole table that ships."""
    parts = [summary_of(survey, name) for name, survey in surveys(folder).items()]
    return pd.concat(parts, ignore_index=True)


def main(arguments: list[str]) -> int:
    return keep(OUT, summaries, arguments, __doc__)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
