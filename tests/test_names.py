"""The public names load their layers when first asked for, and are what they say."""

import re
import subprocess
import sys
from pathlib import Path

import sizing

ROOT = Path(sizing.__file__).parents[1]


def test_each_public_name_is_fetched_from_its_room():
    told = sizing._LAYER_OF
    assert len(told) > 20
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
        "import sizing.stats.estimates\n"
        "from sizing import estimate_coverage\n"
        "assert callable(estimate_coverage) and not callable(sizing.coverage)\n"
        "assert not hasattr(sizing, 'no_such_name')\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=120)


def test_a_file_says_in_its_name_what_it_is_about():
    vague = re.compile(r"(^|_)(parts|more|others|misc|utils|helpers)$")
    files = (
        path for room in ("sizing", "tests") for path in (ROOT / room).rglob("*.py")
    )
    assert [path.name for path in files if vague.search(path.stem)] == []
