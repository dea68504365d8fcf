"""Only the outbox speaks to a broker or a mail server (D-14): elsewhere a rollback could not take it back."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
OUTBOX = ROOT / "shop" / "outbox"
CALLS = {
    "delay",
    "delay_on_commit",
    "apply_async",
    "apply_async_on_commit",
    "send_task",
    "send_mail",
    "send_mass_mail",
    "mail_admins",
    "mail_managers",
    "EmailMessage",
    "EmailMultiAlternatives",
    "on_commit",
}
MODULES = {"smtplib", "redis", "kombu", "django.core.mail"}


def calls_out(source: str) -> Iterator[tuple[int, str]]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and called(node) in CALLS:
            yield node.lineno, called(node)
        elif isinstance(node, ast.Import):
            yield from ((node.lineno, name.name) for name in node.names if name.name in MODULES)
        elif isinstance(node, ast.ImportFrom) and node.module in MODULES:
            yield node.lineno, node.module


def called(node: ast.Call) -> str:
    return getattr(node.func, "attr", getattr(node.func, "id", ""))


def test_no_room_but_the_outbox_sends_anything() -> None:
    sources = [path for folder in ("shop", "quotes") for path in (ROOT / folder).rglob("*.py")]
    assert len(sources) > 50
    found = [
        f"{path.relative_to(ROOT)}:{line} {name}"
        for path in sources
        if not path.is_relative_to(OUTBOX)
        for line, name in calls_out(path.read_text(encoding="utf-8"))
    ]
    assert found == []


@pytest.mark.control
@pytest.mark.parametrize(
    "source",
    [
        "remind.delay(7)",
        "remind.apply_async(args=[7])",
        "from django.core.mail import send_mail",
        "transaction.on_commit(lambda: None)",
        "import smtplib",
        "send_mail('a', 'b', 'c', [])",
    ],
)
def test_a_planted_call_is_found(source: str) -> None:
    assert list(calls_out(source))
