"""`torsolog sensors`: which Bluetooth LE sensors are in reach, and which is worn where."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Annotated

import msgspec
import typer
from rich.table import Table
from rich.text import Text

from analysis.results import Fixing
from sensors.bluetooth_identify import SensorsInHand
from sensors.bluetooth_intake import WornSensor
from sensors.bluetooth_link import LinkedSensor
from sensors.bluetooth_obstacles import BLUETOOTH_ERRORS, obstacle_of
from sensors.bluetooth_scan import SeenSensor, scan_for
from sensors.profile_library import ProfileLibrary, load_profiles
from sensors.sensor_book import KnownSensor, SensorBook
from sensors.wire import SEGMENTS, SegmentName
from server.cli.console import fail, out, say
from server.fixing import SAID

PLACES = {"pelvis": "pelvis", "upper_back": "upper back"}

Seconds = Annotated[
    float, typer.Option("--seconds", min=0.2, max=120.0, help="How long to look around.")
]
Everything = Annotated[
    bool, typer.Option("--all", help="Show every Bluetooth device, not only sensors known here.")
]
Pelvis = Annotated[
    str | None,
    typer.Option("--pelvis", metavar="SENSOR", help="Remember this one (address or name) as it."),
]
UpperBack = Annotated[
    str | None,
    typer.Option("--upper-back", metavar="SENSOR", help="Remember this one as the upper back's."),
]
Swap = Annotated[
    bool, typer.Option("--swap", help="The two are on the wrong way round: change them over.")
]
Identify = Annotated[
    bool,
    typer.Option("--identify", help="Find out which is which: turn one in your hand when asked."),
]
Held = Annotated[
    Fixing | None,
    typer.Option(
        "--fixing",
        help="What holds the remembered sensors: strapped (a strap or belt over skin and cloth: "
        "their usual ride is undone), rigid (as on a plate) or unknown.",
    ),
]
Forget = Annotated[
    str | None, typer.Option("--forget", metavar="ADDRESS", help="Remember it no longer.")
]


def sensors(
    *,
    seconds: Seconds = 5.0,
    everything: Everything = False,
    pelvis: Pelvis = None,
    upper_back: UpperBack = None,
    identify: Identify = False,
    swap: Swap = False,
    fixing: Held = None,
    forget: Forget = None,
) -> None:
    """List the Bluetooth LE sensors in reach, with their signal, and remember which is worn where.

    `torsolog collect --source bluetooth` then uses those that are remembered.
    """
    book, library = SensorBook(), load_profiles()
    for error in library.errors:
        say(f"left out: {error}")
    if forget is not None:
        if book.at(forget) is None:
            fail(f"no sensor with the address {forget} is remembered")
        book.forget(forget)
    if swap:
        book.swap()
    if fixing is not None:
        _hold(book, fixing)
    if forget is not None or swap or fixing is not None:
        _print(book, [])
        return
    seen = look_around(library, seconds)
    if identify:
        asyncio.run(_identify(book, [one for one in seen if one.profile is not None]))
    wanted: dict[SegmentName, str | None] = {"pelvis": pelvis, "upper_back": upper_back}
    chosen = {place: _choose(seen, text) for place, text in wanted.items() if text is not None}
    for segment, sensor in chosen.items():
        _remember(book, segment, sensor)
    shown = [one for one in seen if everything or one.profile is not None]
    if not shown and not book.sensors:
        fail("no sensor is in reach: switch one on, not connected to a phone; --all shows the rest")
    _print(book, shown)


def _hold(book: SensorBook, fixing: Fixing) -> None:
    if not book.sensors:
        fail("no sensor is remembered yet: say first which is worn where")
    for known in book.sensors:
        book.assign(msgspec.structs.replace(known, fixing=SAID[fixing]))


def look_around(library: ProfileLibrary, seconds: float) -> list[SeenSensor]:
    """What is in reach. Ends the command where Bluetooth cannot be used."""
    try:
        return asyncio.run(scan_for(library, seconds))
    except BLUETOOTH_ERRORS as error:
        fail(str(obstacle_of(error, "sensor")))


def remembered_sensors() -> tuple[WornSensor, ...]:
    """Both sensors with their profiles. Ends the command where one is not remembered."""
    book, library = SensorBook(), load_profiles()
    missing = [PLACES[segment] for segment in SEGMENTS if book.worn_on(segment) is None]
    if missing:
        fail(
            f"no sensor is remembered for the {' and the '.join(missing)}: `torsolog sensors` "
            "lists those in reach, `torsolog sensors --pelvis SENSOR --upper-back SENSOR` "
            "remembers which is which"
        )
    return tuple(
        WornSensor(
            known.segment, known.address, known.name, library.get(known.profile), known.fixing
        )
        for known in book.sensors
    )


async def _identify(book: SensorBook, seen: Sequence[SeenSensor]) -> None:
    """Ask for one sensor after the other to be turned, and remember them."""
    if len(seen) < len(SEGMENTS):
        there = ", ".join(f"{one.name} {one.address}" for one in seen) or "none"
        fail(f"two sensors must be in reach to be told apart; there is: {there}")
    left = {one.address: one for one in seen}
    linked = [
        LinkedSensor(one.address, f"sensor ({one.name or one.address})", one.profile)
        for one in seen
        if one.profile is not None
    ]
    async with SensorsInHand(linked) as in_hand:
        for segment in SEGMENTS:
            if len(left) > 1:
                say(f"take the {PLACES[segment]} sensor and turn it to and fro, the others still")
                moved = (await in_hand.moved()).address
                while moved not in left:
                    moved = (await in_hand.moved()).address
            else:
                (moved,) = left
            sensor = left.pop(moved)
            say(f"{PLACES[segment]}: {sensor.name or sensor.address}")
            _remember(book, segment, sensor)


def _choose(seen: Sequence[SeenSensor], text: str) -> SeenSensor:
    """The one sensor in reach with an address or a name."""
    wanted = text.lower()
    found = [one for one in seen if wanted in (one.address.lower(), one.name.lower())]
    if len(found) != 1:
        there = ", ".join(f"{one.name} {one.address}" for one in seen if one.profile) or "none"
        count = "no sensor in reach is" if not found else f"{len(found)} in reach are"
        fail(f"{count} called {text!r}; there is: {there}")
    if found[0].profile is None:
        fail(f"{text}: no profile fits it; `torsolog profile list` shows those there are")
    return found[0]


def _remember(book: SensorBook, segment: SegmentName, sensor: SeenSensor) -> None:
    assert sensor.profile is not None
    known = book.at(sensor.address)
    book.assign(
        KnownSensor(
            address=sensor.address,
            name=sensor.name,
            profile=sensor.profile.id,
            segment=segment,
            fixing=known.fixing if known is not None else None,
        )
    )


def _print(book: SensorBook, seen: Sequence[SeenSensor]) -> None:
    table = Table(
        "worn on", "name", "address", "signal", "profile", "held", box=None, pad_edge=False
    )
    for one in seen:
        known = book.at(one.address)
        place = PLACES[known.segment] if known else "-"
        signal = one.signal if one.rssi_dbm is None else f"{one.rssi_dbm} dBm, {one.signal}"
        profile = one.profile.id if one.profile else "-"
        held = (known and known.fixing) or "-"
        table.add_row(*map(Text, (place, one.name, one.address, signal, profile, held)))
    there = {one.address.lower() for one in seen}
    for known in book.sensors:
        if known.address.lower() not in there:
            place = PLACES[known.segment]
            held = known.fixing or "-"
            row = (place, known.name, known.address, "not seen", known.profile, held)
            table.add_row(*map(Text, row))
    out.print(table)
