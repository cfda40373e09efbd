"""D-Bus objects of an emulated adapter, a device and its characteristics, as BlueZ names them."""

from __future__ import annotations

from dbus_fast import Variant

from tests.support.emulated_sensor import EmulatedSensor

ADAPTER = "/org/bluez/hci0"
DEVICE1 = "org.bluez.Device1"
SERVICE1, CHARACTERISTIC1 = "org.bluez.GattService1", "org.bluez.GattCharacteristic1"
GENERIC_ATTRIBUTE = "00001801-0000-1000-8000-00805f9b34fb"

Interfaces = dict[str, dict[str, Variant]]


def adapter() -> Interfaces:
    """The one adapter, switched on."""
    return {
        "org.bluez.Adapter1": {
            "Address": Variant("s", "02:00:00:00:00:01"),
            "Name": Variant("s", "rig"),
            "Alias": Variant("s", "rig"),
            "Powered": Variant("b", True),
            "Discovering": Variant("b", False),
            "Roles": Variant("as", ["central", "peripheral"]),
            "UUIDs": Variant("as", []),
        }
    }


def device(sensor: EmulatedSensor, rssi: int) -> dict[str, Variant]:
    """Properties of a device that was just seen."""
    no = Variant("b", False)
    properties = {
        "Address": Variant("s", sensor.address),
        "AddressType": Variant("s", "random"),
        "Alias": Variant("s", sensor.name or sensor.address.replace(":", "-")),
        "Adapter": Variant("o", ADAPTER),
        "Paired": no,
        "Trusted": no,
        "Blocked": no,
        "Connected": no,
        "ServicesResolved": no,
        "RSSI": Variant("n", rssi),
        "UUIDs": Variant("as", [GENERIC_ATTRIBUTE, *sensor.advertised_services]),
    }
    if sensor.name:
        properties["Name"] = Variant("s", sensor.name)
    return properties


def gatt(path: str, sensor: EmulatedSensor) -> dict[str, Interfaces]:
    """Path -> object of one service that holds all the sensor's characteristics."""
    service = f"{path}/service0010"
    objects: dict[str, Interfaces] = {
        service: {
            SERVICE1: {
                "UUID": Variant("s", sensor.service),
                "Device": Variant("o", path),
                "Primary": Variant("b", True),
            }
        }
    }
    for number, (uuid, flags) in enumerate(sorted(sensor.characteristics().items())):
        objects[f"{service}/char{0x20 + 4 * number:04x}"] = {
            CHARACTERISTIC1: {
                "UUID": Variant("s", uuid),
                "Service": Variant("o", service),
                "Flags": Variant("as", flags),
                "Value": Variant("ay", b""),
                "Notifying": Variant("b", False),
                "MTU": Variant("q", 247),
            }
        }
    return objects
