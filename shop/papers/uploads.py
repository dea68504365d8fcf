"""What a form may bring along."""

from typing import Any

from django.core.files.uploadhandler import TemporaryFileUploadHandler

# Of all files of one form together [bytes]; a little more than the largest photograph, whose own sentence is clearer.
LARGEST_TOGETHER = 26 * 10**6


class Bounded(TemporaryFileUploadHandler):
    """What is above the bound is read from the line and thrown away, so that it does not fill the disk.

    The file then arrives empty but with its true size: whoever asked for it can say that it is too large, and nobody
    takes a part of it for the whole. Small forms never come here: Django keeps them in memory.
    """

    together = 0
    file: Any

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes | None:
        self.together += len(raw_data)
        if self.together <= LARGEST_TOGETHER:
            return super().receive_data_chunk(raw_data, start)
        self.file.seek(0)
        self.file.truncate()
        return None
