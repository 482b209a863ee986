"""The public names load their layers when first asked for, and are what they say."""

import ast
import subprocess
import sys
from pathlib import Path

import sizing


def test_what_types_say_is_what_is_fetched():
    tree = ast.parse(Path(sizing.__file__).read_text(encoding="utf-8"))
    told = {
        alias.name: (node.module or "").removeprefix("sizing.")
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("sizing")
        for alias in node.names
    }
    assert told == sizing._LAYER_OF
    assert not set(told) & set(told.values())  # no package is a function too
    assert sorted(told) == sizing.__all__
    assert set(told) <= set(dir(sizing))
    for name, layer in told.items():
        found = getattr(sizing, name)
        where = getattr(found, "__module__", f"sizing.{layer}")
        assert where.startswith(f"sizing.{layer}"), name


def test_nothing_is_loaded_before_it_is_asked_for():
    script = (
        "import sys, sizing\n"
        "assert 'pandas' not in sys.modules\n"
        "import sizing.stats.shares\n"
        "from sizing import estimate_coverage\n"
        "assert callable(estimate_coverage) and not callable(sizing.coverage)\n"
        "assert not hasattr(sizing, 'no_such_name')\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=120)
