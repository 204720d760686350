"""A plan file that has every key, as an object."""

import json
from collections.abc import Iterator
from copy import deepcopy
from typing import Any

EVERYTHING: dict[str, Any] = {
    "dose_g": 15,
    "water_g": 250,
    "temperature_C": 93,
    "bypass_g": 0,
    "ice_g": 0,
    "altitude_m": 520,
    "air_temperature_C": 21,
    "kettle": {
        "bore_mm": 6,
        "flow_min_g_s": 2,
        "flow_max_g_s": 9,
        "capacity_g": 900,
        "breakup_observations": [
            {"flow_g_s": 3, "temperature_C": 18, "height_mm": 95},
            {"flow_g_s": 5, "temperature_C": 92, "height_mm": 140, "broken": True},
            {"flow_g_s": 8, "temperature_C": 18, "height_mm": 200, "broken": False},
        ],
    },
    "brewer": {"shape": "flat", "half_angle_deg": 30, "diameter_mm": 80, "heat_capacity_J_K": 28},
    "conductance": {"low_m2_s": 1.8e-5, "best_m2_s": 2.3e-5, "high_m2_s": 3e-5, "brews": 6},
    "targets": {
        "tds_pct": 1.35,
        "tds_tolerance_pct": 0.1,
        "yield_pct": 20,
        "yield_tolerance_pct": 1,
        "brew_time_s": 185,
        "brew_time_tolerance_s": 20,
    },
    "pours": [
        {
            "starts_at_s": 0,
            "to_g": 45,
            "pattern": "circle",
            "spout_height_mm": 60,
            "flow_g_s": 4.5,
            "then": "swirl",
        },
        {"starts_at_s": 45, "to_g": 150, "pattern": "circle", "spout_height_mm": 80, "flow_g_s": 5},
        {
            "starts_at_s": 90,
            "to_g": 250,
            "pattern": "centre",
            "spout_height_mm": 80,
            "flow_g_s": 5,
            "temperature_C": 90,
            "then": "",
        },
    ],
}


def raw(file: Any) -> bytes:
    return json.dumps(file).encode()


def places(file: Any = EVERYTHING, path: str = "") -> Iterator[str]:
    """The path of every value, such as pours[1].flow_g_s."""
    if path:
        yield path
    if isinstance(file, dict):
        for key, value in file.items():
            yield from places(value, f"{path}.{key}" if path else key)
    elif isinstance(file, list):
        for index, value in enumerate(file):
            yield from places(value, f"{path}[{index}]")


def with_value(path: str, value: Any, file: Any = EVERYTHING) -> Any:
    """A copy of the file with another value there, or a key more."""
    changed = deepcopy(file)
    part, last = _leading_to(path, changed)
    part[last] = value
    return changed


def without(path: str, file: Any = EVERYTHING) -> Any:
    changed = deepcopy(file)
    part, last = _leading_to(path, changed)
    del part[last]
    return changed


def _leading_to(path: str, part: Any) -> tuple[Any, Any]:
    steps = path.replace("]", "").replace("[", ".").split(".")
    *way, last = [int(step) if step.isdigit() else step for step in steps]
    for step in way:
        part = part[step]
    return part, last
