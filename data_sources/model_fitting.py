"""Fitting tools that the two derive_*_model scripts share."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.people.body.model import (
    STATURE_CENTRE_CM,
    monomials,
    predictors,
    tangent_terms,
)
from sizing.stats.formulas import Floats


def terms_of(text: str) -> np.ndarray:
    """Read ``"1 q s a qq qs"`` as powers of q, s, a."""
    return np.array(
        [[term.count(v) for v in "qsa"] for term in text.split()], dtype=np.int64
    )


def fit_mean_and_sd(
    x: Floats,
    y: Floats,
    terms: np.ndarray,
    weights: Floats,
    *,
    sd_age: bool = False,
    rounds: int = 30,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Fit ``y = beta'phi + exp(gamma'z) e`` by weighted maximum likelihood.

    Alternates weighted least squares for beta with Fisher scoring for gamma
    (Harvey 1976, Econometrica 44:461-465). The covariance of beta is the
    sandwich that holds under unequal weights.

    Returns
    -------
    beta, covariance, gamma, residuals : ndarray
        Residuals are standardised.
    """
    w = weights / weights.mean()
    phi = monomials(x, terms)
    z = np.column_stack([np.ones(len(x)), x[:, : 3 if sd_age else 2]])
    beta = np.linalg.lstsq(phi * np.sqrt(w)[:, None], y * np.sqrt(w), rcond=None)[0]
    gamma = np.zeros(z.shape[1])
    gamma[0] = 0.5 * np.log(np.average((y - phi @ beta) ** 2, weights=w))
    for _ in range(rounds):
        precision = w * np.exp(-2 * (z @ gamma))
        root = np.sqrt(precision)
        beta = np.linalg.lstsq(phi * root[:, None], y * root, rcond=None)[0]
        score = (y - phi @ beta) ** 2 * np.exp(-2 * (z @ gamma)) - 1
        step = np.linalg.solve(2 * (z.T * w) @ z, (z.T * w) @ score)
        gamma = gamma + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-10:
            break
    precision = w * np.exp(-2 * (z @ gamma))
    bread = np.linalg.inv((phi.T * precision) @ phi)
    raw = y - phi @ beta
    meat = (phi.T * (precision * raw) ** 2) @ phi
    covariance = bread @ meat @ bread
    full = np.zeros(4)
    full[: len(gamma)] = gamma
    return beta, covariance, full, raw * np.exp(-(z @ gamma))


def add_forms(
    entry: dict[str, Any],
    frame: pd.DataFrame,
    name: str,
    weights: Floats,
    typical: Sequence[tuple[float, float]],
    age_centre: float,
    *,
    via: Mapping[str, Any] | None = None,
) -> None:
    """Compare reasonable forms beyond the highest BMI; set shift and spread.

    The forms, all meeting at the edge of the range: the tangent and the curve
    itself (both on the logarithmic scale); a power of body mass, fitted
    without squares; a straight line in centimetres against kilograms; and, with
    ``via``, a power of hip girth, which NHANES holds for heavier people. Per
    unit of ``q`` beyond the edge, ``shift`` is what their mean adds to the
    tangent and ``spread`` makes their range a 90 % interval (range / 3.29).
    Both are least-squares slopes through the edge, over 0.7 of ``q`` (twice
    the BMI of the edge).
    """
    x = predictors(
        frame["body_mass_kg"], frame["stature_cm"], frame["age_years"], age_centre
    )
    y = np.log(frame[name].to_numpy(dtype=float))
    root = np.sqrt(weights)[:, None]
    power = monomials(x, terms_of("1 q s a"))
    by_power = np.linalg.lstsq(power * root, y * root[:, 0], rcond=None)[0][1]
    by_hip = 0.0
    if via is not None:
        hip = np.log(frame["hip_circumference_cm"].to_numpy(dtype=float))
        design = np.column_stack([np.ones(len(x)), hip, x[:, 1:]])
        by_hip = np.linalg.lstsq(design * root, y * root[:, 0], rcond=None)[0][1]
    u = np.linspace(0.0, 0.7, 29)
    means, ranges = [], []
    for stature, age in typical:
        tangent, curve, slope = _beyond(entry, u, stature, age, age_centre)
        line = np.log(np.maximum(1 + slope * (np.exp(u) - 1), 0.5))
        forms = [tangent, curve, by_power * u, line]
        if via is not None:
            hip_growth, _, _ = _beyond(
                via, u, stature, age, age_centre, start=_edge(entry, age)
            )
            forms.append(by_hip * hip_growth)
        stack = np.array(forms)
        means.append(stack.mean(axis=0) - tangent)
        ranges.append(np.ptp(stack, axis=0))
    entry["shift"] = float(u @ np.mean(means, axis=0) / (u @ u))
    entry["spread"] = float(u @ np.mean(ranges, axis=0) / (u @ u) / 3.29)


def _edge(entry: Mapping[str, Any], age: float) -> float:
    """The highest ``q`` supported at an age."""
    high = np.asarray(entry["range_q"])[:, 1]
    return float(np.interp(age, entry["range_age"], high))


def _beyond(
    entry: Mapping[str, Any],
    u: Floats,
    stature: float,
    age: float,
    age_centre: float,
    *,
    start: float | None = None,
) -> tuple[Floats, Floats, float]:
    """Growth of ``ln y`` beyond ``start``: by the tangent and by the curve."""
    edge = _edge(entry, age)
    q = (edge if start is None else start) + u
    s = np.full_like(q, np.log(stature / STATURE_CENTRE_CM))
    x = np.column_stack([q, s, np.full_like(q, (age - age_centre) / 10)])
    high = np.column_stack([np.full_like(q, edge), x[:, 1:]])
    beta = np.asarray(entry["beta"])
    tangent = tangent_terms(x, entry["terms"], np.minimum(x, high), high) @ beta
    curve = monomials(x, entry["terms"]) @ beta
    slope = (tangent[-1] - tangent[-2]) / (u[-1] - u[-2])
    return tangent - tangent[0], curve - curve[0], float(slope)


def weighted_correlation(e: Floats, weights: Floats) -> Floats:
    """Correlation matrix of the columns, weighted."""
    w = weights / weights.sum()
    centred = e - w @ e
    covariance = (centred.T * w) @ centred
    sd = np.sqrt(np.diag(covariance))
    return covariance / np.outer(sd, sd)


def rounded(value: Any, digits: int = 8) -> Any:
    """Arrays and floats as JSON numbers with ``digits`` significant digits."""
    if isinstance(value, Mapping):
        return {key: rounded(item, digits) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return rounded(value.tolist(), digits)
    if isinstance(value, list | tuple):
        return [rounded(item, digits) for item in value]
    if isinstance(value, float | np.floating):
        return float(f"{value:.{digits}g}")
    if isinstance(value, np.integer):
        return int(value)
    return value


def write_json(content: Mapping[str, Any], path: Path) -> None:
    """Write the coefficients, one measure a line so that a change can be read."""
    text = json.dumps(rounded(content), indent=1)
    # Number lists stay on one line.
    compact: list[str] = []
    depth = 0
    for line in text.splitlines():
        stripped = line.strip()
        if depth:
            compact[-1] += stripped if stripped[0] in "]" else " " + stripped
        else:
            compact.append(line)
        depth += stripped.count("[") - stripped.count("]")
    path.write_text("\n".join(compact).replace("[ ", "[") + "\n", encoding="utf-8")


def quantile_range(values: Floats, low: float, high: float) -> list[float]:
    """Low and high quantile as a list."""
    return [float(np.quantile(values, low)), float(np.quantile(values, high))]


def kish(weights: Sequence[float] | Floats) -> float:
    """Kish's design effect of weights."""
    w = np.asarray(weights, dtype=float)
    return float(len(w) * np.square(w).sum() / w.sum() ** 2)
