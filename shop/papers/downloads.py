"""Files that are made when somebody asks for them, and kept nowhere."""

from django.http import HttpResponse
from django.utils.text import slugify

CSV, XLSX, PDF = "csv", "xlsx", "pdf"
MEDIA_TYPES = {
    CSV: "text/csv; charset=utf-8",
    XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    PDF: "application/pdf",
}


def download(content: bytes, *, kind: str, name: str) -> HttpResponse:
    """A file to keep, never one to show in the page."""
    disposition = f'attachment; filename="{slugify(name) or "list"}.{kind}"'
    return HttpResponse(content, content_type=MEDIA_TYPES[kind], headers={"Content-Disposition": disposition})
