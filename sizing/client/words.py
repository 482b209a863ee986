"""What an answer says, in plain words."""

import numpy as np
import pandas as pd

from sizing.client.answer import ClientAnswer
from sizing.client.growth import measure_again_in

#: Below this gain taking a further measure settles little (our choice).
_LITTLE = 0.01


def plain(measure: str) -> str:
    """Return a measure's name as words.

    Examples
    --------
    >>> plain("hip_circumference_cm")
    'hip circumference'
    """
    return measure.rsplit("_", 1)[0].replace("_", " ")


def unit(measure: str) -> str:
    """Return a measure's unit.

    Examples
    --------
    >>> unit("body_mass_kg")
    'kg'
    """
    return measure.rsplit("_", 1)[1]


def share(p: float) -> str:
    """Return a chance in percent, without false certainty.

    Examples
    --------
    >>> share(0.814), share(0.999), share(0.001), share(0.0)
    ('81 %', 'over 99 %', 'under 1 %', 'under 1 %')
    """
    if p > 0.99:
        return "over 99 %"
    if p < 0.01:
        return "under 1 %"
    return f"{100 * p:.0f} %"


def _span(row: pd.Series) -> str:
    return (
        f"{share(row['estimate'])} ({100 * row['low']:.0f} to {100 * row['high']:.0f})"
    )


def answer_words(answer: ClientAnswer) -> str:
    """Return the answer in one or two sentences."""
    status = answer.status
    none = float(
        answer.outcomes.set_index("outcome")["estimate"].drop(["one", "choice"]).sum()
    )
    if answer.sizes["over_load"].all():
        known = answer.client.known["body_mass_kg"].value
        limit = answer.sizes["load_limit_kg"].max()
        return (
            f"Over the load limit: body mass {known:g} kg, lowest load limit of all "
            f"parts {limit:g} kg. No size may be used with these parts, whatever else "
            "fits."
        )
    if status == "fits":
        words = _named(answer)
        if none >= 0.05:
            words += f" That no size fits has a chance of {share(none)}."
        return words
    missing = _missing(answer)
    if status == "not_settled":
        return (
            f"Not settled: no size has an even chance. {_named(answer)} That none fits "
            f"has a chance of {share(none)}."
        )
    lead = {
        "between": "Between sizes",
        "beyond_largest": "Outside the chart: larger than its largest size",
        "below_smallest": "Outside the chart: smaller than its smallest size",
        "over_load": "Over the load limit of every size that would hold this body",
    }[status]
    words = f"{lead} (chance that no size fits: {share(none)}).{missing}"
    if answer.first["estimate"] >= 0.05:
        first = answer.first
        words += f" Likeliest to fit nevertheless: {first['size']}, {_span(first)}."
    return words


def _named(answer: ClientAnswer) -> str:
    """Name the likeliest size, and the runner-up where it is close."""
    first, second = answer.first, answer.runner_up
    words = (
        f"Size {first['size']} fits all measures with a chance of {_span(first)}; "
        f"{plain(first['deciding_measure'])} decides, {_room(first)}."
    )
    if second is not None:
        words += (
            f" Runner-up: {second['size']}, {_span(second)}; "
            f"{plain(second['deciding_measure'])} decides, {_room(second)}."
        )
    return words


def _room(row: pd.Series) -> str:
    margin, name = float(row["margin"]), unit(str(row["deciding_measure"]))
    if not np.isfinite(margin):
        return "with no edge"
    if margin >= 0:
        return f"{margin:.1f} {name} inside its nearer edge"
    return f"{-margin:.1f} {name} outside its edge"


def _missing(answer: ClientAnswer) -> str:
    near = answer.nearest
    if not near:
        return ""
    measure = str(near["measure"])
    amount = f"{near['miss']:.1f} {unit(measure)}"
    how = {
        "too_small_for": f"is too small by {amount} in {plain(measure)}",
        "too_large_for": f"is too large by {amount} in {plain(measure)}",
        "over_load": f"is exceeded in its load limit by {amount}",
    }[near["direction"]]
    return f" Nearest is {near['size']}, which {how}."


def next_words(answer: ClientAnswer) -> str:
    """Return what to measure next, and what it is expected to settle."""
    table = answer.next_measure
    if table.empty:
        return "Every measure is taken; take those near an edge a second time."
    row = table.iloc[0]
    if row["estimate"] < _LITTLE:
        return f"No further measure is expected to settle more; {_second_time(answer)}"
    more = ""
    if len(table) > 1 and table["estimate"].iloc[1] >= _LITTLE:
        second = table.iloc[1]
        more = f" Next after it: {plain(second['measure'])} ({share(second['after'])})."
    return (
        f"Measure next: {plain(row['measure'])}. The chance that the likeliest answer "
        f"is right is expected to go from {share(row['now'])} to {share(row['after'])} "
        f"(gain {100 * row['estimate']:.0f} points, {100 * row['low']:.0f} to "
        f"{100 * row['high']:.0f}).{more}"
    )


def _second_time(answer: ClientAnswer) -> str:
    decides = plain(str(answer.first["deciding_measure"]))
    return f"taking {decides} a second time is the best check of the size named first."


def growth_words(answer: ClientAnswer) -> list[str]:
    """Return when a child leaves the size, and when to measure again."""
    if answer.client.age_years is None or answer.client.age_years >= 20:
        return []
    lines = []
    for _, row in answer.growth.iterrows():
        if np.isfinite(row["estimate"]):
            high = f"{row['high']:.1f}" if np.isfinite(row["high"]) else "after 20"
            lines.append(
                f"{plain(row['measure'])} leaves {answer.first['size']} "
                f"({row['high_edge']:g} {unit(row['measure'])}) at about "
                f"{row['estimate']:.1f} years (9 in 10: {row['low']:.1f} to {high})"
            )
        else:
            lines.append(
                f"{plain(row['measure'])} stays within {answer.first['size']} until 20 "
                f"with a chance of {share(row['beyond_20'])}"
            )
    months = 12 * measure_again_in(answer.growth, answer.client.age_years)
    when = "now and at every lift" if months < 1 else f"within {months:.0f} months"
    lines.append(
        f"Measure again {when}, and after any illness, operation or growth spurt. The "
        "present centile is taken to stay; children do change centile."
    )
    return lines


def summary_lines(answer: ClientAnswer) -> list[str]:
    """Return the whole answer, a line each."""
    lines = [answer.answer(), next_words(answer)]
    lines.append(
        "Sizes in play: "
        + (
            ", ".join(
                f"{row['size']} {_span(row)}"
                for _, row in answer.sizes[
                    answer.sizes["size"].isin(answer.in_play)
                ].iterrows()
            )
            or "none"
        )
        + "."
    )
    for _, row in answer.measures.iterrows():
        lines.append(
            f"{row['label']}: {row['estimate']:.1f} {unit(row['measure'])} (90 %: "
            f"{row['low']:.1f} to {row['high']:.1f}; {row['evidence']}"
            + (f", {row['how']}" if row["how"] else "")
            + ")"
        )
    used = answer.allowances[answer.allowances["used_cm"] != 0]
    if len(used):
        lines.append(
            "Allowances in use (common practice, no source): "
            + "; ".join(
                f"{row['label'].lower()} {row['used_cm']:+g} cm"
                for _, row in used.iterrows()
            )
            + "."
        )
    else:
        lines.append(
            "Allowances between body and fabric: none in use; the chart is read as "
            "body measures."
        )
    lines += [
        line[0].upper() + line[1:] + ("" if line.endswith(".") else ".")
        for line in growth_words(answer)
    ]
    lines += [f"Note: {note}" for note in answer.notes]
    lines += [f"Confirmed although it looked wrong: {doubt}" for doubt in answer.doubts]
    return lines
