"""A file of parts in a form: chosen now, or kept from the page before."""

from typing import Any
from uuid import UUID

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy, ngettext_lazy

from quotes.desk import importing
from quotes.desk.importing import PartsList
from quotes.desk.models import Upload
from quotes.desk.records import FILE_TYPES, MOST_BYTES
from quotes.desk.selectors import known

WRONG_FILE = ngettext_lazy(
    "Nothing was taken from “%(name)s”: %(count)s thing is wrong in it, named above. Correct it, then choose the file"
    " again.",
    "Nothing was taken from “%(name)s”: %(count)s things are wrong in it, named above. Correct them, then choose the file"
    " again.",
    "count",
)


class PartsFileField(forms.FileField):
    """An XLSX or CSV file; what is wrong in it is said by whoever reads it."""

    def __init__(self, **more: Any) -> None:
        given: dict[str, Any] = {
            "label": gettext_lazy("XLSX or CSV file"),
            "required": False,
            "allow_empty_file": True,
            "widget": forms.FileInput(attrs={"accept": FILE_TYPES}),
            "error_messages": {
                "invalid": gettext_lazy("No file came along. Choose it again."),
                "required": gettext_lazy("Choose the file."),
            },
        }
        super().__init__(**given | more)


class ImportForm(forms.Form):
    """A file of parts for a bike that is there."""

    file = PartsFileField(required=True)
    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.parts = PartsList()
        self.content = b""

    def clean_file(self) -> "UploadedFile[Any]":
        file: UploadedFile[Any] = self.cleaned_data["file"]
        self.content = read_bytes(file)
        self.parts = importing.read(self.content, known())
        if self.parts.wrong:
            raise forms.ValidationError(WRONG_FILE % {"name": file.name, "count": len(self.parts.wrong)})
        return file


def read_bytes(file: "UploadedFile[Any]") -> bytes:
    """One byte more than is taken is enough to know that it is too large."""
    content: bytes = file.read(MOST_BYTES + 1)
    return content


def kept_file(uid: object, *, upload_kind: Upload.Kind, subject_uid: UUID | None) -> Upload | None:
    """The file a page brought along by its ``uid``: one of this kind, for this subject or taken in already."""
    try:
        wanted = UUID(str(uid))
    except ValueError:
        return None
    found = Upload.objects.filter(uid=wanted, kind=upload_kind).first()
    return found if found and (found.subject_uid == subject_uid or found.taken_at) else None
