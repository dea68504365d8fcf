"""The processes that make up the service: web and background, or with Redis the Celery processes."""

import os
import sys
from pathlib import Path

from django.conf import settings

from shop.management.lan import Lan
from shop.supervisor import Child

# One web process: sign-in limits and caches are per process while there is no Redis. More threads only wait for
# SQLite's one writer, and each may hold a whole page.
BLOCKING_THREADS = 4


def web(*, host: str, port: int, lan: Lan | None) -> Child:
    command = ["-m", "granian", "--interface", "wsgi", "--host", host, "--port", str(port), "--no-ws"]
    command += ["--workers", "1", "--blocking-threads", str(BLOCKING_THREADS), "--log-level", "warning"]
    if lan:
        command += ["--ssl-certificate", str(lan.certificates.certificate), "--ssl-keyfile", str(lan.certificates.key)]
        command += ["--ssl-protocol-min", "tls1.2"]  # older tablets know no later one
    return _python("web", *command, "shop.wsgi:application", environment=lan.environment if lan else {})


def trust_page(lan: Lan, *, port: int) -> Child:
    server = Path(__file__).with_name("trust_server.py")
    return _python("trust page", "-I", "-S", str(server), str(lan.page), str(port))


def renew_lan(*, port: int) -> Child:
    return _python("renewal", "manage.py", "renew_lan", "--port", str(port))


def background() -> list[Child]:
    if settings.EMBEDDED:
        return [_python("background", "manage.py", "background")]
    celery = ("-m", "celery", "-q", "-A", "shop.celery")
    processes = str(os.cpu_count() or 1)
    schedule = str(settings.HOME / "beat-schedule")
    return [
        _python("worker", *celery, "worker", "--pool", "prefork", "--concurrency", processes, "--loglevel", "WARNING"),
        _python("beat", *celery, "beat", "--schedule", schedule, "--pidfile", "", "--loglevel", "WARNING"),
    ]


def _python(name: str, *command: str, environment: dict[str, str] | None = None) -> Child:
    return Child(name, (sys.executable, *command), settings.BASE_DIR, environment or {})
