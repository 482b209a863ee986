"""Joint random draws of the measures nobody took, from those somebody did."""

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import SizingError
from sizing.measures import EVIDENCE, MEASURES, SEATED_AND_GIRTHS
from sizing.people.body import donors as model_donors
from sizing.people.body.conditional import condition_normal, sample_normal
from sizing.people.body.evidence import evidence_levels
from sizing.people.body.gate import checked, implausible
from sizing.people.body.moments import Moments, moments
from sizing.people.body.noise import even_normal, keys_of, normals, uniforms
from sizing.people.body.terms import Floats, group_models

#: How often an implausible draw is drawn again before it is kept and marked.
REDRAWS = 8
_PREDICTED = EVIDENCE.index("predicted")
_EXTRAPOLATED = EVIDENCE.index("extrapolated")
_UNSUPPORTED = EVIDENCE.index("unsupported")


def draw_measures(
    frame: pd.DataFrame, *, draws: int, seed: int
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Fill every missing measure by joint random draws.

    ``frame`` has one row per person: ``person`` (all different), ``sex``, ``age_years``
    (2 or more; a whole number under 20 means completed years) and any of ``MEASURES``
    in cm or kg; ``walking_difficulty``, ``reported_mass_kg`` and
    ``reported_stature_cm`` help to fill body mass and stature. A person's draws depend
    on the seed and on ``person`` only.

    ``drawn``: One row per draw and person, by draw, then in the order of ``frame``:
    ``person``, ``draw`` (0, 1, ...), ``sex``, ``age_years``, all measures, the other
    columns. What was given is unchanged.
    ``evidence``: Same index, one column per measure; rules in ``evidence_levels``.

    ``ln y = beta'phi + sigma e`` by sex, with jointly normal ``e``; known
    measures condition the others. Each draw also draws the coefficients
    (normal, from their sampling covariance) and one form of the curve beyond
    the BMI where anybody was measured, both shared by all people of that draw.
    Missing body mass, stature and age come from embedded people built alike
    (sampling-importance-resampling, Rubin 1988). A drawn body that cannot be
    one (``plausible``) is drawn again, up to 8 times, never clipped; one
    that stays implausible, because of what was given, is marked unsupported.

    >>> person = pd.DataFrame({"person": [1], "sex": ["female"],
    ...     "age_years": [70], "body_mass_kg": [68.0], "stature_cm": [160.0]})
    >>> drawn, evidence = draw_measures(person, draws=3, seed=1)
    >>> drawn["body_mass_kg"].tolist(), drawn["draw"].tolist()
    ([68.0, 68.0, 68.0], [0, 1, 2])
    >>> evidence["sitting_height_cm"].unique().tolist()
    ['extrapolated']
    """
    if draws < 1:
        raise SizingError("draws must be 1 or more", allowed="1, 2, ...", value=draws)
    people = checked(frame)
    keys = keys_of(people["person"])
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
        build, values, level = (
            given_build.copy(),
            known.copy(),
            np.full(known.shape, _PREDICTED, dtype=np.int8),
        )
        todo = np.arange(n)
        for attempt in range(REDRAWS + 1):
            stream = f"{draw}/{attempt}"
            if found is not None:
                again = np.flatnonzero(np.isin(gaps, todo))
                u = uniforms(seed, keys[gaps], f"build/{stream}", 1)[:, 0]
                build[gaps[again]] = model_donors.pick(found, u)[again]
            z = normals(seed, keys[todo], f"body/{stream}", len(SEATED_AND_GIRTHS))
            values[todo] = _one_draw(
                sex[todo], build[todo], known[todo], z, seed=seed, draw=draw
            )
            bad = implausible(build[todo], values[todo])
            todo = todo[bad]
            if len(todo) == 0:
                break
        level = evidence_levels(
            sex, build[:, 0], build[:, 1], build[:, 2], SEATED_AND_GIRTHS
        )
        level[todo] = _UNSUPPORTED
        blocks.append(np.column_stack([build, values]))
        levels.append(level)
    return _as_frames(people, frame, np.vstack(blocks), np.vstack(levels), far, draws)


def _one_draw(
    sex: npt.NDArray[np.object_],
    build: Floats,
    known: Floats,
    z: Floats,
    *,
    seed: int,
    draw: int,
) -> Floats:
    has: npt.NDArray[np.bool_] = np.asarray(np.isfinite(known))
    one, mean, covariance = law_of_draw(sex, build, has, seed=seed, draw=draw)
    some = np.flatnonzero(has.any(axis=1))
    out = np.empty_like(mean)
    none = np.flatnonzero(~has.any(axis=1))
    out[none] = mean[none] + one.sd[none] * _correlated(one, none, z[none])
    if len(some):
        log_known = np.log(known[some])
        m, c = condition_normal(
            mean[some], covariance(some), log_known, np.zeros_like(log_known)
        )
        out[some] = sample_normal(m, c, z[some])
    return np.where(has, known, np.exp(out))


def law_of_draw(
    sex: npt.NDArray[np.object_],
    build: Floats,
    has: npt.NDArray[np.bool_],
    *,
    seed: int,
    draw: int,
) -> tuple[Moments, Floats, Callable[[npt.NDArray[np.intp]], Floats]]:
    """Return what a draw draws from: moments, means of logs, covariance of some.

    The moments' ``form_shift_sd`` is 0 where the form is a person's own.
    """
    betas = _DrawnBetas(seed, draw)
    one = moments(sex, build[:, 0], build[:, 1], build[:, 2], betas=betas)
    # A known measure beyond the forms' range tells which form holds for this
    # person, so it cannot be shared with the others of the draw.
    own = np.any(has & (one.form_shift_sd > 0), axis=1)[:, None]
    shift = one.form_shift_sd * own
    one = replace(one, form_shift_sd=one.form_shift_sd * ~own)

    def covariance(rows: npt.NDArray[np.intp]) -> Floats:
        spread = one.take(rows).covariance(sampling=False, form=False)
        spread += shift[rows, :, None] * shift[rows, None, :]
        return spread

    mean = one.mean + even_normal(seed, draw, "form") * one.form_shift_sd
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


class _DrawnBetas:
    def __init__(self, seed: int, draw: int) -> None:
        self.seed, self.draw = seed, draw
        self._cache: dict[tuple[str, str], Mapping[str, Floats]] = {}

    def __call__(self, group: str, sex: str, measure: str) -> Floats:
        if (group, sex) not in self._cache:
            self._cache[group, sex] = self._of(group, sex)
        return self._cache[group, sex][measure]

    def _of(self, group: str, sex: str) -> Mapping[str, Floats]:
        model = group_models(group)[sex]
        size = max(len(one.beta) for one in model.measures.values())
        # Every second draw takes the opposite: their errors cancel in the mean.
        stream = f"beta/{group}/{sex}/{self.draw // 2}"
        z = normals(self.seed, keys_of(SEATED_AND_GIRTHS), stream, size)
        z = -z if self.draw % 2 else z
        # Measures taken on the same people err together, as their residuals do.
        z = np.linalg.cholesky(model.correlation) @ z
        return {
            name: model.measures[name].beta
            + model.measures[name].root @ z[i, : len(model.measures[name].beta)]
            for i, name in enumerate(SEATED_AND_GIRTHS)
        }


def _as_frames(
    people: pd.DataFrame,
    frame: pd.DataFrame,
    values: Floats,
    level: npt.NDArray[np.int8],
    far: npt.NDArray[np.bool_],
    draws: int,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    n = len(people)
    names = (*model_donors.BUILD, *SEATED_AND_GIRTHS)
    drawn = dict(zip(names, values.T, strict=True))
    carried = [c for c in frame.columns if c not in (*MEASURES, "draw")]
    first = ["person", "draw", "sex", "age_years"]
    tiled = {c: pd.concat([frame[c]] * draws, ignore_index=True) for c in carried}
    tiled["draw"] = pd.Series(np.repeat(np.arange(draws), n))
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
