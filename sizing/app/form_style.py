"""How the forms look on a page, on a laptop and on a phone."""

from importlib.resources import files

#: Labels wrap instead of being cut, and stand above their field on a phone.
FORM_STYLE = (
    "<style>"
    + files("sizing.app").joinpath("template", "form.css").read_text(encoding="utf-8")
    + "</style>"
)
