"""Who may import whom, how long things may grow, and what no file may hold."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from tests.support.every_version_is_pinned import normal

ROOT = Path(__file__).parents[1]
ROOMS = ("analysis", "sensors", "server", "web", "recordings", "tests")
MAY_IMPORT = {
    "analysis": {"analysis"},
    "sensors": {"sensors"},
    "server": {"server", "analysis", "sensors", "web", "recordings"},
}
PYTHON_LINES, TEST_LINES, FUNCTION_LINES = 400, 500, 40
JS_LINES, JS_FUNCTION_LINES, CSS_LINES = 200, 25, 250
VAGUE_NAMES = re.compile(r"\b(utils?|helpers?|common|misc)\b|[Mm]anager")
OUR_SUFFIXES = {".py", ".js", ".css", ".html", ".md", ".toml", ".txt", ".json", ".tsv", ".ini"}
MACHINE_PATH = re.compile(r"(?<![\w.:/])/(work|root|home/[a-z]|Users/[A-Za-z]|tmp/[a-z])[\w/]*")
REGISTRY_HOST = re.compile(
    r"\b(pypi\.org|files\.pythonhosted\.org|registry\.npmjs\.org|deb\.debian\.org|proxy\.golang\.org)"
)


def tracked() -> list[Path]:
    """Files under version control, and those about to be."""
    found = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if found.returncode:
        pytest.skip("needs a git checkout to know which files are ours")
    return [ROOT / name for name in found.stdout.splitlines() if (ROOT / name).is_file()]


def python_files(*rooms: str) -> list[Path]:
    """Python files of the rooms."""
    return sorted(path for room in rooms for path in (ROOT / room).rglob("*.py"))


def imported_rooms(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and top-level package of every import, also those inside functions."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name.split(".")[0]
        elif isinstance(node, ast.ImportFrom):
            yield node.lineno, "." if node.level else (node.module or "").split(".")[0]


def test_each_room_imports_only_what_it_may():
    wrong = [
        f"{path.relative_to(ROOT)}:{line} imports {package}"
        for room, allowed in MAY_IMPORT.items()
        for path in python_files(room)
        for line, package in imported_rooms(ast.parse(path.read_text("utf-8")))
        if (package in ROOMS and package not in allowed) or package == "."
    ]
    assert not wrong, "\n".join(wrong)


def test_no_import_of_ours_hides_in_a_function():
    wrong = []
    for path in python_files("analysis", "sensors", "server"):
        tree = ast.parse(path.read_text("utf-8"))
        for function in functions(tree):
            wrong += [
                f"{path.relative_to(ROOT)}:{line}"
                for line, package in imported_rooms(function)
                if package in ROOMS or package == "."
            ]
    assert not wrong, "\n".join(wrong)


def test_the_rooms_are_really_looked_at():
    """The import rule catches what it is meant to catch."""
    tree = ast.parse("def f():\n    from server.app import build_app\n")
    assert list(imported_rooms(tree)) == [(2, "server")]
    assert all(python_files(room) for room in MAY_IMPORT)


def declared(*extras: str) -> set[str]:
    """Distributions that pyproject.toml asks for, names as PEP 503 compares them."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [*project["dependencies"]]
    for extra in extras:
        wanted += project["optional-dependencies"][extra]
    return {normal(re.match(r"[\w.-]+", line).group()) for line in wanted}


@pytest.mark.parametrize(
    ("rooms", "extras"),
    [(("analysis", "sensors", "server"), ()), (("tests",), ("test", "dev"))],
    ids=["shipped", "tests"],
)
def test_what_is_imported_is_asked_for(rooms, extras):
    """No import leans on what another distribution happens to bring along."""
    of_module = packages_distributions()
    known = declared(*extras)
    wrong = set()
    for path in python_files(*rooms):
        for _, package in imported_rooms(ast.parse(path.read_text("utf-8"))):
            if package in sys.stdlib_module_names or package in {*ROOMS, "."}:
                continue
            if not {normal(name) for name in of_module.get(package, ())} & known:
                wrong.add(f"{path.relative_to(ROOT)} imports {package}")
    assert not wrong, "\n".join(sorted(wrong))


def functions(tree: ast.AST) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function and method, nested ones too."""
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
    return [node for node in ast.walk(tree) if isinstance(node, kinds)]


def code_lines(function: ast.FunctionDef | ast.AsyncFunctionDef, source: list[str]) -> int:
    """Lines of a function that hold code: no docstring, no comment, no empty line."""
    skip: set[int] = set()
    first = function.body[0]
    if ast.get_docstring(function) is not None:
        skip.update(range(first.lineno, (first.end_lineno or first.lineno) + 1))
    lines = range(function.lineno, (function.end_lineno or function.lineno) + 1)
    text = [source[line - 1].strip() for line in lines if line not in skip]
    return sum(bool(line) and not line.startswith("#") for line in text)


def test_python_files_stay_short():
    limits = [(path, PYTHON_LINES) for path in python_files("analysis", "sensors", "server")]
    limits += [(path, TEST_LINES) for path in python_files("tests")]
    long = [
        f"{path.relative_to(ROOT)}: {count} lines, at most {limit}"
        for path, limit in limits
        if (count := len(path.read_text("utf-8").splitlines())) > limit
    ]
    assert not long, "\n".join(long)


def test_python_functions_stay_short():
    long = []
    for path in python_files("analysis", "sensors", "server"):
        text = path.read_text("utf-8")
        for function in functions(ast.parse(text)):
            count = code_lines(function, text.splitlines())
            if count > FUNCTION_LINES:
                long.append(f"{path.relative_to(ROOT)}: {function.name} has {count} code lines")
    assert not long, "\n".join(long)


def test_scripts_and_styles_stay_short():
    long = [
        f"{path.relative_to(ROOT)}: {count} lines, at most {limit}"
        for pattern, limit in (("*.js", JS_LINES), ("*.css", CSS_LINES))
        for path in (ROOT / "web").rglob(pattern)
        if (count := len(path.read_text("utf-8").splitlines())) > limit
    ]
    assert not long, "\n".join(long)


JS_FUNCTION = re.compile(
    r"^(?P<indent>\s*)(?:export\s+)?(?:default\s+)?(?:static\s+)?(?:async\s+)?"
    r"(?:function\b[^{]*|(?:const|let)\s+[\w$]+\s*=\s*(?:async\s*)?\([^)]*\)\s*=>\s*"
    r"|(?!(?:if|for|while|switch|catch)\b)[#\w$]+\s*\([^{};]*\)\s*)\{\s*$"
)


def js_functions(text: str) -> Iterator[tuple[str, int]]:
    """First line and length of each function whose closing brace stands at its own indent."""
    lines = text.splitlines()
    for first, line in enumerate(lines):
        match = JS_FUNCTION.match(line)
        if match is None:
            continue
        closing = re.compile(rf"^{match['indent']}\}}")
        rest = lines[first + 1 :]
        length = next((i + 2 for i, later in enumerate(rest) if closing.match(later)), len(rest))
        yield line.strip(), length


def test_script_functions_stay_short():
    long = [
        f"{path.relative_to(ROOT)}: {name} has {length} lines"
        for path in (ROOT / "web").rglob("*.js")
        for name, length in js_functions(path.read_text("utf-8"))
        if length > JS_FUNCTION_LINES
    ]
    assert not long, "\n".join(long)


def test_the_script_measure_counts_functions_and_methods():
    text = "export function a(x) {\n  b();\n}\nclass C {\n  #d(e) {\n    f();\n    g();\n  }\n}\n"
    assert list(js_functions(text)) == [("export function a(x) {", 3), ("#d(e) {", 4)]


def test_names_say_what_a_thing_is():
    vague = [
        str(path.relative_to(ROOT))
        for path in tracked()
        if VAGUE_NAMES.search(path.stem.replace("_", " "))
    ]
    for path in python_files("analysis", "sensors", "server"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ClassDef) and VAGUE_NAMES.search(node.name):
                vague.append(f"{path.relative_to(ROOT)}: class {node.name}")
    assert not vague, "\n".join(vague)


@pytest.mark.parametrize("pattern", [MACHINE_PATH, REGISTRY_HOST], ids=["path", "registry"])
def test_no_file_names_a_place_of_one_machine(pattern: re.Pattern[str]):
    wrong = []
    for path in tracked():
        if path == Path(__file__).resolve() or path.suffix not in OUR_SUFFIXES | {""}:
            continue
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1):
            if found := pattern.search(line):
                wrong.append(f"{path.relative_to(ROOT)}:{number} {found.group()}")
    assert not wrong, "\n".join(wrong)


def test_every_module_says_what_it_is_for():
    bare = []
    for path in python_files("analysis", "sensors", "server"):
        text = path.read_text("utf-8")
        if text.strip() and ast.get_docstring(ast.parse(text)) is None:
            bare.append(str(path.relative_to(ROOT)))
    assert not bare, "\n".join(bare)
