"""How far the share covered moves when an assumption is another."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.cautions import closing
from sizing.charts import SizeChart
from sizing.coverage.alternatives import ALTERATIONS, State, start
from sizing.errors import check_seed, one_of
from sizing.kinds import check_columns
from sizing.measures import MEASURES, SEATED_AND_GIRTHS
from sizing.people.layout import layout
from sizing.people.people import People
from sizing.resources import source_table
from sizing.stats.intervals import LEVEL, difference_interval
from sizing.stats.joining import complete_df, join_influences
from sizing.stats.layout import Floats, Layout
from sizing.words.numbers import points_interval, share

COLUMNS = ["assumption", "setting", "label", "share", "estimate", "low", "high"]
COLUMNS += ["method", "n", "source"]


@dataclass(frozen=True)
class Sensitivity:
    """What each assumption does to the share of people with a size.

    - ``table``: See ``sensitivity``.
    - ``share``: The share covered under the assumptions as they are.
    - ``chart, people``: Names of the chart and the population.
    - ``widths``: The share by the width of the sizes: scale (1 is the chart as it is),
      share.
    """

    table: pd.DataFrame
    share: float
    chart: str
    people: str
    widths: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def biggest(self) -> pd.Series:
        """The row whose change is largest, up or down."""
        return self.table.iloc[int(self.table["estimate"].abs().argmax())]

    def headline(self) -> str:
        """Return which assumption matters most, its share and the change."""
        row = self.biggest
        return (
            "Of what is assumed, this moves it most: if "
            f"{row['setting']}, {share(row['share'])} have a size. "
            f"The change in points: {points_interval(row)}."
        )

    def summary(self) -> str:
        """Return the biggest change in plain words, with the usual cautions."""
        return "\n".join([self.headline(), closing()])


def assumptions() -> pd.DataFrame:
    """Return the assumptions and their other settings, with the source of each.

    From ``data_sources/assumptions.csv``: assumption, setting (a clause of plain
    words), label (the same, short), kind (what is changed), measures (names parted by
    spaces), who (everyone, adults, children), amount, source. A setting of several rows
    makes all their changes.

    >>> assumptions()["assumption"].nunique() >= 9
    True
    """
    whole = {
        "all but body_mass_kg": " ".join(MEASURES[1:]),
        "all drawn": " ".join(SEATED_AND_GIRTHS),
    }
    table = source_table("assumptions.csv").fillna({"measures": ""})
    return table.replace({"measures": whole})


def sensitivity(
    people: People,
    chart: SizeChart,
    *,
    settings: pd.DataFrame | None = None,
    seed: int = 1,
    refit: Callable[..., SizeChart] | None = None,
) -> Sensitivity:
    """Estimate how the share covered moves with each assumption, one at a time.

    Parameters
    ----------
    people : People
        The people judged, one row per person and draw.
    chart : SizeChart
        The size chart, in cm and kg.
    settings : DataFrame, optional
        Other settings in the form of ``assumptions()``.
    seed : int
        Of the measuring errors drawn.
    refit : callable, optional
        Fits the chart anew: ``refit(scale)`` with widths multiplied by ``scale``,
        ``refit(too_large=w)`` for the least harm, a size too large weighing ``w``
        times. Without it, other widths are taken about the middle of each band.

    Returns
    -------
    Sensitivity
        ``.table``: assumption, setting, label; share (covered under that
        setting); estimate, low, high (change of the share, from -1 to 1);
        method; n (persons); source (of the setting's size). Settings that
        change nothing by their nature (the chart limits no such measure, nobody
        is of that kind) are left out.

    Raises
    ------
    SizingError
        As ``coverage``, or if a kind of setting is unknown.

    Notes
    -----
    The same persons and draws are judged before and after, so the change is
    paired: its variance in one draw is that of the total of
    ``w' (y' - p') / sum w' - w (y - p) / sum w``, with ' after the change, over
    persons, or by stratum and unit where there is a design. Draws are joined as
    ``coverage`` joins them, the model's bias counted; t interval. Nothing is drawn
    or fitted anew: drawn bodies are moved where a model is another. The interval
    tells how well these people know the change, not whether the setting is likely;
    for that see its
    source.

    Examples
    --------
    >>> from sizing.charts import chart_from
    >>> chart = chart_from(pd.DataFrame({
    ...     "size": ["one"], "hip_circumference_cm_low": [80],
    ...     "hip_circumference_cm_high": [100]}), warn=False)
    >>> frame = pd.DataFrame({"person": range(50), "draw": 0, "sex": "female",
    ...     "age_years": 40.0, "hip_circumference_cm": np.linspace(85, 109, 50)})
    >>> people = People("fifty", frame, pd.Series(np.ones(50)),
    ...                 pd.DataFrame({"hip_circumference_cm": ["measured"] * 50}))
    >>> found = sensitivity(people, chart)
    >>> row = found.table.set_index("assumption").loc["Clothing"]
    >>> print(round(found.share, 2), round(row["estimate"], 2))
    0.62 -0.08
    """
    check_seed(seed)
    chosen = assumptions() if settings is None else settings
    needed = ("assumption", "setting", "label", "kind", "source")
    check_columns(chosen, needed, "the settings")
    place = layout(people, chart.measures)
    base = start(people, chart, place, seed, refit)
    before = base.covered()
    method = f"{100 * LEVEL:.0f} % t interval of the paired change; "
    # A bootstrap would say the same of a mean, for more time.
    method += "linearisation by person" if place.unit is None else place.how
    method += place.joined
    rows, widths = [], []
    keys = ["assumption", "setting", "label"]
    for names, parts in chosen.groupby(keys, sort=False):
        state: State = base
        changed = False
        for _, part in parts.iterrows():
            one_of("kind of setting", part["kind"], list(ALTERATIONS))
            other = ALTERATIONS[part["kind"]](state, part)
            if other is not None:
                state, changed = other, True
        if changed:
            change = _change(place, before, state.covered(), state.weight)
            source = "; ".join(dict.fromkeys(parts["source"]))
            told = {"method": method, "n": people.n, "source": source}
            rows.append(dict(zip(keys, names, strict=True)) | change | told)
            if parts["kind"].eq("width").all():
                widths.append((float(parts["amount"].iloc[0]), change["share"]))
    share = float(np.mean(before @ place.weight) / place.weight.sum())
    widths = sorted([*widths, (1.0, share)]) if widths else []
    table = pd.DataFrame(rows, columns=COLUMNS)
    by_width = pd.DataFrame(widths, columns=["scale", "share"])
    return Sensitivity(table, share, chart.name, people.name, by_width)


def _change(
    place: Layout,
    before: npt.NDArray[np.bool_],
    after: npt.NDArray[np.bool_],
    weight: Floats,
) -> dict[str, Any]:
    """Return the share after, and its change with an interval."""
    old, new = place.weight / place.weight.sum(), weight / weight.sum()
    p_old, p_new = before @ old, after @ new
    influence = new * (after - p_new[:, None]) - old * (before - p_old[:, None])
    complete = complete_df(place)
    if place.unit is None and (weight != place.weight).any():
        # Other weights may leave fewer people to tell the share after.
        complete = max(min(complete, 1 / float(np.square(new).sum()) - 1), 1.0)
    mean, total, df = join_influences(place, p_new - p_old, influence, complete)
    low, high = difference_interval(mean, total, df, complete + 1)
    return {
        "share": float(p_new.mean()),
        "estimate": float(mean),
        "low": float(low),
        "high": float(high),
    }
