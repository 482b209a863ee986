"""What share of a population a chart covers."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import OUTCOME_WORDS, OUTCOMES, Assignment, SizeChart, assign
from sizing.errors import SizingError, check_columns, check_number, check_replicates
from sizing.people.classes import age_band, bmi_class
from sizing.people.people import People, layout
from sizing.resources import closing, texts
from sizing.stats.estimates import SMALL_GROUP, Layout, Means, group_means
from sizing.stats.formulas import LEVEL, Floats, wilson
from sizing.words.numbers import interval, share

_T = texts("study")
#: How the group of all people is called in the column ``level``.
EVERYONE = "everyone"
NOT_KNOWN = "not known"
#: A column of more distinct values than this is no grouping.
_MOST_LEVELS = 50
#: How heavily each weighs unless asked otherwise: a choice of ours, without a source.
HARM_WEIGHTS: dict[str, float] = {"too_large": 2.0, "too_small": 1.0}
INTERVAL = f"{100 * LEVEL:.0f} % score interval on the effective number"


@dataclass(frozen=True)
class Coverage:
    """Shares of people by outcome: see ``estimate_coverage``."""

    table: pd.DataFrame
    by_size: pd.DataFrame
    chart: str
    people: str
    limits: tuple[str, ...] = ()
    harms: pd.DataFrame = field(default_factory=pd.DataFrame)

    def summary(self) -> str:
        """Return the result in plain words, with the usual cautions."""
        rows = self.table[self.table["level"] == EVERYONE]
        rows = rows[rows["by"] == EVERYONE]
        told = {str(row["outcome"]): row for _, row in rows.iterrows()}
        covered = told["covered"]
        first = {"chart": self.chart, "share": interval(covered, places=1)}
        first |= {"people": self.people, "n": covered["n"], "method": covered["method"]}
        parts = [
            f"{OUTCOME_WORDS[name]}: {interval(told[name], places=1)}"
            for name in OUTCOMES
            if told[name]["estimate"] > 0
        ]
        lines = [_T.said["covered"].format(**first), f"{'; '.join(parts)}."]
        if self.harms["estimate"].any():
            lines.append(harm_words(self.harms))
        weak = covered["extrapolated"] + covered["unsupported"] + covered["missing"]
        lines.append(_T.said["weak"].format(share=share(weak, places=1)))
        small = self.table.loc[self.table["small_group"], ["by", "level"]]
        if len(small):
            groups = "; ".join(small.drop_duplicates().agg(" ".join, axis=1))
            lines.append(_T.said["small"].format(number=SMALL_GROUP, groups=groups))
        lines.append(closing(self.limits))
        return "\n".join(lines)


def harm_words(
    harms: pd.DataFrame, too_large: float = 2.0, too_small: float = 1.0
) -> str:
    """Say which way the nearest size is wrong for those without one, and its weight."""
    check_columns(harms, ("harm", "estimate", "low", "high"), "the harms")
    rows = harms.to_dict("records")
    parts = [f"{_T.harms[row['harm']]}: {interval(row, places=1)}." for row in rows]
    weighed, alike = (
        share(weighed_harm(harms, *weights), places=1)
        for weights in ((too_large, too_small), (1, 1))
    )
    weights = {"too_large": too_large, "too_small": too_small}
    told = {"each": " ".join(parts), "weighed": weighed, "alike": alike}
    return str(_T.said["harms"].format(**weights, **told))


def weighed_harm(
    harms: pd.DataFrame, too_large: float = 2.0, too_small: float = 1.0
) -> float:
    """Return the share harmed, weighed; harmed both ways, by the heavier weight."""
    check_columns(harms, ("harm", "estimate"), "the harms")
    check_number("the weight of a size too large", too_large, above=0)
    check_number("the weight of a size too small", too_small, above=0)
    most = max(too_large, too_small)
    weight = {"too_large": too_large, "too_small": too_small, "both": most}
    weights = harms["harm"].map(weight).to_numpy(dtype=float)
    return float(harms["estimate"].to_numpy(dtype=float) @ weights) / most


def estimate_coverage(
    people: People,
    chart: SizeChart,
    *,
    by: str | Sequence[str] | None = None,
    replicates: int = 400,
    seed: int = 1,
) -> Coverage:
    """Estimate what share of people the chart covers.

    Parameters
    ----------
    people, chart : People, SizeChart
        Who is judged, one row per person and draw, and by what, in cm and kg.
    by : str or sequence of str, optional
        Groupings: ``sex``, ``age_band``, ``bmi_class``, or any column of
        ``people.frame`` with up to 50 values. Without it, everyone only.
    replicates, seed : int
        Of the bootstrap, where the people have no survey design.

    Returns
    -------
    Coverage
        ``.table``: by, level, outcome (``covered``, which is one + choice, then each
        of ``sizing.charts.OUTCOMES``); estimate, low, high (shares); method; n
        (persons in the group, mean over the draws), n_effective (Kish),
        standard_error, df; small_group (n under 30); predicted, extrapolated,
        unsupported, missing: the share whose answer rests, at its weakest measure, on
        such figures. ``.by_size``: size, share (``fits``; ``only_size``, those whom no
        other size fits) and such figures. ``.harms``: harm (the nearest size is
        too_large, too_small, both), estimate, low, high (share of all people), method,
        n; those over the load limit or not measured are in none.

    Raises
    ------
    SizingError
        If a grouping does not exist, the replicates are too few, the draws do not hold
        the same persons, or the weights cannot be used.

    Notes
    -----
    Sampling error by linearisation where the people have ``stratum`` and ``unit`` or
    were drawn from the body model (``People.drawn``, whose typical error in populations
    it never saw is carried: ``sizing.people.body.error``), else by a bootstrap of
    persons with their weights; joined over draws as ``sizing.stats.estimates`` says.
    Interval: Wilson's on the effective number of persons.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> found = estimate_coverage(load_people("bariatric", draws=1), demo_chart())
    >>> print(round(found.table.query("outcome != 'covered'")["estimate"].sum(), 9))
    1.0
    """
    check_replicates(replicates, least=50)
    groupings = by_list(by)
    place = layout(people, chart.measures)
    labels, members = memberships(people, groupings, place)
    found = assign(people, chart)

    means = group_means(
        place, outcome_columns(found, place), members, replicates=replicates, seed=seed
    )
    table = labelled(labels, ["covered", *OUTCOMES])
    table = table.join(figures(means, means.shares(), place))
    table = table.join(_evidence(found, place, members, 1 + len(OUTCOMES)))

    columns = np.concatenate([_by_size(found, place), _harms(found, place)], axis=2)
    everyone = [member[:, :1] for member in members]
    how = {"replicates": replicates, "seed": seed}
    sizes = group_means(place, list(columns), everyone, **how)
    ends = wilson(sizes.estimate, sizes.variance, sizes.df, means.n_effective[:1])
    each = figures(sizes, ends, place).drop(columns="small_group")
    by_size = each.iloc[: 2 * len(chart.sizes)].copy()
    by_size.insert(0, "size", np.tile(chart.sizes, 2))
    by_size.insert(1, "share", np.repeat(["fits", "only_size"], len(chart.sizes)))
    harms = each.iloc[len(by_size) :, :5].reset_index(drop=True)
    harms.insert(0, "harm", list(_T.harms))
    return Coverage(table, by_size, chart.name, people.name, people.limits, harms)


def labelled(
    labels: Sequence[tuple[str, str]], outcomes: Sequence[str]
) -> pd.DataFrame:
    rows = [(*label, outcome) for label in labels for outcome in outcomes]
    return pd.DataFrame(rows, columns=["by", "level", "outcome"])


def figures(
    means: Means, ends: tuple[Floats, Floats], place: Layout, interval: str = INTERVAL
) -> pd.DataFrame:
    """Return estimates with their intervals, one row for each group and column."""
    width = means.estimate.shape[1]
    n = np.repeat(np.round(means.n).astype(np.int64), width)
    return pd.DataFrame(
        {
            "estimate": means.estimate.ravel(),
            "low": ends[0].ravel(),
            "high": ends[1].ravel(),
            "method": f"{interval}; {place.how}{place.joined}",
            "n": n,
            "n_effective": np.repeat(means.n_effective, width),
            "standard_error": np.sqrt(means.variance).ravel(),
            "df": means.df.ravel(),
            "small_group": n < SMALL_GROUP,
        }
    )


def grouping(frame: pd.DataFrame, by: str) -> pd.Categorical:
    """Return each row's level, ``NOT_KNOWN`` last; own columns go before made ones."""
    made = {
        "age_band": ["age_years"],
        "bmi_class": ["sex", "age_years", "body_mass_kg", "stature_cm"],
    }
    needed = [by] if by in frame else made.get(by, [by])
    if lacking := [c for c in needed if c not in frame]:
        options = [c for c in frame.columns if c not in ("person", "draw")]
        raise SizingError(
            f"the people have no column {', '.join(lacking)} to group by",
            allowed=f"age_band, bmi_class, {', '.join(map(str, options))}",
            action="choose one of these",
            value=by,
        )
    if by in frame:
        known = pd.Categorical(frame[by])
    else:
        level = age_band(frame["age_years"]) if by == "age_band" else bmi_class(frame)
        known = pd.Categorical(pd.Series(level))
    if len(known.categories) > _MOST_LEVELS:
        raise SizingError(
            f"the column '{by}' has {len(known.categories)} different values",
            allowed=f"a column of up to {_MOST_LEVELS} values",
            action="cut it into bands first, or use age_band or bmi_class",
        )
    labels: list[object] = [*(str(c) for c in known.categories), NOT_KNOWN]
    codes = np.where(known.codes < 0, len(labels) - 1, known.codes)
    return pd.Categorical.from_codes(codes, pd.Index(labels))


def by_list(by: str | Sequence[str] | None) -> list[str]:
    return [by] if isinstance(by, str) else list(by or ())


def memberships(
    people: People, groupings: Sequence[str], place: Layout
) -> tuple[list[tuple[str, str]], list[Floats]]:
    """Return (by, level) of everyone and each level, and who is in it, by draw."""
    labels = [(EVERYONE, EVERYONE)]
    parts = [np.ones((*place.rows.shape, 1))]
    weight = np.broadcast_to(place.weight, place.rows.shape).ravel()
    for by in groupings:
        level = grouping(people.frame, by)
        codes = level.codes[place.rows]
        weighed = np.bincount(codes.ravel(), weight, len(level.categories))
        kept = np.flatnonzero(weighed > 0)
        labels += [(by, str(level.categories[int(i)])) for i in kept]
        parts.append((codes[:, :, None] == kept).astype(float))
    return labels, list(np.concatenate(parts, axis=2))


def outcome_columns(found: Assignment, place: Layout) -> list[Floats]:
    """Return covered and each outcome as 0 and 1, one array per draw."""
    code = found.table["outcome"].cat.codes.to_numpy()[place.rows]
    each = (code[:, :, None] == np.arange(len(OUTCOMES))).astype(float)
    covered = each[:, :, :1] + each[:, :, 1:2]
    return list(np.concatenate([covered, each], axis=2))


def _by_size(found: Assignment, place: Layout) -> Floats:
    """Return who fits each size, then whom only that size fits."""
    fitting = found.fits[place.rows]
    only = fitting & (fitting.sum(axis=2, keepdims=True) == 1)
    return np.concatenate([fitting, only], axis=2).astype(float)


def _harms(found: Assignment, place: Layout) -> Floats:
    """Return whose nearest size is wrong which way, as ``_T.harms`` lists them."""
    table = found.table
    asked = table["outcome"].isin(["between", "beyond_largest", "below_smallest"])
    small, large = table["too_small"] & asked, table["too_large"] & asked
    each = np.stack([large & ~small, small & ~large, small & large], axis=1)
    return each[place.rows].astype(float)


def _evidence(
    found: Assignment, place: Layout, members: Sequence[Floats], repeat: int
) -> pd.DataFrame:
    """Return the weighted share of each level of evidence in each group."""
    level = found.table["evidence"].cat
    codes: npt.NDArray[np.integer[Any]] = level.codes.to_numpy()[place.rows]
    shares = []
    for code, member in zip(codes, members, strict=True):
        weighted = member * place.weight[:, None]
        each = code[:, None] == np.arange(len(level.categories))
        with np.errstate(invalid="ignore", divide="ignore"):
            shares.append(weighted.T @ each / weighted.sum(axis=0)[:, None])
    mean = np.mean(shares, axis=0)
    frame = pd.DataFrame(np.repeat(mean, repeat, axis=0), columns=level.categories)
    return frame[["predicted", "extrapolated", "unsupported", "missing"]]
