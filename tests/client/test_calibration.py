"""People whom the model never saw, and what is said of sizes for them.

Soldiers and children: one half fits the model, the other is asked about. On the
children hip girth, sitting height and thigh girth were measured. Shoulder height and
buttock-popliteal length were not: the kit converts them from other landmarks, so
nothing about them can be tested here, and nothing is claimed.
"""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from data_sources import derive_adult_model, derive_child_model
from data_sources.derive_older_widths import derive, read_older
from sizing.charts import SizeChart, chart_from
from sizing.client.draws import older_times
from sizing.client.posterior import draw_bodies
from sizing.client.readings import reading
from sizing.measures import MEASURES, SEATED_AND_GIRTHS, SEXES
from sizing.people.body import model as model_moments
from sizing.people.body import model as model_terms
from sizing.resources import source_table

from .cases import BACK, DEMO, HIP, MASS, SEAT, SITTING, STATURE, THIGH, edges, fits

#: Soldiers with 1,600 clients and 24 charts, as run once: of sizes said to fit with
#: 80 % (75 to 85) 81.3 % did, with 50 % 50.3 %, with 95 % 95.4 %; first named 50.9 %,
#: right 51.1 %; standard errors by client 0.6, 0.7, 0.3. Children with 1,000 and 12
#: charts: 82.7, 51.1, 95.0; 56.5 and 58.4. Here fewer, so that it is quick: a share
#: wavers by about 1.6 points from draw to draw of clients.
CLIENTS, CHARTS = 240, 8
#: Each client is asked with none, one, two (and three) of these measured.
ORDERS = {"soldiers": (HIP, BACK, SEAT), "children": (HIP, SITTING, THIGH)}
#: Half-width of the children's bands, in SDs of ln measure among all of them.
HALF = 0.3


def without_bias(patch: pytest.MonkeyPatch) -> None:
    """Let the model have no bias, as of people of its own survey or of known shape."""
    nothing = np.zeros(len(SEATED_AND_GIRTHS))
    patch.setattr(model_moments, "_biases", lambda: (nothing, nothing))


def _refitted(
    name: str, module: Any, folder: Path, rest: list[pd.DataFrame], **read: Callable
) -> Iterator[pd.DataFrame]:
    """Let the kit read a model fitted anew while those held out are asked about.

    Asked about people of the survey it was fitted on, it has no bias: what it says of
    others counts one, and would be too careful of these.
    """
    patch, real = pytest.MonkeyPatch(), model_terms.source_json
    without_bias(patch)
    for reader, other in read.items():
        patch.setattr(module, reader, other)
    sexes = {sex: module.fit_sex(folder, sex) for sex in SEXES}
    content = {"age_centre": module.AGE_CENTRE, "sexes": sexes}
    content = json.loads(json.dumps(content, default=lambda a: np.asarray(a).tolist()))
    fitted = {name: content}
    patch.setattr(model_terms, "source_json", lambda n: fitted.get(n) or real(n))
    model_terms.group_models.cache_clear()
    yield pd.concat(rest)
    patch.undo()
    model_terms.group_models.cache_clear()


def soldiers(folder: Path) -> Iterator[pd.DataFrame]:
    """Refit the adult model on one half of ANSUR II; give the other half's people."""
    module, rest = derive_adult_model, []
    whole = module.read_army

    def half(place, sex):
        people = whole(place, sex)
        rest.append(people.iloc[1::2].sample(CLIENTS // 2, random_state=7))
        return people.iloc[0::2].reset_index(drop=True)

    yield from _refitted("adult_model.json", module, folder, rest, read_army=half)


def children(folder: Path) -> Iterator[pd.DataFrame]:
    """Refit the child model on one half of Snyder 1977; give the other half."""
    module = derive_child_model
    whole = module.read_children(folder)
    half = whole.iloc[0::2].reset_index(drop=True)
    rest = whole.iloc[1::2].dropna(subset=list(ORDERS["children"]))
    # Under 16 the model is the children's alone.
    rest = rest[rest["age_years"].between(3, 16)].sample(CLIENTS, random_state=5)
    # Hips of today's youths are not those of these children: fit their own.
    own = {"with_youths": lambda own, _: own.dropna(subset=[module.HIP])}
    own |= {"read_children": lambda _: half}
    yield from _refitted("child_model.json", module, folder, [rest], **own)


HELD_OUT = {"soldiers": soldiers, "children": children}


def charts_for(
    who: str, people: pd.DataFrame, rng: np.random.Generator
) -> list[SizeChart]:
    """Return charts on which people fall everywhere.

    For soldiers the demo chart with its edges moved about, for children bands that
    follow each other over all of them.
    """
    charts = []
    for _ in range(CHARTS):
        frame = DEMO.frame.copy()
        if who == "children":
            frame = pd.DataFrame({"size": [f"size {i}" for i in range(7)]})
        for name in ORDERS[who]:
            ends = [f"{name}_low", f"{name}_high"]
            if who == "soldiers":
                shift = rng.uniform(-0.5, 0.5) * (frame[ends[1]] - frame[ends[0]])
                frame[ends] = frame[ends].add(shift, axis=0).round(1)
                continue
            logs = np.log(people[name])
            at = logs.mean() + logs.std() * (np.linspace(-1.8, 1.8, 7))
            at = at + rng.uniform(-0.3, 0.3) * logs.std()
            half = rng.uniform(1.0, 1.8) * HALF * logs.std()
            frame[ends[0]] = np.exp(at - half).round(1)
            frame[ends[1]] = np.exp(at + half).round(1)
        charts.append(chart_from(frame, warn=False))
    return charts


def ask(who: str, people: pd.DataFrame) -> pd.DataFrame:
    """Return one row per person, number of measures taken, chart and size.

    Columns: ``taken``, the ``chance`` said, whether it ``fits`` and was ``first``.
    """
    rng, order = np.random.default_rng(12), ORDERS[who]
    charts = [edges(chart) for chart in charts_for(who, people, rng)]
    adult = who == "soldiers"
    read, draws = (SEATED_AND_GIRTHS, 512) if adult else (order, 1024)
    orders = [order[:taken] for taken in range(len(order) + adult)]
    sizes, rows = len(charts[0].sizes), []
    for _, row in people.iterrows():
        true = np.array([[row.get(name, np.nan) for name in MEASURES]], dtype=float)
        readings = {}
        for name in (MASS, STATURE, *read):
            error = rng.normal(0, reading(name, 1.0).sd)
            readings[name] = reading(name, float(row[name]) + error)
        for taken, known in enumerate(orders):
            some = [readings[name] for name in (MASS, STATURE, *known)]
            age = float(row["age_years"])
            bodies = draw_bodies(row["sex"], age, some, draws=draws)
            for chart in charts:
                chance = bodies.weight @ fits(bodies.values, chart).fits
                right = fits(true, chart).fits[0]
                first = np.arange(sizes) == chance.argmax()
                each = np.full(sizes, taken), chance, right, first
                rows.append(np.column_stack(each))
    columns = ["taken", "chance", "fits", "first"]
    return pd.DataFrame(np.vstack(rows), columns=columns)


#: Chances near these.
NEAR = {"95 %": (0.92, 0.98), "80 %": (0.75, 0.85), "50 %": (0.44, 0.56)}


def promised(asked: pd.DataFrame) -> pd.DataFrame:
    """Return what was said and found of sizes' chances, and of how many."""
    rows = {name: asked["chance"].between(*ends) for name, ends in NEAR.items()}
    rows["first"] = asked["first"] == 1
    found = {
        name: (asked["chance"][of].mean(), asked["fits"][of].mean(), of.sum())
        for name, of in rows.items()
    }
    return pd.DataFrame(found, index=["said", "found", "n"]).T


def held_by_shape(folder: Path) -> pd.DataFrame:
    """Return for people of 75 and over whether each interval holds their thigh.

    NHANES 2003-06 measured the thigh midway, the model knows its greatest girth: the
    people of even number say how far apart these are, by sex, those of odd number
    judge.
    """
    people = read_older(folder).dropna(subset=["BMXTHICR"])
    people = people[people["RIDAGEYR"] >= 75].reset_index(drop=True)
    ends = {level: ((1 - level) / 2, (1 + level) / 2) for level in (0.95, 0.90, 0.50)}
    asked = [0.5, *(end for pair in ends.values() for end in pair)]
    rows = []
    for _, one in people.iterrows():
        known = [reading(MASS, one["BMXWT"], "scale"), reading(STATURE, one["BMXHT"])]
        age = float(one["RIDAGEYR"])
        bodies = draw_bodies(one["sex"], age, known, draws=512)
        rows.append(np.log(bodies.quantile(asked)[:, MEASURES.index(THIGH)]))
    said = pd.DataFrame(rows, columns=asked)
    gap = np.log(people["BMXTHICR"]) - said[0.5]
    apart = gap[people["even"]].groupby(people["sex"]).mean()
    gap = gap - people["sex"].map(apart)
    held = pd.DataFrame({"sex": people["sex"]})
    for level, (low, high) in ends.items():
        held[level] = gap.between(said[low] - said[0.5], said[high] - said[0.5])
    return held[~people["even"]]


#: What was said and found of chances before unlike bodies were thought possible. It
#: must not be further out by more than 2 points. In the order of ``promised``.
BEFORE = {
    "soldiers": [(0.950, 0.942), (0.799, 0.801), (0.498, 0.493), (0.542, 0.536)],
    "children": [(0.945, 0.957), (0.800, 0.841), (0.502, 0.522), (0.539, 0.550)],
}
WORSE = 0.02


@pytest.fixture(scope="module", params=list(HELD_OUT))
def held_out(request, survey_folder):
    for people in HELD_OUT[request.param](survey_folder):
        yield request.param, people


@pytest.fixture(scope="module")
def asked(held_out):
    return held_out[0], ask(*held_out)


@pytest.mark.surveys
def test_of_sizes_said_to_fit_so_many_do(asked):
    who, asked = asked
    rows = promised(asked).iterrows()
    for (name, row), (said, found) in zip(rows, BEFORE[who], strict=True):
        assert row["n"] > 200, name
        gap = abs(row["found"] - row["said"])
        assert gap <= abs(found - said) + WORSE, (name, row["said"], row["found"])


@pytest.mark.surveys
def test_more_known_is_never_worse_on_average(asked):
    who, asked = asked
    squared = (asked["chance"] - asked["fits"]) ** 2
    assert squared.groupby(asked["taken"]).mean().is_monotonic_decreasing
    if who == "soldiers":
        # E max P(size | what is known) cannot fall; among so few it may waver.
        named = asked[asked["first"] == 1].groupby("taken")[["fits", "chance"]].mean()
        assert (named.diff().dropna() > -0.01).all(axis=None)
        assert (named.loc[3.0] > named.loc[0.0] + 0.01).all()


@pytest.mark.surveys
def test_thighs_of_the_old_lie_where_said(survey_folder, monkeypatch):
    without_bias(monkeypatch)
    held = held_by_shape(survey_folder)
    assert len(held) > 250
    # As run once: 96.3, 91.4 and 55.4 %; as surveyed, not widened: 70, 63 and 31 %.
    assert 0.86 <= held[0.90].mean() <= 0.94
    assert held[0.95].mean() >= 0.92
    assert 0.46 <= held[0.50].mean() <= 0.60
    assert (held.groupby("sex")[0.90].mean() > 0.83).all()


@pytest.mark.surveys
def test_widths_are_those_of_the_survey(survey_folder):
    made, shipped = derive(survey_folder), source_table("older_widths.csv")
    assert made["times"].tolist() == shipped["times"].tolist()
    assert (made["measure"] == shipped["measure"]).all()


@pytest.mark.parametrize("sex", SEXES)
def test_only_those_older_than_the_surveyed_are_wider(sex):
    age = np.arange(2.0, 111.0)
    times = older_times(np.full(len(age), sex, dtype=object), age)
    assert (times[age <= 58] == 1).all()
    assert (np.diff(times[age >= 75], axis=0) == 0).all()
    assert (times >= 1).all()
    thigh = SEATED_AND_GIRTHS.index(THIGH)
    assert times[-1, thigh] > 1.5
    assert (np.diff(times, axis=0) >= 0)[:, thigh].all()

    def width(age):
        build = [reading(MASS, 70.0, "exact"), reading(STATURE, 165.0)]
        low, high = draw_bodies(sex, age, build).quantile([0.05, 0.95])
        return np.log(high / low)[MEASURES.index(THIGH)]

    assert width(85.0) > 1.5 * width(55.0)
