"""Do the tests test? Small changes are drawn in the code, one at a time, and the tests have to notice each.

`python -m tests.mutation --draw 600 --seed 7 --write found.json` draws changes in the rooms below, each made in a copy of the
tree. A change is tried against the test file at its module's mirrored path; what survives, against the checks against things not
written here (tests/outside); with `--against own outside neighbours`, then against every other test file of its floor that
imports the module. What changes nothing that anybody could see stands in equivalent.toml, with the reason. Needs a system that
can fork.
"""

import argparse
import ast
import contextlib
import importlib
import io
import json
import os
import re
import resource
import shutil
import signal
import sys
import tempfile
import threading
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from tests.places import TOP, mirrored

ROOMS = ("measure", "fit/circuit", "fit/estimate", "fit/answers")
EQUIVALENT = TOP / "tests" / "equivalent.toml"
MARKS = "not soundcard and not slow and not browser"
QUIET = ("-W", "ignore::pytest.PytestAssertRewriteWarning")  # of what is loaded before
PATIENCE = 3.0  # times what the unchanged tests take of the processor, before a change counts as one that hangs
FIRST_LIMIT = 90  # [s] of the processor, while nothing is known of a test file
WALL = 600.0  # [s] for a run that waits and does nothing
MEMORY = 8 << 30  # [bytes] of addresses for one run of tests
ROUNDS = ("own", "outside", "neighbours")
KILLED, HANGS, SURVIVED = "killed", "hangs", "survived"

OPERATORS: dict[type[ast.AST], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.FloorDiv: ("//", "*"),
    ast.Mod: ("%", "*"),
    ast.Pow: ("**", "*"),
}
COMPARISONS: dict[type[ast.AST], tuple[str, tuple[str, ...]]] = {
    ast.Lt: ("<", ("<=", ">=")),
    ast.LtE: ("<=", ("<", ">")),
    ast.Gt: (">", (">=", "<=")),
    ast.GtE: (">=", (">", "<")),
    ast.Eq: ("==", ("!=",)),
    ast.NotEq: ("!=", ("==",)),
    ast.Is: ("is", ("is not",)),
    ast.IsNot: ("is not", ("is",)),
    ast.In: ("in", ("not in",)),
    ast.NotIn: ("not in", ("in",)),
}
OPPOSITE = {"min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum"}
PRELOADED = (  # what many tests import, and nothing of this project: each run of tests is a fork of a process that has them
    "pytest", "hypothesis", "hypothesis.extra.numpy", "numpy.testing", "scipy.signal", "scipy.optimize", "scipy.stats",
    "scipy.interpolate", "scipy.special", "lmfit", "msgspec", "tomlkit", "soundfile", "click.testing", "lcapy", "GTC", "cfsem",
    "skrf", "impedance",
)  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: in `line` of `file`, the text between two places, counted in characters of the whole file, becomes `new`."""

    file: str
    line: int
    kind: str
    begin: int
    end: int
    old: str
    new: str
    context: str  # the line as it stands

    @property
    def change(self) -> str:
        return f"{self.old} -> {self.new}" if self.old else f"-> {self.new}"

    def applied(self, source: str) -> str:
        return source[: self.begin] + self.new + source[self.end :]


@dataclass
class Outcome:
    """What the tests made of a change."""

    mutant: Mutant
    fate: str  # KILLED, HANGS, SURVIVED
    by: str = ""  # the tests that saw it: own, outside, neighbours
    seconds: float = field(default=0.0, compare=False)


class Finder:
    """Every change that can be made in one file: never in what is only said, annotated, imported or decorated."""

    def __init__(self, file: str, source: str) -> None:
        self.file = file
        self.source = source
        self.lines = source.splitlines(keepends=True)
        self.starts = np.concatenate(([0], np.cumsum([len(line) for line in self.lines]))).tolist()
        self.found: list[Mutant] = []

    def all(self) -> list[Mutant]:
        self.visit(ast.parse(self.source))
        return sorted(set(self.found), key=lambda one: (one.begin, one.end, one.new))

    def place(self, line: int, column: int) -> int:
        """Characters before a place that ast counts in bytes of its line."""
        return self.starts[line - 1] + len(self.lines[line - 1].encode()[:column].decode())

    def begin(self, node: ast.expr) -> int:
        return self.place(node.lineno, node.col_offset)

    def end(self, node: ast.expr) -> int:
        return self.place(node.end_lineno or node.lineno, node.end_col_offset or 0)

    def add(self, kind: str, begin: int, end: int, new: str, line: int) -> None:
        context = self.lines[line - 1].strip()
        self.found.append(Mutant(self.file, line, kind, begin, end, self.source[begin:end], new, context))

    def between(self, kind: str, left: ast.expr, right: ast.expr, old: str, new: str) -> None:
        """Change the operator that stands between two operands, beside parentheses and comments."""
        begin, end = self.end(left), self.begin(right)
        gap = re.sub(r"#[^\n]*", lambda comment: " " * len(comment.group()), self.source[begin:end])
        pattern = r"\s+".join(re.escape(word) for word in old.split())
        if place := re.search(pattern, gap):
            line = self.source.count("\n", 0, begin + place.start()) + 1
            self.add(kind, begin + place.start(), begin + place.end(), new, line)

    def visit(self, node: ast.AST) -> None:
        """Walk what runs."""
        if isinstance(node, (ast.JoinedStr, ast.Raise, ast.Import, ast.ImportFrom, ast.Assert)):
            return
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            return
        self.change(node)
        if isinstance(node, ast.keyword) and node.arg == "strict":
            return  # of zip: only a wrong call would meet it
        skipped = {"annotation", "returns", "decorator_list", "bases", "keywords" if isinstance(node, ast.ClassDef) else ""}
        for name, value in ast.iter_fields(node):
            if name in skipped:
                continue
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    self.visit(child)

    def change(self, node: ast.AST) -> None:
        """Note the changes of one node itself."""
        if isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
            if not (is_text(node.left) or is_text(node.right)):
                self.between("operator", node.left, node.right, *OPERATORS[type(node.op)])
        elif isinstance(node, ast.AugAssign) and type(node.op) in OPERATORS and not is_text(node.value):
            old, new = OPERATORS[type(node.op)]
            self.between("operator", node.target, node.value, f"{old}=", f"{new}=")
        elif isinstance(node, ast.Compare):
            ends = [node.left, *node.comparators]
            for i, op in enumerate(node.ops):
                old, news = COMPARISONS[type(op)]
                for new in news:
                    is_boundary = old.rstrip("=") == new.rstrip("=") and old not in ("==", "!=")
                    self.between("boundary" if is_boundary else "comparison", ends[i], ends[i + 1], old, new)
        elif isinstance(node, ast.BoolOp):
            old, new = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
            for left, right in zip(node.values, node.values[1:], strict=False):
                self.between("boolean", left, right, old, new)
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.Not, ast.USub)):
            kind = "boolean" if isinstance(node.op, ast.Not) else "sign"
            self.add(kind, self.begin(node), self.begin(node.operand), "", node.lineno)
        elif isinstance(node, ast.Return) and node.value is not None and not isinstance(node.value, ast.Constant):
            self.add("return", self.begin(node.value), self.end(node.value), "None", node.value.lineno)
        elif isinstance(node, ast.Constant) and isinstance(node.value, (bool, int, float)):
            self.add("constant", self.begin(node), self.end(node), other_constant(node.value), node.lineno)
        elif isinstance(node, ast.Call):
            self.opposite(node.func)
        if isinstance(node, (ast.If, ast.While, ast.IfExp)) and isinstance(node.test, (ast.Name, ast.Attribute, ast.Call)):
            begin, end = self.begin(node.test), self.end(node.test)
            self.add("boolean", begin, end, f"(not {self.source[begin:end]})", node.test.lineno)

    def opposite(self, function: ast.expr) -> None:
        """Note that the least may become the greatest, and some all."""
        name = function.id if isinstance(function, ast.Name) else function.attr if isinstance(function, ast.Attribute) else ""
        if name in OPPOSITE:
            end = self.end(function)
            self.add("opposite", end - len(name), end, OPPOSITE[name], function.end_lineno or function.lineno)


def is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def other_constant(value: bool | int | float) -> str:
    """A number or a truth that differs: the next integer, twice the float."""
    if isinstance(value, bool):
        return str(not value)
    if isinstance(value, int):
        return str(value + 1)
    return repr(2 * value) if value else "1.0"


def mutants_of(file: str, top: Path = TOP) -> list[Mutant]:
    return Finder(file, (top / file).read_text(encoding="utf-8")).all()


def modules(rooms: tuple[str, ...], top: Path = TOP) -> list[str]:
    paths = [path for room in rooms for path in ([top / room] if room.endswith(".py") else (top / room).rglob("*.py"))]
    return sorted(str(path.relative_to(top)) for path in paths if path.name != "__init__.py")


def known_equivalent(path: Path = EQUIVALENT) -> dict[tuple[str, str, str], str]:
    """Reasons, by file, line as it stands and change."""
    listed = tomllib.loads(path.read_text(encoding="utf-8")).get("mutant", []) if path.exists() else []
    return {(one["file"], one["line"], one["change"]): one["reason"] for one in listed}


def draw(candidates: list[Mutant], n: int, seed: int, top: Path = TOP) -> list[Mutant]:
    """Draw changes that leave a text which can be compiled."""
    drawn: list[Mutant] = []
    for i in np.random.default_rng(seed).permutation(len(candidates)):
        if len(drawn) == n:
            break
        with contextlib.suppress(SyntaxError):
            compile(candidates[i].applied((top / candidates[i].file).read_text(encoding="utf-8")), candidates[i].file, "exec")
            drawn.append(candidates[i])
    return drawn


class Called:
    """Which functions a run of tests calls, as file and first line; what runs in other processes is not seen."""

    def __init__(self, top: Path) -> None:
        self.top = f"{top}{os.sep}"
        self.codes: set[object] = set()

    def __call__(self, frame, event, _argument):
        if event == "call":
            self.codes.add(frame.f_code)

    def functions(self) -> list[tuple[str, int]]:
        own = [code for code in self.codes if code.co_filename.startswith(self.top)]
        return sorted((code.co_filename.removeprefix(self.top), code.co_firstlineno) for code in own)


class Bench:
    """A copy of the tree in which changes are tried, one after another."""

    def __init__(self, top: Path, folder: Path) -> None:
        self.top = top
        self.folder = folder.resolve()
        ignored = shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache", ".hypothesis", "dist", "build")
        shutil.copytree(top, self.folder, ignore=ignored)
        self.sources: dict[str, str] = {}  # as copied: the tree itself may be worked on meanwhile
        self.passes: dict[str, float] = {}  # seconds of the processor that a test file takes where nothing is seen

    def write(self, file: str, text: str) -> None:
        """Write a module, and see that nothing compiled before is taken for it."""
        path = self.folder / file
        path.write_text(text, encoding="utf-8")
        for compiled in path.parent.glob(f"__pycache__/{path.stem}.*.pyc"):
            compiled.unlink()

    def run(self, test: str, calls: Path | None = None) -> tuple[str, float]:
        """Run a test file in a fork; a fork that hangs is ended with all that it started."""
        limit_s = int(PATIENCE * self.passes[test]) + 20 if test in self.passes else FIRST_LIMIT
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        end = time.monotonic() + min(WALL, 8 * limit_s)
        child = os.fork()
        if child == 0:
            self.in_child(test, 8 * limit_s if calls else limit_s, calls)
        done = status = 0
        while not done and (calls or time.monotonic() < end):
            done, status = os.waitpid(child, os.WNOHANG)
            time.sleep(0.02)
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(child, signal.SIGKILL)
        if not done:
            os.waitpid(child, 0)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        took_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        if done and status == 0:
            self.passes.setdefault(test, took_s)
            return SURVIVED, took_s
        return (HANGS if not done or os.WIFSIGNALED(status) else KILLED), took_s

    def in_child(self, test: str, limit_s: int, calls: Path | None) -> None:
        """Run pytest on the copy and end, by 0 only where all tests passed."""
        os.setsid()
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s))
        os.chdir(self.folder)
        sys.path[:] = [str(self.folder), *(path for path in sys.path if Path(path or ".").resolve() != self.top)]
        os.environ["PYTHONPATH"] = str(self.folder)
        for name in [name for name in sys.modules if name.partition(".")[0] in ("tests", "measure", "fit", "__main__")]:
            del sys.modules[name]
        said = os.open(self.folder / "said.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        for descriptor in (1, 2):
            os.dup2(said, descriptor)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        import pytest

        called = Called(self.folder)
        if calls:
            threading.setprofile(called)
            sys.setprofile(called)
        code = 99
        try:
            code = int(pytest.main(["-m", MARKS, "-x", "-q", "-p", "no:cacheprovider", "--tb=line", *QUIET, test]))
        finally:
            sys.setprofile(None)
            if calls:
                calls.write_text(json.dumps(called.functions()))
            sys.stdout.flush()
            os._exit(code)

    def try_one(self, mutant: Mutant, rounds: list[tuple[str, list[str]]]) -> Outcome:
        """Try a change against round after round of tests, until one sees it."""
        taken = 0.0
        source = self.sources.setdefault(mutant.file, (self.folder / mutant.file).read_text(encoding="utf-8"))
        for by, test in [(by, test) for by, tests in rounds for test in tests]:
            self.write(mutant.file, mutant.applied(source))
            try:
                fate, seconds = self.run(test)
            finally:
                self.write(mutant.file, source)
            taken += seconds
            if fate != SURVIVED and self.is_passed(test):
                return Outcome(mutant, fate, by, taken)
        return Outcome(mutant, SURVIVED, "", taken)

    def is_passed(self, test: str) -> bool:
        """Whether a test file passes on the tree as it is: one that does not kills nothing."""
        if test not in self.passes and self.run(test)[0] != SURVIVED:
            print(f"{test} does not pass on the tree as it is:\n{(self.folder / 'said.txt').read_text()}", file=sys.stderr)
        return test in self.passes


def preload() -> None:
    for name in PRELOADED:
        with contextlib.suppress(ImportError), contextlib.redirect_stderr(io.StringIO()):
            importlib.import_module(name)


def outside_calls(bench: Bench) -> dict[str, set[tuple[str, int]]]:
    """The functions that each check against things not written here calls."""
    calls = {}
    for path in sorted((bench.folder / "tests" / "outside").glob("test_*.py")):
        name = str(path.relative_to(bench.folder))
        note = bench.folder / "calls.json"
        note.unlink(missing_ok=True)
        bench.run(name, calls=note)
        calls[name] = {(file, line) for file, line in json.loads(note.read_text())} if note.exists() else set()
    return calls


def enclosing(source: str, line: int) -> set[int]:
    """First lines, decorators among them, of the functions in which a line stands; empty for one that runs at import."""
    functions = [node for node in ast.walk(ast.parse(source)) if isinstance(node, (ast.FunctionDef, ast.Lambda))]
    holding = [node for node in functions if node.lineno <= line <= (node.end_lineno or node.lineno)]
    firsts = [min([node.lineno, *(d.lineno for d in getattr(node, "decorator_list", []))]) for node in holding]
    is_in_body = [node.body[0].lineno <= line if isinstance(node, ast.FunctionDef) else True for node in holding]
    return {first for first, inside in zip(firsts, is_in_body, strict=True) if inside}


def reached(mutant: Mutant, source: str, calls: dict[str, set[tuple[str, int]]]) -> list[str]:
    """Outside checks in which a change can show: they call its function, or at import time anything of its module."""
    firsts = enclosing(source, mutant.line)
    wanted = {(mutant.file, first) for first in firsts}
    return sorted(
        test for test, seen in calls.items() if (wanted & seen if firsts else any(file == mutant.file for file, _ in seen))
    )


def neighbours(file: str, top: Path = TOP) -> list[str]:
    """Other test files of the same floor that import a module."""
    dotted = file.removesuffix(".py").replace("/", ".")
    package, _, stem = dotted.rpartition(".")
    pattern = re.compile(
        rf"from {re.escape(dotted)} import|import {re.escape(dotted)}|from {re.escape(package)} import .*\b{stem}\b"
    )
    floor = Path("tests", *Path(file).parts[: 1 if file.startswith("measure") else 2])
    tests = sorted((top / floor).rglob("test_*.py"))
    found = [str(path.relative_to(top)) for path in tests if pattern.search(path.read_text(encoding="utf-8"))]
    return [one for one in found if one != str(mirrored(Path(file)))]


BENCHES: list[Bench] = []  # of a worker process: its one bench


def open_bench(folder: str) -> None:
    BENCHES.append(Bench(TOP, Path(folder) / f"bench-{os.getpid()}"))


def work(task: tuple[Mutant, list[tuple[str, list[str]]]]) -> Outcome:
    return BENCHES[0].try_one(*task)


def try_all(drawn: list[Mutant], *, workers: int, against: list[str], folder: Path) -> Iterator[Outcome]:
    """Try what was drawn, on so many copies of the tree at once."""
    preload()
    calls = outside_calls(Bench(TOP, folder / "calls")) if "outside" in against else {}
    tasks = []
    for mutant in drawn:
        rounds = {"own": [str(mirrored(Path(mutant.file)))]}
        rounds["outside"] = reached(mutant, (TOP / mutant.file).read_text(encoding="utf-8"), calls)
        rounds["neighbours"] = neighbours(mutant.file)
        tasks.append((mutant, [(by, rounds[by]) for by in against]))
    with get_context("fork").Pool(workers, open_bench, (str(folder),)) as pool:
        yield from pool.imap_unordered(work, tasks)


def room(file: str) -> str:
    return next((one for one in ROOMS if file.startswith(f"{one}/")), file)


def share(outcomes: list[Outcome]) -> str:
    n = sum(one.fate != SURVIVED for one in outcomes)
    return f"{n} of {len(outcomes)}, {100 * n / max(len(outcomes), 1):.0f} %"


def table(outcomes: list[Outcome]) -> str:
    """What was killed by room and kind, and what survived."""
    lines = [f"killed: {share(outcomes)}  ({dict(Counter(one.by or 'nobody' for one in outcomes))})"]
    for title, key in (("room", lambda one: room(one.mutant.file)), ("kind", lambda one: one.mutant.kind)):
        names = sorted({key(one) for one in outcomes})
        lines += [f"  {title} {name:<14} {share([one for one in outcomes if key(one) == name])}" for name in names]
    survived = sorted((one.mutant for one in outcomes if one.fate == SURVIVED), key=lambda mutant: (mutant.file, mutant.line))
    return "\n".join([*lines, *(f"{one.file}:{one.line}: {one.change}   {one.context}" for one in survived)])


def options(argv: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--draw", type=int, default=600, help="how many changes")
    parser.add_argument("--seed", type=int, default=0, help="of the draw")
    parser.add_argument("--only", nargs="*", default=ROOMS, help="folders or files to draw in")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--against", nargs="+", choices=ROUNDS, default=ROUNDS[:2], help="which tests, one round after another")
    parser.add_argument("--again", type=Path, help="try the survivors of such a JSON, instead of drawing")
    parser.add_argument("--write", type=Path, help="JSON of every outcome")
    parser.add_argument("--list", action="store_true", help="print what is drawn, try nothing")
    return parser.parse_args(argv)


def chosen(asked: argparse.Namespace) -> tuple[list[Mutant], int]:
    """What to try, and how many were set aside as equivalent."""
    candidates = [mutant for file in modules(tuple(asked.only)) for mutant in mutants_of(file)]
    if asked.again:
        survived = {
            (one["mutant"]["file"], one["mutant"]["context"], one["mutant"]["old"], one["mutant"]["new"])
            for one in json.loads(asked.again.read_text())["outcomes"]
            if one["fate"] == SURVIVED
        }
        drawn = [one for one in candidates if (one.file, one.context, one.old, one.new) in survived]
    else:
        drawn = draw(candidates, asked.draw, asked.seed)
    equivalent = known_equivalent()
    kept = [one for one in drawn if (one.file, one.context, one.change) not in equivalent]
    return kept, len(drawn) - len(kept)


def main(argv: list[str] | None = None) -> int:
    asked = options(argv)
    drawn, n_equivalent = chosen(asked)
    print(f"{len(drawn)} changes, seed {asked.seed}; {n_equivalent} more stand in {EQUIVALENT.name}", flush=True)
    if asked.list:
        print("\n".join(f"{one.file}:{one.line}: {one.kind}: {one.change}   {one.context}" for one in drawn))
        return 0
    outcomes: list[Outcome] = []
    with tempfile.TemporaryDirectory() as folder:
        for outcome in try_all(drawn, workers=asked.workers, against=asked.against, folder=Path(folder)):
            outcomes.append(outcome)
            one = outcome.mutant
            seen = f"{outcome.fate} {outcome.by} {outcome.seconds:.1f} s"
            print(f"{len(outcomes)} {seen} {one.file}:{one.line}: {one.change}", flush=True)
            if asked.write:
                kept = {"seed": asked.seed, "equivalent": n_equivalent, "outcomes": [asdict(one) for one in outcomes]}
                asked.write.write_text(json.dumps(kept, indent=1), encoding="utf-8")
    print(table(outcomes))
    return 0


if __name__ == "__main__":
    sys.exit(main())
