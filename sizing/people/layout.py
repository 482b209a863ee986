"""People arranged for estimating: by draw and person, with their design."""

import numpy as np

from sizing.errors import SizingError
from sizing.measures import SEATED_AND_GIRTHS
from sizing.people.body.donors import BUILD
from sizing.people.body.error import CoefficientError
from sizing.people.people import People
from sizing.stats.layout import Layout


def layout(
    people: People, judged: tuple[str, ...] | None = None, *, bias: bool = True
) -> Layout:
    """Arrange people by draw and person, in the order of their numbers.

    With ``judged``, the measures that the estimates depend on, their error counts the
    typical bias of the model that drew the people, unless ``bias`` is False.
    """
    frame = people.frame
    draws = people.draws
    if not len(frame):
        _refuse("there are no people", "at least one person")
    order = np.lexsort((frame["person"].to_numpy(), frame["draw"].to_numpy()))
    if len(order) % draws:
        _refuse("some draw lacks some person", "each person in every draw")
    rows = order.reshape(draws, -1)
    person = frame["person"].to_numpy()[rows]
    if (person != person[0]).any() or len(np.unique(person[0])) < person.shape[1]:
        _refuse("some draw lacks some person", "each person once in every draw")
    weight = people.weight.to_numpy(dtype=float, na_value=np.nan)[rows]
    if not np.isfinite(weight).all() or (weight < 0).any() or weight[0].sum() <= 0:
        _refuse("a weight cannot be used", "weights of 0 or more, not all 0")
    if not np.allclose(weight, weight[0]):
        _refuse("a person's weight differs between draws", "one weight per person")
    model = None
    # Of people whose rows were changed since, the draws are no longer known.
    known = {"sex", *BUILD, *SEATED_AND_GIRTHS} <= set(frame.columns)
    if people.drawn is not None and known and len(people.drawn.draw) == len(frame):
        # Kept with the people, who are never changed in place: a study asks a dozen
        # times, and scoring ten draws takes a third of a second.
        kept = vars(people).setdefault("_coefficient_errors", {})
        key = judged, bias
        if key not in kept:
            about = frame, people.evidence, people.drawn, rows, weight[0]
            kept[key] = CoefficientError(*about, judged, bias=bias)
        model = kept[key]
    if not {"stratum", "unit"} <= set(frame.columns):
        return Layout(rows, weight[0], model=model)
    first = frame.iloc[rows[0]]
    unit = first.groupby(["stratum", "unit"], dropna=False).ngroup().to_numpy()
    stratum = first.groupby("stratum", dropna=False).ngroup().to_numpy()
    if len(np.unique(unit)) - len(np.unique(stratum)) < 1:
        # One unit in each stratum says nothing about sampling error.
        return Layout(rows, weight[0], model=model)
    of_unit = np.zeros(unit.max() + 1, dtype=np.int64)
    of_unit[unit] = stratum
    return Layout(rows, weight[0], unit, of_unit, model)


def _refuse(what: str, allowed: str) -> None:
    raise SizingError(what, allowed=allowed, action="correct the people given")
