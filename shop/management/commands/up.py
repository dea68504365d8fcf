import fcntl
import os
import sys
from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NoReturn, TextIO

from django.conf import settings
from django.core.checks import ERROR, run_checks
from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, connections

from shop.checks import TAG
from shop.management import children, first_start, lan
from shop.management.lan import Lan
from shop.management.ports import NoPortError, free_port
from shop.supervisor import Child, write_plan


class Command(BaseCommand):
    help = "Serve the shop: prepares what is missing, then runs web and background processes until stopped."
    requires_system_checks = []  # only those that guard the data run here, see _refuse_unsafe

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--empty", action="store_true", help="begin with an empty shop")
        parser.add_argument("--lan", action="store_true", help="serve HTTPS to the devices on the local network")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--home", type=Path, help="folder for the database and documents")

    def handle(self, *, empty: bool, lan: bool, port: int, home: Path | None, **_: Any) -> None:
        if home and home.resolve() != settings.HOME:
            self._again_in(home)
        os.umask(0o077)  # the customers' papers and the keys are nobody else's
        settings.HOME.mkdir(parents=True, exist_ok=True)
        lock = self._alone()
        self._refuse_unsafe()
        first_start.prepare(empty=empty, say=self._say)
        connections.close_all()
        served, renew = self._on_lan(port) if lan else self._on_this_machine(port)
        self._become_supervisor([*served, *children.background()], renew, lock)

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()

    def _again_in(self, home: Path) -> None:
        """Settings read the folder before any option is known, so begin again with it set."""
        os.environ["BAREFRAME_HOME"] = str(home.resolve())
        os.execv(sys.executable, [sys.executable, *sys.argv])  # noqa: S606  (the same command once more)

    def _alone(self) -> TextIO:
        """Two services over one folder would send and sweep side by side; the lock goes with this process."""
        lock = open(settings.HOME / "up.lock", "a+")  # noqa: SIM115  (held as long as we serve)
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise CommandError(
                f"Bareframe is already running from {settings.HOME}. Stop that one first, or give another --home."
            ) from None
        return lock

    def _refuse_unsafe(self) -> None:
        try:
            found = run_checks(tags=[TAG], databases=["default"])
        except OperationalError as error:
            raise CommandError(f"The database cannot be used: {str(error).strip()}") from None
        for message in found:
            self._say(f"{message.msg}\n  {message.hint}")
        if any(message.is_serious(ERROR) for message in found):
            raise CommandError("Nothing was started. Put right what is said above, then start again.")

    def _become_supervisor(self, served: list[Child], renew: Child | None, lock: TextIO) -> NoReturn:
        """What prepared the shop is of no more use, and large: a small process takes its place, and its lock."""
        plan = settings.HOME / "processes.json"
        write_plan(plan, served, renew=renew)
        os.set_inheritable(lock.fileno(), True)
        program = str(settings.BASE_DIR / "shop" / "supervisor.py")
        os.execv(sys.executable, [sys.executable, "-I", "-S", program, str(plan)])  # noqa: S606

    def _on_this_machine(self, wanted: int) -> tuple[list[Child], Child | None]:
        port = self._port("127.0.0.1", wanted)
        self._say(f"Bareframe: http://localhost:{port}/   (Ctrl-C ends it)")
        return [children.web(host="127.0.0.1", port=port, lan=None)], None

    def _on_lan(self, wanted: int) -> tuple[list[Child], Child | None]:
        host = "0.0.0.0"  # noqa: S104  (that is what --lan asks for)
        port = self._port(host, wanted)
        page_port = self._port(host, port + 1)
        now = lan.prepare(port=port, now=datetime.now(UTC))
        self._say_lan(now, port=port, page_port=page_port)
        served = [children.web(host=host, port=port, lan=now), children.trust_page(now, port=page_port)]
        return served, children.renew_lan(port=port)

    def _port(self, host: str, wanted: int) -> int:
        try:
            return free_port(host, wanted, say=self._say)
        except NoPortError as error:
            raise CommandError(str(error)) from None

    def _say_lan(self, now: Lan, *, port: int, page_port: int) -> None:
        if not now.names.addresses:
            self._say("This machine has no address on a local network at the moment; looking again every hour.")
        for address in lan.addresses(now.names, port=port):
            self._say(f"Bareframe: {address}")
        for reachable in now.names.addresses[:1]:
            page = f"http://{reachable}:{page_port}/"
            self._say(f"On a new tablet, open this once and follow it: {page}")
            self._show_qr(page)
        self._say("SHA-256 fingerprint of the workshop's certificate, to compare on the tablet:")
        for row in lan.grouped(now.certificates.fingerprint):
            self._say(f"  {row}")
        self._say("(Ctrl-C ends it)")

    def _show_qr(self, address: str) -> None:
        if self.stdout.isatty():
            import segno

            segno.make(address).terminal(compact=True)
