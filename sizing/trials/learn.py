"""What trials of slings teach: where each size really begins and ends."""

from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from sizing.cautions import closing, invented_words
from sizing.charts import SizeChart
from sizing.charts.build import chart_from
from sizing.client.how import MASS
from sizing.errors import SizingError, check_seed
from sizing.measures import vocabulary
from sizing.trials.model import (
    FAR,
    OUTCOMES,
    SHIFT_SD,
    STRAY,
    Floats,
    Tried,
    draw,
    outcome_chances,
    state,
)
from sizing.trials.read import WHERE, Trials
from sizing.words.numbers import span, written

ENDS = ("low", "high")
#: So many services bring trials before each has an effect of its own; a size tried
#: less often has no estimate (our choice, no source).
LEAST_SERVICES = LEAST_OF_SIZE = 5
#: An interval wider than this (kg: times ``KG``) is no estimate; an edge is settled
#: once it is known to so much either way (our choices, no source).
WIDEST, SETTLED = 5.0, 1.0
#: What counts as a cm where an edge is of a weight (our choice, no source).
KG = 3.0
#: A chance below which a trial surprises, and how far a service's counts may lie
#: from what all trials together lead to expect, in SDs (our choices, no source).
SURPRISE, ODD = 0.05, 2.0
_Z = 1.6449
METHOD = "median and 90 % interval of draws from the posterior"
_MOST_MORE = 2000


@dataclass(frozen=True)
class LearnedChart:
    """A chart beside what trials of its slings showed.

    ``edges``: every printed edge with its estimate and interval (NaN: none, and
    ``why_none``), n (trials of the size), limiting (of these, those that were or may
    have been too large for the low end, too small for the high), more_trials (about how
    many like these settle it to 1 cm; NaN beyond 2,000). ``services``: count and
    expected of each outcome, disagrees; and, where five or more services brought
    trials, how far in cm a size reaches further down (``too large``) or up (``too
    small``) as that service judges it. ``surprising``: trials that the others did not
    lead to expect. ``chart``: learned edges, and the printed where nothing was learned.
    """

    edges: pd.DataFrame
    services: pd.DataFrame
    surprising: pd.DataFrame
    trials: Trials
    chart: SizeChart

    @property
    def invented(self) -> tuple[str, ...]:
        """What of it is invented, for ``sizing.cautions.invented_words``."""
        own = ("trials",) if self.trials.invented else ()
        return (*self.trials.chart.invented, *own)

    @property
    def learned(self) -> pd.DataFrame:
        """The edges that have an estimate."""
        return self.edges[self.edges["estimate"].notna()]

    def answer(self, units: str = "metric") -> str:
        """Return the answer in short: what, how sure, what to do."""
        n, rows = len(self.trials.frame), self.learned
        if rows.empty:
            return (
                f"{n} trials do not yet show where a size begins or ends. The printed "
                "chart stands. Go on keeping the form."
            )
        rows = rows.assign(off=(rows["estimate"] - rows["printed"]).abs())
        far = rows[~rows["printed"].between(rows["low"], rows["high"])]
        worst = (far if len(far) else rows).nlargest(1, "off").to_dict("records")[0]
        measure, begins = worst["measure"], worst["end"] == "low"
        learned, printed = (
            written(worst[name], measure, units, to="half")
            for name in ("estimate", "printed")
        )
        name = vocabulary().set_index("name").loc[measure, "label"]
        say = partial(written, units=units)
        sure = span(worst["low"], worst["high"], measure, say, to="half")
        told = (
            f"{n} trials show {len(rows)} of {len(self.edges)} edges. The intervals of "
            f"{len(far)} leave out what is printed. The furthest off: by "
            f"{str(name).lower()}, {worst['size']} {'begins' if begins else 'ends'} at "
            f"{learned} (90 % interval {sure}), printed {printed}. "
        )
        if len(far):
            return f"{told}Set the learned chart beside the printed one; keep the form."
        return f"{told}The printed chart stands. Go on keeping the form."

    def summary(self) -> str:
        """Return the result in plain words, with the cautions."""
        lines = [invented_words(*self.invented), self.answer()]
        left = self.trials.left_out["reason"].value_counts()
        lines += [f"Left out: {count}: {reason}." for reason, count in left.items()]
        odd = self.services[self.services["disagrees"]]["service"].unique()
        if len(odd):
            lines.append(f"Trials that disagree with the others': {', '.join(odd)}.")
        lines.append(closing())
        return "\n".join(line for line in lines if line)


def learn_chart(trials: Trials, *, seed: int = 1) -> LearnedChart:
    """Estimate where sizes really begin and end.

    Parameters
    ----------
    trials : Trials
        From ``read_trials``.
    seed : int
        Of the draws from the posterior.

    Returns
    -------
    LearnedChart
        Every printed edge beside what was learned of it, and the learned chart.

    Raises
    ------
    SizingError
        If all trials fit, or none did: then nothing shows where a size ends.

    Notes
    -----
    A size of measure j fits a body of x from its edge low to its edge high; from
    person to person an edge is unsharp by s, and a reading errs by e: too large at j
    has the chance Phi((low - x) / r), too small Phi((x - high) / r), with r^2 = s^2 +
    e^2. A trial fits if every measure does. An edge is the printed one, moved by what
    all sizes share (SD 5 cm) and by a part of its own. The posterior is drawn, not
    approximated (``sizing.trials.model.draw``).

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.trials.read import demo_trials, read_trials
    >>> found = learn_chart(read_trials(demo_trials(), demo_chart(), invented=True))
    >>> found.edges["end"].unique().tolist(), found.chart.sizes == demo_chart().sizes
    (['low', 'high'], True)
    """
    check_seed(seed)
    outcomes = trials.frame["outcome"]
    if (fits := outcomes == "fits").all() or not fits.any():
        raise SizingError(
            f"of {len(fits)} trials {'all fit' if fits.all() else 'none fits'}: they "
            "do not show where a size begins or ends",
            allowed="trials of which some fit and some do not",
            action="write down each size tried, also those that were given up; never "
            "put anybody into a size that you expect to be wrong"
            if fits.all()
            else "look whether this is the chart, and the unit, of the slings tried",
        )
    sizes = [s for s in trials.chart.sizes if (trials.frame["size"] == s).any()]
    services = _services(trials)
    tried = _tried(trials, sizes, services)
    thetas = draw(tried, np.random.default_rng(seed))
    drawn = np.array([state(tried, theta).edges for theta in thetas])
    edges = _edges(trials, tried, sizes, drawn)
    alone = replace(tried, service=np.full(len(outcomes), -1))
    without = np.delete(thetas, np.r_[tried.parts[2]], axis=1)
    chances = np.array([outcome_chances(alone, t) for t in without[::10]])
    return LearnedChart(
        edges,
        _by_service(trials, chances, tried, thetas, services),
        _surprising(trials, chances.mean(axis=0)),
        trials,
        _chart(trials, edges),
    )


def _services(trials: Trials) -> list[str]:
    """Return the services that have an effect of their own; none under five."""
    names = [name for name in trials.frame["service"].unique() if name]
    return sorted(names) if len(names) >= LEAST_SERVICES else []


def _tried(trials: Trials, sizes: list[str], services: list[str]) -> Tried:
    frame, measures = trials.frame, trials.measures
    chart = trials.chart.frame.set_index("size").loc[sizes]
    printed = np.array(
        [
            [chart.get(f"{m}_{end}", pd.Series(np.nan, chart.index)) for m in measures]
            for end in ENDS
        ],
        dtype=float,
    )
    own = {name: i for i, name in enumerate(services)}
    none = np.array([-FAR, FAR]).reshape(2, 1, 1)
    said = [[[m in told for told in frame[name]] for m in measures] for name in WHERE]
    return Tried(
        frame[list(measures)].to_numpy(float).T,
        frame[[f"{m}_error" for m in measures]].to_numpy(float).T,
        np.array([sizes.index(size) for size in frame["size"]]),
        np.array([own.get(name, -1) for name in frame["service"]]),
        np.where(np.isnan(printed), none, printed),
        np.array(said),
        np.array([OUTCOMES.index(outcome) for outcome in frame["outcome"]]),
        np.array([KG if m == MASS else 1.0 for m in measures]),
    )


def _edges(
    trials: Trials, tried: Tried, sizes: list[str], drawn: Floats
) -> pd.DataFrame:
    """Return every printed edge beside what was learned of it."""
    low, middle, high = np.quantile(drawn, [0.05, 0.5, 0.95], axis=0)
    variance = drawn.var(axis=0)
    prior = SHIFT_SD**2 + STRAY[0] ** 2 * np.exp(2 * STRAY[1] ** 2)
    rows = []
    for j, measure in enumerate(trials.measures):
        for size in trials.chart.sizes:
            own = trials.frame[trials.frame["size"] == size]
            for e, end in enumerate(ENDS):
                edge = trials.chart.frame.set_index("size").get(f"{measure}_{end}")
                if edge is None or pd.isna(edge[size]):
                    continue
                wrong = ("too large", "too small")[e]
                all_ = _limiting(trials.frame, wrong, measure, WHERE[e])
                count = int(_limiting(own, wrong, measure, WHERE[e]))
                row: dict[str, Any] = {"measure": measure, "size": size, "end": end}
                row |= {"printed": float(edge[size]), "method": METHOD, "n": len(own)}
                row |= {"limiting": count, "why_none": ""}
                unit = tried.unit[j]
                if len(own) < LEAST_OF_SIZE:
                    row["why_none"] = f"under {LEAST_OF_SIZE} trials of this size"
                elif not all_:
                    row["why_none"] = f"no sling was {wrong} there"
                else:
                    i = sizes.index(size)
                    at = (e, j, i)
                    if high[at] - low[at] > WIDEST * unit:
                        row["why_none"] = "too few trials near this edge"
                    else:
                        row |= {"estimate": middle[at], "low": low[at]}
                        row |= {"high": high[at]}
                    v = variance[at] / unit**2
                    each = (1 / v - 1 / prior) / len(trials.frame)
                    lacks = (_Z / SETTLED) ** 2 - 1 / v
                    more = np.inf if each <= 0 else max(0.0, np.ceil(lacks / each))
                    row["more_trials"] = more if more <= _MOST_MORE else np.nan
                rows.append(row)
    columns = ["measure", "size", "end", "printed", "estimate", "low", "high", "method"]
    columns += ["n", "limiting", "more_trials", "why_none"]
    return pd.DataFrame(rows, columns=columns)


def _limiting(frame: pd.DataFrame, wrong: str, measure: str, where: str) -> int:
    """Count the trials that were, or may have been, off at a measure in one way."""
    off = frame["outcome"].isin([wrong, "both"])
    there = [not told or measure in told for told in frame[where]]
    return int((off & np.array(there, dtype=bool)).sum())


def _by_service(
    trials: Trials, chances: Floats, tried: Tried, thetas: Floats, services: list[str]
) -> pd.DataFrame:
    """Return what each service found beside what all together lead to expect."""
    columns = ["service", "n", "outcome", "count", "expected", "disagrees"]
    rows = []
    draws = np.array(
        [s.service * s.scales[1] for s in (state(tried, t) for t in thetas)]
    )
    for name, own in trials.frame.groupby("service"):
        for e, outcome in enumerate(("too large", "too small")):
            if not name:
                continue
            each = chances[:, [OUTCOMES.index(outcome), 3]][:, :, own.index].sum(axis=1)
            p = each.mean(axis=0)
            count = int(own["outcome"].isin([outcome, "both"]).sum())
            # What chance does, and how far the expected number itself is known.
            sd = max(np.sqrt((p * (1 - p)).sum() + each.sum(axis=1).var()), 0.5)
            row = {"service": name, "n": len(own), "outcome": outcome, "count": count}
            row |= {"expected": p.sum(), "disagrees": abs(count - p.sum()) > ODD * sd}
            if name in services:
                one = (-1, 1)[e] * draws[:, e, services.index(str(name))]
                found = np.quantile(one, [0.05, 0.5, 0.95])
                row |= dict(zip(("low", "estimate", "high"), found, strict=True))
            rows.append(row)
    found = pd.DataFrame(rows, columns=[*columns, "estimate", "low", "high"])
    return found.astype({"disagrees": bool})


def _surprising(trials: Trials, chance: Floats) -> pd.DataFrame:
    frame = trials.frame
    at = frame["outcome"].map(OUTCOMES.index).to_numpy()
    frame = frame.assign(chance=chance[at, np.arange(len(frame))])
    rows = frame[frame["chance"] < SURPRISE].sort_values("chance", kind="stable")
    return rows[["row", "service", "size", "outcome", "chance"]].reset_index(drop=True)


def _chart(trials: Trials, edges: pd.DataFrame) -> SizeChart:
    """Return the chart with what was learned in the place of what was printed."""
    chart, n = trials.chart, len(trials.frame)
    frame = chart.frame.set_index("size")
    for row in edges[edges["estimate"].notna()].to_dict("records"):
        value = round(row["estimate"], 1)
        if row["measure"] == MASS and row["end"] == "high":
            # What a sling may carry stands on its label, whatever trials say.
            value = min(value, row["printed"])
        frame.loc[row["size"], f"{row['measure']}_{row['end']}"] = value
    made_up = "invented trials; " if trials.invented else ""
    source = f"{made_up}edges learned from {n} trials; printed: {chart.source}"
    source = f"invented; {source}" if made_up or chart.invented else source
    name = f"{chart.name}, learned"
    return chart_from(
        frame.reset_index()[list(chart.frame)], name=name, source=source, warn=False
    )
