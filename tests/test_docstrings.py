"""Every public function says what it takes and gives, in which unit, what it raises, and where a formula is from."""

import ast
import importlib
import inspect
import pkgutil
import re

import pytest

from pipelines.steps.registry import read_step

PACKAGES = ("terrain", "pipelines", "cli")
# rooms whose functions that give a number are formulas, each from a published source
FORMULAS = ("pipelines.hydrology", "pipelines.hydraulics")
# lookups and plain geometry
NO_FORMULA = {
    "wet_area", "wet_perimeter", "total_area", "impervious_fraction", "advance",
}
FLOAT = ("float", "<class 'float'>")
UNIT = re.compile(r"\[[^\]]+\]")
SECTION = re.compile(r"^(Parameters|Returns|Yields|Raises|References|Notes|Attributes)\n-+\n", re.MULTILINE)


def public_functions():
    for name in PACKAGES:
        package = importlib.import_module(name)
        for module_info in pkgutil.walk_packages(package.__path__, f"{name}."):
            if module_info.name.endswith("__main__") or ".kernels" in module_info.name:
                continue
            module = importlib.import_module(module_info.name)
            for function_name, function in inspect.getmembers(module, inspect.isroutine):
                if not function_name.startswith("_") and getattr(function, "__module__", None) == module.__name__:
                    yield pytest.param(inspect.unwrap(function), id=f"{module.__name__}.{function_name}")


def sections(function):
    text = inspect.getdoc(function) or ""
    pieces = SECTION.split(text)
    return {"Summary": pieces[0]} | dict(zip(pieces[1::2], pieces[2::2], strict=True))


def described(section):
    """Names of a section with what is said of each; `a, b : float` describes both."""
    entries = {}
    for heading, body in re.findall(r"^(\S[^\n]*)\n((?:[ \t]+[^\n]*\n?|\n)*)", section, re.MULTILINE):
        for name in heading.partition(" : ")[0].split(","):
            entries[name.strip().lstrip("*")] = (heading, body)
    return entries


def in_full(function, said):
    """Whether users call it: a step, a formula, or what says of itself what it takes."""
    returns = str(inspect.signature(function).return_annotation)
    formula = function.__module__.startswith(FORMULAS) and function.__name__ not in NO_FORMULA
    return (formula and returns in FLOAT) or {"Parameters", "Returns", "Raises"} & said.keys()


@pytest.mark.parametrize("function", list(public_functions()))
def test_docstring(function):
    said = sections(function)
    signature = inspect.signature(function)
    returns = str(signature.return_annotation)
    summary = said["Summary"].strip()
    assert not summary or summary[-1] in ".]", "the summary is a sentence"
    if returns in FLOAT:
        text = inspect.getdoc(function) or ""
        assert UNIT.search(text), "what it returns has no unit"
    if function.__module__ in ("pipelines.steps.ground", "pipelines.steps.lot"):
        # the annotations of a step say what it takes, and its help shows them
        assert all(taken.about.endswith(".") for taken in read_step("", function, offered_by="lotshed").inputs)
        assert raised_by(function) <= set(described(said.get("Raises", "")))
    elif in_full(function, said):
        check_in_full(function, said, signature, returns)


def raised_by(function):
    tree = ast.parse(inspect.getsource(function))
    return {node.exc.func.id for node in ast.walk(tree)
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call) and isinstance(node.exc.func, ast.Name)
            and node.exc.func.id[0].isupper()}


def check_in_full(function, said, signature, returns):
    entries = described(said.get("Parameters", ""))
    assert list(entries) == [name for name in signature.parameters if name != "self"]
    for name, parameter in signature.parameters.items():
        if "float" in str(parameter.annotation) and "bool" not in str(parameter.annotation):
            assert UNIT.search("".join(entries[name])), f"{name} has no unit"
    if returns not in ("None", str(inspect.Signature.empty)):
        gives = said.get("Returns") or said.get("Yields")
        assert gives is not None, "what it gives is not said"
        if "float" in returns:
            assert UNIT.search(gives), "what it returns has no unit"
    assert raised_by(function) <= set(described(said.get("Raises", "")))
    formula = function.__module__.startswith(FORMULAS) and function.__name__ not in NO_FORMULA
    if returns in FLOAT and formula:
        assert "References" in said, "a formula has a source"
