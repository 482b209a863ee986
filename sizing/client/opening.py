"""What an answer begins with, before any size: what to judge or measure first."""

from sizing.cautions import invented_words
from sizing.client.chart_words import finding_words
from sizing.client.client import Client
from sizing.client.conditions import condition_labels, touched
from sizing.client.judged import JudgedClient
from sizing.client.limiting import limiting_lines
from sizing.client.loads import load_lines
from sizing.client.words import plain
from sizing.measures.written import Say, written

#: Findings that are probably slips of the hand, and how many of them are named.
_SLIPS = ("nobody_fits", "doubtful_number", "out_of_order")
_SHOWN = 3


def opening_lines(answer: JudgedClient, *, say: Say = written) -> list[str]:
    """Return the sentences that stand before the answer, wherever it is given."""
    lines = [
        invented_words(*answer.chart.invented),
        *condition_lines(answer.client),
        *limiting_lines(answer),
        _slips(answer),
        *load_lines(answer, say=say),
    ]
    return [line for line in lines if line]


def chart_lines(answer: JudgedClient) -> list[str]:
    """Return what is doubtful in the chart, a line each."""
    return [f"Of the chart: {words}." for words in finding_words(answer.findings)]


def _slips(answer: JudgedClient) -> str:
    """Name numbers of the chart that are probably slips, before any size."""
    kinds = answer.findings["kind"].isin(_SLIPS)
    told = finding_words(answer.findings[kinds])
    if not told:
        return ""
    more = f"; and {len(told) - _SHOWN} more" if len(told) > _SHOWN else ""
    return f"Check the chart first: {'; '.join(told[:_SHOWN])}{more}."


def condition_lines(client: Client) -> list[str]:
    """Say of a stated condition what the kit cannot judge, and who must.

    Examples
    --------
    >>> from sizing.client.client import client_from
    >>> client = client_from({"sex": "female"}, conditions="contracture_knee")
    >>> print(condition_lines(client)[0])
    Stated: contracture of the knee. The kit cannot judge how a sling holds this \
body: a person competent in fitting slings must. What the condition changes is \
neither predicted nor predicts anything (stature, buttock-popliteal length, thigh \
girth): it counts only as measured.
    """
    if not client.conditions:
        return []
    changed = touched(client.conditions)
    return [
        f"Stated: {'; '.join(condition_labels(client.conditions))}. The kit cannot "
        "judge how a sling holds this body: a person competent in fitting slings "
        "must. What the condition changes is neither predicted nor predicts anything "
        f"({', '.join(plain(name) for name in changed)}): it counts only as measured."
    ]
