"""What a form may bring along: an upload handler that stands before Django's own."""

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler

# Of all files of one form together [bytes]; a little more than the largest photograph, whose own sentence is clearer.
LARGEST_TOGETHER = 26 * 10**6


class Bounded(FileUploadHandler):
    """What is above the bound is read from the line and thrown away: it fills neither memory nor disk.

    The file then arrives empty but with its true size, so that whoever asked for it can say that it is too large.
    """

    together = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes | None:  # noqa: ARG002  (Django's signature)
        self.together += len(raw_data)
        return raw_data if self.together <= LARGEST_TOGETHER else None

    def file_complete(self, file_size: int) -> UploadedFile | None:
        if self.together <= LARGEST_TOGETHER:
            return None  # the next handler has it
        return UploadedFile(file=ContentFile(b""), name=self.file_name, content_type=self.content_type, size=file_size)
