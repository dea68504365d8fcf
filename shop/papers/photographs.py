"""Photographs, safe in: nothing that was sent is kept but its pixels, and those are made anew."""

from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop.journal.services import Subject, record, subject_of
from shop.journal.telling import named
from shop.papers import photographs_quotas as quotas
from shop.papers import services
from shop.papers.models import Photograph
from shop.papers.photographs_decode import Remade, remake
from shop.papers.photographs_headers import PictureRefused

LARGEST_BYTES = 25 * 10**6
AWAY = ["taken_away_at", "taken_away_by", "taken_away_why"]

SENTENCES = {
    "bytes": gettext_lazy("This picture has more than 25 MB. Save it smaller, as JPEG, then choose it again."),
    "pixels": gettext_lazy("This picture has more than 40 megapixels. Save it smaller, then choose it again."),
    "kind": gettext_lazy("This is not a JPEG, PNG or WebP picture. Save it as JPEG, then choose it again."),
    "heic": gettext_lazy(
        "This is a HEIC or AVIF picture, as some telephones make. Save it as JPEG, then choose it again."
    ),
    "moving": gettext_lazy("This picture moves. Choose a still one."),
    "damaged": gettext_lazy(
        "This picture is damaged or cut short. Open it, save it anew as JPEG, then choose it again."
    ),
    "heavy": gettext_lazy("This picture takes too long to open. Save it smaller, as JPEG, then choose it again."),
    "busy": gettext_lazy("Other photographs are being taken in just now. Wait a moment, then send it again."),
}


def keep_photograph(
    *, upload: "UploadedFile[Any]", caption: str, taken_on: date | None, who: str, now: datetime
) -> Photograph:
    """Keep the pixels of ``upload``, upright, as a JPEG of ours and a thumbnail; its name and type are not looked at.

    Raises ``ValidationError`` with a sentence for each wrong field (``file``, ``caption``, ``taken_on``); then nothing
    is stored. Call it outside a transaction: decoding may take seconds, in which SQLite would let nobody else write.
    """
    today = timezone.localdate(now)
    photograph = Photograph(caption=caption.strip(), taken_on=taken_on, added_at=now, added_by=who)
    _check_words(photograph, today)
    try:
        quotas.refuse_if_full(who=who, today=today)
        remade = remake(_content(upload))
        return _store(photograph, remade, today)
    except PictureRefused as refusal:
        raise _at_file(SENTENCES[refusal.reason], refusal.reason) from refusal
    except quotas.QuotaFull as refusal:
        raise _at_file(refusal.sentence, "quota") from refusal


@transaction.atomic
def describe_photograph(
    *, photograph: Photograph, caption: str, taken_on: date | None, who: str, now: datetime
) -> Photograph:
    """Correct what a person said of it; what the picture is and who added it stays. Raises ``ValidationError``."""
    found = Photograph.objects.select_for_update().get(pk=photograph.pk)
    before = _words(found)
    found.caption, found.taken_on = caption.strip(), taken_on
    _check_words(found, timezone.localdate(now))
    found.save(update_fields=["caption", "taken_on"])
    after = _words(found)
    record(who=who, at=now, what="photograph described", subject=subject_of(found), before=before, after=after)
    return found


@transaction.atomic
def take_away(*, photograph: Photograph, of: Subject, why: str, who: str, now: datetime) -> Photograph:
    """Show it nowhere any more, because it was put in by mistake; `bring_back` undoes it. Its row and files stay.

    The journal tells it of what it was a photograph of. Away already, nothing changes. Raises ``ValidationError``.
    """
    found = Photograph.ever.select_for_update().get(pk=photograph.pk)
    if found.taken_away_at is not None:
        return found
    found.taken_away_at, found.taken_away_by, found.taken_away_why = now, who, why.strip()
    if not found.taken_away_why:
        raise ValidationError({"why": _("Say in a word why it is taken away.")})
    found.clean_fields(exclude={name.name for name in Photograph._meta.fields} - {"taken_away_why"})
    found.save(update_fields=AWAY)
    after = {"photograph": named(found), "taken away why": found.taken_away_why}
    record(who=who, at=now, what="photograph taken away", subject=of, after=after)
    return found


@transaction.atomic
def bring_back(*, photograph: Photograph, of: Subject, who: str, now: datetime) -> Photograph:
    """Show it again where it was shown. There already, nothing changes."""
    found = Photograph.ever.select_for_update().get(pk=photograph.pk)
    if found.taken_away_at is None:
        return found
    before = {"taken away why": found.taken_away_why}
    found.taken_away_at, found.taken_away_by, found.taken_away_why = None, "", ""
    found.save(update_fields=AWAY)
    after = {"photograph": named(found)}
    record(who=who, at=now, what="photograph brought back", subject=of, before=before, after=after)
    return found


def _content(upload: "UploadedFile[Any]") -> bytes:
    if (upload.size or 0) > LARGEST_BYTES:
        raise PictureRefused("bytes")
    upload.seek(0)
    content: bytes = upload.read(LARGEST_BYTES + 1)
    if len(content) > LARGEST_BYTES:
        raise PictureRefused("bytes")
    return content


@transaction.atomic
def _store(photograph: Photograph, remade: Remade, today: date) -> Photograph:
    """The counts first, so that nothing above a limit reaches the disk; the row is committed after its files."""
    quotas.take(who=photograph.added_by, today=today, size=remade.bytes)
    photograph.sha256 = services.keep_bytes(remade.photograph)
    photograph.thumbnail_sha256 = services.keep_bytes(remade.thumbnail)
    photograph.kind = Photograph.Kind.JPEG
    photograph.width, photograph.height, photograph.bytes = remade.width, remade.height, len(remade.photograph)
    photograph.save()
    told = _words(photograph) | {"sha256": photograph.sha256, "bytes": photograph.bytes}
    record(
        who=photograph.added_by,
        at=photograph.added_at,
        what="photograph added",
        subject=subject_of(photograph),
        after=told,
    )
    return photograph


def _check_words(photograph: Photograph, today: date) -> None:
    errors: dict[str, list[str]] = {}
    try:
        photograph.clean_fields(
            exclude=[f.name for f in Photograph._meta.fields if f.name not in {"caption", "added_by"}]
        )
    except ValidationError as error:
        errors.update(error.message_dict)
    if photograph.taken_on and photograph.taken_on > today:
        errors["taken_on"] = [_("This day is still to come. Enter the day it was taken, or leave it empty.")]
    if errors:
        raise ValidationError(errors)


def _words(photograph: Photograph) -> dict[str, object]:
    return {"caption": photograph.caption, "taken_on": photograph.taken_on}


def _at_file(sentence: object, code: str) -> ValidationError:
    return ValidationError({"file": [ValidationError(str(sentence), code=code)]})
