"""Fit the bands of one group of sizes, with a certificate and a rival."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from tqdm.auto import tqdm

from sizing.bands.cells import Floats, Width
from sizing.bands.fitter import NEAR, Fitter
from sizing.bands.goal import Boxes, Measured, chart_of, share_covered
from sizing.charts import GROUPS, SizeChart
from sizing.errors import SizingError, check_number, check_seed, one_of
from sizing.people import People
from sizing.people.classes import ADULT_AGE
from sizing.resources import texts
from sizing.stats.formulas import student
from sizing.words.numbers import points, share, sizes_fit

_T = texts("bands")
#: A difference in held-out coverage too small to matter to a buyer of sizes.
AS_GOOD = 0.002
#: A bound further above the value than this is told with what could be done about
#: it: what the default presses to, and rounding.
LOOSE = 1.01 * NEAR
#: What tells a person's group.
NEEDED = ("age_years", "body_mass_kg", "stature_cm")
#: There is no one threshold; this is one of published health-service policies.
BARIATRIC_BMI = 40.0


@dataclass(frozen=True)
class HeldOut:
    """What charts fitted to half of the persons cover of the other, a share a split."""

    fitted: Floats
    rival: Floats
    persons: int

    def told(self, which: str = "fitted") -> tuple[float, float, float]:
        """Return mean and 95 % interval over the splits; NaN where there are too few.

        By Student's t with the variance of the splits times (1/splits + 1) (Nadeau
        and Bengio 2003, from memory); the survey design is not allowed for.
        """
        gain = self.fitted - self.rival
        values = {"fitted": self.fitted, "rival": self.rival, "gain": gain}[which]
        n, none = len(values), float("nan")
        mean = float(values.mean()) if n else none
        if n < 2:
            return mean, none, none
        reach = float(values.std(ddof=1)) * np.sqrt(1 / n + 1) * float(student(n - 1))
        low, high = mean - reach, mean + reach
        return mean, *((low, high) if which == "gain" else (max(low, 0), min(high, 1)))


def check_splits(splits: object, seed: object) -> None:
    """Refuse a number of half-splits or a seed that makes no sense."""
    # The upper end is a choice of ours: a thousand times what is usual.
    check_number("the number of half-splits", splits, least=0, most=10_000, whole=True)
    check_seed(seed)


def half_splits(
    fitter: Fitter, *, splits: int, seed: int, progress: bool = False
) -> HeldOut:
    """Fit to a random half of the persons, judge on the other, then the other way."""
    measured = fitter.measured
    rng = np.random.default_rng(seed)
    n = measured.persons
    if n < 2 or splits < 1:
        return HeldOut(np.empty(0), np.empty(0), 0)
    shares = []
    half = np.zeros(n, dtype=bool)
    words = "Fitting to halves of the people"
    for split in tqdm(range(splits), desc=words, delay=2, disable=not progress):
        if split % 2 == 0:
            if fitter.meter.spent:
                break
            half = np.zeros(n, dtype=bool)
            half[rng.permutation(n)[: n // 2]] = True
        else:
            half = ~half
        train = half[measured.person]
        weight = np.where(train, measured.weight, 0.0)
        try:
            charts = (fitter.fit(weight), fitter.rival(weight))
        except SizingError:
            # Half of the people may not meet constraints that all of them do;
            # the splits that remain are counted in the table.
            continue
        shares.append([fitter.value(chart, ~train) for chart in charts])
    fitted, other = np.array(shares).reshape(-1, 2).T
    return HeldOut(fitted, other, n - n // 2)


def at_most(bound: float) -> str:
    """Write a bound in percent, rounded up: one rounded down would not hold."""
    return f"{np.ceil(1000 * bound - 1e-6) / 10:.1f} %"


@dataclass(frozen=True)
class BandFit:
    """A fitted chart, how good it is, and how good it could be at best.

    ``value``, of ``objective``, is the share under "covered". No chart with these
    widths and edges on whole mm and 0.1 kg (or as rounded) is worth more than
    ``upper_bound``. The rival: quantile-centred bands of the same widths.
    """

    chart: SizeChart
    share: float
    objective: str
    value: float
    upper_bound: float
    held_out_splits: HeldOut
    rival: SizeChart
    rival_value: float
    people: str
    persons: int

    @property
    def gap(self) -> float:
        """What a better chart could gain at most on the people given."""
        return self.upper_bound - self.value

    @property
    def held_out(self) -> float:
        """Mean value (share covered) for persons the fit had not seen."""
        return self.held_out_splits.told()[0]

    @property
    def rival_held_out(self) -> float:
        return self.held_out_splits.told("rival")[0]

    @property
    def table(self) -> pd.DataFrame:
        """One row per figure: chart, people, estimate, low, high, method, n."""
        splits, none = self.held_out_splits, (float("nan"),) * 2
        given: dict[str, tuple[float, str]] = {
            "fitted": (self.value, "count"),
            "any on the finest grid": (self.upper_bound, "certified upper bound"),
            "rival": (self.rival_value, "count"),
        }
        rows: list[tuple[Any, ...]] = [
            (chart, "given", value, *none, how, self.persons)
            for chart, (value, how) in given.items()
        ]
        held = "held out", f"{len(splits.fitted)} half-splits by person", splits.persons
        named = {"fitted": "fitted", "rival": "rival", "gain": "fitted less rival"}
        for which, chart in named.items():
            rows.append((chart, held[0], *splits.told(which), *held[1:]))
        columns = ["chart", "people", "estimate", "low", "high", "method", "n"]
        return pd.DataFrame(rows, columns=columns)

    def summary(self) -> str:
        """Say in plain words how well the chart does."""
        bound, covered = self.upper_bound, self.objective == "covered"
        splits, tenth = self.held_out_splits, partial(share, places=1)
        fits = sizes_fit(len(self.chart.sizes), self.share)
        who = {"persons": self.persons, "people": self.people}
        ends = {"value": self.value, "bound": at_most(bound) if covered else bound}
        parts = [
            _T.said["people"].format(fits=fits, share=tenth(self.share), **who),
            _T.said[self.objective].format(**ends),
        ]
        if self.gap > LOOSE:
            gap = points(self.gap, places=1, sign=False)
            parts.append(_T.said["loose"].format(gap=gap))
        if len(splits.fitted):
            held, low, high = map(tenth, splits.told())
            rival = tenth(self.rival_held_out)
            told = {"held_out": held, "low": low, "high": high, "rival": rival}
            parts.append(_T.said["held_out"].format(**told))
            gain = splits.told("gain")[0]
            if self.chart.frame.equals(self.rival.frame):
                parts.append(_T.said["simple"])
            elif gain <= AS_GOOD:
                parts.append(_T.said["worse" if gain < -AS_GOOD else "as_good"])
        return " ".join(parts)


def fit_bands(
    people: People,
    *,
    widths: Mapping[str, Width],
    sizes: int,
    group: str | None = None,
    tolerance: float | None = None,
    splits: int = 10,
    seed: int = 1,
    progress: bool = False,
    **settings: Any,
) -> BandFit:
    """Find the graded chart that fits most people, exactly on its grid.

    Every size has an interval in each measure; from size to size no edge falls. Among
    all such charts with low edges on the grid, the one returned has the largest value
    (``sizing.bands.search`` has the method). Of equally good charts it is the one
    nearest to the quantile-centred bands: the least sum of distances between low edges,
    each divided by the band's width; of those, the one with the lowest edges, from the
    largest size downwards.

    Parameters
    ----------
    people : People
        The people to fit to. With one row each, three measures are smoothed unless
        ``smooth_cm`` is 0; where even so the quantile-centred bands do better on the
        half-splits, and only widths are asked for, these are returned.
    widths : mapping of measure to width
        In its unit, for one to four measures; a sequence gives one width per size.
    sizes : int
        Number of sizes, those owned included.
    group : {"paediatric", "adult", "bariatric"}, optional
        Group of the sizes; by default the one that all the people can share
        (``group_of``). Sizes for people of all ages have none.
    tolerance : float, optional
        How far above the value the certified bound may stay (a share). By default it
        is pressed to within a point with up to three measures, which takes a second or
        two as a rule, and with four where a first second comes within five points.
    splits, seed : int
        Half-splits for the held-out figures (0 for none), and their seed.
    progress : bool
        Whether a bar shows how many half-splits are done.
    **settings
        Grid, goal, constraints and sizes owned: see ``FitSettings``.

    Returns
    -------
    BandFit
        Chart, share, certificate, held-out figures and the rival's.

    Raises
    ------
    SizingError
        If a setting makes no sense, a measure is absent, nobody is measured or weighs
        anything, the sizes outnumber the people, or no chart meets the constraints.

    Notes
    -----
    With ``step_cm=0.1`` and no smoothing the bound equals the value. Measured on one
    processor with 4 sizes: on 6,068 soldiers, three measures at 1 mm, about 10 s and
    0.9 GB; four at 1 cm and 1 kg, to within a point in 7 s and 1.1 GB (5 sizes: 16 s
    and 2.1 GB); three measures and 8 sizes 12 s and 1.2 GB. On the kit's own people
    four measures mostly stay 1 to 5 points from proof (adults 4.3): the bound then
    rests on the best three. "judged" may stay two points from proof.

    Examples
    --------
    >>> from sizing.people import load_people
    >>> people = load_people("bariatric", draws=1)
    >>> fit = fit_bands(people, widths={"hip_circumference_cm": 25}, sizes=2, splits=0)
    >>> fit.share <= fit.upper_bound
    True
    """
    if group is not None:
        one_of("group", group, GROUPS)
    check_splits(splits, seed)
    if tolerance is not None:
        check_number("the tolerance", tolerance, least=0)
    settings = {"smooth_cm": None, **settings}
    fitter = Fitter.of(people, widths=dict(widths), sizes=sizes, **settings)
    measured = fitter.measured
    fitted, rival = fitter.fit(), fitter.rival(measured.weight)
    held = half_splits(fitter, splits=splits, seed=seed, progress=progress)
    if fitter.may_be_simple and held.told("gain")[0] < -1e-9:
        fitted, held = rival, replace(held, fitted=held.rival)
    chart = fitted_to(people, measured, fitted, "fitted chart", group)
    return BandFit(
        chart=with_owned(chart, fitter.asked.fixed, tuple(widths)),
        share=share_covered(measured, fitted),
        objective=fitter.asked.objective,
        value=fitter.value(fitted),
        upper_bound=fitter.certified(fitted, tolerance),
        held_out_splits=held,
        rival=fitted_to(people, measured, rival, "quantile-centred bands", group),
        rival_value=fitter.value(rival),
        people=people.name,
        persons=people.n,
    )


def fitted_to(
    people: People, measured: Measured, boxes: Boxes, name: str, group: str | None
) -> SizeChart:
    """Return the chart of some boxes, by default of the people's common group."""
    group = common_group(people) if group is None else group
    source = f"fitted to '{people.name}'"
    return chart_of(measured, boxes, group=group, name=name, source=source)


def with_owned(
    chart: SizeChart, fixed: SizeChart | None, measures: tuple[str, ...]
) -> SizeChart:
    """Return the chart with the names and load limits of the sizes owned."""
    if fixed is None:
        return chart
    frame = chart.frame.copy()
    # Of sizes with the same edges, the one that may lift as much.
    mine, theirs = (
        np.column_stack(
            [*[end for m in measures for end in one.edges(m)], one.load_limits()]
        )
        for one in (chart, fixed)
    )
    at = -1
    for owned, row in zip(theirs.tolist(), fixed.frame.to_dict("records"), strict=True):
        at = mine.tolist().index(owned, at + 1)
        frame.loc[at, "size"] = str(row["size"])
        frame.loc[at, "load_limit_kg"] = row.get("load_limit_kg", float("nan"))
    return replace(chart, frame=frame)


def group_of(people: People) -> pd.Series:
    """Return the group of ``GROUPS`` of each row; a person's mean build decides."""
    frame = people.frame
    if lacking := [name for name in NEEDED if name not in frame]:
        raise SizingError(
            "cannot work out the people's groups",
            allowed="people with " + ", ".join(NEEDED),
            action="add the column",
            column=lacking[0],
        )
    mean = frame.groupby("person")[list(NEEDED)].transform("mean")
    bmi = mean["body_mass_kg"] / (mean["stature_cm"] / 100) ** 2
    apart = [mean["age_years"] < ADULT_AGE, bmi >= BARIATRIC_BMI]
    group = np.select(apart, ["paediatric", "bariatric"], "adult")
    return pd.Series(group, index=frame.index, name="group")


def common_group(people: People) -> str:
    """Return the group that all can share (adults, the heavy too), or empty text."""
    frame = people.frame
    if "age_years" not in frame or frame["age_years"].isna().any():
        return ""
    lacking = {name: np.nan for name in NEEDED if name not in frame}
    kinds = set(group_of(replace(people, frame=frame.assign(**lacking))))
    if "paediatric" in kinds:
        return "paediatric" if len(kinds) == 1 else ""
    return "bariatric" if kinds == {"bariatric"} else "adult"
