"""Joint random draws of the measures nobody took, and how well each is founded."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import InputProblems, Problem, check_number, check_seed
from sizing.measures import EVIDENCE, MEASURES, SEATED_AND_GIRTHS, SEXES, vocabulary
from sizing.people.body import chance
from sizing.people.body import donors as model_donors
from sizing.people.body.chance import Flags
from sizing.people.body.model import (
    Betas,
    Moments,
    adult_share,
    group_models,
    model_age,
    moments,
)
from sizing.stats.formulas import Floats

Sexes = npt.NDArray[np.object_]

#: Nobody younger was measured seated.
YOUNGEST = 2.0
#: How often an implausible draw is drawn again before it is kept and marked.
REDRAWS = 8
_PREDICTED, _EXTRAPOLATED, _UNSUPPORTED = range(1, 4)
_TABLE = vocabulary().set_index("name")
#: Measures without any data beyond the heaviest people of the army survey.
NO_HEAVY_DATA = tuple(_TABLE.index[_TABLE["unsupported_when_heavy"] == "yes"])
#: Measures put together from others; of whom nobody had the measure itself taken.
CONVERTED = {
    "adult": tuple(_TABLE.index[_TABLE["converted_for"] == "everyone"]),
    "child": tuple(_TABLE.index[_TABLE["converted_for"] != "nobody"]),
}
#: numerator, denominator, low and high ratio. Wider than anybody in ANSUR II
#: and Snyder 1977 by a twentieth of the range seen there or more (a test holds
#: that; common practice, no source); geometry where the comment says so.
RATIOS: tuple[tuple[str, str, float, float], ...] = (
    ("sitting_height_cm", "stature_cm", 0.42, 0.66),
    ("shoulder_height_sitting_cm", "sitting_height_cm", 0.50, 0.80),
    ("buttock_popliteal_length_cm", "stature_cm", 0.18, 0.38),
    # A section twice as wide as its girth would be thinner than a line.
    ("hip_breadth_sitting_cm", "hip_circumference_cm", 0.20, 0.50),
    ("thigh_circumference_cm", "hip_circumference_cm", 0.35, 0.85),
    ("waist_circumference_cm", "hip_circumference_cm", 0.50, 1.60),
    ("chest_circumference_cm", "waist_circumference_cm", 0.55, 1.90),
)


def draw_measures(
    frame: pd.DataFrame, *, draws: int, seed: int
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Fill every missing measure by joint random draws: people drawn, and evidence.

    ``frame`` has one row per person: ``person`` (all different), ``sex``, ``age_years``
    (2 or more) and any of ``MEASURES`` in cm or kg; ``walking_difficulty`` and what was
    said of mass and stature help. Returned are one row per draw and person, by draw;
    a person's draws depend on the seed and on ``person`` only.

    Known measures condition the others. Each draw also draws the coefficients (normal,
    from their sampling covariance) and one form of the curve beyond the BMI where
    anybody was measured, shared by all people of that draw. A body that cannot be one
    is drawn again, up to 8 times, never clipped; one that stays so, because of what was
    given, is marked unsupported.
    """
    check_draws(draws, seed)
    people = checked(frame)
    keys = chance.keys_of(people["person"])
    n = len(people)
    sex = people["sex"].to_numpy(dtype=object)
    given_build = people[list(model_donors.BUILD)].to_numpy(dtype=float)
    known = people[list(SEATED_AND_GIRTHS)].to_numpy(dtype=float)
    gaps = np.flatnonzero(np.isnan(given_build).any(axis=1))
    far = np.zeros(n, dtype=bool)
    found = None
    if len(gaps):
        found = model_donors.candidates(
            people.iloc[gaps], seed=seed, keys=keys[gaps], known=known[gaps]
        )
        far[gaps] = found.far
    blocks, levels = [], []
    for draw in range(draws):
        build, values = given_build.copy(), known.copy()
        todo = np.arange(n)
        for attempt in range(REDRAWS + 1):
            stream = f"{draw}/{attempt}"
            if found is not None:
                again = np.flatnonzero(np.isin(gaps, todo))
                u = chance.uniforms(seed, keys[gaps], f"build/{stream}", 1)[:, 0]
                build[gaps[again]] = model_donors.pick(found, u)[again]
            z = chance.normals(
                seed, keys[todo], f"body/{stream}", len(SEATED_AND_GIRTHS)
            )
            values[todo] = _one_draw(
                sex[todo], build[todo], known[todo], z, seed=seed, draw=draw
            )
            todo = todo[broken_ratios(build[todo], values[todo]).any(axis=1)]
            if len(todo) == 0:
                break
        mass, stature, age = build.T
        level = evidence_levels(sex, mass, stature, age, SEATED_AND_GIRTHS)
        level[todo] = _UNSUPPORTED
        blocks.append(np.column_stack([build, values]))
        levels.append(level)
    return _as_frames(people, frame, np.vstack(blocks), np.vstack(levels), far, draws)


def check_draws(draws: object, seed: object) -> None:
    check_number("the number of draws", draws, least=1, most=10_000, whole=True)
    check_seed(seed)


def checked(frame: pd.DataFrame) -> pd.DataFrame:
    """Missing columns are added empty; nothing is changed or repaired."""
    problems = [
        Problem(f"the column '{name}' is missing", action="add it", column=name)
        for name in ("person", "sex")
        if name not in frame
    ]
    if not problems and len(frame) == 0:
        problems = [Problem("there are no people")]
    if problems:
        raise InputProblems(problems, about="the people")
    out = frame.reset_index(drop=True).copy()
    twice = ("this person is in the table more than once", "one row per person", "")
    unknown = ("unknown sex", ", ".join(SEXES), "the model has no figures without it")
    faults: list[tuple[str, tuple[str, str, str], npt.ArrayLike]] = [
        ("person", twice, out["person"].duplicated()),
        ("sex", unknown, ~out["sex"].isin(SEXES)),
    ]
    for name in ("age_years", *MEASURES):
        given = out[name] if name in out else pd.Series(np.nan, out.index)
        try:
            value = given.astype("Float64").to_numpy(dtype=float, na_value=np.nan)
        except (TypeError, ValueError):
            problems.append(Problem("not a number somewhere", "numbers", column=name))
            continue
        out[name] = value
        words = ("not a body measure", "above 0", "")
        wrong = (value <= 0) | np.isinf(value)
        if name == "age_years":
            words = ("outside the ages the model knows", "2 to 120 years", "")
            wrong = (value < YOUNGEST) | (value > 120)
        faults.append((name, words, wrong))
    problems += [
        Problem(*words, None, row + 2, name, out[name].iloc[row])
        for name, words, wrong in faults
        for row in np.flatnonzero(wrong)[:5]
    ]
    if problems:
        raise InputProblems(problems, about="the people")
    return out


def broken_ratios(build: Floats, values: Floats) -> Flags:
    """Return which bodies break which of RATIOS, shape (n, ratios)."""
    column = dict(zip(SEATED_AND_GIRTHS, values.T, strict=True))
    column["stature_cm"] = build[:, 1]
    out = np.empty((len(values), len(RATIOS)), dtype=bool)
    for j, (above, below, low, high) in enumerate(RATIOS):
        ratio = column[above] / column[below]
        out[:, j] = ~((ratio >= low) & (ratio <= high))
    return out


def evidence_levels(
    sex: Sexes, mass: Floats, stature: Floats, age: Floats, measures: Sequence[str]
) -> npt.NDArray[np.int8]:
    """Return the evidence for predicted measures as positions in EVIDENCE.

    Unsupported: NO_HEAVY_DATA of adults whose BMI is above what ANSUR II holds (its
    99.5th percentile), where reasonable forms disagree widely. Extrapolated: BMI for
    age, height or age outside what the coefficients were fitted on; CONVERTED measures.
    Between 16 and 20 years the group with the larger share decides.
    """
    years = model_age(age)
    adult = adult_share(years) >= 0.5
    out = np.full((len(sex), len(measures)), _PREDICTED, dtype=np.int8)
    for group in ("child", "adult"):
        for one_sex, model in group_models(group).items():
            rows = np.flatnonzero((sex == one_sex) & (adult == (group == "adult")))
            if len(rows) == 0:
                continue
            x = model.predictors(mass[rows], stature[rows], years[rows])
            for j, name in enumerate(measures):
                low, high = model.measures[name].bounds(years[rows])
                # A range of one's own age group ends where the seam begins.
                outside = ((x < low) | (x > high))[:, : 3 if group == "adult" else 2]
                level = np.where(outside.any(axis=1), _EXTRAPOLATED, _PREDICTED)
                if group == "adult" and name in NO_HEAVY_DATA:
                    level[x[:, 0] > high[:, 0]] = _UNSUPPORTED
                if name in CONVERTED[group]:
                    level[:] = _EXTRAPOLATED
                out[rows, j] = level
    return out


def _one_draw(
    sex: Sexes, build: Floats, known: Floats, z: Floats, *, seed: int, draw: int
) -> Floats:
    has: Flags = np.asarray(np.isfinite(known))
    one, mean, covariance = law_of_draw(sex, build, has, seed=seed, draw=draw)
    some = np.flatnonzero(has.any(axis=1))
    out = np.empty_like(mean)
    none = np.flatnonzero(~has.any(axis=1))
    out[none] = mean[none] + one.sd[none] * _correlated(one, none, z[none])
    if len(some):
        log_known = np.log(known[some])
        m, c = chance.condition_normal(
            mean[some], covariance(some), log_known, np.zeros_like(log_known)
        )
        out[some] = chance.sample_normal(m, c, z[some])
    return np.where(has, known, np.exp(out))


def law_of_draw(
    sex: Sexes, build: Floats, has: Flags, *, seed: int, draw: int
) -> tuple[Moments, Floats, Callable[[npt.NDArray[np.intp]], Floats]]:
    """Return moments, means of logs, covariance of some; one's own form: no shift."""
    one = moments(sex, *build.T, betas=drawn_betas(seed, draw))
    # A known measure beyond the forms' range tells which form holds for this
    # person, so it cannot be shared with the others of the draw.
    own = np.any(has & (one.form_shift_sd > 0), axis=1)[:, None]
    shift = one.form_shift_sd * own
    one = replace(one, form_shift_sd=one.form_shift_sd * ~own)

    def covariance(rows: npt.NDArray[np.intp]) -> Floats:
        spread = one.take(rows).covariance(sampling=False, form=False)
        spread += shift[rows, :, None] * shift[rows, None, :]
        return spread

    mean = one.mean + chance.even_normal(seed, draw, "form") * one.form_shift_sd
    return one, mean, covariance


def _correlated(one: Moments, rows: npt.NDArray[np.intp], z: Floats) -> Floats:
    out = np.empty_like(z)
    share, sex = one.share[rows], one.sex[rows].astype(str)
    # One root per sex and share: nearly everyone is wholly a child or an adult.
    label = np.char.add(sex, share.round(12).astype(str))
    _, first, inverse = np.unique(label, return_index=True, return_inverse=True)
    root = np.linalg.cholesky(one.take(rows[first]).correlation())
    order = np.argsort(inverse, kind="stable")
    ends = np.searchsorted(inverse[order], np.arange(len(first) + 1))
    for i in range(len(first)):
        members = order[ends[i] : ends[i + 1]]
        out[members] = z[members] @ root[i].T
    return out


def drawn_betas(seed: int, draw: int) -> Betas:
    @cache
    def of(group: str, sex: str) -> Mapping[str, Floats]:
        model = group_models(group)[sex]
        size = max(len(one.beta) for one in model.measures.values())
        # Every second draw takes the opposite: their errors cancel in the mean.
        stream = f"beta/{group}/{sex}/{draw // 2}"
        z = chance.normals(seed, chance.keys_of(SEATED_AND_GIRTHS), stream, size)
        z = -z if draw % 2 else z
        # Measures taken on the same people err together, as their residuals do.
        z = np.linalg.cholesky(model.correlation) @ z
        each = zip(model.measures.items(), z, strict=True)
        return {n: one.beta + one.root @ own[: len(one.beta)] for (n, one), own in each}

    return lambda group, sex, measure: of(group, sex)[measure]


def _as_frames(
    people: pd.DataFrame,
    frame: pd.DataFrame,
    values: Floats,
    level: npt.NDArray[np.int8],
    far: Flags,
    draws: int,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    names = (*model_donors.BUILD, *SEATED_AND_GIRTHS)
    drawn = dict(zip(names, values.T, strict=True))
    carried = [c for c in frame.columns if c not in (*MEASURES, "draw")]
    first = ["person", "draw", "sex", "age_years"]
    tiled = {c: pd.concat([frame[c]] * draws, ignore_index=True) for c in carried}
    tiled["draw"] = pd.Series(np.repeat(np.arange(draws), len(people)))
    tiled["age_years"] = pd.Series(drawn["age_years"])
    order = [*first, *MEASURES, *(c for c in carried if c not in first)]
    out = pd.DataFrame(
        {c: tiled[c] if c in tiled else pd.Series(drawn[c]) for c in order}
    )
    word = np.array(EVIDENCE, dtype=object)
    columns = {}
    for name in MEASURES:
        given = np.tile(people[name].notna().to_numpy(), draws)
        if name in SEATED_AND_GIRTHS:
            code = level[:, SEATED_AND_GIRTHS.index(name)]
        else:
            code = np.where(np.tile(far, draws), _EXTRAPOLATED, _PREDICTED)
        columns[name] = np.where(given, EVIDENCE[0], word[code])
    return out, pd.DataFrame(columns, index=out.index)
