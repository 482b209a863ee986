"""Which small changes can be made to a module, and a sample of them."""

import ast
import difflib
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import numpy as np
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names

ARITHMETIC = {"Add", "Sub", "Mul", "Div", "FloorDiv", "Mod", "Pow"}
BITS = {"BitOr", "BitAnd", "BitXor"}
IDENTITY = {"Is", "IsNot"}


@dataclass(frozen=True)
class Mutant:
    """The ``occurrence``-th change that ``operator`` can make to ``file``."""

    file: str
    line: int
    operator: str
    occurrence: int


@dataclass(frozen=True)
class Change:
    """The lines a mutant takes away and those it puts in their place."""

    before: str
    after: str


def _is_telling(name: str) -> bool:
    """Say whether an operator's mutants test more than the types of the operands.

    ``a - b`` made ``a << b`` stops nearly every time with a TypeError, and
    ``x is None`` made ``x < None`` always: either would be killed by anything that
    runs the line, and would flatter the tests.
    """
    kind, _, change = name.removeprefix("core/").partition("_")
    old, _, new = change.partition("_")
    if kind.startswith("Variable"):
        return False
    if kind == "ReplaceBinaryOperator":
        return any({old, new} <= group for group in (ARITHMETIC, BITS))
    if kind == "ReplaceComparisonOperator":
        return (old in IDENTITY) == (new in IDENTITY)
    return True


OPERATORS = [name for name in operator_names() if _is_telling(name)]


def _annotations(source: str) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Return where annotations begin and end: nothing runs them."""
    found = []
    for node in ast.walk(ast.parse(source)):
        for part in (getattr(node, "annotation", None), getattr(node, "returns", None)):
            if part is not None:
                begin = (part.lineno, part.col_offset)
                found.append((begin, (part.end_lineno, part.end_col_offset)))
    return found


def _sites(root: Path, file: str) -> dict[tuple, list[Mutant]]:
    """Return the mutants of a file by place and kind of operator."""
    source = (root / file).read_text(encoding="utf-8")
    passive = _annotations(source)
    nodes = list(ast_nodes(get_ast(source)))
    sites: dict[tuple, list[Mutant]] = {}
    for name in OPERATORS:
        operator = get_operator(name)()
        places = (operator.mutation_positions(node) for node in nodes)
        for occurrence, (begin, end) in enumerate(chain.from_iterable(places)):
            if any(low <= begin and end <= high for low, high in passive):
                continue
            kind = name.partition("_")[0]
            mutant = Mutant(file, begin[0], name.removeprefix("core/"), occurrence)
            sites.setdefault((file, begin, end, kind), []).append(mutant)
    return sites


def sample(root: Path, package: str, number: int, seed: int) -> list[Mutant]:
    """Draw places evenly, and at each place one of the changes possible there.

    Drawing mutants evenly instead would dwell on comparisons, each of which can be
    changed in five ways, and a number in two.
    """
    rng = np.random.default_rng([seed, *package.encode()])
    sites: dict[tuple, list[Mutant]] = {}
    room, _, module = package.partition("/")
    for path in sorted((root / "sizing" / room).glob(f"{module or '*'}.py")):
        file = path.relative_to(root).as_posix()
        sites |= _sites(root, file)
    groups = [sites[key] for key in sorted(sites)]
    chosen = rng.permutation(len(groups))[:number]
    drawn = [groups[place][rng.integers(len(groups[place]))] for place in chosen]
    return [mutant for mutant in drawn if is_python(mutated(root, mutant))]


def is_python(text: str) -> bool:
    """Say whether a text can be run at all: ``f(*x)`` made ``f(/x)`` cannot."""
    try:
        ast.parse(text)
    except SyntaxError:
        return False
    return True


def mutated(root: Path, mutant: Mutant) -> str:
    """Return the file's text with the mutant's change made."""
    source = (root / mutant.file).read_text(encoding="utf-8")
    operator = get_operator(f"core/{mutant.operator}")()
    found = mutate_code(source, operator, mutant.occurrence)
    if found is None:
        raise LookupError(f"{mutant} is not in this tree: the code changed since")
    return str(found)


def change_of(old: str, new: str) -> Change:
    """Return the lines in which two texts differ, without their indents."""
    lines = list(difflib.ndiff(old.splitlines(), new.splitlines()))
    return Change(
        before=" / ".join(line[2:].strip() for line in lines if line[:2] == "- "),
        after=" / ".join(line[2:].strip() for line in lines if line[:2] == "+ "),
    )
