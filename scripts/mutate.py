"""Mutation testing of the exposure clock and of the inference: would the tests notice one wrong sign?

python scripts/mutate.py [exposure|inference ...] [--list] [--only TEXT] [--sample N] [--workers N]

Each mutant is the module with one small change (a comparison, a sign, a number, a word, a condition, a return). The
tests of its group run against it in a process of their own, forked from one that has everything loaded; the first
failure kills it, and so does a run that takes four times the time of the sound module. The score is killed / (all -
those that say the same as before); which those are, and why, stands in `mutants_alike.toml`. Needs fork: no Windows.
"""

import argparse
import ast
import copy
import importlib
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import tomllib
from collections import Counter
from pathlib import Path
from typing import NamedTuple

from _boot import ROOT, inside

WANTED = 0.95
GROUPS = {
    "exposure": (
        ["satdiag/spans.py", "satdiag/exposure.py"],
        [
            "tests/test_spans.py",
            "tests/test_exposure_edges.py",
            "tests/entitlement/test_gaps_one_after_another.py",
            "tests/test_exposure.py",
        ],
    ),
    "inference": (
        [
            "satdiag/diagnosis/space.py",
            "satdiag/diagnosis/model.py",
            "satdiag/diagnosis/inference.py",
            "satdiag/diagnosis/weighing.py",
            "satdiag/diagnosis/again.py",
            "satdiag/diagnosis/quickscore.py",
        ],
        [
            "tests/diagnosis/test_small_model_by_loops.py",
            "tests/diagnosis/test_second_reading_by_loops.py",
            "tests/diagnosis/test_inference_edges.py",
            "tests/diagnosis/test_inference.py",
            "tests/diagnosis/test_kinds.py",
            "tests/diagnosis/test_faults_file.py",
            "tests/diagnosis/test_quickscore.py",
            "tests/diagnosis/test_tests_done_again.py",
        ],
    ),
}
ALIKE = Path(__file__).with_name("mutants_alike.toml")
OTHER = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip
PLAIN_KEYWORDS = {"strict", "dtype", "kind"}
"""Arguments that say how, not what."""


class Mutant(NamedTuple):
    """A changed module: its file, the function, what was changed into what, and the whole text."""

    file: str
    function: str
    change: str
    text: str

    @property
    def name(self):
        """How it is called in the list of those alike."""
        return f"{self.file}: {self.function}: {self.change}"


def variants(node):
    """What may stand in the place of a node."""
    match node:
        case ast.Compare(ops=[op]) if type(op) in OTHER:
            yield ast.Compare(node.left, [OTHER[type(op)]()], node.comparators)
        case ast.BinOp(op=op) if type(op) in OTHER:
            yield ast.BinOp(node.left, OTHER[type(op)](), node.right)
        case ast.BoolOp(op=op):
            yield ast.BoolOp(OTHER[type(op)](), node.values)
        case ast.UnaryOp():
            yield node.operand
        case ast.Constant(value=bool(value)):
            yield ast.Constant(not value)
        case ast.Constant(value=int(value) | float(value)):
            yield ast.Constant(value + 1)
        case ast.Constant(value=str(value)):
            yield ast.Constant(value + "-other")
        case ast.IfExp():
            yield ast.IfExp(ast.UnaryOp(ast.Not(), node.test), node.body, node.orelse)
        case ast.If():
            yield ast.If(ast.UnaryOp(ast.Not(), node.test), node.body, node.orelse)
        case ast.Return(value=value) if value is not None and ast.unparse(value) != "None":
            yield ast.Return(ast.Constant(None))
        case ast.AugAssign() | ast.Expr(value=ast.Call()):
            yield ast.Pass()


def places(tree):
    """Every node that may be changed, as (function, parent, field, index, node)."""
    waiting = [("module", tree)]
    while waiting:
        function, parent = waiting.pop()
        if isinstance(parent, ast.ClassDef | ast.FunctionDef):
            function = parent.name
        for field, value in ast.iter_fields(parent):
            if field in ("annotation", "returns", "decorator_list", "bases", "type_params"):
                continue
            if function == "module" and isinstance(parent, ast.Module) and field == "body":
                value = [one for one in value if isinstance(one, ast.ClassDef | ast.FunctionDef)]
            for index, node in enumerate(value if isinstance(value, list) else [value]):
                is_docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
                if not isinstance(node, ast.AST) or is_docstring or isinstance(node, ast.JoinedStr):
                    continue
                if isinstance(node, ast.keyword) and node.arg in PLAIN_KEYWORDS:
                    continue
                yield function, parent, field, index if isinstance(value, list) else None, node
                waiting.append((function, node))


def mutants(file, root):
    """Every mutant of a module of the tree at `root`."""
    tree = ast.parse((root / file).read_text("utf-8"))
    times = Counter()
    for function, parent, field, _, node in list(places(tree)):
        for other in variants(node):
            held = getattr(parent, field)
            fresh = [other if one is node else one for one in held] if isinstance(held, list) else other
            setattr(parent, field, fresh)
            text = ast.unparse(ast.fix_missing_locations(copy.deepcopy(tree)))
            setattr(parent, field, held)
            change = f"{_shown(node)} -> {_shown(other)}{_where(parent, node)}"
            times[function, change] += 1
            again = f" ({times[function, change]})" if times[function, change] > 1 else ""
            yield Mutant(file, function, change + again, text)


def _shown(node):
    if isinstance(node, ast.If):
        return f"if {ast.unparse(node.test)}"
    return " ".join(ast.unparse(node).split())


def _where(parent, node):
    """What a bare constant stands in."""
    return f" in {_shown(parent)[:90]}" if isinstance(node, ast.Constant) and isinstance(parent, ast.expr) else ""


# --- running them ------------------------------------------------------------------------------------------------


def _module(file):
    return file.removesuffix(".py").replace("/", ".")


def put_in(mutant):
    """Put the mutant's code into the functions of the module that is loaded, wherever they are known by now."""
    name = _module(mutant.file)
    module = sys.modules[name]
    fresh = type(module)(name)
    sys.modules[name] = fresh  # dataclasses look their module up
    exec(compile(mutant.text, mutant.file, "exec"), fresh.__dict__)
    sys.modules[name] = module
    _exchange(vars(module), vars(fresh), name)


def _exchange(old, new, name):
    for key, value in list(old.items()):
        other = new.get(key)
        if hasattr(value, "cache_clear"):
            value.cache_clear()
        if isinstance(value, type) and value.__module__ == name and isinstance(other, type):
            _exchange(vars(value), vars(other), name)
            continue
        for inner in ("fget", "func", "__wrapped__"):  # a property, a cached one, a cached function
            value, other = getattr(value, inner, None) or value, getattr(other, inner, None) or other
        if getattr(value, "__module__", None) == name and hasattr(value, "__code__") and hasattr(other, "__code__"):
            value.__code__, value.__defaults__ = other.__code__, other.__defaults__


def start(changed, tests, limit_s):
    """Run the tests against mutants in a process of its own, for so many seconds of the processor; its number."""
    import resource  # not on Windows

    sys.stdout.flush()
    if (child := os.fork()) != 0:
        return child
    os.setpgid(0, 0)
    resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s))
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nowhere, stream)
    code = 1
    try:
        import pytest

        for mutant in changed:
            put_in(mutant)
        options = [
            "-x",
            "-q",
            "--assert=plain",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:xdist",
            "--hypothesis-seed=0",
            "-m",
            "not long",
        ]
        code = int(pytest.main([*options, *tests]))
    finally:
        os._exit(code)


def unchanged(file):
    """The module itself, put in like a mutant: that must change nothing."""
    return Mutant(file, "", "", ast.unparse(ast.parse(Path(file).read_text("utf-8"))))


def run_all(found, files, tests, workers):
    """Which mutants live. Raises SystemExit if the tests fail without any."""
    begun = time.monotonic()
    _, status, used = os.wait4(start([unchanged(file) for file in files], tests, 3600), 0)
    if os.waitstatus_to_exitcode(status):
        sys.exit("The tests fail without any mutant; mend that first.")
    limit_s, patience_s = int(4 * used.ru_utime) + 5, 30 * (time.monotonic() - begun) + 30
    alive, running, waiting = [], {}, list(found)
    while waiting or running:
        while waiting and len(running) < workers:
            mutant = waiting.pop(0)
            running[start([mutant], tests, limit_s)] = (mutant, time.monotonic())
        time.sleep(0.02)
        for child, (mutant, since) in list(running.items()):
            ended, status = os.waitpid(child, os.WNOHANG)
            if ended and os.waitstatus_to_exitcode(status) == 0:
                alive.append(mutant)
                print(f"lives: {mutant.name}", flush=True)
            elif not ended and time.monotonic() - since > patience_s:
                os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
            elif not ended:
                continue
            del running[child]
            if (left := len(waiting) + len(running)) % 50 == 0:
                print(f"... {left} to go", flush=True)
    return alive


def copied():
    """A copy of the tree: nothing is changed in the checkout, and nothing that is edited meanwhile gets in."""
    tree = tempfile.TemporaryDirectory(prefix="satdiag-mutants-")
    for name in ("satdiag", "tests"):
        shutil.copytree(ROOT / name, Path(tree.name) / name, ignore=shutil.ignore_patterns("__pycache__", "golden"))
    shutil.copy(ROOT / "pyproject.toml", tree.name)
    return tree


def load(root, files, tests):
    """Load the modules and what the tests use from the copy at `root`, and go there."""
    os.chdir(root)
    sys.path.insert(0, str(root))
    for name in ("pytest", "hypothesis", "hypothesis.strategies", *map(_module, files), *_used_by(tests)):
        importlib.import_module(name)
    from hypothesis import settings

    # A busy computer kills no mutant; what 30 examples let live, the 100 of the tests may still find.
    settings.register_profile("mutants", deadline=None, max_examples=30)
    settings.load_profile("mutants")


def _used_by(tests):
    """The modules of satdiag that tests import; the tests themselves are read with the mutant in its place."""
    for test in tests:
        for node in ast.walk(ast.parse(Path(test).read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("satdiag"):
                yield node.module


def alike():
    """The mutants that say the same as the sound module, with the reason."""
    return {
        name: reason for part in tomllib.loads(ALIKE.read_text("utf-8")).values() for name, reason in part.items()
    }


def main():
    """Make, run and count the mutants of the groups that are named."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("groups", nargs="*", default=[])
    parser.add_argument("--list", action="store_true", help="only print the mutants")
    parser.add_argument("--only", default="", help="only mutants with this text in their names")
    parser.add_argument("--sample", type=int, default=0, help="only so many of them, by chance")
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    with copied() as tree:
        return max([of_group(group, Path(tree), options) for group in options.groups or GROUPS])


def of_group(group, root, options):
    """Try the mutants of one group; 1 if too many of them live."""
    files, tests = GROUPS[group]
    found = [one for file in files for one in mutants(file, root) if options.only in one.name]
    if options.list:
        print("\n".join(one.name for one in found))
        return 0
    tests = [test for test in tests if (root / test).exists()]
    same = alike()
    tried = [one for one in found if one.name not in same]
    random.Random(0).shuffle(tried)
    tried = tried[: options.sample or None]
    load(root, files, tests)
    alive = run_all(tried, files, tests, options.workers)
    os.chdir(ROOT)
    for file in [*files, group]:
        all_, ours, lives = ([one for one in part if file in (one.file, group)] for part in (found, tried, alive))
        if not ours:
            continue
        print(
            f"{file}: {len(all_)} mutants, {sum(one.name in same for one in all_)} alike, {len(ours)} tried, "
            f"{len(ours) - len(lives)} killed, {len(lives)} live: score {1 - len(lives) / len(ours):.1%}"
        )
    return int(len(alive) > (1 - WANTED) * len(tried))


if __name__ == "__main__":
    if not hasattr(os, "fork"):
        sys.exit("This needs a system with fork: Linux or macOS.")
    python = inside(["dev"])
    if Path(sys.executable).resolve() != Path(python).resolve() or sys.prefix == sys.base_prefix:
        os.execv(python, [python, *sys.argv])
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    sys.exit(main())
