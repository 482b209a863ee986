"""Change the code in small ways and count how often the tests notice.

    python -m pip install cosmic-ray
    python tests/mutation/run.py --of stock charts/assign --sample 40 --out mutants.csv
    python tests/mutation/run.py --again mutants.csv --out again.csv
    python tests/mutation/run.py --table mutants.csv

The changes are made by cosmic-ray's operators, in a copy of this tree that is thrown
away. What is changed is a room or one module of it; its tests are those of the room's
folder that take no longer than ``--seconds``, the fastest file first, after the
doctests of the changed module. A mutant is counted only where the copy without it
passes the same tests, and is killed where a test fails or the tests take over three
times as long and half a minute. ``survivors.csv`` names the survivors that were read,
and why they live.
"""

import argparse
import ast
import difflib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from itertools import chain
from pathlib import Path

import numpy as np
import pandas as pd
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names
from scipy.stats import binomtest

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
#: No folder's test, yet it notices a dataclass that is no longer frozen.
FROZEN = "tests/test_layers.py::test_what_holds_figures_cannot_be_changed"
LIKE = [{"Add", "Sub", "Mul", "Div", "FloorDiv", "Mod", "Pow"}]
LIKE += [{"BitOr", "BitAnd", "BitXor"}]
#: What a mutant is made anew from.
MADE_BY = ["file", "operator", "occurrence"]


def is_telling(name: str) -> bool:
    """Say whether an operator's mutants test more than the types of the operands.

    ``a - b`` made ``a << b`` stops nearly every time with a TypeError, and
    ``x is None`` made ``x < None`` always: whatever runs the line would kill them.
    """
    kind, _, change = name.removeprefix("core/").partition("_")
    old, _, new = change.partition("_")
    if kind == "ReplaceBinaryOperator":
        return any({old, new} <= group for group in LIKE)
    if kind == "ReplaceComparisonOperator":
        return old.startswith("Is") == new.startswith("Is")
    return not kind.startswith("Variable")


def mutants_of(file: str) -> pd.DataFrame:
    """Return the changes that can be made to a file, and where each begins."""
    source = (ROOT / file).read_text(encoding="utf-8")
    parts = (
        getattr(node, name, None)
        for node in ast.walk(ast.parse(source))
        for name in ("annotation", "returns")
    )
    # Nothing runs an annotation.
    passive = [
        ((part.lineno, part.col_offset), (part.end_lineno, part.end_col_offset))
        for part in parts
        if part is not None
    ]
    nodes, rows = list(ast_nodes(get_ast(source))), []
    for name in filter(is_telling, operator_names()):
        operator = get_operator(name)()
        places = chain.from_iterable(map(operator.mutation_positions, nodes))
        for occurrence, (begin, end) in enumerate(places):
            if not any(low <= begin and end <= high for low, high in passive):
                kind = name.partition("_")[0]
                rows.append((file, begin[0], name, occurrence, (begin, end, kind)))
    return pd.DataFrame(rows, columns=["file", "line", *MADE_BY[1:], "place"])


def sample(package: str, number: int, seed: int) -> pd.DataFrame:
    """Draw places evenly, and at each place one of the changes possible there.

    Drawing mutants evenly instead would dwell on comparisons, each of which can be
    changed in five ways, and a number in two.
    """
    room, _, module = package.partition("/")
    paths = sorted((ROOT / "sizing" / room).glob(f"{module or '*'}.py"))
    found = pd.concat(mutants_of(path.relative_to(ROOT).as_posix()) for path in paths)
    rng = np.random.default_rng([seed, *package.encode()])
    each = found.groupby(["file", "place"]).sample(1, random_state=rng)
    drawn = each.sample(min(number, len(each)), random_state=rng)
    return drawn.drop(columns="place").assign(package=package)


def mutated(file: str, operator: str, occurrence: int) -> str | None:
    """Return a file's text with a change made; None: ``f(*x)`` made ``f(/x)``."""
    source = (ROOT / file).read_text(encoding="utf-8")
    made = mutate_code(source, get_operator(operator)(), occurrence)
    if made is None:
        raise LookupError(f"{file} was changed since: no {operator} {occurrence}")
    try:
        ast.parse(made)
    except SyntaxError:
        return None
    return str(made)


def run_tests(copy: Path, tests: list[str], limit_s: float) -> tuple[str, float]:
    """Run tests in the copy; return what came of them, and the seconds."""
    begun = time.monotonic()
    options = ["-x", "-q", "-p", "no:cacheprovider", "--hypothesis-seed=1"]
    around = {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    with (copy.parent / "log.txt").open("w") as log:
        ran = subprocess.Popen(
            [sys.executable, "-m", "pytest", *options, *tests],
            cwd=copy,
            env=os.environ | around,
            stdout=log,
            stderr=log,
            start_new_session=True,
        )
        try:
            code = ran.wait(limit_s)
        except subprocess.TimeoutExpired:
            os.killpg(ran.pid, signal.SIGKILL)
            ran.wait()
            return "killed", time.monotonic() - begun
    # 2: a module cannot be loaded. 4, 5: no tests were found.
    outcome = {0: "survived", 4: "broken", 5: "broken"}.get(code, "killed")
    return outcome, time.monotonic() - begun


def judge(copy: Path, package: str, mutants: pd.DataFrame, words) -> None:
    """Run the tests on the copy as it is, then on each mutant; append what came."""
    room, timed = package.partition("/")[0], []
    for path in sorted((copy / "tests" / room).glob("test_*.py")):
        name = path.relative_to(copy).as_posix()
        outcome, taken_s = run_tests(copy, [name], words.seconds)
        if outcome == "survived":
            timed.append((taken_s, name))
        else:
            print(f"left out: {name} after {taken_s:.0f} s", flush=True)
    tests = [FROZEN, *(name for _, name in sorted(timed))]
    outcome, clean_s = run_tests(copy, [f"sizing/{room}", *tests], 3600)
    if outcome != "survived":
        log = (copy.parent / "log.txt").read_text(encoding="utf-8")
        raise SystemExit(f"{package}: without a mutant the tests fail\n{log}")
    print(f"{package}: {clean_s:.0f} s without a mutant", flush=True)
    for row in mutants.to_dict("records"):
        new = mutated(*(row[name] for name in MADE_BY))
        if new is None:
            continue
        source = copy / row["file"]
        old = source.read_text(encoding="utf-8")
        source.write_text(new, encoding="utf-8")
        told, taken_s = run_tests(copy, [row["file"], *tests], 3 * clean_s + 30)
        source.write_text(old, encoding="utf-8")
        lines = list(difflib.ndiff(old.splitlines(), new.splitlines()))
        for name, sign in [("before", "- "), ("after", "+ ")]:
            row[name] = " / ".join(t[2:].strip() for t in lines if t[:2] == sign)
        row |= {"outcome": told, "seconds": round(taken_s, 1)}
        first = not words.out.exists()
        pd.DataFrame([row]).to_csv(words.out, mode="a", header=first, index=False)
        print(row, flush=True)


def table(results: pd.DataFrame) -> pd.DataFrame:
    """Count killed mutants by package, those that change nothing left out.

    The interval is Wilson's, of 95 %, for the share of all the places of a package.
    """
    read = pd.read_csv(HERE / "survivors.csv").query("verdict == 'equivalent'")
    same = read[["file", "before", "after"]].drop_duplicates().assign(known=True)
    known = results.merge(same, how="left")["known"].notna().to_numpy()
    lived = (results["outcome"] != "killed").to_numpy()
    kinds = {"killed": ~lived, "equivalent": lived & known, "open": lived & ~known}
    sums = results.assign(**kinds).groupby("package", sort=False)[[*kinds]].sum()
    sums.loc["all"] = sums.sum()
    sums.insert(0, "sampled", sums.sum(axis=1))
    for name, row in sums.iterrows():
        found = binomtest(int(row["killed"]), int(row["killed"] + row["open"]))
        interval = found.proportion_ci(method="wilson")
        sums.loc[name, ["share", "low", "high"]] = [found.statistic, *interval]
    return sums.rename_axis("package").reset_index()


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--of", nargs="+", default=[], metavar="ROOM[/MODULE]")
    parser.add_argument("--sample", type=int, default=40, help="places in each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=60, help="a file may take")
    parser.add_argument("--again", type=Path, help="run the survivors of a file anew")
    parser.add_argument("--table", type=Path, nargs="+", help="count what files hold")
    parser.add_argument("--out", type=Path, default=Path("mutants.csv"))
    words = parser.parse_args()
    if words.table:
        held = pd.concat([pd.read_csv(path) for path in words.table])
        # What was run anew is written later, and holds.
        held = held.drop_duplicates(MADE_BY, keep="last").reset_index(drop=True)
        print(table(held).round(3).to_string(index=False))
        return
    words.out = words.out.resolve()
    drawn = [sample(name, words.sample, words.seed) for name in words.of]
    if words.again:
        again = pd.read_csv(words.again).query("outcome == 'survived'")
        drawn.append(again[["package", "line", *MADE_BY]])
    listed = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
    files = subprocess.run(listed, cwd=ROOT, check=True, capture_output=True, text=True)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Path(folder) / "copy"
        for name in filter(lambda name: (ROOT / name).is_file(), files.stdout.split()):
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, copy / name)
        for package, mutants in pd.concat(drawn).groupby("package", sort=False):
            judge(copy, str(package), mutants, words)


if __name__ == "__main__":
    main()
