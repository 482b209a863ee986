"""What the error of the model's coefficients adds to the variance of an estimate.

An estimate is a mean of something seen of drawn bodies, and its derivative by a
coefficient is the mean of the same thing times the score of the body drawn (Rubinstein,
Oper Res 1989;37:72-81, from memory): no body needs drawing again. With ``g`` the
derivatives and ``C`` the coefficients' covariance the variance is ``g' C g``, the delta
method; the disagreement of forms beyond the range of BMI counts as one more
coefficient. Scores are centred over each person's draws: one outcome in all adds no
noise. What a coefficient or a bias moves, times the person's weight, is smoothed over
BMI, stature and age, so that a few people of large weight do not decide.

A population of another shape moves the mean log of a measure by ``model_bias``,
measures together as residuals go, women, men and children by the same number of SDs,
from the scores of the measures judged (and known) alone: others would only add noise.
Near a best edge that derivative is 0 and any bias lowers the share: ``c``, the mean
change by the second derivative, is the mean of the same thing times half of ``s' B s -
tr(P B)``, ``s`` the score, ``P`` its precision, ``B`` the biases' covariance. Its mean
square is at most ``3 c^2`` where all biases bend the share the same way: it is added.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.measures import EVIDENCE, SEATED_AND_GIRTHS
from sizing.people.body.chance import patterns
from sizing.people.body.donors import BUILD
from sizing.people.body.draw import law_of_draw
from sizing.people.body.model import (
    adult_share,
    group_models,
    model_age,
    model_bias,
    monomials,
)
from sizing.stats.formulas import Floats

#: Rows, smooth terms, weights, age group and sex of some of the people.
Block: TypeAlias = tuple[npt.NDArray[np.int64], Floats, Floats, str, str]
#: Powers of q, s, a in which what a coefficient or a bias moves is smoothed.
_SMOOTH = np.array(
    [(i, j, k) for i in range(3) for j in range(3) for k in range(3) if i + j + k < 3]
)


@lru_cache(maxsize=1)
def bias_correlation() -> Floats:
    """Return how the biases of the measures go together: as residuals do."""
    parts = [one for g in ("child", "adult") for one in group_models(g).values()]
    alike: Floats = np.mean([one.correlation for one in parts], axis=0)
    return alike


@dataclass(frozen=True)
class Drawn:
    """The number that the draw of each row of a table of people had when drawn."""

    seed: int
    draw: npt.NDArray[np.int64]


class CoefficientError:
    """How far estimates from drawn people move with the model's coefficients.

    ``frame`` and ``evidence`` as of ``People``; ``rows`` (draws, persons) are places in
    them. With ``judged``, the measures that the estimates depend on, the typical bias
    of the model in other populations is counted too, unless ``bias`` is False.
    """

    def __init__(
        self,
        frame: pd.DataFrame,
        evidence: pd.DataFrame,
        drawn: Drawn,
        rows: npt.NDArray[np.int64],
        weight: Floats,
        judged: Sequence[str] | None = None,
        *,
        bias: bool = True,
    ) -> None:
        self._evidence, self._drawn = evidence, drawn
        self._rows, self._weight = rows, weight
        self.with_bias = bias and judged is not None
        wanted = SEATED_AND_GIRTHS if judged is None else judged
        self._judged = np.isin(SEATED_AND_GIRTHS, list(wanted))
        # As categories first: two words, not one for every row.
        self._sex = frame["sex"].astype("category").to_numpy(dtype=object)
        self._values = frame[[*BUILD, *SEATED_AND_GIRTHS]].to_numpy(dtype=float)
        #: Every estimate from these people asks for the same blocks.
        self._known: dict[int, list[Block]] = {}

    @cached_property
    def _scores(self) -> tuple[Floats, Floats]:
        """Scores of the mean logs and of their bend by a bias, and of the forms."""
        build, values = self._values[:, :3], np.log(self._values[:, 3:])
        known = (self._evidence[list(SEATED_AND_GIRTHS)] == EVIDENCE[0]).to_numpy()
        score = np.zeros((len(values), values.shape[1] + 2))
        alike = bias_correlation()
        biases = model_bias(adult_share(model_age(build[:, 2])))
        for draw in np.unique(self._drawn.draw).tolist():
            rows = np.flatnonzero(self._drawn.draw == draw)
            has = known[rows]
            one, mean, covariance_of = law_of_draw(
                self._sex[rows], build[rows], has, seed=self._drawn.seed, draw=draw
            )
            covariance, gap = covariance_of(np.arange(len(rows))), values[rows] - mean
            each, bend, sd = np.zeros_like(gap), np.zeros(len(rows)), biases[rows]
            for at, given in patterns(has):
                # What was known has no chance in it: its own score is taken off.
                for sign, used in ((1, given | self._judged), (-1, given)):
                    use = np.flatnonzero(used)
                    precision = np.linalg.inv(covariance[at][:, use][:, :, use])
                    each[np.ix_(at, use)] += sign * np.einsum(
                        "pij,pj->pi", precision, gap[at][:, use]
                    )
                    own, s = alike[np.ix_(use, use)], sd[at][:, use]
                    told = np.einsum("pij,ij,pi,pj->p", precision, own, s, s)
                    bend[at] -= sign * told
            bend += np.einsum("pi,ij,pj->p", each * sd, alike, each * sd)
            score[rows, :-2], score[rows, -2] = each, bend / 2
            score[rows, -1] = (each * one.form_shift_sd).sum(axis=1)
        number = self._drawn.draw[self._rows]
        # A person may have had fewer different draws than rows.
        count = 1 + (np.diff(np.sort(number, axis=0), axis=0) > 0).sum(axis=0)[:, None]
        mean = score[self._rows].mean(axis=0)
        centred = (score[self._rows] - (count > 1) * mean) * count
        score[self._rows] = centred / np.maximum(count - 1, 1)
        return score[:, :-1], score[:, -1]

    @cached_property
    def _maps(self) -> list[tuple[Floats, list[Floats]]]:
        """By block, from smooth terms to people's mean, and what coefficients move."""
        found = []
        for at, smooth, weight, group, sex in self._blocks(0):
            model, years = group_models(group)[sex], model_age(self._values[at, 2])
            mass, stature = self._values[at, 0], self._values[at, 1]
            x = model.predictors(mass, stature, years)
            inverse = np.linalg.pinv(smooth.T @ smooth, hermitian=True)
            weighted = inverse @ (smooth * weight[:, None]).T
            each = (model.measures[name] for name in SEATED_AND_GIRTHS)
            ways = [weighted @ one.design(x, years)[0] @ one.root for one in each]
            found.append((weighted.sum(axis=1), ways))
        return found

    def _blocks(self, draw: int) -> list[Block]:
        if draw not in self._known:
            rows = self._rows[draw]
            adult = adult_share(model_age(self._values[rows, 2]))
            found: list[Block] = []
            for group, share in (("child", 1 - adult), ("adult", adult)):
                for sex, model in group_models(group).items():
                    at = np.flatnonzero((self._sex[rows] == sex) & (share > 0))
                    x = model.predictors(*self._values[rows[at], :3].T)
                    weight, smooth = share[at] * self._weight[at], monomials(x, _SMOOTH)
                    found.append((rows[at], smooth, weight, group, sex))
            self._known[draw] = found
        return self._known[draw]

    def gradient(self, draw: int, influence: Floats) -> Floats:
        """Return a draw's part of what ``variance`` asks for, (columns, ...)."""
        rows = self._rows[draw]
        person = np.empty(len(self._sex), dtype=np.intp)
        person[rows] = np.arange(len(influence))
        scores, form = self._scores
        each = influence / np.where(self._weight > 0, self._weight, 1.0)[:, None]
        parts = [influence.T @ form[rows][:, None]]
        width = scores.shape[1] * len(_SMOOTH)
        for at, smooth, *_ in self._blocks(draw):
            moved = scores[at][:, :, None] * smooth[:, None, :]
            parts.append(each[person[at]].T @ moved.reshape(len(at), width))
        return np.hstack(parts)

    def biased(self, gradient: Floats) -> tuple[Floats, Floats]:
        """Return how each estimate moves by biases of one SD, and its bend by them."""
        mean = np.array([whole for whole, _ in self._maps])
        told = np.einsum("cijk,ik->cij", self._moved(gradient), mean)
        # People between the two models have the biases of both, by their shares.
        adult = [float(group == "adult") for *_, group, _ in self._blocks(0)]
        shift = np.einsum("cij,ij->cj", told[:, :, :-1], model_bias(adult))
        return shift, told[:, :, -1].sum(axis=1)

    def _moved(self, gradient: Floats) -> Floats:
        shape = len(gradient), len(self._blocks(0)), -1, len(_SMOOTH)
        return gradient[:, 1:].reshape(shape)

    def variance(self, gradient: Floats) -> Floats:
        """Return each estimate's variance, from the mean of the draws' gradients."""
        out: Floats = gradient[:, 0] ** 2
        if self.with_bias:
            shift, bend = self.biased(gradient)
            out += np.einsum("cj,jl,cl->c", shift, bias_correlation(), shift)
            out += 3 * bend**2
        moved = self._moved(gradient)
        for i, (*_, group, sex) in enumerate(self._blocks(0)):
            ways = [moved[:, i, j] @ one for j, one in enumerate(self._maps[i][1])]
            width = max(part.shape[1] for part in ways)
            same = [np.pad(p, ((0, 0), (0, width - p.shape[1]))) for p in ways]
            # Measures taken on the same people err together, as their residuals do.
            r = group_models(group)[sex].correlation
            out += np.einsum("jck,jl,lck->c", np.array(same), r, np.array(same))
        return out
