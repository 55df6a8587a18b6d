"""The rules of the house: imports run one way, each library has one home, the public names are what they are."""

import ast
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import packetcodec

ROOT = Path(packetcodec.__file__).parent
REPOSITORY = ROOT.parent

# A room may import the rooms named here, and itself. The order is the one-way flow.
#: From the ground up: a room imports only from those before it in this list.
FLOORS = (
    "frozen", "errors", "spelling", "crc", "schema", "wire", "codec", "reference", "radio", "vectors", "emit", "logs",
    "receive", "bench", "arrays", "fuzz", "page", "pytest_plugin", "starter", "__init__", "cli", "__main__",
)  # fmt: skip
MAY_IMPORT = {name: set(FLOORS[:number]) - {"arrays"} for number, name in enumerate(FLOORS)}
# Nobody has to have what the arrays need: whoever uses them imports them when they are asked for.
MAY_IMPORT["arrays"] = {"errors", "schema", "wire", "codec"}

# Third-party library to the only places that import it.
HOMES = {
    "altair": {"page"},
    "bitstruct": {"codec/compiled.py"},
    "click": {"cli"},
    "cobs": {"receive/framing.py"},
    "construct": {"reference"},
    "crcmod": {"crc/crc.py"},
    "geographiclib": {"bench/geodesic.py"},
    "hypothesis": {"fuzz"},
    "jinja2": {"emit/render.py"},
    "markdown_it": {"page/document.py"},
    "markupsafe": {"emit/render.py"},
    "llvmlite": {"arrays"},
    "numba": {"arrays"},
    "numpy": {"arrays", "crc/distance.py"},
    "pyarrow": {"arrays"},
    "pynmeagps": {"logs/sentence.py"},
    "pytest": {"pytest_plugin.py"},
    "rich": {"cli"},
    "serial": {"cli/sources.py"},
    "vl_convert": {"page/vega.py"},
}


@cache
def modules():
    return sorted(ROOT.rglob("*.py"))


@cache
def nodes(path):
    """Every node of a file, read once for all tests."""
    return list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


def room(path):
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imports(path):
    """Every module that a file imports, wherever in the file it does so."""
    for node in nodes(path):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield node.module


def place(path):
    return path.relative_to(ROOT).as_posix()


def functions(path):
    return (node for node in nodes(path) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def test_imports_run_one_way():
    def floor(name):
        return ([*name.split("."), "__init__"])[1]

    assert not [
        f"{place(path)} imports {name}"
        for path in modules()
        for name in imports(path)
        if name.split(".")[0] == "packetcodec" and floor(name) not in MAY_IMPORT[room(path)] | {room(path)}
    ]


def test_each_library_has_one_home():
    assert not [
        f"{place(path)} imports {name}"
        for path in modules()
        for name in imports(path)
        if (library := name.split(".")[0]) not in sys.stdlib_module_names | {"packetcodec"}
        and not {place(path), room(path)} & HOMES[library]
    ]


def test_no_import_hides_inside_a_function():
    assert not [
        f"{place(path)}: {function.name}"
        for path in modules()
        for function in functions(path)
        if any(isinstance(inner, ast.Import | ast.ImportFrom) for inner in ast.walk(function))
    ]


def test_only_the_command_line_prints_or_exits():
    assert not [
        place(path)
        for path in modules()
        if room(path) not in {"cli", "__main__"}
        and re.search(r"^\s*(print\(|sys\.exit|input\()", path.read_text(encoding="utf-8"), re.MULTILINE)
    ]


def test_importing_the_package_loads_no_heavy_library():
    heavy = {
        "numpy", "construct", "hypothesis", "rich", "click", "jinja2", "pynmeagps", "geographiclib", "numba", "pyarrow",
        "altair", "vl_convert",
    }  # fmt: skip
    code = "import packetcodec, sys; print(*sorted(name.split('.')[0] for name in sys.modules))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not heavy & set(loaded)


def test_the_public_names_are_what_they_are():
    assert sorted(packetcodec.__all__) == sorted(
        [
            "FAULTS", "OK", "STATUSES", "Codec", "LogFault", "Packet", "PacketFault", "PacketcodecError", "Plan", "Problem",
            "RadioFault", "Schema", "SchemaFault", "TrailPoint", "ValueFault", "compile_plan",
        ]
    )  # fmt: skip
    assert all(hasattr(packetcodec, name) for name in packetcodec.__all__)


def test_files_hold_one_noun():
    for path in modules():
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 300, path


def lines_of_code(function):
    """Lines of a function, its docstring not counted."""
    first = function.body[0]
    told = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str)
    return function.end_lineno - function.lineno + 1 - (first.end_lineno - first.lineno + 1 if told else 0)


def test_functions_are_short():
    assert not [
        f"{place(path)}: {function.name}"
        for path in modules()
        for function in functions(path)
        if lines_of_code(function) > 40
    ]


def test_the_version_stands_in_one_place_more_only():
    text = (REPOSITORY / "pyproject.toml").read_text(encoding="utf-8")
    assert f'version = "{packetcodec.__version__}"' in text
