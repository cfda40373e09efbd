"""A sensor in software that speaks the project's own open profile, and what can go wrong with one.

The packets are put together here byte by byte, from the description in sensors/README.md and not
by the project's own code, so that the two can disagree.
"""

from __future__ import annotations

import math
import struct
import time
from dataclasses import dataclass, field
from typing import Any

import numpy as np

SERVICE = "b5ca0100-5296-43b6-8427-e4373d6b37aa"
MOTION = "b5ca0101-5296-43b6-8427-e4373d6b37aa"
CONTROL = "b5ca0102-5296-43b6-8427-e4373d6b37aa"
BATTERY = "00002a19-0000-1000-8000-00805f9b34fb"
TICKS_PER_S = 32768
KEPT_S = 0.3
"""Packets that could not be sent for so long are dropped by the sensor."""
COUNTED = 32000
"""The counting motion: the first gyro value counts to this, the first of accel the turns."""


@dataclass
class EmulatedSensor:
    """One sensor, its settings first. Times are of the machine's monotonic clock, s.

    motion: file of int16 counts `gyro` and `accel` (n, 3), after whose end it sends no more; None:
    values that count the samples. motion_from_s: when its first sample is taken; None: at the
    start. after_loss: "runs on" samples while the link is down, "stops"
    waits for the next start, "restarts" is switched off and on, counters and clock from 0.
    """

    address: str
    name: str = "torsolog"
    motion: str | None = None
    motion_from_s: float | None = None
    rate_hz: float = 200.0
    samples_per_packet: int = 8
    interval_s: float = 0.015
    clock_ppm: float = 0.0
    clock_at_boot_s: float = 0.0
    battery: int = 80
    after_loss: str = "runs on"
    advertises: bool = True
    advertised_services: list[str] = field(default_factory=lambda: [SERVICE])
    service: str = SERVICE
    offers_motion: bool = True
    resolves: bool = True
    silent: bool = False
    connect_delay_s: float = 0.02
    resolve_delay_s: float = 0.02
    rssi_offset: int = 0

    connected: bool = field(default=False, init=False)
    started: bool = field(default=False, init=False)
    starts: int = field(default=0, init=False)
    stops: int = field(default=0, init=False)

    def __post_init__(self) -> None:
        self._boot_s = time.monotonic() - self.clock_at_boot_s
        self._first_s = 0.0
        self._packet = 0
        self._sequence = 0
        self._number = 0
        self._sent: list[list[int]] = []
        self.sent_at: list[tuple[int, float]] = []
        """First sample of each packet, and when it was handed to the radio, s."""
        self._counts: tuple[np.ndarray, np.ndarray] | None = None
        if self.motion is not None:
            with np.load(self.motion) as file:
                self._counts = file["gyro"], file["accel"]

    @property
    def sending(self) -> bool:
        """Whether packets may come by themselves."""
        return self.connected and self.started

    def characteristics(self) -> dict[str, list[str]]:
        """UUID -> what may be done with it."""
        offered = {CONTROL: ["write"], BATTERY: ["read", "notify"]}
        return offered | ({MOTION: ["notify"]} if self.offers_motion else {})

    def read(self, uuid: str) -> bytes:
        """Value of a characteristic."""
        return bytes([self.battery]) if uuid == BATTERY else b""

    def written(self, uuid: str, value: bytes) -> None:
        """Start and stop, as the description has them."""
        if uuid != CONTROL:
            return
        if value[:1] == b"\x01" and not self.started:
            (self.rate_hz,) = struct.unpack("<H", value[1:3])
            self.started = True
            self.starts += 1
            self._first_s, self._packet = time.monotonic(), 0
            self._sequence = 0
            self._keep_to_motion()
        elif value == b"\x00":
            self.started = False
            self.stops += 1

    def link_lost(self) -> None:
        """The link is down."""
        self.connected = False
        if self.after_loss != "runs on":
            self.started = False
        if self.after_loss == "restarts":
            self._boot_s = time.monotonic()

    def due(self, now_s: float) -> list[tuple[bytes, int]]:
        """Packets whose last sample has been taken by now, and the number of their first sample."""
        ready = int((now_s - self._first_s) * self.rate_hz) // self.samples_per_packet
        packets = []
        for _ in range(self._packet, ready):
            first = self._number
            payload = self._next_packet()
            if payload and not self.silent and now_s - self._taken_s() < KEPT_S:
                packets.append((payload, first))
        return packets

    def sent(self, first: int) -> None:
        """A packet was handed to the radio."""
        self.sent_at.append((first, time.monotonic()))
        end = first + self.samples_per_packet
        if self._sent and self._sent[-1][1] == first:
            self._sent[-1][1] = end
        else:
            self._sent.append([first, end])

    def told(self) -> dict[str, Any]:
        """What a test may ask: sent are the runs of sample numbers given to the radio."""
        return {
            "connected": self.connected,
            "started": self.started,
            "starts": self.starts,
            "stops": self.stops,
            "sent": self._sent,
        }

    def _keep_to_motion(self) -> None:
        """Let two sensors that start one after the other show the same movement."""
        if self.motion_from_s is not None:
            passed = (self._first_s - self.motion_from_s) * self.rate_hz
            self._number = max(0, math.ceil(passed))
            self._first_s = self.motion_from_s + self._number / self.rate_hz

    def _taken_s(self) -> float:
        """Time of the last sample that was made into a packet."""
        return self._first_s + self._packet * self.samples_per_packet / self.rate_hz

    def _next_packet(self) -> bytes | None:
        count = self.samples_per_packet
        first_s = self._first_s + self._packet * count / self.rate_hz
        device_s = (first_s - self._boot_s) * (1.0 + 1e-6 * self.clock_ppm)
        tick = int(device_s * TICKS_PER_S) & 0xFFFFFFFF
        values = self._values(count)
        header = struct.pack("<BBHI", 1, count, self._sequence & 0xFFFF, tick)
        self._packet += 1
        self._sequence += 1
        self._number += count
        return None if values is None else header + values.astype("<i2").tobytes()

    def _values(self, count: int) -> np.ndarray | None:
        """Counts (count, 6) of the next samples; None where the motion has ended."""
        if self._counts is None:
            number = np.arange(self._number, self._number + count)
            values = np.zeros((count, 6), dtype=np.int64)
            values[:, 0], values[:, 3] = number % COUNTED, number // COUNTED
            return values
        rows = slice(self._number, self._number + count)
        values = np.hstack((self._counts[0][rows], self._counts[1][rows]))
        return values if len(values) == count else None
