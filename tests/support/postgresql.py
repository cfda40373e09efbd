"""A private PostgreSQL cluster for the tests: its own folder, a socket file, no network."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

BINARY_FOLDERS = ("/usr/lib/postgresql",)
UNPRIVILEGED = ("postgres", "nobody")


class NoPostgresqlError(Exception):
    """PostgreSQL cannot be started here; the text says why."""


def binaries() -> Path:
    """Folder that holds initdb and pg_ctl. Raises NoPostgresqlError."""
    found = shutil.which("pg_ctl")
    folders = [Path(found).resolve().parent] if found else []
    for root in BINARY_FOLDERS:
        folders += sorted(Path(root).glob("*/bin"), reverse=True)
    for folder in folders:
        if (folder / "initdb").exists() and (folder / "pg_ctl").exists():
            return folder
    raise NoPostgresqlError("no initdb and pg_ctl on this machine")


def runs_as() -> str | None:
    """User to run the cluster as; None: the present one, which is not root."""
    if os.geteuid() != 0:
        return None
    for name in UNPRIVILEGED:
        try:
            return pwd.getpwnam(name).pw_name
        except KeyError:
            continue
    raise NoPostgresqlError("run as root, and no unprivileged user to run PostgreSQL as")


class Cluster:
    """A running cluster that makes databases."""

    def __init__(self, folder: Path, tools: Path, user: str | None) -> None:
        self._folder = folder
        self._tools = tools
        self._user = user
        self._count = 0

    def run(self, tool: str, *arguments: str) -> None:
        """Run a tool of PostgreSQL to its end; its output goes to a file, for the server keeps
        the handles open."""
        with (self._folder / f"{tool}.log").open("ab") as said:
            subprocess.run(
                [str(self._tools / tool), *arguments],
                check=True,
                stdout=said,
                stderr=subprocess.STDOUT,
                stdin=subprocess.DEVNULL,
                user=self._user,
                cwd=self._folder,
                timeout=60,
            )

    def new_database(self) -> str:
        """URL of a fresh, empty database."""
        self._count += 1
        name = f"test_{self._count}"
        self.run("createdb", "-h", str(self._folder), "-U", "tests", name)
        return f"postgresql://tests@/{name}?host={self._folder}"

    def rename(self, name: str, new: str) -> None:
        """Take a database away under its name, whoever is connected to it."""
        end = f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'"
        move = f'ALTER DATABASE "{name}" RENAME TO "{new}"'
        host = ("-h", str(self._folder), "-U", "tests", "-d", "postgres")
        self.run("psql", *host, "-c", end, "-c", move)


@contextmanager
def private_cluster() -> Iterator[Cluster]:
    """Start a cluster in a folder of its own, end it and take the folder away."""
    tools, user = binaries(), runs_as()
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    if user is not None:
        shutil.chown(folder, user)
    cluster = Cluster(folder, tools, user)
    data = str(folder / "data")
    options = f"-k {folder} -c listen_addresses='' -c fsync=off -c shared_buffers=16MB"
    try:
        cluster.run("initdb", "-D", data, "-U", "tests", "-A", "trust", "-E", "UTF8", "--no-sync")
        cluster.run("pg_ctl", "-D", data, "-w", "-o", options, "-l", f"{folder}/log", "start")
        try:
            yield cluster
        finally:
            cluster.run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
