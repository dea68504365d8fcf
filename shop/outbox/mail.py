"""Mail by SMTP, with one question answered for certain: whether it may have left the house.

Everything up to the last line of the message is undone by hanging up. From then on only the server's answer counts: a
refusal is certain too (RFC 5321, 4.2.1), silence is not (RFC 1047).
"""

import re
import smtplib
import ssl
from collections.abc import Callable, Container, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from ipaddress import ip_address
from uuid import NAMESPACE_URL, uuid5

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from shop.outbox.handlers import NotSentError

#: How long one answer of the server may take [s], and the one to a whole message.
PATIENCE, PATIENCE_FOR_DATA = 10, 40

GO_ON, TAKEN, REFUSED = (354,), range(200, 300), range(400, 600)
#: What ends a line somewhere, or ends a text, and what begins a coded word (RFC 2047): in a head it could hide another.
BREAKS = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]|=\\?")
DOT = re.compile(rb"^\.", re.MULTILINE)


class UnclearError(Exception):
    """The whole message went out, and the server said nothing to it any more: it may have been taken."""


@dataclass(frozen=True, slots=True)
class Attachment:
    name: str
    media_type: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Letter:
    """A message before it is one. ``reply_to`` and ``sender_name`` may be empty."""

    to: str
    subject: str
    text: str
    sender_name: str = ""
    reply_to: str = ""
    attachments: tuple[Attachment, ...] = ()


def configured() -> bool:
    """Whether this shop can send mail at all."""
    return settings.MAIL is not None


def one_line(text: str) -> None:
    """A validator: what becomes a header of a mail stays in one line."""
    if BREAKS.search(text):
        raise ValidationError(
            _(
                "Write this in one line. It holds a line break or another character that cannot be sent in a mail's head."
            ),
            code="breaks",
        )


def message_id(key: str) -> str:
    """The same for the same row, so that whoever gets it twice can see that it is one message."""
    return f"<{uuid5(NAMESPACE_URL, f'bareframe:{key}').hex}@{_domain(settings.MAIL_FROM)}>"


def compose(letter: Letter, *, key: str, now: datetime) -> EmailMessage:
    """The message of the row with ``key``. Raises `ValidationError` rather than let a text reach into the head."""
    for text in (letter.to, letter.subject):
        one_line(text)
    message = EmailMessage(policy=SMTP)
    message["From"] = Address(display_name=BREAKS.sub(" ", letter.sender_name), addr_spec=settings.MAIL_FROM)
    message["To"] = plain_address(letter.to)
    if letter.reply_to:
        message["Reply-To"] = plain_address(letter.reply_to)
    message["Subject"] = letter.subject
    message["Date"] = format_datetime(now)
    message["Message-ID"] = message_id(key)
    message.set_content(letter.text, cte="quoted-printable")
    for one in letter.attachments:
        kind, _slash, subkind = one.media_type.partition("/")
        message.add_attachment(one.content, maintype=kind, subtype=subkind, filename=one.name)
    return message


def plain_address(address: str) -> str:
    """An address with its domain as servers spell it: letters beyond ASCII are written otherwise there (RFC 5891)."""
    name, _at, domain = address.rpartition("@")
    return f"{name}@{domain.encode('idna').decode()}"


def send(*, to: str, write: Callable[[], EmailMessage], going_out: Callable[[], None]) -> None:
    """Hand one message to the mail server. When that has agreed to take one for ``to``, ``going_out`` is called, then ``write``.

    Raises `NotSentError` when it is certain that nothing left the house, `UnclearError` when it may have.
    """
    with _nothing_left():
        session = _session()
    try:
        with _nothing_left():
            _agreed(session.mail(settings.MAIL_FROM))
            _agreed(session.rcpt(plain_address(to)))
        going_out()
        with _nothing_left():
            content = DOT.sub(b"..", write().as_bytes())
            _agreed(session.docmd("DATA"), GO_ON)
        _hand_over(session, content)
        _leave(session)
    finally:
        session.close()


def _hand_over(session: smtplib.SMTP, content: bytes) -> None:
    assert session.sock is not None
    try:
        session.sock.settimeout(PATIENCE_FOR_DATA)
        session.send(content + b".\r\n")
        code, said = session.getreply()
    except (OSError, smtplib.SMTPException) as error:
        raise UnclearError(_("The mail server fell silent after the message was handed over.")) from error
    if code in REFUSED:
        raise _refusal(code, said)
    if code not in TAKEN:
        raise UnclearError(_("The mail server answered something unknown after the message was handed over."))


def _leave(session: smtplib.SMTP) -> None:
    """Politely, if the server has the politeness: the message is with it already."""
    assert session.sock is not None
    session.sock.settimeout(PATIENCE)
    with suppress(OSError, smtplib.SMTPException):
        session.quit()


@contextmanager
def _nothing_left() -> Iterator[None]:
    """Whatever goes wrong in here does so before the message was handed over, or is the server's plain refusal of it."""
    try:
        yield
    except NotSentError:
        raise
    except Exception as error:
        raise NotSentError(f"{type(error).__name__}: {error}") from error


def _session() -> smtplib.SMTP:
    """A session with the mail server, encrypted where it can be, signed in where a name is given."""
    given = settings.MAIL
    if given is None:
        raise NotSentError(_("No mail server is set up."))
    secure = ssl.create_default_context  # made only where needed: reading all authorities takes longer than the rest
    if given["implicit_tls"]:
        session: smtplib.SMTP = smtplib.SMTP_SSL(given["host"], given["port"], timeout=PATIENCE, context=secure())
    else:
        session = smtplib.SMTP(given["host"], given["port"], timeout=PATIENCE)
    try:
        session.ehlo_or_helo_if_needed()
        encrypted = given["implicit_tls"]
        if not encrypted and session.has_extn("starttls"):
            session.starttls(context=secure())
            session.ehlo()
            encrypted = True
        if given["user"]:
            if not encrypted and not _this_machine(given["host"]):
                raise NotSentError(_("The mail server offers no encryption, so it is not told the password."))
            session.login(given["user"], given["password"])
    except BaseException:
        session.close()
        raise
    return session


def _this_machine(host: str) -> bool:
    with suppress(ValueError):
        return ip_address(host).is_loopback
    return host == "localhost"


def _agreed(answer: tuple[int, bytes], wanted: Container[int] = TAKEN) -> None:
    code, said = answer
    if code not in wanted:
        raise _refusal(code, said)


def _refusal(code: int, said: bytes) -> NotSentError:
    return NotSentError(f"{code} {said.decode('utf-8', 'replace')}")


def _domain(address: str) -> str:
    return plain_address(address).rpartition("@")[2]
