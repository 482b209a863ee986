"""Measure what the kit set out to reach, and write reach_checks.csv with its date.

Run: python -m data_sources.derive_reach FOLDER [NAME ...]

FOLDER is the folder of survey files. With NAMEs only those parts are measured anew
(shares, stature, hips, walking, thighs, halves, soldiers, charts, bands), the others
keep their rows and dates. All take about a quarter of an hour on one core.
"""

import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from data_sources.checks_adults import BUILD, HIP, folds
from data_sources.checks_outside import shown
from data_sources.derive_adult_model import read_army, read_civilians
from data_sources.prediction import predict_measures
from sizing.bands import fit_bands
from sizing.charts import demo_chart
from sizing.coverage import estimate_coverage
from sizing.measures import MEASURES, SEXES
from sizing.people import load_people, people_from
from sizing.people.body import draw_measures
from sizing.people.body.model import moments
from sizing.stats.formulas import weighted_quantile
from sizing.surveys import read_embedded
from tests.benchmarks.bench_calibration import soldiers as samples_of_soldiers

THIGH, BACK = "thigh_circumference_cm", "shoulder_height_sitting_cm"
SEAT, CHEST = "buttock_popliteal_length_cm", "chest_circumference_cm"
OUT = Path(__file__).with_name("reach_checks.csv")
#: Where what is asked comes from, where it is no choice of ours.
ASKED = {"shares": "NHANES 2017-18, examination weights; how near: our choice"}
#: Part, what is measured, figure, unit, and the ends asked.
Found = tuple[str, float, str, float, float]


def shares(_: Path) -> Iterator[Found]:
    """Tails of body mass index and of weight."""
    people, walking = (load_people(n) for n in ("adults", "walking_difficulty"))
    bmi = people.frame["bmi"]
    heavy, hers = (one.frame["body_mass_kg"] > 127 for one in (people, walking))
    for what, hit, who, asked, near in (
        ("adults of body mass index 40 and over", bmi >= 40, people, 8.9, 0.2),
        ("adults of body mass index 50 and over", bmi >= 50, people, 1.55, 0.2),
        ("adults over 127 kg", heavy, people, 4.75, 0.2),
        ("walking difficulty, over 127 kg", hers, walking, 8.7, 0.7),
    ):
        figure = 100 * np.average(hit, weights=who.weight)
        yield what, float(figure), "%", asked - near, asked + near


def stature(folder: Path) -> Iterator[Found]:
    """Adults' stature, P5 to P95 by fives, against the survey's own weights."""
    own = pd.read_csv(folder / "nhanes_2017_2018" / "body_weights_design.csv")
    own = own[(own["RIDAGEYR"] >= 18) & own["BMXHT"].notna() & (own["WTMEC2YR"] > 0)]
    people, gaps = load_people("adults"), []
    for code, sex in ((1, "male"), (2, "female")):
        part = own[own["RIAGENDR"] == code]
        inside = (people.frame["sex"] == sex).to_numpy()
        for q in np.arange(0.05, 0.951, 0.05):
            there = weighted_quantile(part["BMXHT"], q, weights=part["WTMEC2YR"])
            here = weighted_quantile(
                people.frame["stature_cm"][inside], q, weights=people.weight[inside]
            )
            gaps.append(abs(float(here) - float(there)))
    what = "adult stature P5 to P95 by sex, mean gap"
    yield what, float(np.mean(gaps)), "cm", 0, 0.25


def hips(_: Path) -> Iterator[Found]:
    """Youths' hips and what other samples hold, as model_checks.csv has them."""
    table = pd.read_csv(OUT.with_name("model_checks.csv"))

    def of(check: str, measure: str, quantity: str, people: str = "") -> pd.Series:
        part = table[
            table["check"].str.startswith(check) & (table["measure"] == measure)
        ]
        part = part[part["quantity"].str.startswith(quantity)]
        return part.loc[part["people"].str.startswith(people), "estimate"]

    youths = "hip of youths left out"
    bias = of(youths, HIP, "bias").abs().max()
    yield "hip of 12 to 19, largest bias of two years", float(bias), "cm", 0, 0.5
    held = 100 * of(youths, HIP, "90 %")
    yield "hip of 12 to 19, 90 % hold, least", float(held.min()), "%", 86, 94
    yield "hip of 12 to 19, 90 % hold, most", float(held.max()), "%", 86, 94
    ages = np.tile(np.arange(11, 13.01, 0.05), 2)
    build = pd.DataFrame({"sex": np.repeat(SEXES, len(ages) // 2), "age_years": ages})
    build = build.assign(body_mass_kg=42.0, stature_cm=150.0, person=range(len(ages)))
    mean = np.exp(predict_measures(build).mean[:, MEASURES.index(HIP)])
    step = np.abs(np.diff(mean.reshape(2, -1), axis=1)).max()
    yield "hip at 12, largest step within 0.05 years", float(step), "cm", 0, 0.5
    for sex, least in (("male", 80), ("female", 80)):
        held = 100 * of("out of sample: bdims", THIGH, "90 %", sex).iloc[0]
        yield f"thigh of bdims, {sex}, 90 % hold", float(held), "%", least, 100
        held = 100 * of("out of sample: bdims", CHEST, "90 %", sex).iloc[0]
        yield f"chest of bdims, {sex}, 90 % hold", float(held), "%", 86, 94
    rmse = of("hip of adults left out, from mass, stature", HIP, "RMSE", "female")
    bias = of("hip of adults left out, from mass, stature", HIP, "bias", "female")
    yield "hip of women without age, RMSE", float(rmse.iloc[0]), "cm", 0, 4.48
    yield "hip of women without age, bias", float(bias.iloc[0]), "cm", -0.5, 0.5


def walking(folder: Path) -> Iterator[Found]:
    """Hip of people with serious difficulty walking, found by their build."""
    known = read_embedded().frame
    keys = [*BUILD, "waist_circumference_cm"]
    for sex in SEXES:
        people = read_civilians(folder, sex).assign(sex=sex)
        own = known[(known["sex"] == sex) & (known["age_years"] >= 18)]
        own = own.dropna(subset=keys)
        own = own.assign(**(10 * own[keys]).round()).drop_duplicates(keys, keep=False)
        found = people.assign(**(10 * people[keys]).round())[keys].merge(
            own[[*keys, "walking_difficulty"]], on=keys, how="left"
        )
        hard = found["walking_difficulty"].fillna(False).to_numpy(dtype=bool)
        hard &= people["age_years"].notna().to_numpy()
        part = people[hard].reset_index(drop=True)
        low, _, high = shown(part)[:, :, MEASURES.index(HIP)]
        held = 100 * part[HIP].between(low, high).mean()
        what = f"hip, walking difficulty, {sex} (n {len(part)}), 90 % hold"
        yield what, float(held), "%", 86, 94


def thighs(folder: Path) -> Iterator[Found]:
    """Thighs of 75 and over against those of 20 to 58: place and spread, by shape."""
    frame = pd.read_csv(folder / "nhanes_2003_2006" / "thigh_and_calf.csv")
    frame = frame.dropna(subset=["BMXWT", "BMXHT", "BMXTHICR"])
    frame = frame[frame["RIDAGEYR"] >= 20]
    sex = np.where(frame["RIAGENDR"] == 1, "male", "female").astype(object)
    age = frame["RIDAGEYR"].to_numpy(dtype=float)
    build = (frame["BMXWT"].to_numpy(), frame["BMXHT"].to_numpy())
    found = moments(sex, *build, age, measures=(THIGH,), sampling=True, bias=False)
    gap = found.mean[:, 0] - np.log(frame["BMXTHICR"].to_numpy())
    z = gap / np.sqrt(found.covariance()[:, 0, 0])
    for one in SEXES:
        old, young = ((sex == one) & a for a in (age >= 75, age <= 58))
        thick = 100 * (np.exp(gap[old].mean() - gap[young].mean()) - 1)
        yield f"thigh at 75 and over, too thick, {one}", float(thick), "%", -2, 2
        spread = 100 * (z[young].std() / z[old].std() - 1)
        yield f"thigh at 75 and over, spread, {one}", float(spread), "%", -15, 15


def halves(_: Path) -> Iterator[Found]:
    """Half-widths of the share covered over 12 seeds, against 60 draws.

    With the draws that ``sizing chart`` and ``sizing study`` take by default.
    """
    chart = demo_chart()

    def half(name: str, **how: Any) -> float:
        row = estimate_coverage(load_people(name, **how), chart).table.iloc[0]
        return float(row["high"] - row["low"]) / 2

    for name in ("adults", "children", "care_home_nordic", "walking_difficulty"):
        long = half(name, draws=60, seed=99)
        ratios = [half(name, draws=10, seed=seed) / long for seed in range(1, 13)]
        for word, ratio in (("least", min(ratios)), ("most", max(ratios))):
            what = f"half-width over 12 seeds, {name}, {word}"
            yield what, ratio, "times", 0.85, 1.15


def soldiers(folder: Path) -> Iterator[Found]:
    """How often the share of all soldiers is held, 150 samples of 500."""
    found = pd.DataFrame(samples_of_soldiers(150, 1, folder), columns=["item", "held"])
    for item, held in found.groupby("item")["held"].mean().items():
        yield f"{item}: truth held", 100 * float(held), "%", 88, 100


def charts(folder: Path) -> Iterator[Found]:
    """Twenty charts of one size in three measures, and of one in four."""
    army = pd.concat([read_army(folder, sex).assign(sex=sex) for sex in SEXES])
    army = army.reset_index(drop=True).assign(person=lambda f: range(len(f)))
    half = army[folds(len(army), 2, seed=2) == 0]
    given = half[["person", "sex", "age_years", *BUILD]]
    drawn, _ = draw_measures(given, draws=5, seed=2)
    rng = np.random.default_rng(20)
    three = (BACK, SEAT, HIP)
    for count, names in (("three", three), ("four", (*three, THIGH))):
        gaps = []
        for _ in range(20):
            inside = [np.ones(len(half), bool), np.ones(len(drawn), bool)]
            for name in names:
                middle = rng.choice(half[name])
                reach = half[name].std() * rng.uniform(1, 2)
                for i, frame in enumerate((half, drawn)):
                    inside[i] &= frame[name].between(middle - reach, middle + reach)
            gaps.append(100 * abs(inside[0].mean() - inside[1].mean()))
        what = f"charts of {count} measures, drawn against measured, mean of 20"
        yield what, float(np.mean(gaps)), "points", 0, 1.0


def bands(folder: Path) -> Iterator[Found]:
    """Bands of three measures held out against simple ones, one row a person."""
    army = pd.concat([read_army(folder, sex).assign(sex=sex) for sex in SEXES])
    people = people_from(army[["sex", "age_years", *BUILD, BACK, SEAT, HIP]])
    fit = fit_bands(people, widths={BACK: 10, HIP: 20, SEAT: 8}, sizes=4, splits=10)
    gap = 100 * (fit.held_out - fit.rival_held_out)
    what = "bands held out less simple ones, three measures"
    yield what, float(gap), "points", 0, 100


PARTS: dict[str, Callable[[Path], Iterator[Found]]] = {
    one.__name__: one
    for one in (shares, stature, hips, walking, thighs, halves, soldiers, charts, bands)
}


def main(folder: Path, names: list[str]) -> pd.DataFrame:
    """Measure, and write the table."""
    date = datetime.now(UTC).date().isoformat()
    old = pd.read_csv(OUT) if OUT.exists() else pd.DataFrame()
    for name in names or list(PARTS):
        columns = ["what", "figure", "unit", "asked_low", "asked_high"]
        table = pd.DataFrame(PARTS[name](folder), columns=columns).round(4)
        reached = table["figure"].between(table["asked_low"], table["asked_high"])
        table = table.assign(reached=reached, date=date)
        table["source_of_asked"] = ASKED.get(name, "our choice, no source")
        table.insert(0, "part", name)
        print(table.drop(columns=["part", "date"]).to_string(index=False), flush=True)
        kept = old[old["part"] != name] if len(old) else old
        old = pd.concat([kept, table], ignore_index=True)
        old.to_csv(OUT, index=False, lineterminator="\n")
    order = {name: at for at, name in enumerate(PARTS)}
    old = old.sort_values("part", key=lambda part: part.map(order), kind="stable")
    old.to_csv(OUT, index=False, lineterminator="\n")
    return old


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
