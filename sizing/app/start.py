"""What stands on the first page: the server works it out, and so does its notebook."""

from IPython.display import HTML

from sizing.app.form_words import bullets
from sizing.app.show import show_table
from sizing.cautions import cautions
from sizing.pages.where import where_html
from sizing.words.glossary import glossary


def where() -> HTML:
    """Return the drawing of where each measure is taken."""
    return HTML(where_html())


def words() -> HTML:
    """Return the words of the pages, each once."""
    names = {"term": "Word", "meaning": "What it means here"}
    caption = "Words of the pages, the reports and the notes"
    table = glossary().rename(columns=names)
    return show_table(table, caption=caption, words=list(names.values()))


def before_any_lift() -> HTML:
    """Return the cautions."""
    return HTML(bullets(cautions()))
