"""What is wider than a phone: it scrolls by itself, and the page stays as it is."""

from collections.abc import Sequence
from html import escape

#: The region has a width of its own, ``100cqi``: its content makes nothing else wider.
_REGION = "overflow-x: auto; container-type: inline-size"
#: The caption stays in sight while the rest scrolls.
_CAPTION = "position: sticky; left: 0; max-width: 100cqi"
#: In a form JupyterLab leaves tall rows, no room between columns, and broken words.
_TABLE = "line-height: 1.4; overflow-wrap: normal"
_CELL = "padding: .2em .6em"
#: Characters, at most, that a column keeps room for in one line.
_ROOM = 16


def scrolling(content: str, *, label: str) -> str:
    """Return HTML in a region that scrolls by itself, by keyboard too.

    Examples
    --------
    >>> scrolling("<p>wide</p>", label="A < B").count("A &lt; B")
    1
    """
    return (
        f'<div tabindex="0" role="region" aria-label="{escape(label)}" '
        f'style="{_REGION}">{content}</div>'
    )


def wide_table(
    rows: Sequence[Sequence[str]],
    *,
    label: str,
    headings: Sequence[str] = (),
    numbers: Sequence[bool] = (),
    caption: bool = True,
    style: str = "",
) -> str:
    """Return a table of finished cells as HTML, in a region that scrolls by itself.

    Examples
    --------
    >>> html = wide_table([["adult 1", "41"]], label="Sizes", headings=["Size", "cm"])
    >>> '<th scope="col"' in html and "<td" in html and html.count("Sizes")
    2
    >>> '<th scope="row"' in wide_table([["Age", "41 years"]], label="Card 1")
    True
    """
    columns = len(headings) or max(map(len, rows), default=0)
    flush = [*numbers, *([False] * columns)]
    sides = ["right" if flush[i] else "left" for i in range(columns)]
    longest = [max((len(row[i]) for row in rows), default=0) for i in range(columns)]
    styles = [
        f"text-align: {side}; min-width: {min(length, _ROOM)}ch; {_CELL}"
        for side, length in zip(sides, longest, strict=True)
    ]
    top = "".join(
        f'<th scope="col" style="{look}">{escape(name)}</th>'
        for name, look in zip(headings, styles, strict=bool(headings))
    )
    body = []
    for row in rows:
        cells = [
            f'<td style="{look}">{escape(cell)}</td>'
            for cell, look in zip(row, styles, strict=True)
        ]
        if not headings:
            look = f"{styles[0]}; font-weight: normal"
            cells[0] = f'<th scope="row" style="{look}">{escape(row[0])}</th>'
        body.append(f"<tr>{''.join(cells)}</tr>")
    said = (
        f'<caption style="text-align: left"><div style="{_CAPTION}">{escape(label)}'
        "</div></caption>"
    )
    return scrolling(
        f'<table style="{_TABLE}; {style}">{said if caption else ""}'
        f"{f'<thead><tr>{top}</tr></thead>' if headings else ''}"
        f"<tbody>{''.join(body)}</tbody></table>",
        label=label,
    )
