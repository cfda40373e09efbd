"""Sensors that nobody built: profiles of every shape the form allows, and motion they can send."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from hypothesis import strategies as st

from sensors.packet_layout import PacketLayout, ticks_per_sample
from sensors.profile import TYPE_BYTES, Profile

UNSIGNED = ("uint8", "uint16", "uint24", "uint32")
SIGNED = ("int8", "int16", "int24", "int32", "float32")
BASE = "{:08x}-0000-4000-8000-00000000c0de"


def toml_text(tables: dict[str, Any]) -> str:
    """The tables as TOML, one key a line, tables inline."""
    return "".join(f"{key} = {_value(value)}\n" for key, value in tables.items())


def _value(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_value(part)}" for key, part in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    return repr(value) if isinstance(value, float) else json.dumps(value)


@st.composite
def profile_tables(draw: st.DrawFn) -> dict[str, Any]:
    """What a sound profile's file holds."""
    halves = draw(st.booleans())
    ticked = draw(st.booleans())
    step = draw(st.sampled_from([None, 1, 2 if halves else 3, "samples"]))
    samples = draw(st.sampled_from([1, 3, "fill", "count"]))
    kinds = [("gyro",), ("accel",)] if halves else [("gyro", "accel")]
    kinds = draw(st.permutations(kinds))
    types = {name: draw(st.sampled_from(SIGNED)) for name in ("gyro", "accel")}
    rate_hz = draw(st.sampled_from([25, 100, 200, 1666.0]))
    tick_type = draw(st.sampled_from(UNSIGNED[1:]))
    shortest_s = 2.0 / (1 << 8 * TYPE_BYTES[tick_type])
    tables: dict[str, Any] = {
        "format": 1,
        "id": "any",
        "name": "Any",
        "rate_hz": rate_hz,
        "delay_s": draw(st.floats(0.0, 0.1)),
        "recognise": {"names": ["Any"]},
        "packet": [],
    }
    counter = draw(st.sampled_from(UNSIGNED[1:] if step == "samples" else UNSIGNED))
    in_sample = draw(st.booleans())
    marked = halves or draw(st.booleans())
    for number, names in enumerate(kinds):
        shape = (samples, marked, step, counter, tick_type if ticked else None, in_sample)
        tables["packet"].append(_packet(draw, number, names, types, shape))
    if ticked:
        period_s = draw(st.floats(max(1e-6, shortest_s), max(1e-3, 4 * shortest_s)))
        tables["tick"] = {"period_s": period_s, "of": draw(st.sampled_from(["first", "last"]))}
    units = {"gyro": ("deg/s", 2000.0), "accel": ("g", 16.0)}
    if draw(st.booleans()):
        units = {"gyro": ("rad/s", 35.0), "accel": ("m/s^2", 160.0)}
    for name, (unit, reach) in units.items():
        tables[name] = _unit(draw, types[name], unit, reach)
    if kind := draw(st.sampled_from([None, "instant", "mean"])):
        tables["gyro"]["sample"] = kind
    return tables


def _packet(
    draw: st.DrawFn, number: int, names: tuple[str, ...], types: dict[str, str], shape: tuple
) -> dict[str, Any]:
    samples, marked, step, counter, tick_type, in_sample = shape
    skip = {"field": "skip", "bytes": draw(st.integers(1, 5))}
    header = [skip] if draw(st.booleans()) else []
    if step is not None:
        header.append({"field": "sequence", "type": counter, "step": step})
    if samples == "count":
        header.append({"field": "count", "type": draw(st.sampled_from(UNSIGNED))})
    sample: list[dict[str, Any]] = [{"field": name, "type": types[name]} for name in names]
    sample += [skip] if draw(st.booleans()) else []
    if tick_type:
        place = sample if in_sample else header
        place.append({"field": "tick", "type": tick_type})
    header = draw(st.permutations(header))
    if marked:
        # At the same place in every kind, so that it tells them apart.
        header = [{"field": "marker", "type": "uint16", "value": 0xA0 + number}, *header]
    return {
        "name": f"kind {number}",
        "characteristic": BASE.format(1),
        "endian": draw(st.sampled_from(["little", "big"])) if not marked else "big",
        "header": header,
        "sample": draw(st.permutations(sample)),
        "samples": samples,
        "trailer_bytes": draw(st.integers(0, 4)),
    }


def _unit(draw: st.DrawFn, kind: str, unit: str, reach: float) -> dict[str, Any]:
    per_count = draw(st.floats(0.5, 2.0))
    if kind != "float32":
        per_count = reach * draw(st.floats(1.0, 1.2)) / (1 << 8 * TYPE_BYTES[kind] - 1)
    axes = draw(st.permutations("xyz"))
    signs = [draw(st.sampled_from("+-")) for _ in axes]
    return {
        "unit": unit,
        "per_count": per_count,
        "range": reach,
        "axes": [sign + axis for sign, axis in zip(signs, axes, strict=True)],
    }


def motion(profile: Profile, count: int, seed: int = 0) -> tuple[np.ndarray, ...]:
    """gyro (n, 3) rad/s, accel (n, 3) m/s^2 within the ranges, ticks (n,) at the stated rate."""
    rng = np.random.default_rng(seed)
    gyro, accel = (
        rng.uniform(-0.95, 0.95, (count, 3)) * float(unit.range) * unit.to_si
        for unit in (profile.gyro, profile.accel)
    )
    ticks = np.rint(np.arange(count) * ticks_per_sample(profile)).astype(np.int64)
    return gyro, accel, ticks


def one_count(profile: Profile) -> tuple[float, float]:
    """One count of gyro, rad/s, and accel, m/s^2; for float32 what its 24 bits leave open."""
    kinds = {
        name: field.type
        for packet in profile.packet
        for field in packet.sample
        for name in PacketLayout(profile, packet).values
        if type(field).__struct_config__.tag == name
    }
    found = []
    for name, unit in (("gyro", profile.gyro), ("accel", profile.accel)):
        count = float(unit.per_count) if kinds[name] != "float32" else float(unit.range) * 2.0**-23
        found.append(count * unit.to_si)
    return found[0], found[1]
