"""What the lab's server does on saving; it runs there without the rest of the kit.

The lab copies this file into its settings and adds the line that puts it to use:
importing the kit would make the server some seconds slower to start.
"""

from typing import Any

_FORM = "application/vnd.jupyter.widget-view+json"


def without_forms(model: dict[str, Any], **_: Any) -> None:
    """Leave the forms out of a notebook that is about to be saved.

    A saved form is an empty frame: what it showed lives in the running notebook
    only. Pictures, tables and words that cells have shown are saved as they are.

    Parameters
    ----------
    model : dict
        What JupyterLab is about to save; changed in place.

    Examples
    --------
    >>> cell = {"cell_type": "code", "outputs": [{"data": {_FORM: {}}}, {"data": {}}]}
    >>> without_forms({"type": "notebook", "content": {"cells": [cell]}})
    >>> cell["outputs"]
    [{'data': {}}]
    """
    if model.get("type") != "notebook" or not model.get("content"):
        return
    notebook = model["content"]
    for cell in notebook.get("cells", []):
        if cell.get("cell_type") == "code":
            shown = cell.get("outputs", [])
            cell["outputs"] = [o for o in shown if _FORM not in o.get("data", {})]
    notebook.get("metadata", {}).pop("widgets", None)
