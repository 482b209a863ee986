"""Fit the bands of one group of sizes, with a certificate and a rival."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from tqdm.auto import tqdm

from sizing.bands.axis import Width
from sizing.bands.cells import Floats
from sizing.bands.fitter import NEAR, Boxes, Fitter
from sizing.bands.groups import common_group
from sizing.bands.measured import chart_of, share_covered
from sizing.charts import GROUPS, SizeChart
from sizing.errors import SizingError, check_number, check_seed, one_of
from sizing.people.people import People
from sizing.resources import texts
from sizing.stats.formulas import student
from sizing.words.numbers import points, share, sizes_fit

_T = texts("bands")
#: A difference in held-out coverage too small to matter to a buyer of sizes.
AS_GOOD = 0.002
#: A bound further above the value than this is told with what could be done about
#: it: what the default presses to, and rounding.
LOOSE = 1.01 * NEAR


@dataclass(frozen=True)
class HeldOut:
    """What a chart fitted to half of the persons covers of the other half.

    ``fitted`` and ``rival`` hold one share a split; ``persons`` are held out in each.
    """

    fitted: Floats
    rival: Floats
    persons: int

    def mean(self, which: str = "fitted") -> float:
        """NaN without splits."""
        values = self._values(which)
        return float(values.mean()) if len(values) else float("nan")

    def interval(
        self, which: str = "fitted", level: float = 0.95
    ) -> tuple[float, float]:
        """Return the interval over the splits; NaN below two.

        By Student's t with the variance of the splits times (1/splits + 1) (Nadeau
        and Bengio 2003, from memory); the survey design is not allowed for.
        """
        values = self._values(which)
        n, mean = len(values), self.mean(which)
        if n < 2:
            return float("nan"), float("nan")
        spread = float(values.std(ddof=1)) * np.sqrt(1 / n + 1)
        reach = float(student(n - 1, level)) * spread
        low, high = mean - reach, mean + reach
        return (low, high) if which == "gain" else (max(low, 0.0), min(high, 1.0))

    def _values(self, which: str) -> Floats:
        gain = self.fitted - self.rival
        return {"fitted": self.fitted, "rival": self.rival, "gain": gain}[which]


def check_splits(splits: object, seed: object) -> None:
    """Refuse a number of half-splits or a seed that makes no sense."""
    # The upper end is a choice of ours: a thousand times what is usual.
    check_number("the number of half-splits", splits, least=0, most=10_000, whole=True)
    check_seed(seed)


def half_splits(
    fitter: Fitter, *, splits: int, seed: int, progress: bool = False
) -> HeldOut:
    """Fit to a random half of the persons and judge on the other half, often.

    Splits come in pairs: each half trains once and is held out once. All draws
    of a person are on the same side. Where a fit takes long, fewer are made; the
    table says how many.
    """
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

    - ``chart``: The best chart on the grid.
    - ``share``: Share (0-1) of the people given who fit at least one size.
    - ``objective, value``: What was made as large as it can be, and how large it is;
      under "covered" the value is the share.
    - ``upper_bound``: No chart with these widths and edges on whole mm and 0.1 kg (or
      on the rounding asked for) has a larger value for the people given.
    - ``held_out_splits``: Coverage of persons not fitted to, for this fit and for the
      rival.
    - ``rival``: Quantile-centred bands of the same widths.
    - ``rival_share, rival_value``: The rival's share and value for the people given.
    - ``people``: Name of the population.
    - ``persons``: Number of persons fitted to.
    - ``settings``: How the chart was fitted.
    """

    chart: SizeChart
    share: float
    objective: str
    value: float
    upper_bound: float
    held_out_splits: HeldOut
    rival: SizeChart
    rival_share: float
    rival_value: float
    people: str
    persons: int
    settings: Mapping[str, Any]

    @property
    def gap(self) -> float:
        """What a better chart could gain at most on the people given."""
        return self.upper_bound - self.value

    @property
    def held_out(self) -> float:
        """Mean value (share covered) for persons the fit had not seen."""
        return self.held_out_splits.mean()

    @property
    def held_out_low(self) -> float:
        return self.held_out_splits.interval()[0]

    @property
    def held_out_high(self) -> float:
        return self.held_out_splits.interval()[1]

    @property
    def rival_held_out(self) -> float:
        return self.held_out_splits.mean("rival")

    @property
    def table(self) -> pd.DataFrame:
        """One row per figure: chart, people, estimate, low, high, method, n."""
        splits, nan = self.held_out_splits, float("nan")
        method = f"{len(splits.fitted)} half-splits by person"
        bound = "any on the finest grid", self.upper_bound, "certified upper bound"
        rows: list[tuple[Any, ...]] = [
            (chart, "given", value, nan, nan, how, self.persons)
            for chart, value, how in (
                ("fitted", self.value, "count"),
                bound,
                ("rival", self.rival_value, "count"),
            )
        ]
        named = {"fitted": "fitted", "rival": "rival", "gain": "fitted less rival"}
        for which, chart in named.items():
            figures = (splits.mean(which), *splits.interval(which))
            rows.append((chart, "held out", *figures, method, splits.persons))
        columns = ["chart", "people", "estimate", "low", "high", "method", "n"]
        return pd.DataFrame(rows, columns=columns)

    def summary(self) -> str:
        """Say in plain words how well the chart does."""
        bound, covered = self.upper_bound, self.objective == "covered"
        parts = [
            _T.said["people"].format(
                fits=sizes_fit(len(self.chart.sizes), self.share),
                persons=self.persons,
                people=self.people,
                share=_tenth(self.share),
            ),
            _T.said[self.objective].format(
                value=self.value, bound=at_most(bound) if covered else bound
            ),
        ]
        if self.gap > LOOSE:
            gap = points(self.gap, places=1, sign=False)
            parts.append(_T.said["loose"].format(gap=gap))
        if len(self.held_out_splits.fitted):
            held_out = _T.said["held_out"].format(
                held_out=_tenth(self.held_out),
                low=_tenth(self.held_out_low),
                high=_tenth(self.held_out_high),
                rival=_tenth(self.rival_held_out),
            )
            parts.append(held_out)
            gain = self.held_out_splits.mean("gain")
            if self.chart.frame.equals(self.rival.frame):
                parts.append(_T.said["simple"])
            elif gain <= AS_GOOD:
                parts.append(_T.said["worse" if gain < -AS_GOOD else "as_good"])
        return " ".join(parts)


def _tenth(part: float) -> str:
    return share(part, places=1)


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

    Every size has an interval in each measure; from size to size no edge falls.
    Among all such charts with low edges on the grid, the one returned has the
    largest value (see ``sizing.bands.search`` for the method). Of equally
    good charts it is the one nearest to the quantile-centred bands: the least
    sum of distances between low edges, each divided by the band's width; of
    those, the one with the lowest edges, from the largest size downwards.

    People with several joint draws are smoothed thereby; with one row each the
    fit follows the rows, and three measures are smoothed unless ``smooth_cm`` is 0.
    Where even so the quantile-centred bands do better on the half-splits, and nothing
    is asked of the sizes but their widths, these are returned.

    Parameters
    ----------
    people : People
        The people to fit to.
    widths : mapping of measure to width
        In the measure's unit, for one to four measures; a sequence gives one
        width per size.
    sizes : int
        Number of sizes, those owned included.
    group : {"paediatric", "adult", "bariatric"}, optional
        Group of the sizes in the chart; by default the one that all the people
        can share (see ``group_of``). Sizes for people of all ages have none.
    tolerance : float, optional
        How far above the value the certified bound may stay (a share); a
        smaller one takes longer. By default it is pressed to within a point with
        up to three measures, which takes a second or two as a rule, and with four
        where a first second comes within five points of it; elsewhere it stays
        some points above. See Notes.
    splits : int
        Half-splits for the held-out figures; 0 for none.
    seed : int
        Of the half-splits.
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
        If a setting makes no sense, a measure is absent, nobody is measured or
        weighs anything, the sizes outnumber the distinct people, or no chart
        meets the constraints.

    Notes
    -----
    With ``step_cm=0.1`` and no smoothing the chart is the best there is on whole mm
    (and 0.1 kg), and the bound equals its value. On a 1 cm grid the chart is the best
    on that grid, and the bound tells what whole mm could add. Measured on one processor
    with 4 sizes: on 6,068 soldiers, three measures at 1 mm exactly, about 10 s and
    0.9 GB; four at 1 cm and 1 kg, to within a point in 7 s and 1.1 GB (5 sizes: 16
    s and 2.1 GB). On the kit's own people four measures mostly stay 1 to 5 points
    from proof (adults 4.3): the bound then rests on the best three. With three
    measures and 8 sizes the default takes 12 s and 1.2 GB. Of goals other than the
    share, "judged" may stay two points from proof.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame(
    ...     {"person": range(6), "draw": 0, "sex": "female", "age_years": 40.0,
    ...      "hip_circumference_cm": [88.0, 92.0, 99.0, 101.0, 118.0, 121.0]}
    ... )
    >>> people = People("six invented people", frame, pd.Series([1.0] * 6), frame)
    >>> fit = fit_bands(
    ...     people, widths={"hip_circumference_cm": 5}, sizes=3, splits=0
    ... )
    >>> fit.share
    1.0
    """
    if group is not None:
        one_of("group", group, GROUPS)
    check_splits(splits, seed)
    if tolerance is not None:
        check_number("the tolerance", tolerance, least=0)
    settings = {"smooth_cm": None, **settings}
    fitter = Fitter.of(people, widths=dict(widths), sizes=sizes, **settings)
    asked = fitter.asked
    measured = fitter.measured
    fitted, rival = fitter.fit(), fitter.rival(measured.weight)
    held = half_splits(fitter, splits=splits, seed=seed, progress=progress)
    if fitter.may_be_simple and held.mean("gain") < -1e-9:
        fitted, held = rival, replace(held, fitted=held.rival)
    value = fitter.value(fitted)

    def chart(boxes: Boxes, name: str) -> SizeChart:
        return chart_of(
            measured,
            *boxes,
            group=common_group(people) if group is None else group,
            name=name,
            source=f"fitted to '{people.name}'",
        )

    return BandFit(
        chart=with_owned(chart(fitted, "fitted chart"), asked.fixed, tuple(widths)),
        share=share_covered(measured, *fitted),
        objective=asked.objective,
        value=value,
        upper_bound=fitter.certified(fitted, tolerance),
        held_out_splits=held,
        rival=chart(rival, "quantile-centred bands"),
        rival_share=share_covered(measured, *rival),
        rival_value=fitter.value(rival),
        people=people.name,
        persons=people.n,
        settings={**vars(asked), "splits": splits, "seed": seed},
    )


def with_owned(
    chart: SizeChart, fixed: SizeChart | None, measures: tuple[str, ...]
) -> SizeChart:
    """Return the chart with the names and load limits of the sizes owned.

    An owned size is the one with the same edges in all the measures and the
    same load limit; of several such, the next in order.
    """
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
