"""Fitting tools that the two derive_*_model scripts share."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.population.model_terms import Floats, monomials


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


def weighted_correlation(e: Floats, weights: Floats) -> Floats:
    """Correlation matrix of the columns, weighted."""
    w = weights / weights.sum()
    centred = e - w @ e
    covariance = (centred.T * w) @ centred
    sd = np.sqrt(np.diag(covariance))
    return covariance / np.outer(sd, sd)


def rake(
    frame: pd.DataFrame,
    margins: Mapping[str, pd.Series],
    *,
    cap: float = 8.0,
    rounds: int = 200,
) -> Floats:
    """Weights whose shares meet each margin (iterative proportional fitting).

    Weights over ``cap`` times the mean are trimmed after each round, so that
    no few persons decide a coefficient. Deming and Stephan 1940.
    """
    w = np.ones(len(frame))
    codes = {name: frame[name].to_numpy() for name in margins}
    for _ in range(rounds):
        before = w.copy()
        for name, share in margins.items():
            now = pd.Series(w).groupby(codes[name]).sum() / w.sum()
            factor = (share / share.sum()).reindex(now.index) / now
            w = w * factor.loc[codes[name]].to_numpy()
        w = np.minimum(w / w.mean(), cap)
        if np.abs(w - before).max() < 1e-8:
            break
    return w / w.mean()


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
