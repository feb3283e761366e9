"""The house: rooms on floors, imports that run down only, and ruff's bans that hold them."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

HOUSE = Path(__file__).resolve().parents[1]

FLOORS: dict[str, tuple[str, ...]] = {
    "": ("kinematics", "calibration", "tracker", "cli"),
    "kinematics": ("clock", "stroke", "coin", "putt", "lesson"),
    "tracker": ("clip", "smoother", "marks", "coin", "ball", "follow", "place", "measure"),
    "cli": ("files", "report", "coin", "history", "proof", "lesson", "serve", "season", "commands"),
}
"""The rooms of each building, ground floor first: a room may import from those before it."""
PRIORS = (
    "calibration.pose.DISTORTION_SD",
    "calibration.tag_height",
    "kinematics.stroke.beliefs",
    "kinematics.stroke.launch",
    "kinematics.stroke.takeaway",
    "tracker.ball.followed.TURNING_SD_M",
    "tracker.place.head_path",
    "tracker.place.path_shape",
    "tracker.smoother",
)
"""What holds the estimator's assumptions, which the laws of the study may not take from it."""
DEFINITIONS = {"BEFORE_IMPACT_S", "INTERVAL_SDS"}
"""Numbers that say what is measured, which both share."""


def _modules() -> Iterator[tuple[str, Path]]:
    for building in (*FLOORS[""], "demo_clips"):
        for path in sorted((HOUSE / building).rglob("*.py")):
            parts = path.relative_to(HOUSE).with_suffix("").parts
            yield ".".join(parts[:-1] if parts[-1] == "__init__" else parts), path


def _imports(path: Path, known: set[str]) -> Iterator[str]:
    """Yield the modules of ours that a module imports, those within functions and type checks included."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pennyfall."):
            module = (node.module or "").removeprefix("pennyfall.")
            for name in node.names:
                yield f"{module}.{name.name}" if f"{module}.{name.name}" in known else module
        elif isinstance(node, ast.Import):
            yield from (
                name.name.removeprefix("pennyfall.")
                for name in node.names
                if name.name.startswith("pennyfall.")
            )


MODULES = dict(_modules())


def test_no_import_runs_up_a_floor() -> None:
    climbs = []
    for module, path in MODULES.items():
        for imported in _imports(path, set(MODULES)):
            for building, floors in FLOORS.items():
                lead = f"{building}." if building else ""
                here, there = (
                    name.removeprefix(lead).split(".")[0] if name.startswith(lead) else ""
                    for name in (module, imported)
                )
                if here in floors and there in floors and floors.index(there) > floors.index(here):
                    climbs.append(f"{module} imports {imported}")
    assert climbs == []


def test_no_modules_import_each_other_in_a_circle() -> None:
    """The faces of the rooms are left out: they name what lies in their room."""
    graph = {
        module: {one for one in _imports(path, set(MODULES)) if one != module}
        for module, path in MODULES.items()
        if path.name != "__init__.py"
    }
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        pytest.fail(" -> ".join(circle.args[1]))


@pytest.mark.parametrize(
    ("building", "room"),
    [(building, room) for building, rooms in FLOORS.items() if building for room in rooms[:-1]],
)
def test_ruff_bans_what_lies_above_each_room(building: str, room: str) -> None:
    bans = tomllib.loads((HOUSE / building / room / ".ruff.toml").read_text(encoding="utf-8"))
    banned = set(bans["lint"]["flake8-tidy-imports"]["banned-api"])
    outer = tomllib.loads((HOUSE / building / ".ruff.toml").read_text(encoding="utf-8"))
    floors = FLOORS[building]
    above = {f"pennyfall.{building}.{other}" for other in floors[floors.index(room) + 1 :]}
    if room == "proof":
        above |= {f"pennyfall.{each}" for each in PRIORS}
    assert banned == above | set(outer["lint"]["flake8-tidy-imports"]["banned-api"])


def test_no_constant_of_the_estimator_is_one_of_the_study() -> None:
    """By name and by object: a number of its own is another object even where it is equal."""
    estimator = {
        id(value): f"{module}.{name}"
        for module in MODULES
        if module.split(".")[0] in ("calibration", "kinematics", "tracker")
        for name, value in vars(import_module(f"pennyfall.{module}")).items()
        if name.isupper() and name not in DEFINITIONS and _is_number(value)
    }
    assert len(estimator) > 400
    study = [import_module(f"pennyfall.{each}") for each in MODULES if each.startswith("cli.proof.")]
    shared = [
        f"{module.__name__}.{name} is {estimator[id(value)]}"
        for module in study
        for name, value in vars(module).items()
        if id(value) in estimator
    ]
    assert shared == []


def _is_number(value: object) -> bool:
    """Return whether a value is a number, or made of them, and not one that Python keeps but once."""
    if isinstance(value, int):
        return not -5 <= value <= 256
    return isinstance(value, (float, np.ndarray)) or (
        isinstance(value, tuple) and len(value) > 0 and all(isinstance(one, (int, float)) for one in value)
    )


def test_every_room_has_a_face() -> None:
    """A face says in words what its room knows, and names what may be asked of it."""
    for module, path in MODULES.items():
        if path.name == "__init__.py" and module.count(".") >= 1:
            tree = ast.parse(path.read_text(encoding="utf-8"))
            names = [
                target.id
                for node in tree.body
                if isinstance(node, ast.Assign)
                for target in node.targets
                if isinstance(target, ast.Name)
            ]
            assert ast.get_docstring(tree), module
            assert "__all__" in names, module


ARRAYS = ("FloatArray", "BoolArray", "IntArray", "NDArray", "ndarray", "LumaFrame", "ImageArray")
PICTURES = {"Frame", "Picture"}
"""They show the decoder's memory, which is read-only: a picture's luma is not copied."""


def test_values_are_frozen_and_their_arrays_read_only() -> None:
    loose = []
    for module, path in MODULES.items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.ClassDef):
                continue
            made = [ast.unparse(each) for each in node.decorator_list if "dataclass" in ast.unparse(each)]
            types = [ast.unparse(each.annotation) for each in node.body if isinstance(each, ast.AnnAssign)]
            arrays = any(each.split(" | ")[0].split("[")[0] in ARRAYS for each in types)
            kept = "freeze_arrays(self)" in ast.unparse(node) or node.name in PICTURES
            if made and ("frozen=True" not in made[0] or (arrays and not kept)):
                loose.append(f"{module}.{node.name}")
    assert loose == []
