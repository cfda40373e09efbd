"""What stands between us and a sensor, in words for people: the case, and one thing to do."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakCharacteristicNotFoundError,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
    BleakGATTProtocolErrorCode,
)


class ObstacleKind(StrEnum):
    """Obstacles that a person can do something about, and the rest."""

    NO_ADAPTER = "no adapter"
    SWITCHED_OFF = "switched off"
    NO_PERMISSION = "no permission"
    NO_SERVICE = "no Bluetooth service"
    NOT_FOUND = "not found"
    REFUSED = "refused"
    NO_ANSWER = "no answer"
    NOT_PAIRED = "not paired"
    OTHER_SENSOR = "another kind of sensor"
    LINK_LOST = "link lost"
    SILENT = "silent"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Obstacle:
    """kind; what: the case; cure: the one thing to do; detail: what the system said."""

    kind: ObstacleKind
    what: str
    cure: str
    detail: str = ""

    def __str__(self) -> str:
        return f"{self.what}: {self.cure}"


class LinkLostError(BleakError):
    """The sensor went away while it was connected."""


class SilentSensorError(BleakError):
    """The sensor is connected and sends nothing. seconds: for how long."""

    def __init__(self, seconds: float) -> None:
        super().__init__(f"no samples for {seconds:.0f} s")


BLUETOOTH_ERRORS: Final = (BleakError, OSError, EOFError)
"""What bleak raises for a link that does not come about or ends: its own, time-outs (an OSError),
and those of the D-Bus connection below it."""

_NOT_AVAILABLE: Final = {
    BleakBluetoothNotAvailableReason.NO_BLUETOOTH: ObstacleKind.NO_ADAPTER,
    BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE: ObstacleKind.NO_ADAPTER,
    BleakBluetoothNotAvailableReason.POWERED_OFF: ObstacleKind.SWITCHED_OFF,
    BleakBluetoothNotAvailableReason.DENIED_BY_USER: ObstacleKind.NO_PERMISSION,
    BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM: ObstacleKind.NO_PERMISSION,
    BleakBluetoothNotAvailableReason.DENIED_BY_UNKNOWN: ObstacleKind.NO_PERMISSION,
}
_DBUS: Final = {
    "org.bluez.Error.NotReady": ObstacleKind.SWITCHED_OFF,
    "org.freedesktop.DBus.Error.AccessDenied": ObstacleKind.NO_PERMISSION,
    "org.freedesktop.DBus.Error.ServiceUnknown": ObstacleKind.NO_SERVICE,
    "org.freedesktop.DBus.Error.NameHasNoOwner": ObstacleKind.NO_SERVICE,
    "org.freedesktop.DBus.Error.NoReply": ObstacleKind.NO_SERVICE,
    "org.freedesktop.DBus.Error.UnknownObject": ObstacleKind.NOT_FOUND,
    "org.bluez.Error.DoesNotExist": ObstacleKind.NOT_FOUND,
    "org.bluez.Error.NotSupported": ObstacleKind.OTHER_SENSOR,
    "org.bluez.Error.NotPermitted": ObstacleKind.REFUSED,
    "org.bluez.Error.NotAuthorized": ObstacleKind.REFUSED,
    "org.bluez.Error.AuthenticationFailed": ObstacleKind.REFUSED,
    "org.bluez.Error.AuthenticationRejected": ObstacleKind.REFUSED,
    "org.bluez.Error.Failed": ObstacleKind.REFUSED,
    "org.bluez.Error.InProgress": ObstacleKind.REFUSED,
}
_WANTS_PAIRING: Final = frozenset(
    {
        BleakGATTProtocolErrorCode.INSUFFICIENT_AUTHENTICATION,
        BleakGATTProtocolErrorCode.INSUFFICIENT_AUTHORIZATION,
        BleakGATTProtocolErrorCode.INSUFFICIENT_ENCRYPTION_KEY_SIZE,
        BleakGATTProtocolErrorCode.INSUFFICIENT_ENCRYPTION,
    }
)
_SWITCH_ON: Final = {
    "linux": "switch it on in the system's settings, or with `bluetoothctl power on`",
    "darwin": "switch it on in the menu bar or in System Settings",
    "win32": "switch it on in Settings, under Bluetooth & devices",
}
_ALLOW: Final = {
    "linux": "add yourself to the group `bluetooth` and sign in again",
    "darwin": "allow it under Privacy & Security, Bluetooth, in System Settings, for the terminal",
    "win32": "allow apps the use of radios in Settings, under Privacy & security",
}
_SERVICE: Final = {
    "linux": "start it with `sudo systemctl start bluetooth`",
    "darwin": "switch Bluetooth off and on again",
    "win32": "start the Bluetooth Support Service, or restart the computer",
}


_OF_CLASS: Final = (
    (LinkLostError, ObstacleKind.LINK_LOST),
    (SilentSensorError, ObstacleKind.SILENT),
    (BleakDeviceNotFoundError, ObstacleKind.NOT_FOUND),
    (BleakCharacteristicNotFoundError, ObstacleKind.OTHER_SENSOR),
    (TimeoutError, ObstacleKind.NO_ANSWER),
    (PermissionError, ObstacleKind.NO_PERMISSION),
    (OSError, ObstacleKind.NO_SERVICE),
    (EOFError, ObstacleKind.NO_SERVICE),
)


def kind_of(error: BaseException) -> ObstacleKind:
    """Which obstacle an error of bleak or of the system below it stands for."""
    if isinstance(error, BleakBluetoothNotAvailableError):
        return _NOT_AVAILABLE.get(error.reason, ObstacleKind.NO_SERVICE)
    if isinstance(error, BleakDBusError):
        return _DBUS.get(error.dbus_error, ObstacleKind.UNKNOWN)
    if isinstance(error, BleakGATTProtocolError):
        return ObstacleKind.NOT_PAIRED if error.code in _WANTS_PAIRING else ObstacleKind.UNKNOWN
    for kind, obstacle in _OF_CLASS:
        if isinstance(error, kind):
            return obstacle
    return _by_its_words(error)


def _by_its_words(error: BaseException) -> ObstacleKind:
    """bleak has no classes of its own for these."""
    text = str(error).lower()
    if "not found" in text:
        return ObstacleKind.NOT_FOUND
    if "disconnected" in text or "not connected" in text:
        return ObstacleKind.LINK_LOST
    return ObstacleKind.UNKNOWN


_WORDS: Final[dict[ObstacleKind, tuple[str, str | dict[str, str]]]] = {
    ObstacleKind.NO_ADAPTER: (
        "this computer has no Bluetooth LE adapter that works",
        "plug one in",
    ),
    ObstacleKind.SWITCHED_OFF: ("Bluetooth is switched off", _SWITCH_ON),
    ObstacleKind.NO_PERMISSION: ("Bluetooth may not be used from here", _ALLOW),
    ObstacleKind.NO_SERVICE: ("the system's Bluetooth service does not answer", _SERVICE),
    ObstacleKind.NOT_FOUND: (
        "the {sensor} is not to be seen",
        "switch it on, within a few metres, and not connected to a phone or another computer",
    ),
    ObstacleKind.REFUSED: (
        "the {sensor} does not take the connection",
        "disconnect it from any phone or other computer, then switch it off and on",
    ),
    ObstacleKind.NO_ANSWER: (
        "the {sensor} does not answer",
        "bring it closer; if that does not help, switch it off and on",
    ),
    ObstacleKind.NOT_PAIRED: (
        "the {sensor} speaks to paired computers only",
        "pair it once in the system's Bluetooth settings",
    ),
    ObstacleKind.OTHER_SENSOR: (
        "the {sensor} does not offer what its profile asks for",
        "choose the profile that fits it, or check the file with `torsolog profile check`",
    ),
    ObstacleKind.LINK_LOST: (
        "the {sensor} is out of reach or switched off",
        "bring it back; it is connected again by itself",
    ),
    ObstacleKind.SILENT: (
        "the {sensor} is connected but sends nothing",
        "switch it off and on; it is connected again by itself",
    ),
    ObstacleKind.UNKNOWN: ("the {sensor} cannot be used ({reason})", "switch it off and on"),
}
"""What is the case, and the one thing to do; where systems differ, by `sys.platform`."""


def obstacle_of(error: BaseException, sensor: str, *, system: str = sys.platform) -> Obstacle:
    """The obstacle behind an error. sensor: what the sensor is called, "pelvis sensor (PK-1)"."""
    kind = kind_of(error)
    what, cure = _WORDS[kind]
    reason = error.args[-1] if error.args else repr(error)
    return Obstacle(
        kind,
        what.format(sensor=sensor, reason=reason),
        cure if isinstance(cure, str) else cure.get(system, cure["linux"]),
        f"{type(error).__name__}: {error}",
    )
