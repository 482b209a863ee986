"""Change the code in small ways and count how often the tests notice.

    python -m pip install cosmic-ray
    python tests/mutation/run.py --of stock charts/assign --sample 40 --out mutants.csv
    python tests/mutation/run.py --again mutants.csv --out again.csv
    python tests/mutation/run.py --table mutants.csv

The changes are made by cosmic-ray's operators, in a copy of this tree that is thrown
away; the tree itself is only read. What is changed is a room or one module of it; its
tests are those of the room's folder, the fastest file first and those left out that
take over a minute; the doctests of the changed module go before them. A mutant is
counted only where the copy without it passes the same tests, and is killed where a test
fails or the tests take over three times as long and half a minute.
``survivors.csv`` names the survivors that were read, and why they live.
"""

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

import pandas as pd
from scipy.stats import binomtest

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path.insert(0, str(HERE))

from mutants import Mutant, change_of, mutated, sample  # noqa: E402

#: Loaded once, before each run of the tests is forked off. None of them loads the kit.
WARM = ["pytest", "hypothesis", "matplotlib.pyplot", "scipy.stats", "scipy.optimize"]
KEY = ["file", "before", "after"]
#: No folder's test, yet it notices a dataclass that is no longer frozen.
FROZEN = "tests/test_layers.py::test_what_holds_figures_cannot_be_changed"


def copy_tree(root: Path, folder: Path) -> Path:
    """Copy what git knows or would take in; return the copy."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=root,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    for name in filter(None, listed.split("\0")):
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if (root / name).is_file():
            shutil.copy(root / name, target)
    return folder


def quick_tests(copy: Path, room: str, limit_s: float) -> list[str]:
    """Return the test files of a room that pass in so long, fastest first."""
    timed = []
    for path in sorted((copy / "tests" / room).glob("test_*.py")):
        name = path.relative_to(copy).as_posix()
        outcome, taken_s = run_tests(copy, [name], limit_s)
        if outcome == "passed":
            timed.append((taken_s, name))
        else:
            print(f"left out: {name} {outcome} after {taken_s:.0f} s", flush=True)
    return [FROZEN, *(name for _, name in sorted(timed))]


def _test(copy: Path, arguments: list[str], log: Path) -> None:
    """Run pytest in this process, which ends with pytest's exit code."""
    import hypothesis
    import pytest

    os.setsid()
    with log.open("w", encoding="utf-8") as out:
        os.dup2(out.fileno(), 1)
        os.dup2(out.fileno(), 2)
    os.chdir(copy)
    os.environ |= {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    sys.dont_write_bytecode = True
    sys.path.insert(0, str(copy))
    # A failing example need not be made small, nor kept for the next mutant.
    hypothesis.settings.register_profile(
        "mutation",
        database=None,
        report_multiple_bugs=False,
        phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
    )
    hypothesis.settings.load_profile("mutation")
    options = ["-x", "-q", "-p", "no:cacheprovider", "--hypothesis-seed=1"]
    os._exit(int(pytest.main([*options, *arguments])))


def run_tests(copy: Path, arguments: list[str], limit_s: float) -> tuple[str, float]:
    """Fork and run the tests; return what came of them, and the seconds."""
    begun = time.monotonic()
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        try:
            _test(copy, arguments, copy.parent / "log.txt")
        finally:
            os._exit(3)
    while time.monotonic() - begun < limit_s:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(status)
            # 2: a module cannot be loaded. 4, 5: no tests were found.
            outcome = {0: "passed", 4: "broken", 5: "broken"}.get(code, "failed")
            return outcome, time.monotonic() - begun
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "timeout", time.monotonic() - begun


def judge(
    copy: Path, package: str, mutants: list[Mutant], out: Path, limit_s: float
) -> None:
    """Run the tests on the copy as it is, then on each mutant; append to ``out``."""
    room = package.partition("/")[0]
    tests = quick_tests(copy, room, limit_s)
    outcome, clean_s = run_tests(copy, [f"sizing/{room}", *tests], 3600)
    if outcome != "passed":
        log = (copy.parent / "log.txt").read_text(encoding="utf-8")
        raise SystemExit(f"{package}: without a mutant the tests {outcome}\n{log}")
    print(f"{package}: {clean_s:.0f} s without a mutant", flush=True)
    for number, mutant in enumerate(mutants, start=1):
        source = copy / mutant.file
        old = source.read_text(encoding="utf-8")
        new = mutated(copy, mutant)
        source.write_text(new, encoding="utf-8")
        outcome, taken_s = run_tests(copy, [mutant.file, *tests], 3 * clean_s + 30)
        source.write_text(old, encoding="utf-8")
        told = {"failed": "killed", "passed": "survived"}.get(outcome, outcome)
        row = {"package": package, **asdict(mutant), **asdict(change_of(old, new))}
        row |= {"outcome": told, "seconds": round(taken_s, 1)}
        pd.DataFrame([row]).to_csv(out, mode="a", header=not out.exists(), index=False)
        print(f"{number}/{len(mutants)} {told} {taken_s:.0f} s {row}", flush=True)


def table(results: pd.DataFrame) -> pd.DataFrame:
    """Count killed mutants by package, those that change nothing left out.

    The interval is Wilson's, of 95 %, for the share of all the places of a package.
    """
    read = pd.read_csv(HERE / "survivors.csv")
    same = read.loc[read["verdict"] == "equivalent", KEY].drop_duplicates()
    known = results.merge(same, on=KEY, how="left", indicator=True)["_merge"] == "both"
    lived = (results["outcome"] == "survived").to_numpy()
    results = results.assign(
        killed=results["outcome"].isin(["killed", "timeout"]).to_numpy(),
        equivalent=lived & known.to_numpy(),
        open=lived & ~known.to_numpy(),
    )
    counted = ["killed", "equivalent", "open"]
    sums = results.groupby("package", sort=False)[counted].sum()
    sums = pd.concat([sums, sums.sum().to_frame("all").T])
    sums.insert(0, "sampled", sums.sum(axis=1))
    for name, row in sums.iterrows():
        found = binomtest(int(row["killed"]), int(row["killed"] + row["open"]))
        interval = found.proportion_ci(method="wilson")
        sums.loc[name, "share"] = found.statistic
        sums.loc[name, "low"], sums.loc[name, "high"] = interval.low, interval.high
    return sums.rename_axis("package").reset_index()


def main() -> None:
    """Read the words of the command and do what they ask."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--of", nargs="+", default=[], metavar="ROOM[/MODULE]")
    parser.add_argument("--sample", type=int, default=40, help="places in each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--seconds", type=float, default=60, help="that a file of tests may take"
    )
    parser.add_argument("--again", type=Path, help="run the survivors of a file anew")
    parser.add_argument("--table", type=Path, nargs="+", help="count what files hold")
    parser.add_argument("--out", type=Path, default=Path("mutants.csv"))
    words = parser.parse_args()
    if words.table:
        held = pd.concat([pd.read_csv(path) for path in words.table])
        # What was run anew is written later, and holds.
        held = held.drop_duplicates(["file", "operator", "occurrence"], keep="last")
        print(table(held.reset_index(drop=True)).round(3).to_string(index=False))
        return
    for name in WARM:
        __import__(name)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = copy_tree(ROOT, Path(folder) / "copy")
        work = {name: sample(copy, name, words.sample, words.seed) for name in words.of}
        if words.again:
            survived = pd.read_csv(words.again).query("outcome == 'survived'")
            for name, rows in survived.groupby("package", sort=False):
                keys = rows[["file", "line", "operator", "occurrence"]]
                work[str(name)] = [Mutant(*key) for key in keys.itertuples(index=False)]
        for name, mutants in work.items():
            judge(copy, name, mutants, words.out.resolve(), words.seconds)


if __name__ == "__main__":
    main()
