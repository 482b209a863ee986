"""What stands on the first page: the server works it out, and so does its notebook."""

from IPython.display import HTML

from sizing.app.form_words import bullets
from sizing.cautions import cautions
from sizing.pages.where import where_html


def where() -> HTML:
    """Return the drawing of where each measure is taken."""
    return HTML(where_html())


def before_any_lift() -> HTML:
    """Return the cautions."""
    return HTML(bullets(cautions()))
