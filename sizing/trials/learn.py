"""What trials of slings teach: where each size really begins and ends."""

from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.build import chart_from
from sizing.client.readings import MASS
from sizing.errors import SizingError, check_seed
from sizing.measures import plain
from sizing.resources import closing, invented_words, texts
from sizing.trials import model
from sizing.trials.model import OUTCOMES, Floats, Tried
from sizing.trials.read import WHERE, Trials
from sizing.words.numbers import span, written

_T = texts("trials")
ENDS, WRONG = ("low", "high"), ("too large", "too small")
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
_MOST_MORE = 2000


@dataclass(frozen=True)
class LearnedChart:
    """A chart beside what trials of its slings showed: see ``learn_chart``."""

    edges: pd.DataFrame
    services: pd.DataFrame
    surprising: pd.DataFrame
    trials: Trials
    chart: SizeChart

    @property
    def invented(self) -> tuple[str, ...]:
        own = ("trials",) if self.trials.invented else ()
        return (*self.trials.chart.invented, *own)

    @property
    def learned(self) -> pd.DataFrame:
        return self.edges[self.edges["estimate"].notna()]

    def answer(self, units: str = "metric") -> str:
        n, rows, own = len(self.trials.frame), self.learned, _T.answer
        if rows.empty:
            return f"{own['nothing'].format(n=n)} {own['keep']}"
        far = rows[~rows["printed"].between(rows["low"], rows["high"])]
        shown = far if len(far) else rows
        off = (shown["estimate"] - shown["printed"]).abs()
        worst = shown.iloc[int(off.argmax())]
        measure, say = str(worst["measure"]), partial(written, units=units)
        which = own["far" if len(far) else "near"].format(far=len(far))
        told = own["known"].format(n=n, known=len(rows), edges=len(self.edges))
        most = own["most"].format(
            measure=plain(measure),
            size=worst["size"],
            begins="begins" if worst["end"] == "low" else "ends",
            learned=say(worst["estimate"], measure, to="half"),
            sure=span(worst["low"], worst["high"], measure, say, to="half"),
            printed=say(worst["printed"], measure, to="half"),
        )
        return f"{told} {which} {most} {own['beside' if len(far) else 'keep']}"

    def summary(self) -> str:
        own, left = _T.answer, self.trials.left_out["reason"].value_counts()
        lines = [invented_words(*self.invented), self.answer()]
        lines += [own["sure"]] if len(self.learned) else []
        lines += [own["left_out"].format(n=n, reason=r) for r, n in left.items()]
        odd = self.services[self.services["disagrees"]]["service"].unique()
        lines += [own["disagree"].format(names=", ".join(odd))] if len(odd) else []
        return "\n".join(filter(None, [*lines, closing()]))


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
        ``.edges``: every printed edge with estimate and interval (NaN: none, and
        ``why_none``), n (trials of the size), limiting (of these, those that were or
        may have been off there), more_trials (about how many like these settle it to 1
        cm; NaN beyond 2,000). ``.services``: count and expected of each outcome,
        disagrees; from five services on, how far in cm a size reaches further down
        (``too large``) or up as that service judges it. ``.surprising``: trials that
        the others did not lead to expect. ``.chart``: edges learned, or else printed.

    Raises
    ------
    SizingError
        If all trials fit, or none did: then nothing shows where a size ends.

    Notes
    -----
    From person to person an edge is unsharp by s, and a reading x errs by e: too large
    at a measure has the chance Phi((low - x) / r), too small Phi((x - high) / r), with
    r^2 = s^2 + e^2; a trial fits if every measure does. An edge is the printed one,
    moved by what all sizes share (SD 5 cm) and by a part of its own. The posterior is
    drawn (``sizing.trials.model.draw``).

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
        what = "all fit" if fits.all() else "none fits"
        raise SizingError(
            _T.refused["alike"].format(n=len(fits), what=what),
            allowed=_T.refused["alike_allowed"],
            action=_T.refused[what.replace(" ", "_")],
        )
    sizes = [s for s in trials.chart.sizes if (trials.frame["size"] == s).any()]
    # Under five services none has an effect of its own.
    names = sorted(name for name in trials.frame["service"].unique() if name)
    services = names if len(names) >= LEAST_SERVICES else []
    tried = _tried(trials, sizes, services)
    thetas = model.draw(tried, np.random.default_rng(seed))
    drawn = np.array([model.state(tried, theta).edges for theta in thetas])
    edges = _edges(trials, tried, sizes, drawn)
    alone = replace(tried, service=np.full(len(outcomes), -1))
    without = np.delete(thetas, np.r_[tried.parts[2]], axis=1)
    chances = np.array([model.outcome_chances(alone, t) for t in without[::10]])
    at = outcomes.map(OUTCOMES.index).to_numpy()
    odd = trials.frame.assign(chance=chances.mean(axis=0)[at, np.arange(len(at))])
    odd = odd[odd["chance"] < SURPRISE].sort_values("chance", kind="stable")
    odd = odd[["row", "service", "size", "outcome", "chance"]].reset_index(drop=True)
    by_service = _by_service(trials, chances, tried, thetas, services)
    return LearnedChart(edges, by_service, odd, trials, _chart(trials, edges))


def _tried(trials: Trials, sizes: list[str], services: list[str]) -> Tried:
    frame, measures = trials.frame, trials.measures
    chart = trials.chart.frame.set_index("size").loc[sizes]
    columns = ([f"{m}_{end}" for m in measures] for end in ENDS)
    printed = [chart.reindex(columns=names).to_numpy(float).T for names in columns]
    none = np.array([-model.FAR, model.FAR]).reshape(2, 1, 1)
    said = [[[m in told for told in frame[name]] for m in measures] for name in WHERE]
    return Tried(
        frame[list(measures)].to_numpy(float).T,
        frame[[f"{m}_error" for m in measures]].to_numpy(float).T,
        pd.Index(sizes).get_indexer(pd.Index(frame["size"])),
        pd.Index(services, dtype=object).get_indexer(pd.Index(frame["service"])),
        np.where(np.isnan(printed), none, printed),
        np.array(said),
        np.array([OUTCOMES.index(outcome) for outcome in frame["outcome"]]),
        np.array([KG if m == MASS else 1.0 for m in measures]),
    )


def _edges(
    trials: Trials, tried: Tried, sizes: list[str], drawn: Floats
) -> pd.DataFrame:
    low, middle, high = np.quantile(drawn, [0.05, 0.5, 0.95], axis=0)
    variance = drawn.var(axis=0)
    prior = model.SHIFT_SD**2 + model.STRAY[0] ** 2 * np.exp(2 * model.STRAY[1] ** 2)
    chart, frame, rows = trials.chart.frame.set_index("size"), trials.frame, []
    none = pd.Series(np.nan, chart.index)
    places = product(enumerate(trials.measures), trials.chart.sizes, enumerate(ENDS))
    for (j, measure), size, (e, end) in places:
        printed = chart.get(f"{measure}_{end}", none)[size]
        if pd.isna(printed):
            continue
        wrong, own = WRONG[e], frame[frame["size"] == size]
        row: dict[str, Any] = {"measure": measure, "size": size, "end": end}
        row |= {"printed": float(printed), "method": _T.method, "n": len(own)}
        row |= {"limiting": _limiting(own, e, measure), "why_none": ""}
        rows.append(row)
        if len(own) < LEAST_OF_SIZE:
            row["why_none"] = _T.reasons["few"].format(least=LEAST_OF_SIZE)
        elif not _limiting(frame, e, measure):
            row["why_none"] = _T.reasons["never"].format(wrong=wrong)
        else:
            at, unit = (e, j, sizes.index(size)), tried.unit[j]
            if high[at] - low[at] > WIDEST * unit:
                row["why_none"] = _T.reasons["wide"]
            else:
                row |= {"estimate": middle[at], "low": low[at], "high": high[at]}
            v = variance[at] / unit**2
            each = (1 / v - 1 / prior) / len(frame)
            lacks = (_Z / SETTLED) ** 2 - 1 / v
            more = np.inf if each <= 0 else max(0.0, np.ceil(lacks / each))
            row["more_trials"] = more if more <= _MOST_MORE else np.nan
    columns = ["measure", "size", "end", "printed", "estimate", "low", "high", "method"]
    columns += ["n", "limiting", "more_trials", "why_none"]
    return pd.DataFrame(rows, columns=columns)


def _limiting(frame: pd.DataFrame, end: int, measure: str) -> int:
    """Count the trials that were, or may have been, off at a measure in one way."""
    off = frame["outcome"].isin([WRONG[end], "both"])
    there = [not told or measure in told for told in frame[WHERE[end]]]
    return int((off & np.array(there, dtype=bool)).sum())


def _by_service(
    trials: Trials, chances: Floats, tried: Tried, thetas: Floats, services: list[str]
) -> pd.DataFrame:
    columns = ["service", "n", "outcome", "count", "expected", "disagrees"]
    rows = []
    states = (model.state(tried, theta) for theta in thetas)
    draws = np.array([one.service * one.scales[1] for one in states])
    groups = trials.frame[trials.frame["service"] != ""].groupby("service")
    for (name, own), e in product(groups, (0, 1)):
        outcome = WRONG[e]
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
    table = pd.DataFrame(rows, columns=[*columns, "estimate", "low", "high"])
    return table.astype({"disagrees": bool})


def _chart(trials: Trials, edges: pd.DataFrame) -> SizeChart:
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
    named: Any = {"name": f"{chart.name}, learned", "source": source}
    return chart_from(frame.reset_index()[list(chart.frame)], **named, warn=False)
