"""The tables and pictures of one client's answer, every cell written for people."""

from collections.abc import Sequence
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from sizing.charts import SizeChart
from sizing.client import ClientAnswer
from sizing.client.change import edges_at, over_visits, readings_of, size_at
from sizing.client.outcomes import SLING
from sizing.client.visits import Visit
from sizing.measures import Say, plain, written
from sizing.pages.page import Picture, Table, picture, table
from sizing.plots.client import plot_chances, plot_margins, plot_side_views, plot_visits
from sizing.plots.style import figure_of
from sizing.resources import texts
from sizing.words.client import chance_words, filled, records, room_words
from sizing.words.client_notes import (
    borderline_words,
    change_words,
    fits_words,
    visits_words,
)
from sizing.words.numbers import Row, quantity_interval, share

_T = texts("client")
#: Sizes less likely than this are left out of a table.
_SHOWN = 0.01
_CHANCES, _MARGINS = "client_chances", "client_measures_drawn"
_EITHER = "client_one_more_or_less"
#: Measures of which no line can be drawn on a body seen from the side.
_NOT_DRAWN = ("body_mass_kg", "stature_cm", "hip_breadth_sitting_cm")


def sizes_table(answer: ClientAnswer, *, say: Say = written) -> pd.DataFrame:
    rows = []
    for row in records(_may_fit(answer)):
        decides = plain(row["deciding_measure"])
        if row["over_load"]:
            decides, room = "weight", "none: over the load limit"
        elif row["not_judged"]:
            room = "not taken, so not judged"
        else:
            room = room_words(row["margin"], row["deciding_measure"], say=say)
        rows.append((row["size"], chance_words(row), decides, room))
    headings = ["Size", "Chance that all fits", "Decided by", "Room"]
    return pd.DataFrame(rows, columns=headings)


def _may_fit(answer: ClientAnswer) -> pd.DataFrame:
    at_most = answer.sizes["estimate"].fillna(answer.sizes["high"])
    may = answer.sizes[at_most >= _SHOWN]
    return answer.sizes.head(2) if len(may) < 2 else may


def measures_table(
    answer: ClientAnswer, *, say: Say = written, needed: bool = True
) -> pd.DataFrame:
    rows = answer.measures
    if needed:
        limited = rows["measure"].isin(set(answer.margins["measure"]))
        rows = rows[rows["reading"].notna() | limited]

    def each(column: str, empty: str = "") -> list[str]:
        known = zip(rows[column], rows["measure"], strict=True)
        return [say(v, m, to="tenth") if np.isfinite(v) else empty for v, m in known]

    readings = each("reading", "not taken")
    return pd.DataFrame(
        {
            "Measure": rows["label"],
            "Reading": readings,
            "How measured": rows["how"],
            "Typical error": each("error_sd"),
            "Best estimate (90 %)": [_best(row, say) for row in records(rows)],
            "How known": rows["evidence"].replace("missing", "not known"),
        }
    )


def _best(row: Row, say: Say) -> str:
    if not np.isfinite(row["estimate"]):
        return "not predicted"
    read = "" if np.isfinite(row["reading"]) else "predicted: "
    return read + quantity_interval(row, row["measure"], say)


def loads_table(answer: ClientAnswer, *, say: Say = written) -> pd.DataFrame:
    """Return each part's safe working load; of the slings only the first two."""
    play = [f"{SLING}{name}" for name in answer.sizes["size"].head(2)]
    slings = answer.loads["part"].str.startswith(SLING)
    rows = answer.loads[~slings | answer.loads["part"].isin(play)]
    limits = [load_words(value, say=say) for value in rows["load_limit_kg"]]
    return pd.DataFrame({"Part": rows["part"], "Safe working load": limits})


def load_words(value: float, *, say: Say = written) -> str:
    """Return a load in the units chosen, and in kg, as labels state it."""
    if not np.isfinite(value):
        return "not entered"
    words, kept = (one(value, "load_limit_kg", to="tenth") for one in (say, written))
    return words if words == kept else f"{words} ({kept})"


def shown_tables(answer: ClientAnswer, *, units: str = "metric") -> list[Table]:
    """Return the tables beneath an answer; only the loads where nothing bears."""
    say = partial(written, units=units)
    made = {"loads": loads_table(answer, say=say)}
    if not answer.nothing_bears:
        measures = measures_table(answer, say=say, needed=False)
        made = {"sizes": sizes_table(answer, say=say), "measures": measures, **made}
    words = ["Size", "Decided by", "Room", "Measure", "How measured", "How known"]
    return [
        table(frame, caption=_T.drawn[name], words=[*words, "Part"])
        for name, frame in made.items()
    ]


def drawn_answer(answer: ClientAnswer, *, units: str = "metric") -> dict[str, Axes]:
    """Return the pictures by name; none where nothing bears the body mass."""
    if answer.nothing_bears:
        return {}
    rows, say = answer.measures, partial(written, units=units)
    labels = dict(zip(rows["measure"], rows["label"], strict=True))
    may = _may_fit(answer)
    found = {
        _CHANCES: plot_chances(may, others=len(answer.sizes) - len(may)),
        _MARGINS: plot_margins(_first_rows(answer), labels=labels, say=say),
    }
    bodies = _either_way(answer, say)
    if not bodies.empty:
        one = str(answer.borderline["measure"].iloc[0])
        found[_EITHER] = plot_side_views(bodies, marked=one, labels=labels, write=say)
    return found


def _either_way(answer: ClientAnswer, say: Say) -> pd.DataFrame:
    """Return the likeliest body with one more and one less of what decides."""
    best = answer.measures.set_index("measure")["estimate"]
    rows = answer.borderline
    rows = rows[rows["measure"].isin(rows["measure"].head(1))]
    if rows["same"].all() or best.isna().any() or rows["measure"].iloc[0] in _NOT_DRAWN:
        return pd.DataFrame()
    bodies = []
    for row in records(rows):
        moved = {row["measure"]: best[row["measure"]] + row["change"]}
        words = {"member": change_words(row, say=say), "size": fits_words(row)}
        bodies.append({**best, **moved, **words})
    return pd.DataFrame(bodies)


def shown_pictures(answer: ClientAnswer, *, units: str = "metric") -> list[Picture]:
    say, words = partial(written, units=units), _T.drawn
    margins = filled(words["margins"], size=answer.first["size"])
    told = {
        _CHANCES: (_chances_alt(answer), words["chances"]),
        _MARGINS: (_margins_alt(answer, say), margins),
        _EITHER: (" ".join(borderline_words(answer, say=say)[:1]), words["either"]),
    }
    return [
        picture(figure_of(drawn), alt=told[name][0], caption=told[name][1])
        for name, drawn in drawn_answer(answer, units=units).items()
    ]


def visits_shown(
    visits: Sequence[Visit], chart: SizeChart, *, say: Say = written
) -> tuple[list[str], list[Picture]]:
    """Return what changed over the visits, in words and as a picture each measure."""
    size, edges = size_at(chart, visits[-1]), edges_at(chart, visits[-1])
    readings = readings_of(visits)
    table = over_visits(readings, edges, size)
    words, pictures = visits_words(table, size, say=say), []
    for row, told in zip(records(table), words, strict=False):
        if row["visits"] < 2:
            continue
        mine = readings[readings["measure"] == row["measure"]]
        drawn = plot_visits(mine, edges.bands(row["measure"]), row, size=size, say=say)
        pictures.append(picture(figure_of(drawn), alt=told, caption=told))
    return words, pictures


def figures_of(answer: ClientAnswer) -> dict[str, pd.DataFrame]:
    names = ["loads", "measures"]
    if not answer.nothing_bears:
        names += ["sizes", "margins", "next_measure", "growth"]
    return {f"client_{name}": getattr(answer, name) for name in names}


def _first_rows(answer: ClientAnswer) -> pd.DataFrame:
    return answer.margins[answer.margins["size"] == str(answer.first["size"])]


def _chances_alt(answer: ClientAnswer) -> str:
    each = [
        f"{row['size']} {chance_words(row)}"
        if row["over_load"] or row["not_judged"]
        else f"{row['size']} {share(row['estimate'])}"
        for row in records(_may_fit(answer))
    ]
    others = "; each other size under 1 %" if len(each) < len(answer.sizes) else ""
    return filled(_T.drawn["chances_alt"], each=", ".join(each), others=others)


def _margins_alt(answer: ClientAnswer, say: Say) -> str:
    each = []
    for row in records(_first_rows(answer)):
        measure = row["measure"]
        # What the picture shows by a full or a hollow mark.
        how = "stated, best estimate" if np.isfinite(row["reading"]) else "predicted"
        how = "measured, best estimate" if row["evidence"] == "measured" else how
        words = "not taken"
        if np.isfinite(row["estimate"]):
            room = room_words(row["margin"], measure, say=say)
            words = f"{how} {say(row['estimate'], measure)}, {room}"
        each.append(f"{plain(measure)} {words}")
    size = answer.first["size"]
    return filled(_T.drawn["margins_alt"], size=size, each="; ".join(each))
