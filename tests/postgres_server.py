"""A PostgreSQL server for the tests alone: in a temporary folder, on a socket that nobody else reaches.

`start` is called by the first test process that needs it. The server runs under a program of its own (this
file), as `postgres` or `nobody` where the tests run as root, never as root. That program waits for a lock
that the first process of the tests holds: the system gives it free when that process ends, however it ends,
and then the server is stopped and its folder removed.
"""

from __future__ import annotations

import fcntl
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import uuid
from pathlib import Path

LOCK_VARIABLE = "QC_TESTS_LOCK"  # the file that the first process of the tests keeps locked
DEBIAN = Path("/usr/lib/postgresql")
MISSING = (
    "PostgreSQL is not on this machine, so what is tried on it was left out. On Debian type: "
    "sudo apt-get install -y postgresql"
)
READY_S = 60


def programs() -> Path | None:
    """Return the folder of the newest PostgreSQL's programs, None where there is none."""
    found = [path for path in DEBIAN.glob("*/bin") if (path / "initdb").is_file()]
    if found:
        return max(found, key=lambda path: float(path.parent.name))
    here = shutil.which("initdb")
    return Path(here).resolve().parent if here and shutil.which("postgres") else None


def hold_lock() -> object:
    """Take the lock that the server lives under; keep what this returns until the tests end."""
    file = tempfile.NamedTemporaryFile(prefix="qc-tests-", suffix=".lock")
    fcntl.flock(file, fcntl.LOCK_EX)
    os.environ[LOCK_VARIABLE] = file.name
    return file


def let_go(lock: object) -> None:
    """Give the lock free, and wait until the server that lived under it has stopped, if there was one."""
    name = Path(lock.name)
    served = Path(f"{name}.served")
    lock.close()
    for _ in range(300):
        if not served.exists():
            return
        time.sleep(0.1)
    raise AssertionError(f"the server of the tests does not stop ({served})")


class Server:
    """The server, and databases in it: each is a copy of another, which takes a twentieth of a second.

    Parameters
    ----------
    folder : Path
        What `start` made.
    """

    def __init__(self, folder: Path) -> None:
        self.address = (folder / "address").read_text("utf-8")

    @classmethod
    def of(cls, address: str) -> Server:
        """Return the server on which a database is."""
        self = cls.__new__(cls)
        self.address = address.replace(f"/{name_of(address)}?", "/postgres?")
        return self

    def make(self, template: str = "template1", name: str = "") -> str:
        """Make a database and return its address; one of a name that is there already is made anew."""
        if name:
            self.run(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        name = name or f"qc_{uuid.uuid4().hex[:12]}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {template}")
        return self.address.replace("/postgres?", f"/{name}?")

    def drop(self, address: str) -> None:
        """Drop a database, whoever is still connected."""
        self.run(f"DROP DATABASE {name_of(address)} WITH (FORCE)")

    def run(self, *statements: str, address: str = "") -> list[tuple]:
        """Run statements as the server's owner; returns the rows of the last one."""
        import psycopg

        with psycopg.connect(address or self.address, autocommit=True) as conn:
            for statement in statements:
                found = conn.execute(statement)
            return found.fetchall() if found.description else []


def name_of(address: str) -> str:
    """Return the name of the database in an address."""
    return address.split("@/")[1].split("?")[0]


def start(folder: Path) -> None:
    """Start the server and leave its address in ``folder/address``; `folder` is made."""
    folder.mkdir()
    log = (folder / "log").open("wb")
    words = [sys.executable, str(Path(__file__).resolve()), str(folder), os.environ[LOCK_VARIABLE]]
    subprocess.run(words, stdin=subprocess.DEVNULL, stdout=log, stderr=log, check=True)
    log.close()
    for _ in range(10 * READY_S):
        if (folder / "address").is_file():
            return
        time.sleep(0.1)
    raise AssertionError(f"PostgreSQL did not start: {(folder / 'log').read_text('utf-8', 'replace')}")


def _unprivileged() -> dict[str, object]:
    """Return as whom the server runs: whoever runs the tests, unless that is root."""
    if os.geteuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        try:
            known = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": known.pw_uid, "group": known.pw_gid, "extra_groups": []}
    raise SystemExit("PostgreSQL is never run as root, and there is neither a user postgres nor nobody.")


def _serve(folder: Path, lock: Path) -> None:
    who, where = _unprivileged(), programs()
    served = Path(f"{lock}.served")
    served.touch()
    # a socket's path may have 107 signs (Linux, unix(7)), fewer than a test's folder has
    base = Path(tempfile.mkdtemp(prefix="qc-pg-", dir="/tmp"))
    try:
        if who:
            os.chown(base, who["user"], who["group"])
        run = {"cwd": base, "env": {"PATH": os.defpath, "LC_ALL": "C", "TZ": "UTC"}, **who}
        # a language that orders words otherwise than bytes, as many a server has: what hangs on it shows
        language = ["--encoding=UTF8", "--locale-provider=icu", "--icu-locale=en-US", "--locale=C"]
        made = [str(where / "initdb"), "--pgdata=data", "--username=tests", "--auth=trust", "--no-sync"]
        subprocess.run([*made, *language], check=True, **run)
        settings = {
            "listen_addresses": "",
            "unix_socket_directories": str(base),
            "unix_socket_permissions": "0777",
            "fsync": "off",  # writers are killed here, not the machine
            "autovacuum": "off",  # the databases live for seconds
            "shared_buffers": "64MB",
            "max_connections": "200",
        }
        words = [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
        server = subprocess.Popen([str(where / "postgres"), "-D", "data", *words], **run)
        try:
            _wait_until_ready(where, base, run)
            os.chmod(base, 0o755)
            ready = folder / "address.new"
            ready.write_text(f"postgresql://tests@/postgres?host={base}", "utf-8")
            ready.rename(folder / "address")
            _wait_for_the_end(lock)
        finally:
            server.send_signal(signal.SIGINT)  # a fast stop: whoever is connected is cut off
            try:
                server.wait(10)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()
    finally:
        lock.unlink(missing_ok=True)  # left behind by tests that were killed
        served.unlink(missing_ok=True)  # nobody need wait for the folder, which may be large
        shutil.rmtree(base, ignore_errors=True)


def _wait_until_ready(where: Path, base: Path, run: dict) -> None:
    for _ in range(10 * READY_S):
        asked = subprocess.run([str(where / "pg_isready"), "-q", "-h", str(base)], **run)
        if asked.returncode == 0:
            return
        time.sleep(0.1)
    raise SystemExit("the server does not answer")


def _wait_for_the_end(lock: Path) -> None:
    try:
        with lock.open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_EX)
    except FileNotFoundError:  # it ended before we came to wait
        return


if __name__ == "__main__":
    if os.fork():
        os._exit(0)
    os.setsid()  # an interrupt at the terminal is for the tests; the lock tells this program
    _serve(Path(sys.argv[1]), Path(sys.argv[2]))
