"""Small Motion-BIDS folders written by hand, to be read, bent and broken."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path

CHANNELS = (
    "name\tcomponent\ttype\ttracked_point\tunits\n"
    "latency\tn/a\tLATENCY\tn/a\ts\n"
    "gyro_x\tx\tGYRO\tback\tdeg/s\n"
    "gyro_y\ty\tGYRO\tback\tdeg/s\n"
    "gyro_z\tz\tGYRO\tback\tdeg/s\n"
    "accel_x\tx\tACCEL\tback\tg\n"
    "accel_y\ty\tACCEL\tback\tg\n"
    "accel_z\tz\tACCEL\tback\tg\n"
)
ROW = "90\t180\t-360\t0\t1\t0.5"


def rows(count: int, *, start_s: float = 0.0, rate_hz: float = 100.0, values: str = ROW) -> str:
    """Lines of a motion.tsv: the time, then the same values each time."""
    return "".join(f"{start_s + i / rate_hz:.4f}\t{values}\n" for i in range(count))


@dataclass
class MotionFolder:
    """One recording under `root`; every file can be bent before it is read."""

    root: Path
    name: str = "sub-01_ses-01_task-swing"
    samples: int = 300
    facts: dict[str, object] = field(default_factory=lambda: {"SamplingFrequency": 100.0})

    def write(self) -> MotionFolder:
        """The whole data set with both sensors, a stand, a bow and a participant."""
        self.folder.mkdir(parents=True)
        (self.root / "dataset_description.json").write_text(
            '{"Name": "x", "BIDSVersion": "1.10.0"}'
        )
        for system in ("pelvis", "upperback"):
            self.file(system, "channels.tsv").write_text(CHANNELS)
            self.file(system, "motion.json").write_text(json.dumps(self.facts))
            self.file(system, "motion.tsv").write_text(rows(self.samples))
        (self.folder / f"{self.name}_events.tsv").write_text(
            "onset\tduration\ttrial_type\n1.5\t0.5\tbow\n0.25\t1\tstand\n2\t0\tshot\n"
        )
        (self.root / "participants.tsv").write_text(
            "participant_id\thandedness\tsex\theight\tweight\nsub-01\tleft\tF\t1.68\t63.5\n"
        )
        return self

    @property
    def folder(self) -> Path:
        """The motion folder."""
        subject, session = self.name.split("_")[:2]
        return self.root / subject / session / "motion"

    @property
    def events(self) -> Path:
        """The events table."""
        return self.folder / f"{self.name}_events.tsv"

    def file(self, system: str, ending: str) -> Path:
        """A file of one tracking system."""
        return self.folder / f"{self.name}_tracksys-{system}_{ending}"

    def replace(self, system: str, ending: str, old: str, new: str) -> None:
        """Swap the first `old` of a file for `new`."""
        path = self.file(system, ending)
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))
