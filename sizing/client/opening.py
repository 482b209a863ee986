"""What an answer begins with, before any size: what to judge or measure first."""

from sizing.client.answer import ClientAnswer
from sizing.client.client import Client
from sizing.client.conditions import condition_labels, touched
from sizing.client.limiting import limiting_lines
from sizing.client.words import plain


def opening_lines(answer: ClientAnswer) -> list[str]:
    """Return the sentences that stand before the answer, wherever it is given."""
    return [*condition_lines(answer.client), *limiting_lines(answer)]


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
