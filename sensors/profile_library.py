"""The profiles there are: those that come with torsolog, and those in the user's own folder."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from platformdirs import user_config_path

from sensors.errors import ProfileError
from sensors.profile import Profile
from sensors.profile_file import parse_profile, read_profile


@dataclass(frozen=True, slots=True)
class KnownProfile:
    """A profile and the file it is from; path None: it came with torsolog."""

    profile: Profile
    path: Path | None = None


@dataclass(frozen=True, slots=True)
class ProfileLibrary:
    """Profiles by id; notes for the user; the user's files that cannot be used."""

    known: tuple[KnownProfile, ...]
    notes: tuple[str, ...] = ()
    errors: tuple[ProfileError, ...] = ()

    @property
    def profiles(self) -> tuple[Profile, ...]:
        """The profiles alone; the user's own first."""
        return tuple(known.profile for known in self.known)

    def get(self, profile_id: str) -> Profile:
        """The profile of an id. Raises ProfileError naming those there are."""
        for profile in self.profiles:
            if profile.id == profile_id:
                return profile
        there = ", ".join(profile.id for profile in self.profiles)
        raise ProfileError(f"there is no sensor profile {profile_id!r}; there is: {there}")

    def recognise(
        self,
        name: str | None,
        services: Iterable[str] = (),
        manufacturer_ids: Iterable[int] = (),
    ) -> Profile | None:
        """The profile that an advertisement speaks for most strongly; of equals the user's own."""
        told = (name, tuple(services), tuple(manufacturer_ids))
        strengths = ("service", "name", "manufacturer")
        found = {profile.id: profile.recognised_by(*told) for profile in self.profiles}
        for strength in strengths:
            for profile in self.profiles:
                if found[profile.id] == strength:
                    return profile
        return None


def user_profile_folder() -> Path:
    """Where the user's own profiles are looked for; it need not be there."""
    return user_config_path("torsolog", appauthor=False) / "sensor-profiles"


def built_in_profiles() -> tuple[Profile, ...]:
    """The profiles that come with torsolog, by id."""
    folder = files("sensors") / "profiles"
    texts = {entry.name: entry.read_text("utf-8") for entry in folder.iterdir()}
    named = [(name, text) for name, text in sorted(texts.items()) if name.endswith(".toml")]
    return tuple(parse_profile(text, Path(name)) for name, text in named)


def load_profiles(folder: Path | None = None) -> ProfileLibrary:
    """Every profile there is. folder: the user's own; None: in the config folder.

    A file of the user's with the id of another profile takes its place, with a note. One that
    cannot be used is kept in `errors` and hides nothing.
    """
    own_folder = user_profile_folder() if folder is None else folder
    own: dict[str, KnownProfile] = {}
    notes: list[str] = []
    errors: list[ProfileError] = []
    built_in = {profile.id: KnownProfile(profile) for profile in built_in_profiles()}
    for path in sorted(own_folder.glob("*.toml")):
        try:
            profile = read_profile(path)
        except ProfileError as error:
            errors.append(error)
            continue
        if profile.id in own:
            notes.append(
                f"{path}: has the id {profile.id!r} of {own[profile.id].path} and is left out"
            )
            continue
        if profile.id in built_in:
            notes.append(f"{path}: replaces the built-in profile {profile.id!r}")
        own[profile.id] = KnownProfile(profile, path)
    rest = (known for known in built_in.values() if known.profile.id not in own)
    return ProfileLibrary((*own.values(), *rest), tuple(notes), tuple(errors))
