"""The inventory as JSON by contract, and as text that no channel name can upset."""

from __future__ import annotations

import json

import numpy as np
import pytest

from reports.inventory import inventory_json, inventory_text
from telemetry.inventory import take_inventory
from telemetry.log import Channel, Dialect, Kind, Log, Repair

T_S = np.array([0.0, 0.02, 0.04])


def log_with(name: str, repairs: tuple[Repair, ...] = ()) -> Log:
    channels = {
        name: Channel(name, Kind.NUMBER, "A", T_S, np.array([1.5, 2.5, 0.25])),
        "beam": Channel("beam", Kind.SWITCH, None, T_S[:1], np.array([1.0]), ("0", "1"), sampled=False),
    }
    dialect = Dialect(
        "utf-8", ";", ",", "time_s", "s", "wide", why="semicolon between cells", other_clocks=("stamp",)
    )
    return Log("match.csv", "ab" * 32, dialect, 3, T_S, channels, repairs)


def test_json_has_the_keys_of_the_contract() -> None:
    log = log_with("arm_a", (Repair("unreadable_cell", 2, 7, "2 cells left out.", 2),))
    document = inventory_json(log, take_inventory(log, {"arm_a": "motor arm current"}))

    assert json.loads(json.dumps(document, allow_nan=False)) == {
        "schema": 1,
        "log": {
            "file": "match.csv",
            "sha256": "ab" * 32,
            "shape": "wide",
            "rows": 3,
            "channels": 2,
            "span_s": 0.04,
            "repairs": [{"kind": "unreadable_cell", "count": 2, "line": 7, "text": "2 cells left out."}],
            "dialect": {
                "encoding": "utf-8",
                "delimiter": ";",
                "decimal": ",",
                "time_column": "time_s",
                "time_unit": "s",
                "shape": "wide",
                "why": "semicolon between cells",
                "runner_up": "",
                "other_clocks": ["stamp"],
            },
        },
        "channels": [
            {
                "name": "arm_a",
                "kind": "number",
                "unit": "A",
                "role": "motor arm current",
                "samples": 3,
                "missing": 0,
                "rate_hz": 50.0,
                "gaps": 0,
                "transitions": None,
                "min": 0.25,
                "max": 2.5,
            },
            {
                "name": "beam",
                "kind": "switch",
                "unit": None,
                "role": None,
                "samples": 1,
                "missing": 0,
                "rate_hz": None,
                "gaps": None,
                "transitions": 0,
                "min": 1.0,
                "max": 1.0,
            },
        ],
    }


def test_text_tells_size_channels_repairs_and_dialect() -> None:
    log = log_with("arm_a", (Repair("unreadable_cell", 2, 7, "2 cells left out.", 2),))
    text = inventory_text(log, take_inventory(log, {}))

    assert "match.csv: 3 rows, 2 channels, 0.04 s, wide shape" in text
    assert "- 2 cells left out." in text
    assert "cells parted by semicolon, decimal sign ',', time in time_s (s) rather than stamp" in text
    assert "Chosen: semicolon between cells." in text


def test_a_hostile_name_cannot_steer_the_terminal() -> None:
    log = log_with("[red]x\x1b[2J\n\u202e[A]" + "y" * 500)
    text = inventory_text(log, take_inventory(log, {}))

    assert "[red]x\\x1b[2J\\n\\u202e[A]" in text
    assert all(line.isprintable() and len(line) <= 320 for line in text.splitlines())


def test_names_and_roles_stay_whole_where_there_is_room() -> None:
    name, role = "left shoulder motor winding current behind the controller [A]", "motors.left_shoulder"
    text = inventory_text(log_with(name), take_inventory(log_with(name), {name: role}))

    assert f"{name}  number  A     {role} " in text


@pytest.mark.parametrize("width", [80, 100, 132])
def test_names_and_roles_are_cut_to_fit_a_terminal(width: int) -> None:
    name, role = "left shoulder motor winding current behind the controller [A]", "motors.left_shoulder"
    text = inventory_text(log_with(name), take_inventory(log_with(name), {name: role}), width=width)
    table = text.split("\n\n")[1].splitlines()

    assert len(table) == 4
    assert all(len(line) <= width for line in table)
    assert "left should" in table[2]
    assert "…" in table[2]


def test_brackets_of_a_unit_stay() -> None:
    log = log_with("battery current [A]")

    assert "battery current [A]" in inventory_text(log, take_inventory(log, {}))
