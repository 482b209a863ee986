"""Study kit for sling sizes: who a chart fits, who falls between, what to stock."""

import ast
from importlib import import_module
from pathlib import Path
from typing import Any

#: The public names by their room, as the file of types says. A room is loaded when a
#: name of it is first asked for: all of them take seconds, and no command needs all.
_LAYER_OF = {
    alias.name: str(node.module).removeprefix("sizing.")
    for node in ast.parse(Path(__file__).with_suffix(".pyi").read_text("utf-8")).body
    if isinstance(node, ast.ImportFrom)
    for alias in node.names
}

__all__ = sorted(_LAYER_OF)


def __getattr__(name: str) -> Any:
    if name == "__version__":
        # Looked up when it is asked for: reading what is installed takes time.
        from importlib.metadata import version

        return version("sizing")
    if name not in _LAYER_OF:
        raise AttributeError(f"module 'sizing' has no attribute '{name}'")
    return getattr(import_module(f"sizing.{_LAYER_OF[name]}"), name)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
